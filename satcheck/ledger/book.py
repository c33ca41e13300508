"""The ledger: entries are appended, found and shown; nothing is changed or lost.

Use
---
    from satcheck.ledger.book import open_ledger
    from satcheck.ledger.entries import Draft, Kind
    from satcheck.ledger.search import Search

    with open_ledger(path, clock) as ledger:            # made where it is missing; clock: see Clock
        entry = ledger.append(Draft(Kind.NOTE, {"part": "4711", "text": "film torn"}, by="AB"))
        pair = ledger.append_all([draft, other])        # all or none
        ledger.entry(entry.id)                          # one entry; the id's beginning is enough
        ledger.find(Search(part="4711"), limit=20)      # newest first
        ledger.blob(sha256)                             # large content that a body names
        ledger.head()                                   # last entry's place and hash

When ``append`` returns, the entries are on the disk: they survive kill -9 and power loss. One that
did not return left no trace. One ``Ledger`` may be used by many threads, and one file by many
processes: writers wait for each other.

Inspections are recorded by ``ledger.recording``, photos kept by ``ledger.photos``.
"""

import json
import sqlite3
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from threading import RLock
from types import TracebackType
from typing import Any, NamedTuple, Self

from satcheck.errors import LedgerError, UsageError
from satcheck.ledger.blob import Blob
from satcheck.ledger.entries import (
    START,
    Clock,
    Draft,
    Entry,
    canonical,
    chain_hash,
    entry_id,
    storable,
    timestamp,
)
from satcheck.ledger.index import NewIndex, RowValues, add_to_index
from satcheck.ledger.opening import PATIENCE, connect, connect_to_read, explained
from satcheck.ledger.search import Search

SET_BACK = timedelta(days=1)
"""By so much a clock may be set back unnoticed: a wrong hour, day or zone (own rule)."""


class Head(NamedTuple):
    """The last entry's place and hash; 0 and zeros in an empty ledger."""

    seq: int
    hash: str


class Line(NamedTuple):
    """What the index says of an entry; blank where nobody said."""

    id: str
    made_at: str
    part: str
    view: str
    fibre: str
    request: str


class Ledger:
    """An open ledger; see the module."""

    def __init__(self, path: Path, db: sqlite3.Connection, clock: Clock) -> None:
        self.path = path
        self._db = db
        self._clock = clock
        self._lock = RLock()
        self._is_writing = False
        self._form = self._form_now()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        with self._lock:
            self._db.close()

    def append(self, draft: Draft) -> Entry:
        """Record one draft; see `append_all`."""
        return self.append_all([draft])[0]

    def append_all(self, drafts: Sequence[Draft]) -> tuple[Entry, ...]:
        """Record drafts in their order, all or none.

        What is recorded already, by its id, is not recorded again: its entry is returned.

        Raises
        ------
        UsageError
            If a body is not plain JSON, or ``corrects`` names no entry.
        LedgerError
            If the disk is full or cannot be reached, another writer does not end, or the file was
            deleted or moved: what is written then, nobody finds.
        """
        if not self.path.exists():
            problem = "was deleted or moved, or its disk is gone; put it back, and start again"
            raise LedgerError(str(self.path), problem)
        texts = [canonical(draft.body) for draft in drafts]
        blobs = [row_of(blob) for draft in drafts for blob in draft.blobs]
        with self.writing() as db:
            db.executemany("INSERT OR IGNORE INTO blob VALUES (?, ?, ?)", blobs)
            return tuple(
                self._append(draft, text) for draft, text in zip(drafts, texts, strict=True)
            )

    def entry(self, name: str) -> Entry:
        """Return the entry of an id, or of an id's beginning that no other shares.

        Raises
        ------
        UsageError
            If there is none, or several.
        """
        low = name.strip().lower()
        if not low or set(low) - set("0123456789abcdef"):
            raise UsageError(f"{name!r} is no id; the first digits of one are allowed (0-9, a-f)")
        rows = self.read("SELECT * FROM record WHERE id >= ? AND id < ? LIMIT 2", (low, low + "g"))
        if len(rows) != 1:
            found = "several entries" if rows else "no entry"
            raise UsageError(f"{name}: {found} of this id; satcheck ledger list shows the ids")
        return entry_of(rows[0])

    def find(self, search: Search, limit: int | None = 50) -> tuple[Entry, ...]:
        """Return entries, newest first."""
        return tuple(self.newest(search, limit))

    def newest(self, search: Search, limit: int | None) -> Iterator[Entry]:
        """Yield entries, newest first, few at a time."""
        where, values = search.sql()
        found = self.read(
            f"SELECT seq FROM lookup WHERE {where} "
            "ORDER BY lookup.made_at DESC, lookup.seq DESC LIMIT ?",
            (*values, -1 if limit is None else limit),
        )
        return self._in_order([seq for (seq,) in found])

    def lines(self, search: Search) -> tuple[Line, ...]:
        """Return what the index says of all that a search finds, oldest first; no body is read."""
        where, values = search.sql()
        told = (f"coalesce(lookup.\"{name}\", '')" for name in Line._fields[2:])
        rows = self.read(
            f"SELECT record.id, lookup.made_at, {', '.join(told)} "
            f"FROM lookup JOIN record USING (seq) WHERE {where} "
            "ORDER BY lookup.made_at, lookup.seq",
            values,
        )
        return tuple(Line(*row) for row in rows)

    def corrected_by(self, id_: str) -> str:
        """Return the id of the newest entry that corrects another; blank where none does."""
        rows = self.read(
            "SELECT record.id FROM lookup JOIN record USING (seq) WHERE lookup.corrects = ? "
            "ORDER BY lookup.made_at DESC, lookup.seq DESC LIMIT 1",
            (id_,),
        )
        return str(rows[0][0]) if rows else ""

    def matching(self, search: Search) -> Iterator[Entry]:
        """Yield all that a search finds, in the order in which it was recorded, few at a time."""
        where, values = search.sql()
        found = self.read(f"SELECT seq FROM lookup WHERE {where} ORDER BY seq", values)
        return self._in_order([seq for (seq,) in found])

    def _in_order(self, places: Sequence[int], batch: int = 500) -> Iterator[Entry]:
        """Yield the entries at some places, few at a time."""
        for start in range(0, len(places), batch):
            some = places[start : start + batch]
            marks = ",".join("?" * len(some))
            rows = self.read(f"SELECT * FROM record WHERE seq IN ({marks})", some)
            of_place = {row[0]: row for row in rows}
            yield from (entry_of(of_place[seq]) for seq in some if seq in of_place)

    def entries(self) -> Iterator[Entry]:
        """Yield all entries in the order in which they were recorded."""
        return map(entry_of, self.rows())

    def rows(
        self, until: int = sys.maxsize, batch: int = 500, *, after: int = 0
    ) -> Iterator[RowValues]:
        """Yield the rows of the table ``record`` in their order, few at a time."""
        while rows := self.read(
            "SELECT * FROM record WHERE seq > ? AND seq <= ? ORDER BY seq LIMIT ?",
            (after, until, batch),
        ):
            yield from rows
            after = rows[-1][0]

    def blob(self, sha256: str) -> bytes:
        """Return large content by its sha256; raise UsageError where there is none."""
        blob = self.packed(sha256)
        if blob is None:
            raise UsageError(f"{self.path}: it holds no content {sha256[:12]}")
        return blob.content

    def packed(self, sha256: str) -> Blob | None:
        """Return large content as the file holds it; None where it does not."""
        rows = self.read("SELECT packed, data FROM blob WHERE sha256 = ?", (sha256,))
        return Blob(sha256, bool(rows[0][0]), bytes(rows[0][1])) if rows else None

    def head(self) -> Head:
        """Return the last entry's place and hash."""
        rows = self.read("SELECT seq, hash FROM record ORDER BY seq DESC LIMIT 1")
        return Head(*rows[0]) if rows else Head(0, START)

    def read(self, sql: str, values: Sequence[Any] = ()) -> list[Any]:
        """Return all rows of a query, for the other modules of the ledger."""
        with self._lock, explained(self.path):
            return self._db.execute(sql, values).fetchall()

    def now(self) -> str:
        """Return the time of an entry that is recorded now, so that lists keep their order.

        Where the clock was set back, by up to `SET_BACK`, it is taken to stand since the last
        entry; one that is further behind is believed.
        """
        now = self._clock()
        last = self.read("SELECT made_at FROM record WHERE origin = '' ORDER BY seq DESC LIMIT 1")
        if last:
            next_ = datetime.fromisoformat(last[0][0]) + timedelta(microseconds=1)
            now = next_ if now < next_ <= now + SET_BACK else now
        return timestamp(now)

    def write_copy(self, target: Path) -> None:
        """Write all of the file, as it is at this moment, to a new one; raises sqlite3.Error."""
        with self._lock:
            self._db.execute("VACUUM INTO ?", (str(target),))

    def reindex(self) -> None:
        """Make the index for lists and trends again from the entries.

        Entries stay as they are, so most are read before the only writer's place is taken: what
        came meanwhile is read in it.

        Raises
        ------
        LedgerError
            If an entry is damaged; the old index stays.
        """
        index = NewIndex()
        try:
            index.collect(self.rows())
            with self.writing() as db:
                index.collect(self.rows(after=index.until))
                index.write(db)
        except (ValueError, TypeError, RecursionError):
            problem = f"entry {index.until + 1} is damaged, so the index stays as it is"
            raise LedgerError(
                str(self.path), f"{problem}; satcheck ledger verify without --reindex names it"
            ) from None

    @contextmanager
    def at_one_moment(self) -> Iterator[None]:
        """Read the ledger as it is now, while others may go on writing to it."""
        with self._lock, explained(self.path):
            self._db.execute("BEGIN")
            try:
                yield
            finally:
                self._db.rollback()

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """Hold the only writer's place; what is written in it stays whole or not at all.

        What is looked up in it stays so until it ends. Within it, ``append`` and ``writing`` join
        it: their entries are on the disk when the outermost one has ended.
        """
        with self._lock, explained(self.path):
            if self._is_writing:  # this thread: the lock keeps every other one out
                yield self._db
                return
            self._db.execute("BEGIN IMMEDIATE")
            self._is_writing = True
            try:
                self._check_form()
                yield self._db
                self._db.execute("COMMIT")
            except BaseException:
                self._db.rollback()
                raise
            finally:
                self._is_writing = False

    def _check_form(self) -> None:
        """Refuse to write where a newer version, beside this one, has changed the file since."""
        if (form := self._form_now()) != self._form:
            raise LedgerError(
                str(self.path),
                f"a newer satcheck has given it form {form} meanwhile; nothing was recorded; end "
                "this program and start the newer one",
            )

    def _form_now(self) -> int:
        with explained(self.path):
            return int(self._db.execute("PRAGMA user_version").fetchone()[0])

    def _append(self, draft: Draft, body: str) -> Entry:
        made_at = self.now() if draft.made_at is None else timestamp(_moment(draft.made_at))
        return self.insert(draft.kind, body, made_at, draft.by, draft.corrects)

    def insert(
        self, kind: str, body: str, made_at: str, by: str, corrects: str | None, origin: str = ""
    ) -> Entry:
        """Put an entry at the end of the chain, within ``writing``; ``body`` is canonical."""
        by = storable(by)
        id_ = entry_id(kind, body, made_at, by, corrects)
        known = self._db.execute("SELECT * FROM record WHERE id = ?", (id_,)).fetchone()
        if known:
            return entry_of(known)
        if corrects is not None and not self._knows(corrects):
            raise UsageError(f"{corrects}: no entry of this id; a correction names an entry")
        head = self.head()
        seq = head.seq + 1
        hash_ = chain_hash(head.hash, seq, id_, origin)
        row = (seq, id_, kind, body, made_at, by, corrects, origin, head.hash, hash_)
        self._db.execute(f"INSERT INTO record VALUES ({','.join('?' * len(row))})", row)
        entry = entry_of(row)
        add_to_index(self._db, row, entry.body)
        return entry

    def _knows(self, id_: str) -> bool:
        return bool(self._db.execute("SELECT 1 FROM record WHERE id = ?", (id_,)).fetchone())


def open_ledger(
    path: Path, clock: Clock, *, create: bool = True, patience: float = PATIENCE
) -> Ledger:
    """Open a ledger for writing; it is made where it is missing, unless ``create`` is False.

    ``patience`` is how many seconds to wait for another writer.

    Raises
    ------
    LedgerError
        If it cannot be opened, is no ledger, damaged, locked or of a newer version.
    """
    return Ledger(path, connect(path, create=create, patience=patience), clock)


def read_ledger(path: Path) -> Ledger:
    """Open a ledger for reading only, also on a disk that cannot be written.

    Raises
    ------
    LedgerError
        As `open_ledger`; also for a ledger of an earlier form.
    """
    return Ledger(path, connect_to_read(path), _no_clock)


def _no_clock() -> datetime:
    raise UsageError("this ledger was opened for reading only")


def _moment(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError as error:
        raise UsageError(f"{text!r}: a time such as 2026-03-04T05:06:07Z is allowed") from error


def entry_of(row: RowValues) -> Entry:
    """Return the entry of a row of the table ``record``."""
    seq, id_, kind, body, *rest = row
    return Entry(seq, id_, kind, json.loads(body), *rest)


def row_of(blob: Blob) -> tuple[str, int, bytes]:
    """Return a row of the table of large content."""
    return blob.sha256, int(blob.is_packed), blob.data
