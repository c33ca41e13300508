"""A ledger copied while others write to it, and one shop's ledger merged into another's."""

import json
import os
import secrets
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from satcheck.errors import LedgerError, UsageError
from satcheck.files import write_whole
from satcheck.ledger.book import Head, Ledger
from satcheck.ledger.entries import Kind, canonical
from satcheck.ledger.opening import explained
from satcheck.ledger.photos import photo_folder
from satcheck.ledger.verifying import as_origin, blobs_of, verify

STEP = 20
"""Contents that are copied at once: some 10 MB, less than a second."""


@dataclass(frozen=True)
class Merged:
    """What came of a merge."""

    added: int
    known: int
    """Entries that were there already."""
    photos: int
    """Photos copied."""
    disputed: tuple[str, ...] = ()
    """Ids of entries that each ledger corrected in its own way: both corrections count now."""


def backup(ledger: Ledger, target: Path) -> int:
    """Copy a ledger, as it is at one moment, into a new file, and its photos beside that.

    Others may read and write meanwhile. The copy is whole or not there. Returns how many photos
    were copied; those that lie there already are not copied again.

    Raises
    ------
    UsageError
        If there is such a file already.
    LedgerError
        If it cannot be written.
    """
    if target.exists():
        raise UsageError(f"{target}: this file is there already; give the backup a new name")
    part = target.with_name(f".{target.name[:40]}.{secrets.token_hex(4)}.part")
    try:
        with explained(target):
            # Photos first: the copy then names none that is not there.
            copied = _copy_photos(ledger.path, target)
            ledger.write_copy(part)
            with part.open("rb+") as file:
                os.fsync(file.fileno())
            part.replace(target)
            _sync_folder(target.parent)
    finally:
        part.unlink(missing_ok=True)
    return copied


def merge(target: Ledger, source: Ledger, by: str = "") -> Merged:
    """Take the entries of another ledger that this one lacks, all or none; ids stay.

    What is large is copied before; a merge that was stopped leaves the ledger whole, and the next
    one goes on with what is lacking. Others may record until the entries themselves are taken.

    Each merged entry notes the place and hash that it had, so that `verify` still shows whether
    it is what the other ledger held. The merge itself is recorded with the other's head.

    Raises
    ------
    UsageError
        If both are the same file, or the other's chain is broken.
    LedgerError
        If one cannot be read or written.
    """
    if target.path.resolve() == source.path.resolve():
        raise UsageError(f"{source.path}: a ledger cannot be merged into itself")
    report = verify(source)
    if report.first:
        raise UsageError(
            f"{source.path}: entry {report.first.seq} is broken ({report.first.problem}); "
            "nothing was merged; a ledger that satcheck ledger verify finds whole is allowed"
        )
    photos = _copy_photos(source.path, target.path)
    _copy_content(target, source, report.head.seq)
    with target.writing():
        start, before = target.head().seq, {*_disputed(target), *_disputed(source)}
        for row in source.rows(until=report.head.seq):
            _, _, kind, body, made_at, by_whom, corrects, *_ = row
            target.insert(kind, body, made_at, by_whom, corrects, as_origin(row))
        added = target.head().seq - start
        known = report.head.seq - added
        if added:
            _note_merge(target, source, report.head, added, by)
        disputed = tuple(id_ for id_ in _disputed(target) if id_ not in before)
    return Merged(added, known, photos, disputed)


def _copy_content(target: Ledger, source: Ledger, until: int) -> None:
    """Copy the large content that a ledger lacks, a few contents at a time.

    Gigabytes in one step would keep everybody else from recording. A content is named by its
    hash: one that no entry names, since the merge was stopped, is harmless and is not copied again.
    """
    rows = source.rows(until=until)
    named = (sha256 for row in rows for _, sha256 in blobs_of(json.loads(row[3])))
    while some := set(islice(named, STEP)):
        lacking = [sha256 for sha256 in some if not _has_content(target, sha256)]
        if not lacking:
            continue
        marks = ",".join("?" * len(lacking))
        blobs = source.read(f"SELECT * FROM blob WHERE sha256 IN ({marks})", lacking)
        if len(blobs) != len(lacking):
            problem = "lost content while it was merged; no entry was taken"
            raise LedgerError(str(source.path), problem)
        with target.writing() as db:
            db.executemany("INSERT OR IGNORE INTO blob VALUES (?, ?, ?)", blobs)


def _has_content(ledger: Ledger, sha256: str) -> bool:
    return bool(ledger.read("SELECT 1 FROM blob WHERE sha256 = ?", (sha256,)))


def _disputed(ledger: Ledger) -> tuple[str, ...]:
    """Return the ids of the entries that several others correct."""
    rows = ledger.read(
        "SELECT corrects FROM lookup WHERE corrects IS NOT NULL GROUP BY corrects "
        "HAVING count(*) > 1"
    )
    return tuple(str(id_) for (id_,) in rows)


def _note_merge(target: Ledger, source: Ledger, head: Head, added: int, by: str) -> None:
    body = {"ledger": source.path.name, "seq": head.seq, "hash": head.hash, "added": added}
    target.insert(Kind.MERGE, canonical(body), target.now(), by, None)


def _copy_photos(source: Path, target: Path) -> int:
    """Copy the photos that lie beside one ledger beside another, where they are missing."""
    old, new = photo_folder(source), photo_folder(target)
    copied = 0
    try:
        for photo in sorted(old.glob("??/*")):
            place = new / photo.parent.name / photo.name
            if photo.name.startswith(".") or place.exists():
                continue
            place.parent.mkdir(parents=True, exist_ok=True)
            write_whole(place, photo.read_bytes())
            copied += 1
    except OSError as error:
        raise LedgerError(
            str(error.filename or new), f"cannot be copied ({error.strerror or error})"
        ) from error
    return copied


def _sync_folder(folder: Path) -> None:
    """Put a folder's list of files on the disk, where the system can."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
