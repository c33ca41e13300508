"""``satcheck study``: agreement, repeatability and detection from a shop's own tables."""

from pathlib import Path
from typing import Annotated

import typer

from satcheck.cli.common import help_where_alone, say

study = typer.Typer(
    invoke_without_command=True,
    callback=help_where_alone,
    rich_markup_mode=None,
    help="Study how far inspectors, photos and verdicts can be relied on.",
)

Page = Annotated[
    Path | None, typer.Option(metavar="FILE", help="Also write a page with the chart (HTML).")
]


@study.command()
def agreement(
    table: Annotated[Path, typer.Argument(metavar="CSV", help="part,zone,rater,state")],
    page: Page = None,
    against: Annotated[
        str | None,
        typer.Option(
            metavar="RATER",
            help="Hold the others against this one, say a standard; else satcheck.",
        ),
    ] = None,
) -> None:
    """Say how well inspectors, and the tool, agree.

    CSV has one row a rating, with the columns part, zone (may be blank), rater and state: starved,
    lean, good, heavy, rich or not judged; or accepted and rejected. A column trial numbers repeats.
    The tool's own verdicts stand there as those of the rater satcheck.
    """
    from satcheck.studies.agreement import study_agreement
    from satcheck.studies.summary import as_text, summarise_agreement

    _check_page(page)
    found = study_agreement(table, against)
    if page is not None:
        from satcheck.pages.study import agreement_page

        _write(page, agreement_page(found, table.name, _today()))
    say(as_text(summarise_agreement(found)))


@study.command()
def repeatability(
    table: Annotated[Path, typer.Argument(metavar="CSV", help="part,person,photo,value")],
    page: Page = None,
) -> None:
    """Say what photo and person add to a reading (gauge R&R).

    CSV has one row a photo, with the columns part, person, photo (or trial) and value, such as the
    visibility. Each person photographs each part equally often, twice and more.
    """
    from satcheck.studies.repeatability import study_repeatability
    from satcheck.studies.summary import as_text, summarise_repeatability

    _check_page(page)
    found = study_repeatability(table)
    if page is not None:
        from satcheck.pages.study import repeatability_page

        _write(page, repeatability_page(found, table.name, _today()))
    say(as_text(summarise_repeatability(found)))


@study.command()
def detection(
    table: Annotated[Path, typer.Argument(metavar="CSV", help="size,found[,part]")],
    page: Page = None,
    unit: Annotated[str, typer.Option(metavar="WORD", help="Unit of the sizes.")] = "mm",
    log_size: Annotated[
        bool, typer.Option("--log-size", help="Let the odds follow the logarithm of size.")
    ] = False,
) -> None:
    """Say from which size on starved patches are found.

    By the probability of detection. CSV has one row a patch, with the columns size (above 0), found
    (1 or 0) and, where several patches are on one part, part.
    """
    from satcheck.studies.detection import study_detection
    from satcheck.studies.summary import as_text, summarise_detection

    _check_page(page)
    found = study_detection(table, "log" if log_size else "linear", unit)
    if page is not None:
        from satcheck.pages.study import detection_page

        _write(page, detection_page(found, table.name, _today()))
    say(as_text(summarise_detection(found)))


def _check_page(page: Path | None) -> None:
    from satcheck.files import PAGE_MARK, check_target

    if page is not None:
        check_target(page, PAGE_MARK, "page of satcheck")


def _write(page: Path, text: str) -> None:
    from satcheck.files import write_whole

    write_whole(page, text.encode())


def _today() -> str:
    from datetime import UTC, datetime

    return datetime.now(UTC).strftime("%Y-%m-%d")
