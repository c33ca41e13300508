"""PARTS.csv: a shop's labelled parts, one row a photo or a zone of a photo."""

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from satcheck.errors import TableError
from satcheck.model import SIDES, STATES, THIRDS, ZONES, Label, Side

REQUIRED = ("photo", "part", "fibre", "outcome")
OPTIONAL = ("view", "zone", "state", "marks", "distal")
OUTCOMES = ("accepted", "rejected")
ZONE_WORDS: tuple[str, ...] = (*THIRDS, *ZONES)
"""A row may speak of a third as a whole, or of one of the zones of a verdict."""


@dataclass(frozen=True)
class LabelledPhoto:
    """One photo and all that the table says of it."""

    path: Path
    part: str
    fibre: str
    is_accepted: bool
    distal: Side | None
    zones: Mapping[str, Label]
    marks: Path | None
    line: int
    """Of its first row."""


@dataclass
class _Draft:
    first: dict[str, str]
    line: int
    zones: dict[str, Label] = field(default_factory=dict)


def read_parts(table: Path) -> tuple[LabelledPhoto, ...]:
    """Read a table of labelled parts.

    Raises
    ------
    TableError
        On the first row that cannot be used, by its line number.
    """
    drafts: dict[Path, _Draft] = {}
    for line, row in _rows(table):
        path = _existing(table, line, row["photo"], "photo")
        draft = drafts.setdefault(path, _Draft(row, line))
        _same(table, line, row, draft)
        _check_words(table, line, row)
        if row["zone"]:
            state = STATES[row["state"]]
            if draft.zones.setdefault(row["zone"], state) is not state:
                raise TableError(
                    str(table), line, f"zone {row['zone']} has a second state", "give it one state"
                )
    if not drafts:
        raise TableError(str(table), 1, "holds no row", "give one row a photo or zone")
    return tuple(_photo(table, path, draft) for path, draft in drafts.items())


def _rows(table: Path) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield line numbers and rows, with every known column present and stripped."""
    try:
        with table.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file, strict=True)
            names = [str(n).strip() for n in reader.fieldnames or ()]
            _check_header(table, names)
            reader.fieldnames = names
            for row in reader:
                known = {n: (row.get(n) or "").strip() for n in (*REQUIRED, *OPTIONAL)}
                if any(known.values()):
                    yield reader.line_num, known
    except OSError as error:
        raise TableError(str(table), 1, "cannot be read", "give a readable CSV file") from error
    except UnicodeDecodeError as error:
        raise TableError(str(table), 1, "is not UTF-8 text", "save it as CSV UTF-8") from error
    except csv.Error as error:
        raise TableError(
            str(table), reader.line_num, f"is not valid CSV ({error})", "save it as CSV"
        ) from error


def _check_header(table: Path, names: list[str]) -> None:
    """Refuse a header without a column that is needed, or with one twice."""
    header = f"the header is {','.join((*REQUIRED, *OPTIONAL))}, comma-separated"
    for mark, word in ((";", "semicolons"), ("\t", "tabs")):
        if len(names) == 1 and mark in names[0]:
            raise TableError(str(table), 1, f"the columns are separated by {word}", header)
    for name in (*REQUIRED, *OPTIONAL):
        if names.count(name) > 1:
            raise TableError(str(table), 1, f"column {name!r} stands there twice", header)
        if name in REQUIRED and name not in names:
            raise TableError(str(table), 1, f"column {name!r} is missing", header)


def _check_words(table: Path, line: int, row: Mapping[str, str]) -> None:
    """Refuse a word that the table does not know."""
    known = {
        "outcome": (OUTCOMES, False),
        "zone": (ZONE_WORDS, True),
        "state": (tuple(STATES), True),
        "distal": (SIDES, True),
    }
    for column, (words, may_be_blank) in known.items():
        value = row[column]
        if value not in words and not (may_be_blank and not value):
            allowed = f"allowed are {', '.join(words)}" + (" or blank" if may_be_blank else "")
            raise TableError(str(table), line, f"{column} {value!r} is unknown", allowed)
    for column in ("part", "fibre"):
        if not row[column]:
            raise TableError(str(table), line, f"{column} is blank", f"name the {column}")
    if bool(row["zone"]) != bool(row["state"]):
        raise TableError(str(table), line, "zone and state go together", "give both or neither")


def _same(table: Path, line: int, row: Mapping[str, str], draft: _Draft) -> None:
    """Refuse a row that contradicts an earlier row of the same photo."""
    for column in ("part", "fibre", "outcome", "distal", "marks"):
        if row[column] != draft.first[column]:
            raise TableError(
                str(table),
                line,
                f"{column} {row[column]!r} contradicts line {draft.line}",
                f"the rows of one photo have one {column}",
            )


def _existing(table: Path, line: int, value: str, column: str) -> Path:
    if not value:
        raise TableError(str(table), line, f"{column} is blank", "give a path beside the table")
    path = (table.parent / value).resolve()
    if not path.is_file():
        raise TableError(
            str(table), line, f"{column} {value} does not exist", "paths are relative to the table"
        )
    return path


def _photo(table: Path, path: Path, draft: _Draft) -> LabelledPhoto:
    row = draft.first
    distal = next((side for side in SIDES if side == row["distal"]), None)
    marks = _existing(table, draft.line, row["marks"], "marks") if row["marks"] else None
    return LabelledPhoto(
        path,
        row["part"],
        row["fibre"],
        row["outcome"] == "accepted",
        distal,
        draft.zones,
        marks,
        draft.line,
    )
