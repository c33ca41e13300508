"""Entries as a table for a spreadsheet, and as JSON for programs."""

import csv
import io
import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from typing import Any

from satcheck.ledger.entries import Entry
from satcheck.ledger.index import LOOKED_UP

COLUMNS = (
    *("seq", "id", "kind", "made_at", "by", "corrects"),
    *LOOKED_UP,
    *("evenness", "share_judged", "text"),
)

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""First signs by which a spreadsheet takes text for a formula (OWASP, CSV Injection; from
memory)."""


def csv_lines(entries: Iterable[Entry]) -> Iterator[str]:
    """Yield the lines of a CSV table, header first; text is never taken for a formula."""
    yield _line(COLUMNS)
    for entry in entries:
        values = _values(entry)
        yield _line([values.get(column) for column in COLUMNS])


def json_lines(entries: Iterable[Entry]) -> Iterator[str]:
    """Yield the lines of one JSON array of whole entries."""
    yield "["
    before = None
    for entry in entries:
        if before is not None:
            yield f"{before},"
        before = json.dumps(asdict(entry))
    if before is not None:
        yield before
    yield "]"


def unformula(value: Any) -> Any:
    """Return a cell that a spreadsheet shows and does not run: text with an apostrophe before."""
    is_text = isinstance(value, str)
    return f"'{value}" if is_text and value.lstrip(" ").startswith(_FORMULA) else value


def _values(entry: Entry) -> dict[str, Any]:
    body = entry.body
    inspection = body.get("inspection")
    judged = inspection if isinstance(inspection, dict) else {}
    evenness = judged.get("evenness")
    return {
        **{key: body.get(key) for key in (*LOOKED_UP, "text")},
        **{key: getattr(entry, key) for key in COLUMNS[:6]},
        "evenness": evenness.get("value") if isinstance(evenness, dict) else None,
        "share_judged": judged.get("share_judged"),
    }


def _line(cells: Iterable[Any]) -> str:
    stream = io.StringIO()
    csv.writer(stream, lineterminator="").writerow([unformula(cell) for cell in cells])
    return stream.getvalue()
