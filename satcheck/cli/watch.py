"""``satcheck watch``: photos judged as they arrive in a folder."""

import signal
import threading
from contextlib import closing
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from satcheck.cli.arguments import pick_fibre
from satcheck.cli.check import CalibrationOption, FibreOption
from satcheck.cli.common import load_calibration, say
from satcheck.cli.recording import DEFAULT, ResinNameOption, TechnicianOption, now


def watch(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the photos arrive.")],
    ledger: Annotated[
        Path, typer.Option("--ledger", metavar="FILE", help="The ledger; made if missing.")
    ] = DEFAULT,
    calibration: CalibrationOption = None,
    fibre: FibreOption = None,
    by: TechnicianOption = "",
    resin: ResinNameOption = None,
) -> None:
    """Judge photos as they arrive in a folder.

    From a phone's sync, or on a network share. Prints one line a photo and records each inspection.
    Stop with Ctrl+C; started again, it judges only what is new under this calibration. Exit status:
    0 stopped; 2 wrong usage, or the ledger cannot be written.
    """
    from satcheck.inspection import Settings
    from satcheck.ledger.book import open_ledger
    from satcheck.ledger.recording import Context
    from satcheck.lines import wrapped
    from satcheck.processes import Helper
    from satcheck.report import DEMO_NOTE
    from satcheck.watching import Arrivals, Watch, judge_photo
    from satcheck.watching import watch as watch_folder

    arrivals = Arrivals(folder)  # before a ledger is made
    bounds = load_calibration(calibration)
    settings = Settings(fibre=pick_fibre(tuple(bounds.fibres), fibre))
    helper = Helper(partial(judge_photo, bounds, settings))
    with open_ledger(ledger, now) as opened, closing(helper):
        judge = Watch(opened, bounds, settings, Context(by=by, resin=resin), helper).judge
        stop = _stop_on_signals()
        say(f"Watching {folder}; records go to {ledger}. Stop with Ctrl+C.")
        if bounds.is_demo:
            say(wrapped(DEMO_NOTE))
        watch_folder(arrivals, judge, say, stop.wait)
    say("Stopped; all that was said is recorded.")


def _stop_on_signals() -> threading.Event:
    """Return what is set by Ctrl+C and SIGTERM: the photo at hand is finished first."""
    stop = threading.Event()
    for name in (signal.SIGINT, signal.SIGTERM):
        signal.signal(name, lambda *_: stop.set())
    return stop
