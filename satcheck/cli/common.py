"""What the commands share: exit statuses, what is said on stdout and stderr, the calibration."""

import errno
import json
import os
import sys
from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import typer
from typer.core import TyperCommand, TyperOption

from satcheck.errors import SatcheckError, UsageError

if TYPE_CHECKING:
    from satcheck.calibration.file import Calibration
    from satcheck.model import Inspection

OK, DEFECT, WRONG, NOT_JUDGED = 0, 1, 2, 3
SEVERITY = (WRONG, DEFECT, NOT_JUDGED, OK)
"""With several photos the exit status is the first of these that occurred."""

TRACEBACK = "SATCHECK_TRACEBACK"
"""Environment variable that lets an unforeseen error through, for whoever looks for its cause."""

REMEDIES = {
    errno.ENOSPC: "make room and try again",
    errno.EDQUOT: "make room and try again",
    errno.EACCES: "a file and folder that you may use are allowed",
    errno.EPERM: "a file and folder that you may use are allowed",
    errno.EROFS: "a disk that can be written is allowed",
}
"""What to do about an error of the system."""


class OnceCommand(TyperCommand):
    """A command that refuses an option given twice: only the last value would count, unsaid."""

    def parse_args(self, ctx: typer.Context, args: list[str]) -> list[str]:  # type: ignore[override]
        """Read the arguments; raise UsageError where an option for one value has two."""
        *_, order = self.make_parser(ctx).parse_args(args=[*args])
        for option in order:
            takes_one = isinstance(option, TyperOption) and not (option.multiple or option.is_flag)
            if takes_one and order.count(option) > 1:
                raise UsageError(f"{option.opts[0]}: given more than once; one value is allowed")
        return super().parse_args(ctx, args)


def worst_status(statuses: Collection[int]) -> int:
    """Return the exit status of a call, from those of its photos; 0 where there is none."""
    return next((status for status in SEVERITY if status in statuses), OK)


def explain(error: Exception, name: str = "satcheck") -> str:
    """Return one line on an error; one that nobody foresaw names its kind."""
    if isinstance(error, SatcheckError):
        message = str(error)
    elif isinstance(error, MemoryError):
        message = f"{name}: not enough memory; a smaller photo is allowed"
    elif isinstance(error, OSError):
        message = f"{error.filename or name}: {error.strerror or error}"
        message += f"; {REMEDIES[error.errno]}" if error.errno in REMEDIES else ""
    elif hasattr(error, "format_message"):  # typer's own, on the arguments
        command = getattr(getattr(error, "ctx", None), "command_path", name)
        message = f"{error.format_message()} ({command} --help says what is allowed)"
    elif os.environ.get(TRACEBACK):
        raise error
    else:
        message = f"{name}: an unforeseen error ({type(error).__name__}: {error})"
        message += f"; {TRACEBACK}=1 in the environment shows where"
    return " ".join(message.split())


def load_calibration(path: Path | None) -> "Calibration":
    """Return a calibration: the one in a file, else the demo's."""
    from satcheck.calibration.file import default_calibration_path, read_calibration

    chosen = path or default_calibration_path()
    if chosen is None:
        raise UsageError("no calibration: give one with --calibration FILE")
    return read_calibration(chosen)


def read_record(path: Path, allowed: str = "the STEM.json of satcheck check") -> "Inspection":
    """Return the inspection in a file of JSON; ``allowed`` says which files a command takes.

    Raises
    ------
    UsageError
        If the file cannot be read, is no JSON, or holds no whole inspection.
    """
    from satcheck.record import inspection_from_json

    try:
        return inspection_from_json(json.loads(path.read_text(encoding="utf-8")), path.name)
    except OSError as error:
        raise UsageError(f"{path}: cannot be read ({error.strerror}); give a STEM.json") from error
    except (ValueError, RecursionError) as error:  # too deep: brackets without end
        raise UsageError(f"{path}: is no JSON; {allowed} is allowed") from error


def help_where_alone(context: typer.Context) -> None:
    """Print the help of a group of commands that was called without one of them."""
    if context.invoked_subcommand is None:
        say(context.get_help())


def show_progress(done: int, total: int, name: str) -> None:
    """Show on a terminal how far a calibration is."""
    if sys.stderr.isatty():
        end = "\n" if done == total else ""
        print(f"\r\033[K{done}/{total} {name}", end=end, file=sys.stderr, flush=True)


@contextmanager
def bar(what: str, total: int | None = None) -> Iterator[Callable[[int, int], None]]:
    """Yield what shows how many of how many are done: a bar with the time left on a terminal."""
    if not sys.stderr.isatty():
        yield lambda _done, _total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
    from rich.progress import TimeRemainingColumn as TimeColumn

    columns = (BarColumn(), MofNCompleteColumn(), TextColumn(f"{what}, left"), TimeColumn())
    with Progress(*columns, console=Console(stderr=True)) as shown:
        row = shown.add_task("", total=total)
        yield lambda done, of: shown.update(row, completed=done, total=of)


def say(text: str) -> None:
    """Print to stdout; a reader who has gone away changes neither the files nor the status."""
    if text:
        say_lines(text.split("\n"))


def say_lines(lines: Iterable[str]) -> None:
    """Print lines as they come, and a blank one after several; else as `say`."""
    many = False
    try:
        for place, line in enumerate(lines):
            many = place > 0
            print(line)
        print(end="\n" if many else "", flush=True)
    except BrokenPipeError:
        sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - until the end


def complain(text: str) -> None:
    """Print to stderr."""
    print(text, file=sys.stderr, flush=True)
