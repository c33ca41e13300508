"""The page of a calibration: what it promises, and the evidence that this rests on."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from satcheck.calibration.evidence import NOT_EVEN_LEAN, ZoneEvidence, good_sentence, tally
from satcheck.calibration.file import BORDERS, DEMO_PROMISE, Calibration, FibreBounds
from satcheck.model import SCALE, Label
from satcheck.pages.evidence_charts import curve, distributions
from satcheck.pages.frame import render
from satcheck.statistics.roc import Roc, roc

CALLED = (*SCALE, Label.NOT_JUDGED)

Pictures = Mapping[tuple[str, str], str]
"""Data URI of a zone's picture, by the photo's sha256 and the zone."""


@dataclass(frozen=True)
class FibreView:
    """One fibre as the page shows it."""

    bounds: FibreBounds
    limits: Mapping[str, float]
    distributions: str
    roc: Roc | None
    curve: str
    rows: tuple[ZoneEvidence, ...]
    misses: tuple[tuple[ZoneEvidence, str], ...]
    labels: tuple[str, ...]
    calls: tuple[tuple[str, tuple[int, ...]], ...]
    """What zones may be called, and how many of each of ``labels`` were."""
    good: str


def calibration_page(calibration: Calibration, findings: Sequence[str], pictures: Pictures) -> str:
    """Return the page as HTML text.

    Parameters
    ----------
    calibration : Calibration
    findings : sequence of str
        What does not fit together among the labels.
    pictures : mapping
        Of the worst misses; those without one are named only.
    """
    return render(
        "calibration.html",
        calibration=calibration,
        demo=DEMO_PROMISE if calibration.is_demo else "",
        fibres=[_view(fibre, pictures) for _, fibre in sorted(calibration.fibres.items())],
        findings=findings,
        is_miss=is_miss,
    )


def is_miss(row: ZoneEvidence) -> bool:
    """Return whether a zone was called what hurts: starved called good, or good called starved."""
    if row.label is Label.STARVED:
        return row.called in NOT_EVEN_LEAN
    return row.label is Label.GOOD and row.called in (Label.STARVED, Label.RICH)


def worst_misses(rows: Sequence[ZoneEvidence], count: int = 6) -> tuple[ZoneEvidence, ...]:
    """Return the misses, starved ones first, those that look least like their label ahead."""
    missed = [row for row in rows if is_miss(row)]
    return tuple(sorted(missed, key=_badness)[:count])


def _badness(row: ZoneEvidence) -> tuple[bool, float]:
    starved = row.label is Label.STARVED
    return not starved, -row.edge if starved else row.index


def _view(fibre: FibreBounds, pictures: Pictures) -> FibreView:
    rows = fibre.evidence
    unseen = [r for r in rows if not r.seen]
    told = [r for r in unseen if r.label in (Label.STARVED, Label.GOOD) and r.index == r.index]
    found = roc([-r.index for r in told], [r.label is Label.STARVED for r in told])
    calls = tally(rows)
    limits = dict(zip(BORDERS, fibre.bounds, strict=True))
    return FibreView(
        bounds=fibre,
        limits=limits,
        distributions=distributions(rows, limits) if rows else "",
        roc=found,
        curve="" if found is None else curve(found),
        rows=tuple(sorted(rows, key=lambda r: (r.part, r.file, r.zone))),
        misses=tuple((r, pictures.get((r.photo, r.zone), "")) for r in worst_misses(rows)),
        labels=tuple(label.word for label in calls),
        calls=tuple((c.word, tuple(counts[c] for counts in calls.values())) for c in CALLED),
        good=good_sentence(rows),
    )
