"""Ledgers for tests: a clock that is told, notes and inspections by hand."""

import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from records import inspection_of

from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import Clock, Draft, Entry, Kind
from satcheck.ledger.photos import move_photo, prepare_photo
from satcheck.ledger.recording import Context, record_inspection
from satcheck.model import Label
from satcheck.web.location import without_location

TRIGGERS = (
    *("record_follows", "record_no_update", "record_no_delete"),
    *("blob_no_update", "blob_no_delete"),
)


def clock_from(start: str = "2026-03-04", **step: float) -> Clock:
    """Return a clock that is later by a step, else a minute, each time it is asked."""
    first, by = (
        datetime.fromisoformat(start).replace(tzinfo=UTC),
        timedelta(**step or {"minutes": 1}),
    )
    asked = iter(range(10**9))
    return lambda: first + next(asked) * by


def note(text: str, part: str = "4711", by: str = "AB", **more: Any) -> Draft:
    """Return a note on a part."""
    return Draft(Kind.NOTE, {"part": part, "text": text}, by, **more)


def inspect(ledger: Ledger, verdict: Label = Label.GOOD, **context: Any) -> Entry:
    """Record an inspection made by hand."""
    return record_inspection(ledger, inspection_of(verdict), Context(**context))


def keep_photo(ledger: Ledger, data: bytes = b"\xff\xd8 photo") -> Entry:
    """Keep a photo, beside the ledger and in it."""
    prepared = prepare_photo(data, without_location, "part.jpg", ledger.path.with_name("prepared"))
    return ledger.append(move_photo(ledger.path, prepared))


def tamper(path: Path, *statements: str) -> None:
    """Change a ledger behind its back."""
    with closing(sqlite3.connect(path)) as db, db:
        for trigger in TRIGGERS:
            db.execute(f"DROP TRIGGER {trigger}")
        for statement in statements:
            db.execute(statement)
