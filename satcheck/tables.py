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
from typing import Any

from satcheck.errors import TableError

LARGEST = 1e9
"""No quantity of a shop is larger, and the squares of larger ones may not be a number."""
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_NO_TEXT = {
    b"PK\x03\x04": "a spreadsheet's own file and no CSV",
    b"\xd0\xcf\x11\xe0": "a spreadsheet's own file and no CSV",
    b"\xff\xfe": "UTF-16 text and not UTF-8",
    b"\xfe\xff": "UTF-16 text and not UTF-8",
}
"""What a file that a spreadsheet saved otherwise begins with."""
_SAVE = "save it as CSV UTF-8, comma-separated"
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""First signs by which a spreadsheet takes text for a formula (OWASP, CSV Injection; from
memory)."""
_SHOWN = 60  # characters of a header that is none


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

    def name(
        self, column: str, spelled: dict[tuple[str, str], str], *, may_be_blank: bool = False
    ) -> str:
        """Return a name; refuse one that differs from an earlier one by upper and lower case only.

        ``spelled`` holds the earlier ones, by column and name in lower case; this one is added.
        """
        name = self.cells[column] if may_be_blank else self.text(column)
        first = spelled.setdefault((column, name.casefold()), name)
        if first != name:
            raise self.refuse(f"{column} {name!r} also stands as {first!r}", "write it one way")
        return name

    def word(self, column: str, words: Collection[str], *, may_be_blank: bool = False) -> str:
        """Return a cell that holds one of some words."""
        value = self.cells[column]
        if value in words or (may_be_blank and not value):
            return value
        allowed = f"allowed are {', '.join(words)}" + (" or blank" if may_be_blank else "")
        raise self.refuse(f"{column} {value!r} is unknown" if value else f"{column} is blank",
                          allowed)  # fmt: skip

    def number(self, column: str, *, low: float = -math.inf) -> float:
        """Return a number above ``low`` and within ±LARGEST; decimal point only, no unit."""
        value = self.cells[column]
        above = "" if low == -math.inf else f" above {low:g}"
        allowed = f"a number{above} with a decimal point is allowed, such as 0.12"
        if not value:
            raise self.refuse(f"{column} is blank", allowed)
        if not _NUMBER.fullmatch(value):
            why = "has a decimal comma" if re.fullmatch(r"[+-]?\d+,\d+", value) else "is no number"
            raise self.refuse(f"{column} {value!r} {why}", allowed)
        number = float(value)
        if not low < number or abs(number) > LARGEST:
            raise self.refuse(f"{column} {value!r} is out of range", allowed)
        return number

    def moment(self, column: str) -> datetime:
        """Return a date, with or without a time of day; no zone."""
        value = self.cells[column]
        try:
            moment = datetime.fromisoformat(value)
        except ValueError:
            moment = None
        if moment is None or moment.tzinfo or "-" not in value:
            problem = f"{column} {value!r} is no such date" if value else f"{column} is blank"
            raise self.refuse(problem, "allowed are 2026-03-31 and 2026-03-31 14:05") from None
        return moment


def read_rows(table: Path, required: Sequence[str], optional: Sequence[str]) -> Iterator[Row]:
    """Yield the rows of a table that are not blank; a row's line is the one it begins on.

    Raises
    ------
    TableError
        Where the file is no such table, naming the line.
    """
    lines = _cells(table)
    names = next(lines, (1, []))[1]
    _check_header(table, names, required, optional)
    for line, cells in lines:
        found = dict(zip(names, cells, strict=False))
        row = Row(str(table), line, {n: found.get(n, "") for n in (*required, *optional)})
        if any(cells[len(names) :]):
            raise row.refuse(
                f"there are more cells than the {len(names)} columns",
                "write decimals with a point, and quote a cell that holds a comma",
            )
        if any(row.cells.values()):
            yield row


def _cells(table: Path) -> Iterator[tuple[int, list[str]]]:
    """Yield the line on which each row begins, and its cells, stripped."""
    reader = csv.reader(io.StringIO(_text(table), newline=""), strict=True)
    while True:
        line = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise TableError(
                str(table), line, f"a row begins here that is not valid CSV ({error})",
                'close every quote, and write one within a quoted cell twice ("")',
            ) from error  # fmt: skip
        yield line, [cell.strip() for cell in cells]


def _text(table: Path) -> str:
    try:
        data = table.read_bytes()
    except OSError as error:
        raise TableError(str(table), 1, "cannot be read", "give a readable CSV file") from error
    for start, word in _NO_TEXT.items():
        if data.startswith(start):
            raise TableError(str(table), 1, f"is {word}", _SAVE)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise TableError(str(table), line, "is not UTF-8 text", _SAVE) from error
    control = _CONTROL.search(text)
    if control:
        line = text.count("\n", 0, control.start()) + 1
        raise TableError(str(table), line, f"holds {control.group()!r}, which is no text", _SAVE)
    return text


def _check_header(
    table: Path, names: list[str], required: Sequence[str], optional: Sequence[str]
) -> None:
    """Refuse a header without a column that is needed, or with one twice or misspelt."""
    known = (*required, *optional)
    header = f"the header is {','.join(known)}, comma-separated"
    if not any(names):
        raise TableError(str(table), 1, "there is no header", header)
    for mark, word in ((";", "semicolons"), ("\t", "tabs")):
        if len(names) == 1 and mark in names[0]:
            raise TableError(str(table), 1, f"the columns are separated by {word}", header)
    for name in known:
        like = [] if name in names else [n for n in names if _is_slip(n, name, known)]
        if like:  # taken for a column of the shop's own, its cells would be lost in silence
            raise TableError(str(table), 1, f"column {like[0]!r} is not {name!r}", header)
        if names.count(name) > 1:
            raise TableError(str(table), 1, f"column {name!r} stands there twice", header)
        if name in required and name not in names:
            there = ",".join(names)
            shown = there if len(there) <= _SHOWN else f"{there[:_SHOWN]}..."
            raise TableError(str(table), 1, f"column {name!r} is missing in {shown!r}", header)


def _is_slip(typed: str, name: str, known: Sequence[str]) -> bool:
    """Return whether a column is meant by one that differs in upper case, or in one slip.

    A slip is a letter too many or too few, or two that changed places; another letter makes
    another word (side, size).
    """
    if typed in known:
        return False
    short, long = sorted((typed.casefold(), name), key=len)
    if len(short) == len(long):
        apart = sum(a != b for a, b in zip(short, long, strict=True))
        return apart <= 2 and sorted(short) == sorted(long)
    return any(long[:k] + long[k + 1 :] == short for k in range(len(long)))


def unformula(value: Any) -> Any:
    """Return a cell that a spreadsheet shows and does not run: text with an apostrophe before."""
    return f"'{value}" if isinstance(value, str) and _is_like_formula(value) else value


def as_typed(cell: str) -> str:
    """Return the text from which `unformula` made a cell."""
    return cell[1:] if cell.startswith("'") and _is_like_formula(cell[1:]) else cell


def _is_like_formula(text: str) -> bool:
    # Text that has an apostrophe of its own there gets another, so that each has one way back.
    return text.lstrip(" '").startswith(_FORMULA)
