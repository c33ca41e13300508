"""``satcheck lesson``: a lesson to look at and a chart for the wall."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from satcheck.cli.common import load_calibration, say, show_progress
from satcheck.cli.demo import find_demo
from satcheck.errors import UsageError

if TYPE_CHECKING:
    from satcheck.lesson.picks import Pick
    from satcheck.lesson.specimens import Specimen

PAGE, CHART, PICKS = "lesson.html", "chart.pdf", "picks.csv"
DEMO = "Pictures: the demo's. Every part, photo and label is invented."
OWN = "Pictures and labels: the shop's own."


def lesson(
    out: Annotated[Path, typer.Option(metavar="FOLDER", help="Folder for the page and the chart.")],
    parts: Annotated[
        Path | None,
        typer.Option(metavar="PARTS.csv", help="The shop's labelled photos; else the demo's."),
    ] = None,
    calibration: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The shop's calibration; else the demo's.")
    ] = None,
    pick: Annotated[
        bool, typer.Option("--pick", help=f"Only propose examples: write {PICKS} to edit.")
    ] = False,
) -> None:
    """Make a lesson for new technicians, and a wall chart (A3).

    One page that works offline. With a picks.csv in the folder its examples are used; --pick
    proposes them first. Exit status: 0, or 2 for wrong usage and unreadable input.
    """
    if parts is not None and calibration is None:
        raise UsageError("--parts needs the shop's own bounds: give them with --calibration FILE")
    from satcheck.files import PAGE_MARK, PDF_MARK, check_target, make_writable, write_whole
    from satcheck.lesson.build import build_lesson
    from satcheck.lesson.chart import chart_pdf
    from satcheck.lesson.picks import write_picks
    from satcheck.lesson.specimens import left_out, read_specimens
    from satcheck.pages.lesson import lesson_page

    bounds = load_calibration(calibration)
    table = parts or find_demo(Path.cwd()) / "parts.csv"
    make_writable(out)
    if pick and (out / PICKS).exists():
        raise UsageError(f"{out / PICKS}: is there already and stays; edit it, or move it away")
    if not pick:
        check_target(out / PAGE, PAGE_MARK, "page of satcheck")
        check_target(out / CHART, PDF_MARK, "PDF of satcheck")
    specimens = read_specimens(table, bounds, show_progress)
    for sentence in left_out(table, bounds, specimens):
        say(sentence)
    picks = _picks(out / PICKS, specimens)
    if pick:
        write_whole(out / PICKS, write_picks(picks).encode())
        say(f"{out / PICKS}: set use to yes or no, add notes, then run satcheck lesson again")
        return
    made = build_lesson(specimens, picks, bounds, DEMO if parts is None else OWN)
    write_whole(out / PAGE, lesson_page(made).encode())
    write_whole(out / CHART, chart_pdf(made, parts is None))
    say(f"{out / PAGE}: open it on a phone or a projector; it needs no network")
    say(f"{out / CHART}: print on A3, across")


def _picks(path: Path, specimens: "tuple[Specimen, ...]") -> "tuple[Pick, ...]":
    """Return the trainer's picks, else what is proposed."""
    from satcheck.lesson.picks import propose, read_picks

    return read_picks(path) if path.is_file() else propose(specimens)
