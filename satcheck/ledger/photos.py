"""Photos beside the ledger, each a file named by the sha256 of the bytes that the phone sent.

They are not in the database: SHA256.jpg in the folder ``photos/`` beside it, whole or not at all.
No photo keeps its place: the caller gives the function that takes it out, and what is kept is
named, with its own sha256, by the entry.
"""

import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from satcheck.errors import LedgerError, UsageError
from satcheck.files import move_whole, write_whole
from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import Draft, Entry, Kind

FOLDER = "photos"
_FILE = re.compile(r"[0-9a-f]{64}\.[a-z]+")
_KINDS = (
    (b"\xff\xd8", 0, "jpg"),
    (b"\x89PNG", 0, "png"),
    (b"WEBP", 8, "webp"),
    (b"ftyp", 4, "heic"),
)


def photo_folder(ledger: Path) -> Path:
    """Return the folder of a ledger's photos."""
    return ledger.parent / FOLDER


def photo_path(ledger: Path, file: str) -> Path:
    """Return where a photo lies; ``file`` is that of its entry's body.

    Raises
    ------
    UsageError
        If it is no such name.
    """
    if not _FILE.fullmatch(file):
        raise UsageError(f"{file!r}: a photo lies in the ledger's own folder, as SHA256.jpg")
    return photo_folder(ledger) / file[:2] / file


@dataclass(frozen=True)
class PreparedPhoto:
    """A photo as it is to be kept, safely on the disk, but not yet beside the ledger.

    Attributes
    ----------
    draft : Draft
        What records it.
    file : Path
        The file with its bytes.
    """

    draft: Draft
    file: Path


def prepare_photo(
    data: bytes, without_location: Callable[[bytes], bytes], name: str, to: Path, by: str = ""
) -> PreparedPhoto:
    """Write what is to be kept of a photo to a file, until it is known whether it will be.

    Parameters
    ----------
    data : bytes
        As the phone sent them.
    without_location : callable
        Takes the location out of the bytes.
    name : str
        As the phone called it.
    to : Path
        The file; on the same disk as the ledger's photos it is not copied again.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    sha256, kept = hashlib.sha256(data).hexdigest(), without_location(data)
    write_whole(to, kept)
    body = {
        "photo": sha256,
        "file": f"{sha256}.{_extension(data)}",
        "kept": hashlib.sha256(kept).hexdigest(),
        "size": len(kept),
        "name": name,
    }
    return PreparedPhoto(Draft(Kind.PHOTO, body, by), to)


def move_photo(ledger: Path, photo: PreparedPhoto) -> Draft:
    """Move a photo into the folder beside a ledger's file; return the draft that records it.

    Append it, alone or with its inspection, after this has returned: an entry never names a file
    that is not whole. A photo whose entry was never appended is harmless.

    Raises
    ------
    LedgerError
        If it cannot be moved.
    """
    path = photo_path(ledger, str(photo.draft.body["file"]))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists():
            photo.file.unlink()
        else:
            move_whole(photo.file, path)
    except OSError as error:
        raise LedgerError(str(path), f"cannot be written ({error.strerror or error})") from error
    return photo.draft


def kept_photo(ledger: Ledger, entry: Entry) -> bytes:
    """Return a photo's bytes as they were kept.

    Raises
    ------
    UsageError
        If the entry is no photo.
    LedgerError
        If the file is missing or was changed.
    """
    if entry.kind != Kind.PHOTO:
        raise UsageError(f"{entry.id[:12]} is a {entry.kind}; a photo is allowed")
    path = photo_path(ledger.path, str(entry.body["file"]))
    try:
        data = path.read_bytes()
    except OSError as error:
        raise LedgerError(str(path), f"cannot be read ({error.strerror or error})") from error
    if hashlib.sha256(data).hexdigest() != entry.body["kept"]:
        raise LedgerError(str(path), "was changed since it was kept; go back to a backup")
    return data


def _extension(data: bytes) -> str:
    for mark, at, extension in _KINDS:
        if data.startswith(mark, at):
            return extension
    return "bin"
