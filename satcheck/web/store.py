"""Where photos and verdicts are kept, behind a small interface: the shop's ledger.

What is kept is on the disk when `Store.keep` returns: only then is an answer shown.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

from satcheck.errors import UsageError
from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import Draft, Entry, Kind
from satcheck.ledger.photos import PreparedPhoto, kept_photo, move_photo, prepare_photo
from satcheck.ledger.recording import stored_inspection
from satcheck.ledger.search import Search
from satcheck.model import Inspection
from satcheck.web.location import without_location


@dataclass(frozen=True, eq=False)
class Listed:
    """One judged photo as the ledger's index has it: a part may have a thousand.

    Attributes
    ----------
    id : str
        The id that the phone gave it, or that of the entry for a photo judged elsewhere.
    entry : str
        Id of the entry in the ledger.
    part, view, fibre : str
        ``view`` is blank where nobody said.
    time : str
        When it was kept, UTC, ISO 8601 ending in Z.
    """

    id: str
    entry: str
    part: str
    view: str
    fibre: str
    time: str


@dataclass(frozen=True, eq=False)
class Kept(Listed):
    """One judged photo as it was kept.

    Attributes
    ----------
    photo : str
        sha256 of the bytes that the phone sent.
    record : mapping
        The inspection, ``satcheck.inspection/1``, without cells.
    """

    photo: str
    record: Mapping[str, Any]


class Store(Protocol):
    """What the pages need of a store. Pictures are "photo", "marks" or "plain"."""

    def prepare(self, photo: Path, name: str, to: Path) -> PreparedPhoto:
        """Prepare a photo to be kept: what of its bytes is kept goes to a file."""

    def keep(self, verdict: Draft, photo: PreparedPhoto | None) -> None:
        """Put a verdict on the disk, with its photo where that is new, both or neither."""

    def get(self, name: str) -> Kept | None:
        """Return what was kept under an id."""

    def current(self, name: str) -> Kept | None:
        """Return what was kept under an id, or what has corrected it last."""

    def inspection(self, listed: Listed) -> Inspection:
        """Return the whole inspection, with its cells and label map."""

    def picture(self, name: str, which: str) -> bytes | None:
        """Return the bytes of the photo, or of a picture made from it."""

    def of_part(self, part: str) -> tuple[Listed, ...]:
        """List what was kept of a part and nothing has corrected, oldest first."""

    def since(self, time: str) -> tuple[Kept, ...]:
        """Return what was kept of all parts from a time (UTC, ISO 8601) on, as `of_part`."""


class LedgerStore:
    """The shop's ledger as a store."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger

    def prepare(self, photo: Path, name: str, to: Path) -> PreparedPhoto:
        """Prepare a photo to be kept: what of its bytes is kept goes to a file."""
        return prepare_photo(photo.read_bytes(), without_location, name, to)

    def keep(self, verdict: Draft, photo: PreparedPhoto | None) -> None:
        """Append photo and verdict together; a photo judged again is in the ledger already."""
        new = [] if photo is None else [move_photo(self._ledger.path, photo)]
        with self._ledger.writing():
            self._ledger.append_all([*new, self._on_the_newest(verdict)])

    def get(self, name: str) -> Kept | None:
        """Return what was kept under an id."""
        entry = self._entry(name)
        return None if entry is None else _kept(entry)

    def current(self, name: str) -> Kept | None:
        """Return what was kept under an id, or what has corrected it last."""
        entry = self._entry(name)
        while entry is not None and (later := self._correction(entry.id)) is not None:
            entry = later
        return None if entry is None else _kept(entry)

    def inspection(self, listed: Listed) -> Inspection:
        """Return the whole inspection, with its cells and label map."""
        return stored_inspection(self._ledger, self._ledger.entry(listed.entry))

    def picture(self, name: str, which: str) -> bytes | None:
        """Return the bytes of the photo, or of a picture made from it."""
        entry = self._entry(name)
        if entry is None:
            return None
        if which == "photo":
            found = self._ledger.find(Search(kind=Kind.PHOTO, photo=entry.body["photo"]), limit=1)
            return kept_photo(self._ledger, found[0]) if found else None
        blobs = entry.body.get("blobs", {})
        sha256 = blobs.get("plain" if which == "plain" else "overlay") or blobs.get("overlay")
        return None if sha256 is None else self._ledger.blob(sha256)

    def of_part(self, part: str) -> tuple[Listed, ...]:
        """List what was kept of a part and nothing has corrected, oldest first."""
        search = Search(kind=Kind.INSPECTION, part=part, current=True)
        return tuple(
            Listed(line.request or line.id, line.id, line.part, line.view, line.fibre, line.made_at)
            for line in self._ledger.lines(search)
        )

    def since(self, time: str) -> tuple[Kept, ...]:
        """Return what was kept of all parts from a time on, as `of_part`."""
        search = Search(kind=Kind.INSPECTION, since=time, current=True)
        return tuple(_kept(entry) for entry in reversed(self._ledger.find(search, limit=None)))

    def _on_the_newest(self, verdict: Draft) -> Draft:
        """Return a verdict that takes the place of what corrects the same one already.

        A page may show an old verdict, or two may be mended at once: one alone stays current.
        """
        while verdict.corrects is not None:
            later = self._correction(verdict.corrects)
            if later is None:
                break
            verdict = replace(verdict, corrects=later.id)
        return verdict

    def _correction(self, corrected: str) -> Entry | None:
        """Return the inspection that corrects an entry; None where none does."""
        search = Search(kind=Kind.INSPECTION, corrects=corrected)
        return next(iter(self._ledger.find(search, limit=1)), None)

    def _entry(self, name: str) -> Entry | None:
        """Return the inspection that a request led to, or that has this id itself."""
        found = self._ledger.find(Search(kind=Kind.INSPECTION, request=name), limit=1)
        if found:
            return found[0]
        try:
            entry = self._ledger.entry(name)
        except UsageError:
            return None
        return entry if entry.kind == Kind.INSPECTION else None


def _kept(entry: Entry) -> Kept:
    body = entry.body
    return Kept(
        id=str(body.get("request") or entry.id),
        entry=entry.id,
        part=str(body.get("part") or ""),
        view=str(body.get("view") or ""),
        fibre=str(body["fibre"]),
        time=entry.made_at,
        photo=str(body["photo"]),
        record=body["inspection"],
    )
