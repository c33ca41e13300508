"""Going through the whole chain, so that a changed, lost, added or moved entry shows."""

import hashlib
import json
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import starmap
from typing import Any, NamedTuple

from satcheck.beside import ahead, beside
from satcheck.errors import LedgerError, UsageError
from satcheck.ledger.blob import Blob
from satcheck.ledger.book import Head, Ledger, entry_of
from satcheck.ledger.entries import START, Kind, canonical, chain_hash, entry_id
from satcheck.ledger.index import Body, Counts, Key, RowValues, count, counts_of, lookup_line
from satcheck.ledger.photos import kept_photo

Progress = Callable[[int, int], None]
"""Told how many are done, and of how many."""


@dataclass(frozen=True)
class Finding:
    """What is wrong with an entry."""

    seq: int
    id: str
    problem: str


@dataclass(frozen=True)
class Report:
    """What came of a check.

    Attributes
    ----------
    head : Head
        Place and hash of the last entry. Noted elsewhere, it shows later that nothing before it
        was rewritten: the chain alone cannot show that its end was cut off, or that all of it was
        made anew.
    first : Finding or None
        The first broken entry; what stands behind it cannot be trusted.
    index_agrees : bool
        False where lists may be wrong though the entries are whole: make the index again.
    """

    head: Head
    first: Finding | None
    index_agrees: bool


def verify(
    ledger: Ledger,
    *,
    noted: str | None = None,
    photos: bool = False,
    on_progress: Progress = lambda _done, _total: None,
) -> Report:
    """Check every entry, its large content, and the index, while others may go on writing.

    Parameters
    ----------
    noted : str, optional
        A hash, or its first digits (at least 8), that was noted from an earlier head.
    photos : bool
        Also read each photo that lies beside the ledger.
    on_progress : callable
        Called with how many entries of how many have been found whole, after each.

    Raises
    ------
    UsageError
        If ``noted`` is no hash.
    LedgerError
        If the file itself cannot be read.
    """
    seen = _Noted(noted)
    with ledger.at_one_moment():  # else an entry that comes meanwhile looks like one too many
        return _verify(ledger, seen, noted, on_progress, photos=photos)


def _verify(
    ledger: Ledger, seen: "_Noted", noted: str | None, on_progress: Progress, *, photos: bool
) -> Report:
    head, agrees, total = Head(0, START), True, ledger.head().seq
    corrected = {row[0] for row in ledger.read("SELECT corrects FROM record WHERE corrects > ''")}
    known: set[str] = set()
    tally: dict[Key, Counts] = {}
    for row, body, content_problem in _with_content(ledger, photos=photos):
        problem = _entry_problem(row, body, head) or content_problem
        if problem is None and row[6] is not None and row[6] not in known:
            problem = "it corrects an entry that is not there"
        if problem:
            return Report(head, Finding(row[0], row[1], problem), agrees)
        if row[1] in corrected:
            known.add(row[1])
        head = Head(row[0], row[9])
        seen.look_at(row[9])
        line = lookup_line(row, body, superseded=row[1] in corrected)
        agrees = agrees and _is_indexed(ledger, line)
        if row[1] not in corrected:
            count(tally, line, counts_of(body))
        on_progress(head.seq, total)
    if not seen.found:
        lost = Finding(
            head.seq, "", f"no entry has the noted hash {noted}: the chain was rewritten"
        )
        return Report(head, lost, agrees)
    _check_file(ledger)
    return Report(head, None, agrees and _counts_agree(ledger, head, tally))


def _check_file(ledger: Ledger) -> None:
    """Let SQLite look at its pages: damage may lie where no entry does."""
    (found,) = ledger.read("PRAGMA integrity_check(1)")[0]
    if found != "ok":
        what = " ".join(str(found).split())
        raise LedgerError(str(ledger.path), f"its file is damaged ({what}); go back to a backup")


class _Noted:
    """Whether a noted hash has been met."""

    def __init__(self, noted: str | None) -> None:
        self.start = (noted or "").strip().lower()
        if noted is not None and (len(self.start) < 8 or set(self.start) - set("0123456789abcdef")):
            raise UsageError(f"{noted!r} is no hash; the first 8 digits or more of one are allowed")
        self.found = noted is None or self.start == START  # the last hash of an empty ledger

    def look_at(self, hash_: str) -> None:
        self.found = self.found or hash_.startswith(self.start)


def _entry_problem(row: RowValues, said: Any, before: Head) -> str | None:
    """Return what is wrong with an entry's own columns, from what stands before it."""
    seq, id_, kind, body, made_at, by, corrects, origin, previous, hash_ = row
    if seq != before.seq + 1:
        return f"entry {before.seq + 1} is missing before it"
    if entry_id(kind, body, made_at, by, corrects) != id_:
        return "its content was changed"
    if previous != before.hash:
        return "it does not follow the entry before it"
    if chain_hash(previous, seq, id_, origin) != hash_:
        return "its hash was changed"
    if not isinstance(said, dict):
        return "its content is no JSON object"
    return _origin_problem(id_, origin)


def _parsed(text: str) -> Any:
    """Return what a body says; None where it is no JSON."""
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return None


def _origin_problem(id_: str, origin: str) -> str | None:
    """Return what is wrong with the place that a merged entry had in the ledger it came from."""
    while origin:
        try:
            was = json.loads(origin)
            right = chain_hash(was["previous_hash"], was["seq"], id_, was["origin"])
            if right != was["hash"]:
                return "its origin was changed"
            origin = was["origin"]
        except (ValueError, LookupError, TypeError):
            return "its origin is damaged"
    return None


def _with_content(ledger: Ledger, *, photos: bool) -> Iterator[tuple[RowValues, Any, str | None]]:
    """Yield each entry, its body, and what is wrong with its large content and its photo.

    Unpacked and hashed on a second core, where most of the time goes, while the next is read here.
    """

    def find(read: _Read) -> tuple[_Read, str | None]:
        problem = next(filter(None, starmap(_blob_problem, read.blobs)), None)
        is_photo = photos and read.row[2] == Kind.PHOTO and isinstance(read.body, dict)
        return read, problem or (_photo_problem(ledger, read.row) if is_photo else None)

    with beside() as second:
        for found in ahead(second, find, (_read(ledger, row) for row in ledger.rows())):
            (row, body, _), problem = found.result()
            yield row, body, problem


class _Read(NamedTuple):
    """An entry as it is read, with the large content that it names; None where that is missing."""

    row: RowValues
    body: Any
    blobs: list[tuple[str, str, Blob | None]]


def _read(ledger: Ledger, row: RowValues) -> _Read:
    body = _parsed(row[3])
    named = blobs_of(body) if isinstance(body, dict) else ()
    return _Read(row, body, [(name, sha256, ledger.packed(sha256)) for name, sha256 in named])


def _blob_problem(name: str, sha256: str, blob: Blob | None) -> str | None:
    if blob is None:
        return f"its {name} is missing"
    try:
        content = blob.content
    except zlib.error:
        return f"its {name} is damaged"
    is_right = hashlib.sha256(content).hexdigest() == sha256
    return None if is_right else f"its {name} was changed"


def _photo_problem(ledger: Ledger, row: RowValues) -> str | None:
    try:
        kept_photo(ledger, entry_of(row))
    except (LedgerError, UsageError, LookupError) as error:
        return f"its photo: {error}"
    return None


def blobs_of(body: Body) -> Iterator[tuple[str, str]]:
    """Yield name and sha256 of the large content that an entry's body names."""
    blobs = body.get("blobs")
    if isinstance(blobs, dict):
        yield from ((str(name), str(sha256)) for name, sha256 in sorted(blobs.items()))


def _is_indexed(ledger: Ledger, line: tuple[Any, ...]) -> bool:
    return ledger.read("SELECT * FROM lookup WHERE seq = ?", (line[0],)) == [line]


def _counts_agree(ledger: Ledger, head: Head, tally: Mapping[Key, Counts]) -> bool:
    """Return whether the index has no entry too many, and trends count what the entries say."""
    (entries,) = ledger.read("SELECT count(*) FROM lookup")[0]
    counted = {tuple(line[:6]): tuple(line[6:]) for line in ledger.read("SELECT * FROM tally")}
    return entries == head.seq and tally == {
        key: counts for key, counts in counted.items() if any(counts)
    }


def as_origin(row: RowValues) -> str:
    """Return the place and hash of an entry, for the ledger that it is merged into."""
    return canonical({"seq": row[0], "previous_hash": row[8], "hash": row[9], "origin": row[7]})
