"""``satcheck calibrate``: bounds from labelled parts."""

from pathlib import Path
from typing import Annotated

import typer

from satcheck.cli.common import say, show_progress
from satcheck.errors import UsageError


def calibrate(
    table: Annotated[Path, typer.Argument(metavar="PARTS.csv", help="The labelled parts.")],
    out: Annotated[Path, typer.Option(metavar="FILE", help="Calibration file to write (TOML).")],
    invented: Annotated[
        bool, typer.Option("--invented", help="The parts are invented: say so in every verdict.")
    ] = False,
) -> None:
    """Find the bounds of each fibre from labelled parts.

    PARTS.csv has one row a photo or a zone of a photo, with the columns photo, part, view, fibre,
    outcome, zone, state, marks and distal. Exit status: 0 written; 2 a row is bad, and nothing is
    written.
    """
    from satcheck.calibration import write_calibration
    from satcheck.files import make_writable
    from satcheck.labelled import calibrate_table

    if out.is_dir():
        raise UsageError(f"{out}: this is a folder; the name of a file to write is allowed")
    make_writable(out.parent)
    made = calibrate_table(table, show_progress, is_demo=invented)
    write_calibration(made, out)
    say(f"{out}: calibration {made.id} for {', '.join(made.fibres)}")
