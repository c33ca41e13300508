"""Folders of photos, told apart by part: what is there, what is there twice, what is no photo.

The part's number comes from the first of these that names one: the table, the ledger, the card in
the photo, the file's name (NUMBER_VIEW), the sub-folder. A photo that none of them names is a part
of its own. File name and sub-folder are read here; the ledger and the card when it is judged.
"""

import hashlib
import os
import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from satcheck.audit.found import (
    ALONE,
    BY_FOLDER,
    BY_NAME,
    Found,
    Gathered,
    Problem,
    Told,
)
from satcheck.errors import UsageError
from satcheck.model import SIDES, VIEWS
from satcheck.tables import Row, read_rows
from satcheck.watching import HOLDS_NONE, PHOTO_ENDINGS, is_candidate, is_named_as_photo

_VIEW = "|".join(VIEWS)
_NAMED = re.compile(
    rf"(?:(?P<part>.+?)[ _.-]+)?(?P<view>{_VIEW})(?:[ _.-]*\(?\d*\)?)?", re.IGNORECASE
)
"""NUMBER_VIEW, as in 4711_anterior or 4711 lateral 2; or the view alone (own rule)."""

COLUMNS = ("part", "view", "fibre", "distal", "technician", "resin")
"""What a parts table may say of a photo; all may be blank."""


@dataclass
class _Sorting:
    """What has been found so far."""

    problems: list[Problem] = field(default_factory=list)
    seen: dict[str, list[Found]] = field(default_factory=lambda: defaultdict(list))
    """All photos by their sha256, those with the same bytes in the order of their names."""
    others: int = 0


def gather(
    places: Sequence[Path], table: Path | None = None, leave_out: Path | None = None
) -> Gathered:
    """Return the photos in folders, and among files that are named.

    Parameters
    ----------
    places : sequence of Path
        Folders, with all below them, and files.
    table : Path, optional
        CSV with ``photo`` (relative to it) and some of `COLUMNS`.
    leave_out : Path, optional
        The folder of the results, which is not looked into.

    Raises
    ------
    UsageError
        If a place does not exist, is neither folder nor file, or is the folder of the results.
    TableError
        If a row of the table cannot be used.
    """
    told = {} if table is None else read_told(table)
    made, out = _Sorting(), None if leave_out is None else leave_out.resolve()
    if named := next((place for place in places if place.resolve() == out), None):
        raise UsageError(
            f"{named}: these photos lie in the folder of the results; give another with --out"
        )
    absent = dict.fromkeys(told)
    for path, root in _files(places, out, made.problems):
        _sort(made, path, root, told)
        absent.pop(path.resolve(), None)
    photos = tuple(photo for same in made.seen.values() for photo in _one_a_part(same))
    repeated = {
        sha256: tuple(photo.path for photo in same)
        for sha256, same in made.seen.items()
        if len(same) > 1
    }
    return Gathered(
        photos, tuple(dict.fromkeys(made.problems)), repeated, made.others, tuple(absent)
    )


def _one_a_part(same: Sequence[Found]) -> list[Found]:
    """Return the photos to judge of some with the same bytes.

    One for each part that the table names, so that none of them is missing; else the first.
    """
    of_part: dict[str, Found] = {}
    for photo in same:
        if photo.told.part is not None:
            of_part.setdefault(photo.told.part, photo)
    if len(of_part) < 2:
        return [*of_part.values()] or [same[0]]
    return [replace(one, number=k) for k, one in enumerate(of_part.values(), 1)]


def _sort(made: _Sorting, path: Path, root: Path, told: Mapping[Path, Told]) -> None:
    """Put one file where it belongs."""
    try:
        if not is_candidate(path):
            is_named_so = is_named_as_photo(path)
            if is_named_so:
                made.problems.append(Problem(str(path), HOLDS_NONE))
            made.others += not is_named_so
            return
        with path.open("rb") as file:
            sha256 = hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        made.problems.append(Problem(str(path), f"cannot be opened ({error.strerror})"))
        return
    known, part, source = _by_name(told.get(path.resolve(), Told()), path, root)
    made.seen[sha256].append(Found(path, root, sha256, known, part, source))


def _by_name(told: Told, path: Path, root: Path) -> tuple[Told, str, str]:
    """Return what is told, with the view of the file's name, and the part by name or folder."""
    stem = unicodedata.normalize("NFC", path.stem)  # the same name reads alike from every system
    named = _NAMED.fullmatch(stem)
    if named and told.view is None:
        told = replace(told, view=named["view"].lower())
    if named and named["part"]:
        return told, named["part"], BY_NAME
    if path.parent != root:
        return told, unicodedata.normalize("NFC", path.parent.name), BY_FOLDER
    return told, stem, ALONE


def read_told(table: Path) -> Mapping[Path, Told]:
    """Return what a table says of its photos, by their resolved path.

    Raises
    ------
    TableError
        If a row is no such row, names no file, or contradicts an earlier one.
    """
    made: dict[Path, tuple[Row, Told]] = {}
    for row in read_rows(table, ("photo",), COLUMNS):
        path = (table.parent / row.text("photo")).resolve()
        if not path.is_file():
            problem = f"photo {row.cells['photo']} does not exist"
            raise row.refuse(problem, "paths are relative to the table")
        row.word("view", VIEWS, may_be_blank=True)
        row.word("distal", SIDES, may_be_blank=True)
        told = Told(*(row.cells[column] or None for column in COLUMNS))
        first, before = made.setdefault(path, (row, told))
        if before != told:
            raise row.refuse(f"the photo stands in line {first.line} otherwise", "say it once")
    return {path: told for path, (_, told) in made.items()}


def _files(
    places: Sequence[Path], leave_out: Path | None, problems: list[Problem]
) -> Iterator[tuple[Path, Path]]:
    """Yield each file once, and the place it was found under, in the order of names."""
    done: set[Path] = set()
    for place in places:
        if not place.exists():
            raise UsageError(f"{place}: there is no such folder or file; name one that is there")
        if not (place.is_dir() or place.is_file()):
            raise UsageError(f"{place}: this is no regular file; a folder or a photo is allowed")
        walked = _walk(place, leave_out, problems) if place.is_dir() else iter((place,))
        for path in walked:
            real = path.resolve()
            if real not in done:
                done.add(real)
                yield path, place if place.is_dir() else place.parent


def _walk(folder: Path, leave_out: Path | None, problems: list[Problem]) -> Iterator[Path]:
    """Yield files below a folder; a link is followed once, so none goes in circles."""

    def note(error: OSError) -> None:
        problems.append(Problem(str(error.filename), f"cannot be looked into ({error.strerror})"))

    visited: set[Path] = set()
    for at, folders, names in os.walk(folder, followlinks=True, onerror=note):
        real = Path(at).resolve()
        if real in visited or real == leave_out:
            folders.clear()
            continue
        visited.add(real)
        folders[:] = sorted(name for name in folders if not name.startswith((".", "~")))
        for name in sorted(names):
            path = Path(at, name)
            if name.startswith((".", "~")):
                continue
            if path.is_file():
                yield path
            elif path.suffix.lower() in PHOTO_ENDINGS:
                leads_nowhere = path.is_symlink() and not path.exists()
                what = "a link that leads nowhere" if leads_nowhere else "no regular file"
                problems.append(Problem(str(real / name), f"is {what}"))
