"""Tables as a shop writes them: CSV read strictly, so that a slip is named and never guessed at.

One form is read: UTF-8, a header of column names, commas. Spreadsheets' habits that change nothing
are allowed: a byte order mark, quotes, either end of line, blank rows, empty cells at the end,
columns in any order, and columns of the shop's own.
"""

import csv
import io
import math
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from satcheck.errors import TableError

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


@dataclass(frozen=True)
class Row:
    """One row of a table: its known columns, stripped, blank where left out."""

    table: str
    line: int
    cells: Mapping[str, str]

    def refuse(self, problem: str, allowed: str) -> TableError:
        """Return the error that names this row; the caller raises it."""
        return TableError(self.table, self.line, problem, allowed)

    def text(self, column: str) -> str:
        """Return a cell that may not be blank."""
        if not self.cells[column]:
            raise self.refuse(f"{column} is blank", f"name the {column}")
        return self.cells[column]

    def word(self, column: str, words: Collection[str], *, may_be_blank: bool = False) -> str:
        """Return a cell that holds one of some words."""
        value = self.cells[column]
        if value in words or (may_be_blank and not value):
            return value
        allowed = f"allowed are {', '.join(words)}" + (" or blank" if may_be_blank else "")
        raise self.refuse(f"{column} {value!r} is unknown", allowed)

    def number(self, column: str, *, low: float = -math.inf) -> float:
        """Return a finite number, above ``low``; decimal point only, no unit."""
        value = self.cells[column]
        above = "" if low == -math.inf else f" above {low:g}"
        allowed = f"a number{above} with a decimal point is allowed, such as 0.12"
        if not value:
            raise self.refuse(f"{column} is blank", allowed)
        if not _NUMBER.fullmatch(value):
            why = "has a decimal comma" if re.fullmatch(r"[+-]?\d+,\d+", value) else "is no number"
            raise self.refuse(f"{column} {value!r} {why}", allowed)
        number = float(value)
        if not low < number < math.inf:
            raise self.refuse(f"{column} {value!r} is out of range", allowed)
        return number

    def moment(self, column: str) -> datetime:
        """Return a date, with or without a time of day; no zone."""
        try:
            moment = datetime.fromisoformat(self.cells[column])
        except ValueError:
            moment = None
        if moment is None or moment.tzinfo or "-" not in self.cells[column]:
            raise self.refuse(
                f"{column} {self.cells[column]!r} is no such date",
                "allowed are 2026-03-31 and 2026-03-31 14:05",
            ) from None
        return moment


def read_rows(table: Path, required: Sequence[str], optional: Sequence[str]) -> Iterator[Row]:
    """Yield the rows of a table that are not blank.

    Raises
    ------
    TableError
        Where the file is no such table, naming the line.
    """
    reader = csv.DictReader(io.StringIO(_text(table), newline=""), strict=True)
    try:
        names = [str(name).strip() for name in reader.fieldnames or ()]
        _check_header(table, names, required, optional)
        reader.fieldnames = names
        for cells in reader:
            known = {name: (cells.get(name) or "").strip() for name in (*required, *optional)}
            row = Row(str(table), reader.line_num, known)
            if any(cell.strip() for cell in cells.get(None) or ()):
                raise row.refuse(
                    f"there are more cells than the {len(names)} columns",
                    "write decimals with a point, and quote a cell that holds a comma",
                )
            if any(known.values()):
                yield row
    except csv.Error as error:
        raise TableError(
            str(table), max(reader.line_num, 1), f"is not valid CSV ({error})", "save it as CSV"
        ) from error


def _text(table: Path) -> str:
    try:
        data = table.read_bytes()
    except OSError as error:
        raise TableError(str(table), 1, "cannot be read", "give a readable CSV file") from error
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise TableError(
            str(table), line, "is not UTF-8 text", "save it as CSV UTF-8, comma-separated"
        ) from error


def _check_header(
    table: Path, names: list[str], required: Sequence[str], optional: Sequence[str]
) -> None:
    """Refuse a header without a column that is needed, or with one twice."""
    header = f"the header is {','.join((*required, *optional))}, comma-separated"
    for mark, word in ((";", "semicolons"), ("\t", "tabs")):
        if len(names) == 1 and mark in names[0]:
            raise TableError(str(table), 1, f"the columns are separated by {word}", header)
    for name in (*required, *optional):
        if names.count(name) > 1:
            raise TableError(str(table), 1, f"column {name!r} stands there twice", header)
        if name in required and name not in names:
            raise TableError(str(table), 1, f"column {name!r} is missing", header)
