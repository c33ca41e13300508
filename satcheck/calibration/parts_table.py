"""PARTS.csv: a shop's labelled parts, one row a photo or a zone of a photo."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from satcheck.errors import TableError
from satcheck.model import SIDES, STATES, THIRDS, VIEWS, ZONES, Label, Side
from satcheck.tables import Row, read_rows

REQUIRED = ("photo", "part", "fibre", "outcome")
OPTIONAL = ("view", "zone", "state", "marks", "distal")
OUTCOMES = ("accepted", "rejected")
ZONE_WORDS: tuple[str, ...] = (*THIRDS, *ZONES)
"""A row may speak of a third as a whole, or of one of the zones of a verdict."""

_RELATIVE = "paths are relative to the table"


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
    first: Row
    zones: dict[str, Label] = field(default_factory=dict)


def read_parts(table: Path) -> tuple[LabelledPhoto, ...]:
    """Read a table of labelled parts.

    Raises
    ------
    TableError
        On the first row that cannot be used, by its line number.
    """
    drafts: dict[Path, _Draft] = {}
    spelled: dict[tuple[str, str], str] = {}
    for row in read_rows(table, REQUIRED, OPTIONAL):
        path = _existing(table, row, "photo")
        draft = drafts.setdefault(path, _Draft(row))
        _same(row, draft.first)
        _check_words(row)
        for column in ("part", "fibre"):  # one part in two spellings would count as two
            row.name(column, spelled)
        zone = row.cells["zone"]
        if zone:
            state = STATES[row.cells["state"]]
            if draft.zones.setdefault(zone, state) is not state:
                raise row.refuse(f"zone {zone} has a second state", "give it one state")
    if not drafts:
        raise TableError(str(table), 1, "holds no row", "give one row a photo or zone")
    return tuple(_photo(table, path, draft) for path, draft in drafts.items())


def _check_words(row: Row) -> None:
    """Refuse a word that the table does not know; of a view nothing else is asked."""
    row.word("view", VIEWS, may_be_blank=True)
    row.word("outcome", OUTCOMES)
    row.word("zone", ZONE_WORDS, may_be_blank=True)
    row.word("state", tuple(STATES), may_be_blank=True)
    row.word("distal", SIDES, may_be_blank=True)
    if bool(row.cells["zone"]) != bool(row.cells["state"]):
        raise row.refuse("zone and state go together", "give both or neither")


def _same(row: Row, first: Row) -> None:
    """Refuse a row that contradicts an earlier row of the same photo."""
    for column in ("part", "fibre", "outcome", "distal", "marks"):
        if row.cells[column] != first.cells[column]:
            raise row.refuse(
                f"{column} {row.cells[column]!r} contradicts line {first.line}",
                f"the rows of one photo have one {column}",
            )


def _existing(table: Path, row: Row, column: str) -> Path:
    value = row.cells[column]
    if not value:
        raise row.refuse(f"{column} is blank", "give a path beside the table")
    try:
        path = (table.parent / value).resolve()
        is_there = path.is_file()
    except (OSError, RuntimeError) as error:  # too long a name; links in a circle
        raise row.refuse(f"{column} {value[:60]!r} cannot be looked up", _RELATIVE) from error
    if not is_there:
        raise row.refuse(f"{column} {value} does not exist", _RELATIVE)
    return path


def _photo(table: Path, path: Path, draft: _Draft) -> LabelledPhoto:
    row, cells = draft.first, draft.first.cells
    distal = next((side for side in SIDES if side == cells["distal"]), None)
    marks = _existing(table, row, "marks") if cells["marks"] else None
    return LabelledPhoto(
        path,
        cells["part"],
        cells["fibre"],
        cells["outcome"] == "accepted",
        distal,
        draft.zones,
        marks,
        row.line,
    )
