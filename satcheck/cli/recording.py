"""What the commands share that record in a ledger: the options, the clock, the recorder."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from satcheck.errors import UsageError

if TYPE_CHECKING:
    from satcheck.inspection import Settings
    from satcheck.model import Inspection

DEFAULT = Path("satcheck.ledger")

RecordOption = Annotated[
    Path | None,
    typer.Option("--ledger", metavar="FILE", help="Also record in this ledger; made if missing."),
]


def single_spaced(text: str | None) -> str | None:
    """Return a name with single blanks, as the page keeps it: "4711 " is no other part."""
    return None if text is None else " ".join(text.split())


def name_option(option: str, metavar: str, words: str) -> Any:
    """Return an option for a name that is recorded, with single blanks."""
    return typer.Option(option, metavar=metavar, help=words, callback=single_spaced)


PartNumberOption = Annotated[
    str | None, name_option("--part", "NUMBER", "Part number for the record; else the card's.")
]
TechnicianOption = Annotated[
    str, name_option("--by", "NAME", "Who laminates or inspects, for the record.")
]
ResinNameOption = Annotated[str | None, name_option("--resin", "NAME", "Resin, for the record.")]


def check_recorded(ledger: Path | None, **told: str | None) -> None:
    """Raise UsageError where something is told for the record and nothing is recorded."""
    names = [name for name, value in told.items() if value]
    if names and ledger is None:
        raise UsageError(f"--{names[0]} is for the record: it needs --ledger FILE")


Keep = Callable[["Inspection"], None]
"""Records an inspection; when it returns, that is on the disk."""


def now() -> datetime:
    """Return the time, in UTC."""
    return datetime.now(UTC)


@contextmanager
def recorder(
    file: Path | None, settings: "Settings", by: str, part: str | None, resin: str | None
) -> Iterator[Keep | None]:
    """Open a ledger and yield what records in it; None where no ledger is wanted."""
    if file is None:
        yield None
        return
    from satcheck.ledger.book import open_ledger
    from satcheck.ledger.recording import Context, record_inspection

    context = Context(by, part, settings.view, resin=resin, more={"settings": told(settings)})
    with open_ledger(file, now) as ledger:

        def keep(inspection: "Inspection") -> None:
            record_inspection(ledger, inspection, context)

        yield keep


def told(settings: "Settings") -> dict[str, Any]:
    """Return what the user told about the photo, as plain values for the record."""
    said = {name: value for name, value in vars(settings).items() if value is not None}
    if settings.outline is not None:
        said["outline"] = settings.outline.tolist()
    if settings.box is not None:
        said["box"] = list(settings.box)
    return said
