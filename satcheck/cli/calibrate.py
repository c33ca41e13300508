"""``satcheck calibrate``: bounds from labelled parts."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from satcheck.cli.common import say, show_progress
from satcheck.errors import UsageError

if TYPE_CHECKING:
    from satcheck.calibration.labelled import Study


def calibrate(
    table: Annotated[Path, typer.Argument(metavar="PARTS.csv", help="The labelled parts.")],
    out: Annotated[Path, typer.Option(metavar="FILE", help="Calibration file to write (TOML).")],
    page: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Page of the evidence (HTML); else beside --out."),
    ] = None,
    review: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Also write the labels to look at again, as pictures."),
    ] = None,
    parent: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Add these new parts to this calibration's."),
    ] = None,
    invented: Annotated[
        bool, typer.Option("--invented", help="The parts are invented: say so in every verdict.")
    ] = False,
) -> None:
    """Find each fibre's bounds and promise from labelled parts.

    PARTS.csv has one row a photo or a zone of a photo, with the columns photo, part, view, fibre,
    outcome, zone, state, marks and distal. With --parent only new parts stand in it: the old
    photos are not needed. Exit status: 0 written; 2 a row is bad, and nothing is written.
    """
    from datetime import UTC, datetime

    from satcheck.calibration.file import read_calibration, write_calibration
    from satcheck.calibration.labelled import study_table
    from satcheck.calibration.labelled_pages import calibration_page, review_page
    from satcheck.files import write_whole

    page = page or out.parent / f"{out.stem}.html"  # of a folder too, which is refused below
    written = [path for path in (out, page, review) if path is not None]
    _check_targets(written, [path for path in (table, parent) if path is not None])
    known = None if parent is None else read_calibration(parent)
    now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    study = study_table(table, show_progress, is_demo=invented, created=now, parent=known)
    texts = {page: calibration_page(study)}
    if review is not None:
        texts[review] = review_page(study)
    for path, text in texts.items():
        write_whole(path, text.encode())
    write_calibration(study.calibration, out)
    say(_told(study, out, page, review))


def _check_targets(written: list[Path], read: list[Path]) -> None:
    """Refuse to write to one file twice, over what is read, or over another's file."""
    from satcheck.files import CALIBRATION_MARK, PAGE_MARK, check_target

    seen = {path.resolve(): "is read by this call" for path in read}
    for path in written:
        if path.resolve() in seen:
            raise UsageError(f"{path}: this file {seen[path.resolve()]}; give another name")
        seen[path.resolve()] = "is written by this call already"
    check_target(written[0], CALIBRATION_MARK, "calibration of satcheck")
    for path in written[1:]:
        check_target(path, PAGE_MARK, "page of satcheck")


def _told(study: "Study", out: Path, page: Path, review: Path | None) -> str:
    """Return what is said at the end: the file, each fibre's promise, what a person must see."""
    from satcheck.calibration.evidence import good_sentence
    from satcheck.lines import wrapped

    made = study.calibration
    lines = [f"{out}: calibration {made.id} for {', '.join(made.fibres)}"]
    for name, fibre in sorted(made.fibres.items()):
        missing = fibre.promise.missing if fibre.promise else ""
        told = (fibre.sentence, missing, good_sentence(fibre.evidence))
        lines.append(f"{name}: {' '.join(filter(None, told))}")
    if made.is_demo:
        lines.append("The parts are invented: no verdict under these bounds promises anything.")
    lines += [f"Look at: {finding}" for finding in study.findings]
    again = [] if review is None else [f"{review}: the labels to look at again"]
    return "\n".join([*map(wrapped, lines), f"{page}: the evidence", *again])
