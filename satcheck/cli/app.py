"""The commands under one name, and the last resort for errors.

Only typer and the standard library are imported with these modules, so that help comes at once; a
command imports what it needs when it runs.
"""

import gc
import io
import os
import sys
from collections.abc import Sequence
from typing import Annotated, NoReturn

import typer

from satcheck import __version__
from satcheck.cli.audit import audit
from satcheck.cli.calibrate import calibrate
from satcheck.cli.card import card
from satcheck.cli.check import check
from satcheck.cli.common import OK, WRONG, OnceCommand, complain, explain, help_where_alone, say
from satcheck.cli.demo import demo
from satcheck.cli.drift import drift
from satcheck.cli.ledger import ledger
from satcheck.cli.lesson import lesson
from satcheck.cli.mix import mix
from satcheck.cli.rejudge import rejudge
from satcheck.cli.serve import serve
from satcheck.cli.study import study
from satcheck.cli.watch import watch
from satcheck.cli.weigh import weigh

COLLECT_AFTER = 100_000
"""Objects more than went, after which Python looks for those that only name each other."""

app = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Measure the resin saturation of laminated sockets from phone photos, zone by zone.",
)


@app.callback(invoke_without_command=True)
def _root(
    context: typer.Context,
    version_wanted: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version_wanted:
        say(f"satcheck {__version__}")
    else:
        help_where_alone(context)


@app.command()
def version() -> None:
    """Print the version."""
    say(f"satcheck {__version__}")


COMMANDS = (
    *(check, calibrate, rejudge, card, mix, weigh),
    *(lesson, demo, serve, watch, audit, drift),
)
for command in COMMANDS:
    app.command()(command)
app.add_typer(ledger, name="ledger")
app.add_typer(study, name="study")
for group in (app, ledger, study):
    for registered in group.registered_commands:
        registered.cls = OnceCommand


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command line and exit; every error is one line, never a traceback."""
    # Before NumPy is loaded: its matrices are small here, and more threads would wait for each
    # other. Processes that a command starts inherit it.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # To load a command makes many objects and no garbage: Python would look for it all the while,
    # a twentieth of a photo's judgement.
    gc.set_threshold(COLLECT_AFTER)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a name may hold what the terminal cannot show
            stream.reconfigure(errors="backslashreplace")
    command = typer.main.get_command(app)
    try:
        status = command.main(arguments, prog_name="satcheck", standalone_mode=False)
    except Exception as error:  # noqa: BLE001 - the last resort: a user sees no traceback
        complain(explain(error))
        status = WRONG
    sys.exit(status or OK)
