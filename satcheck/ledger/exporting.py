"""Entries and their trend as a table for a spreadsheet, and as JSON for programs."""

import csv
import io
import json
import os
import secrets
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

from satcheck.errors import LedgerError, UsageError
from satcheck.ledger.entries import Entry
from satcheck.ledger.index import LOOKED_UP
from satcheck.ledger.trend import VERDICTS, Point
from satcheck.tables import unformula

COLUMNS = (
    *("seq", "id", "kind", "made_at", "by", "corrects"),
    *LOOKED_UP,
    *("evenness", "share_judged", "text", "corrected_by"),
)
CorrectedBy = Callable[[str], str]
"""Returns the id of what corrects an entry, from its id, blank where nothing does: it may itself
be left out of what is exported, and the entry must not pass for one that counts."""
TREND_COLUMNS = (
    *("period", "group", "inspections"),
    *(verdict.replace(" ", "_") for verdict in VERDICTS),
    *("share_judged", "evenness"),
)


def csv_lines(entries: Iterable[Entry], corrected_by: CorrectedBy) -> Iterator[str]:
    """Yield the lines of a CSV table, header first; text is never taken for a formula."""
    yield _line(COLUMNS)
    for entry in entries:
        values = _values(entry) | {"corrected_by": corrected_by(entry.id)}
        yield _line([values.get(column) for column in COLUMNS])


def json_lines(entries: Iterable[Entry], corrected_by: CorrectedBy) -> Iterator[str]:
    """Yield the lines of one JSON array of whole entries."""
    yield "["
    before = None
    for entry in entries:
        if before is not None:
            yield f"{before},"
        before = json.dumps(vars(entry) | {"corrected_by": corrected_by(entry.id) or None})
    if before is not None:
        yield before
    yield "]"


def json_text(entry: Entry) -> str:
    """Return one whole entry as JSON to read."""
    return json.dumps(vars(entry), indent=1)


def trend_csv_lines(points: Iterable[Point]) -> Iterator[str]:
    """Yield the lines of a CSV table of a trend, header first; as `csv_lines`."""
    yield _line(TREND_COLUMNS)
    for point in points:
        counts = (point.verdicts.get(verdict, 0) for verdict in VERDICTS)
        cells = (point.period, point.group, point.inspections, *counts)
        yield _line([*cells, point.share_judged, point.evenness])


def trend_json_text(points: Iterable[Point]) -> str:
    """Return a trend as one JSON array of points."""
    return json.dumps([asdict(point) for point in points], indent=1)


def write_export(entries: Iterable[Entry], corrected_by: CorrectedBy, path: Path) -> None:
    """Write a table or an array to a new file, as its name ends; whole or not at all.

    Raises
    ------
    UsageError
        If the name ends otherwise than in .csv or .json, or there is such a file already.
    LedgerError
        If it cannot be written.
    """
    lines = {".csv": csv_lines, ".json": json_lines}.get(path.suffix.lower())
    if lines is None:
        raise UsageError(f"{path}: the name of an export ends in .csv or .json")
    if path.exists():
        raise UsageError(f"{path}: this file is there already; give the export a new name")
    encoding = "utf-8-sig" if lines is csv_lines else "utf-8"  # spreadsheets ask for the mark
    part = path.with_name(f".{path.name[:40]}.{secrets.token_hex(4)}.part")
    try:
        with part.open("x", encoding=encoding, errors="backslashreplace", newline="\n") as file:
            file.writelines(f"{line}\n" for line in lines(entries, corrected_by))
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        raise LedgerError(str(path), f"cannot be written ({error.strerror or error})") from error
    finally:
        part.unlink(missing_ok=True)


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
