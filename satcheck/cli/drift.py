"""``satcheck drift``: whether a coupon that does not change still measures the same."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from satcheck.cli.common import DEFECT, NOT_JUDGED, OK, read_record, say
from satcheck.errors import UsageError

if TYPE_CHECKING:
    from satcheck.studies.shifts import Shift

ALLOWED = "the STEM.json of satcheck check, or one CSV,"


def drift(
    files: Annotated[
        list[Path],
        typer.Argument(metavar="STEM.json...|CSV", help="Records of the coupon, or one table."),
    ],
    page: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also write a page with the charts (HTML).")
    ] = None,
    baseline: Annotated[
        int, typer.Option(metavar="N", help="How many first shifts set the level; 10 and more.")
    ] = 20,
) -> None:
    """Watch a coupon that is photographed each shift.

    An accepted part serves too. Warns when visibility, colour, pitch or blur move, before verdicts
    shift, and names the likely cause: camera, light, card or calibration. A CSV has one row a
    photo: taken (2026-03-31 14:05) and one and more of visibility, blur, colour, pitch and size;
    also camera, calibration and verdict. Exit status: 0 nothing moved; 1 something did; 2 wrong
    usage; 3 too few shifts yet.
    """
    from datetime import UTC, datetime

    from satcheck.studies.drift import study_drift
    from satcheck.studies.summary import as_text, summarise_drift

    if page is not None:
        from satcheck.files import PAGE_MARK, check_target

        check_target(page, PAGE_MARK, "page of satcheck")
    found = study_drift(_shifts(files), baseline)
    if page is not None:
        from satcheck.files import write_whole
        from satcheck.pages.drift import drift_page

        source = files[0].name if len(files) == 1 else f"{len(files)} records"
        write_whole(
            page, drift_page(found, source, datetime.now(UTC).strftime("%Y-%m-%d")).encode()
        )
    say(as_text(summarise_drift(found)))
    moved = DEFECT if found.alarm is not None else OK
    raise typer.Exit(moved if found.is_enough or moved else NOT_JUDGED)


def _shifts(files: list[Path]) -> "tuple[Shift, ...]":
    from satcheck.studies.shifts import shifts_of_records, shifts_of_table

    tables = [file for file in files if file.suffix.casefold() == ".csv"]
    if tables and len(files) > 1:
        raise UsageError(f"{tables[0]}: one CSV alone, or STEM.json records, are allowed")
    if tables:
        return shifts_of_table(tables[0])
    return shifts_of_records((str(file), read_record(file, ALLOWED)) for file in files)
