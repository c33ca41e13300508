"""The index of a ledger, for fast lists and trends: filled with each entry, or made again.

Tallies are whole numbers (parts per million), so that they are the same in whatever order the
entries came.
"""

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from satcheck.ledger.entries import Kind, storable

LOOKED_UP = (
    "part",
    "view",
    "series",
    "photo",
    "calibration",
    "fibre",
    "resin",
    "verdict",
    "request",
)
"""Keys of a body that are searched by, where their value is text."""

RowValues = Sequence[Any]
"""An entry as it stands in the table ``record``, in the order of its columns."""

Body = Mapping[str, Any]
"""What an entry says, as its text is read once."""
Key = tuple[str, ...]
"""What is counted together: period, technician, resin, calibration, fibre, verdict."""
Counts = tuple[int, ...]
"""Inspections, their share judged, how many have an evenness, and that (parts per million)."""


def add_to_index(db: sqlite3.Connection, row: RowValues, body: Body) -> None:
    """Index an entry that was just recorded, within the same transaction."""
    _supersede(db, row[6])
    line = lookup_line(row, body, superseded=False)
    _insert_lines(db, [line])
    _tally(db, line, body, 1)


class NewIndex:
    """The index made again: collected while others record, then written at once."""

    def __init__(self) -> None:
        self.until = 0
        """Place of the last entry that was collected."""
        self._found: list[tuple[str, tuple[Any, ...], Counts]] = []
        self._corrected: set[str] = set()

    def collect(self, rows: Iterable[RowValues]) -> None:
        """Take the entries that follow the last one.

        Raises
        ------
        ValueError, TypeError
            If what an entry says is no JSON, or no object: the file was tampered with.
        """
        for row in rows:
            body = json.loads(row[3])
            if not isinstance(body, dict):
                raise TypeError(f"entry {row[0]} is no JSON object")
            line = lookup_line(row, body, superseded=False)
            self._found.append((row[1], line, counts_of(body)))
            self.until = row[0]
            if row[6] is not None:
                self._corrected.add(row[6])

    def write(self, db: sqlite3.Connection) -> None:
        """Put it in the place of the old one, within a transaction; all must be collected."""
        tally: dict[Key, Counts] = {}
        for id_, line, counts in self._found:
            if id_ not in self._corrected:
                count(tally, line, counts)
        db.execute("DELETE FROM lookup")
        db.execute("DELETE FROM tally")
        _insert_lines(db, (self._marked(id_, line) for id_, line, _ in self._found))
        db.executemany(_UPSERT, ((*key, *counts) for key, counts in tally.items()))

    def _marked(self, id_: str, line: tuple[Any, ...]) -> tuple[Any, ...]:
        return (*line[:5], int(id_ in self._corrected), *line[6:])


def lookup_line(row: RowValues, body: Body, *, superseded: bool) -> tuple[Any, ...]:
    """Return what the index holds of an entry."""
    seq, _, kind, _, made_at, by, corrects = row[:7]
    values = (body.get(key) for key in LOOKED_UP)
    texts = (storable(value) if isinstance(value, str) else None for value in values)
    return (seq, kind, made_at, by, corrects, int(superseded), *texts)


def _insert_lines(db: sqlite3.Connection, lines: Iterable[tuple[Any, ...]]) -> None:
    marks = ",".join("?" * (6 + len(LOOKED_UP)))
    db.executemany(f"INSERT INTO lookup VALUES ({marks})", lines)


def _supersede(db: sqlite3.Connection, corrected: str | None) -> None:
    """Take what is corrected out of what is current and out of the tally, once."""
    if corrected is None:
        return
    old = db.execute("SELECT * FROM record WHERE id = ?", (corrected,)).fetchone()
    if old is None:  # only in a ledger that was tampered with
        return
    changed = db.execute(
        "UPDATE lookup SET superseded = 1 WHERE seq = ? AND NOT superseded", (old[0],)
    )
    if changed.rowcount:
        body = json.loads(old[3])
        _tally(db, lookup_line(old, body, superseded=True), body, -1)


def _tally(db: sqlite3.Connection, line: Sequence[Any], body: Body, sign: int) -> None:
    """Count an inspection; -1 takes it out again."""
    counts = tuple(sign * number for number in counts_of(body))
    for key in tally_keys(line):
        db.execute(_UPSERT, (*key, *counts))


def count(tally: dict[Key, Counts], line: Sequence[Any], counts: Counts) -> None:
    """Add an inspection to what was counted in memory, from its lookup line and counts."""
    for key in tally_keys(line):
        had = tally.get(key, (0,) * len(counts))
        tally[key] = tuple(map(sum, zip(had, counts, strict=True)))


def tally_keys(line: Sequence[Any]) -> Iterator[Key]:
    """Yield the keys of an inspection's month and ISO week, in UTC; nothing for another entry."""
    _, kind, made_at, by = line[:4]
    if kind != Kind.INSPECTION:
        return
    key = (str(by), *(line[6 + LOOKED_UP.index(name)] or "" for name in _TALLIED))
    year, week, _ = datetime.fromisoformat(made_at).isocalendar()
    for period in (made_at[:7], f"{year:04}-W{week:02}"):
        yield (period, *key)


def counts_of(body: Body) -> Counts:
    """Return what an inspection adds to its tally."""
    judged, evenness = _measures(body)
    return (1, judged, int(evenness is not None), evenness or 0)


_TALLIED = ("resin", "calibration", "fibre", "verdict")
_UPSERT = """INSERT INTO tally VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
    ON CONFLICT DO UPDATE SET
        inspections = inspections + excluded.inspections,
        judged_ppm = judged_ppm + excluded.judged_ppm,
        with_evenness = with_evenness + excluded.with_evenness,
        evenness_ppm = evenness_ppm + excluded.evenness_ppm"""


def _measures(body: Body) -> tuple[int, int | None]:
    """Return the share judged and the evenness of an inspection, in parts per million."""
    inspection = body.get("inspection")
    if not isinstance(inspection, Mapping):
        return 0, None
    judged, evenness = inspection.get("share_judged"), inspection.get("evenness")
    even = evenness.get("value") if isinstance(evenness, Mapping) else None
    return _ppm(judged) or 0, _ppm(even)


def _ppm(value: Any) -> int | None:
    """Return a share in parts per million; None where it is no share."""
    is_share = isinstance(value, int | float) and 0 <= value <= 1
    return round(1e6 * value) if is_share else None
