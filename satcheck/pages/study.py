"""The pages of a shop's studies: what it means, the chart, the tables."""

from satcheck.pages.frame import render
from satcheck.pages.study_charts import detection_curve, kappas, spreads
from satcheck.studies.agreement import AgreementStudy
from satcheck.studies.detection import DetectionStudy
from satcheck.studies.repeatability import RepeatabilityStudy
from satcheck.studies.summary import (
    Summary,
    summarise_agreement,
    summarise_detection,
    summarise_repeatability,
)


def agreement_page(study: AgreementStudy, source: str, date: str) -> str:
    """Return the page as HTML text; ``source`` is the table's name, ``date`` as it is shown."""
    figure = (kappas(study), "Dot: kappa. Line: where it lies with 95 % confidence.")
    return _page(summarise_agreement(study), source, date, figure)


def repeatability_page(study: RepeatabilityStudy, source: str, date: str) -> str:
    """Return the page as HTML text; see `agreement_page`."""
    caption = "Filled: analysis of variance. Open: average and range. Shares add up as squares."
    return _page(summarise_repeatability(study), source, date, (spreads(study), caption))


def detection_page(study: DetectionStudy, source: str, date: str) -> str:
    """Return the page as HTML text; see `agreement_page`."""
    caption = "Curve: share of patches found. Broken line: found 90 in 100 with 95 % confidence."
    return _page(summarise_detection(study), source, date, (detection_curve(study), caption))


def _page(summary: Summary, source: str, date: str, *figures: tuple[str, str]) -> str:
    return render(
        "study.html", summary=summary, source=source, date=date, figures=figures, legend=""
    )
