"""One entry of the ledger: its kinds, its canonical text, its id and its hash in the chain.

An id is made from what was said, by whom and when: the same entry has the same id in every
ledger, so that merging renames nothing. A hash also covers the entry's place and the hash before
it, so that a changed, lost, added or moved entry shows.
"""

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

from satcheck.errors import UsageError
from satcheck.ledger.blob import Blob

Clock = Callable[[], datetime]
"""Tells the time with its zone; a face passes the computer's, a test its own."""

START = "0" * 64
"""What stands for the hash before the first entry."""


class Kind(StrEnum):
    """What an entry is about. Kinds are stored: add, never rename."""

    PART = "part"
    PHOTO = "photo"
    SERIES = "series"
    INSPECTION = "inspection"
    CALIBRATION = "calibration"
    OUTLINE = "outline"
    WEIGHING = "weighing"
    MIX = "mix"
    GEL_CLOCK = "gel clock"
    LEARNER_RESULT = "learner result"
    CORRECTION = "correction"
    NOTE = "note"
    MERGE = "merge"


@dataclass(frozen=True)
class Draft:
    """What is to be recorded.

    Attributes
    ----------
    kind : Kind
    body : mapping
        Plain JSON values. These keys are searched by, where they stand at the top level and are
        text: part, view, series, photo (sha256), calibration (id), fibre, resin, verdict, and
        request (an id that the asker gave, to find what came of it). "blobs" maps names to the
        sha256 of large content.
    by : str
        Who says so; blank if nobody was named.
    corrects : str or None
        Id of the entry that this one takes the place of; the old one stays.
    made_at : str or None
        As `timestamp` gives it; None for the ledger's clock. Give it where a repeated call must
        not record twice.
    blobs : tuple of Blob
        The large content that the body names under "blobs".
    """

    kind: Kind
    body: Mapping[str, Any]
    by: str = ""
    corrects: str | None = None
    made_at: str | None = None
    blobs: tuple[Blob, ...] = field(default=(), repr=False)


@dataclass(frozen=True)
class Entry:
    """What was recorded, with its place in the chain."""

    seq: int
    """1 for the first entry of this ledger; another ledger has it elsewhere."""
    id: str
    kind: str
    body: Mapping[str, Any]
    made_at: str
    """UTC, ISO 8601, microseconds, ending in Z: text order is time order."""
    by: str
    corrects: str | None
    origin: str
    """Blank, or as canonical JSON the place and hash that it has in the ledger it was merged from:
    seq, previous_hash, hash, origin."""
    previous_hash: str
    hash: str


def canonical(value: Any) -> str:
    """Return plain values as JSON text that is the same for the same values.

    Keys are sorted; a lone surrogate, as in a file name that is no text, is written as its escape.

    Raises
    ------
    UsageError
        If there is something that JSON cannot say, such as NaN.
    """
    try:
        text = json.dumps(
            value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
        )
    except (TypeError, ValueError, RecursionError) as error:
        raise UsageError(f"the ledger takes plain JSON values only ({error})") from error
    return storable(text)


def storable(text: str) -> str:
    """Return text as UTF-8 can hold it."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def timestamp(when: datetime) -> str:
    """Return a time as the ledger writes it; raise UsageError where it has no zone."""
    if when.tzinfo is None:
        raise UsageError(f"{when.isoformat()}: a time with its zone is needed")
    return when.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def entry_id(kind: str, body: str, made_at: str, by: str, corrects: str | None) -> str:
    """Return the sha256 of what an entry says; ``body`` is canonical JSON."""
    return _sha256(canonical([kind, body, made_at, by, corrects]))


def chain_hash(previous: str, seq: int, entry: str, origin: str) -> str:
    """Return the sha256 of an entry in its place; ``entry`` is its id."""
    return _sha256(canonical([previous, seq, entry, origin]))


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
