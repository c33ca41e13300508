"""The index of a ledger, for fast lists and trends: filled with each entry, or made again.

Tallies are whole numbers (parts per million), so that they are the same in whatever order the
entries came.
"""

import json
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
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


def add_to_index(db: sqlite3.Connection, row: RowValues) -> None:
    """Index an entry that was just recorded, within the same transaction."""
    _supersede(db, row[6])
    line = lookup_line(row, superseded=False)
    db.execute(f"INSERT INTO lookup VALUES ({','.join('?' * len(line))})", line)
    _tally(db, row, 1)


def rebuild_index(db: sqlite3.Connection) -> None:
    """Make the whole index again from the records, within a transaction."""
    db.execute("DELETE FROM lookup")
    db.execute("DELETE FROM tally")
    for row in db.execute("SELECT * FROM record ORDER BY seq"):
        add_to_index(db, row)


def lookup_line(row: RowValues, *, superseded: bool) -> tuple[Any, ...]:
    """Return what the index holds of an entry."""
    seq, _, kind, text, made_at, by, corrects = row[:7]
    body = json.loads(text)  # always an object: a draft's body is a mapping
    values = (body.get(key) for key in LOOKED_UP)
    texts = (storable(value) if isinstance(value, str) else None for value in values)
    return (seq, kind, made_at, by, corrects, int(superseded), *texts)


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
        _tally(db, old, -1)


def _tally(db: sqlite3.Connection, row: RowValues, sign: int) -> None:
    """Count an inspection in its month and its ISO week, in UTC; -1 takes it out again."""
    for key, counts in tally_lines(row):
        db.execute(_UPSERT, (*key, *(sign * count for count in counts)))


def tally_lines(row: RowValues) -> Iterator[tuple[tuple[str, ...], tuple[int, ...]]]:
    """Yield key and counts of an inspection as it is tallied; nothing for another entry."""
    if row[2] != Kind.INSPECTION:
        return
    line = lookup_line(row, superseded=False)
    key = (str(row[5]), *(line[6 + LOOKED_UP.index(k)] or "" for k in _TALLIED))
    judged, evenness = _measures(json.loads(row[3]))
    counts = (1, judged, int(evenness is not None), evenness or 0)
    year, week, _ = datetime.fromisoformat(row[4]).isocalendar()
    for period in (row[4][:7], f"{year:04}-W{week:02}"):
        yield (period, *key), counts


_TALLIED = ("resin", "calibration", "fibre", "verdict")
_UPSERT = """INSERT INTO tally VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
    ON CONFLICT DO UPDATE SET
        inspections = inspections + excluded.inspections,
        judged_ppm = judged_ppm + excluded.judged_ppm,
        with_evenness = with_evenness + excluded.with_evenness,
        evenness_ppm = evenness_ppm + excluded.evenness_ppm"""


def _measures(body: Mapping[str, Any]) -> tuple[int, int | None]:
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
