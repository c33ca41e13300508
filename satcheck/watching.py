"""A folder that a phone's sync fills: each photo is judged once it is complete, and recorded.

The folder is looked at again and again: that works on network shares too, where no system tells
of changes. A file is complete when its size and time have stayed for a second and it decodes
strictly. What the ledger knows, by the photo's sha256 and the calibration, is not judged again.
"""

import hashlib
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NoReturn

from satcheck.calibration.file import Calibration
from satcheck.errors import PhotoError, UsageError
from satcheck.files import is_overlay
from satcheck.inspection import Settings, inspect
from satcheck.ledger.book import Ledger
from satcheck.ledger.listing import shown
from satcheck.ledger.recording import Context, judged, record_inspection
from satcheck.lines import counted
from satcheck.model import Inspection
from satcheck.photo.kinds import KINDS
from satcheck.photo.read import decode_photo
from satcheck.processes import Lost
from satcheck.report import headline

EVERY = 1.0
"""Seconds between two looks: 10,000 files took 39 ms here."""
SETTLED = 1.0
"""Seconds for which size and time stay before a file is tried (own rule)."""
SECOND_TRY = 5.0
"""Seconds after which a file that could not be read is tried once more: some programs that sync
pause in the middle of a file (own rule)."""

PHOTO_ENDINGS = frozenset({".jpg", ".jpeg", ".jpe", ".heic", ".heif", ".png", ".webp", ".mpo"})
"""A file that is named so and holds no photo is a problem; any other file is passed over."""
HOLDS_NONE = "is named as a photo and holds none"

Stamp = tuple[int, int]
"""Size in bytes and time of change in nanoseconds."""


@dataclass(frozen=True)
class Sight:
    """A file as it was last seen."""

    stamp: Stamp
    since: float
    """When the stamp was seen first, in seconds of the watcher's clock."""
    tries: int = 0
    done: bool = False
    was_there: bool = False
    """Whether it lay there when the watch began."""


class Arrivals:
    """Which files of a folder and its subfolders have become complete.

    Raises
    ------
    UsageError
        If the folder is missing at the start.
    """

    def __init__(self, folder: Path, clock: Callable[[], float] = time.monotonic) -> None:
        if not folder.is_dir():
            raise UsageError(f"{folder}: there is no such folder to watch")
        self.folder = folder
        self._clock = clock
        self._sights: dict[Path, Sight] = {}
        self._looks = 0
        self.is_reached = True
        """Whether the last look could be taken."""

    def look(self) -> tuple[Path, ...]:
        """Look once, and return the files to try now, oldest first.

        Raises
        ------
        OSError
            If the folder cannot be reached; what was seen is kept.
        """
        now, seen = self._clock(), {}
        self.is_reached = False
        for path, stamp in _files(self.folder):
            sight = self._sights.get(path)
            if sight is None or sight.stamp != stamp:
                first = self._looks == 0 or (sight is not None and sight.was_there)
                sight = Sight(stamp, now, was_there=first)
            seen[path] = sight
        self._sights, self._looks, self.is_reached = seen, self._looks + 1, True
        due = [path for path, sight in seen.items() if _is_due(sight, now)]
        return tuple(sorted(due, key=lambda path: (seen[path].stamp[1], path)))

    def was_there(self, path: Path) -> bool:
        """Return whether a file lay there when the watch began."""
        return self._sights[path].was_there

    def finish(self, path: Path) -> None:
        """Note that a file needs no further try unless it changes."""
        self._sights[path] = replace(self._sights[path], done=True)

    def fail(self, path: Path) -> bool:
        """Note that a file could not be read; return whether that was the last try."""
        sight = self._sights[path]
        last = sight.tries > 0
        self._sights[path] = replace(sight, tries=sight.tries + 1, done=last)
        return last


def _is_due(sight: Sight, now: float) -> bool:
    return not sight.done and now - sight.since >= (SECOND_TRY if sight.tries else SETTLED)


def _files(folder: Path) -> Iterator[tuple[Path, Stamp]]:
    """Yield the files below a folder; links to folders are not followed, so none goes in circles.

    Hidden files are those that a sync is still writing, or a system's own.
    """
    with os.scandir(folder) as entries:
        found = sorted(entries, key=lambda entry: entry.name)
    for entry in found:
        if entry.name.startswith((".", "~")):
            continue
        try:
            if entry.is_dir(follow_symlinks=False):
                yield from _files(Path(entry.path))
            elif entry.is_file():
                facts = entry.stat()
                yield Path(entry.path), (facts.st_size, facts.st_mtime_ns)
        except OSError:
            continue  # it went away between two looks, or may not be read


def judge_photo(
    bounds: Calibration, settings: Settings, photo: tuple[bytes, str]
) -> Inspection | PhotoError:
    """Judge a photo, by its bytes and name, in any process."""
    data, name = photo
    try:
        return inspect(decode_photo(data, name), bounds, settings)
    except PhotoError as error:
        return error


@dataclass(frozen=True)
class Watch:
    """What to do with each photo."""

    ledger: Ledger
    bounds: Calibration
    settings: Settings
    context: Context
    inspect: Callable[[tuple[bytes, str]], Inspection | PhotoError | Lost]
    """As `judge_photo`; in a process of its own, so that a decoder that dies ends no watch."""

    def judge(self, path: Path) -> str | None:
        """Judge a photo and record it; return its line, or None where the ledger knows it.

        Raises
        ------
        PhotoError
            If it cannot be read, or is no photo.
        LedgerError
            If it cannot be recorded.
        """
        try:
            data = path.read_bytes()
        except OSError as error:
            why = f"the file cannot be opened ({error.strerror})"
            raise PhotoError(path.name, why, "a readable file is allowed") from error
        sha256 = hashlib.sha256(data).hexdigest()
        if self._is_judged(sha256):
            return None
        inspection = self.inspect((data, path.name))
        if isinstance(inspection, PhotoError):
            raise inspection
        if isinstance(inspection, Lost):
            raise PhotoError(path.name, f"it {inspection.why}", "another photo is allowed")
        with self.ledger.writing():
            if self._is_judged(sha256):  # by another watch or audit, while this one judged it
                return None
            entry = record_inspection(self.ledger, inspection, self.context)
        part = entry.body.get("part")
        of_part = f" (part {shown(str(part), 20)})" if part else ""
        return f"{shown(path.name)}{of_part}: {headline(inspection)}"

    def _is_judged(self, sha256: str) -> bool:
        return judged(self.ledger, sha256, self.bounds.id, self.settings.fibre) is not None


def is_candidate(path: Path) -> bool:
    """Return whether a file may be a photo: by its first bytes, and not drawn by satcheck."""
    try:
        with path.open("rb") as file:
            start = file.read(12)
    except OSError:
        return True  # to be tried, and named if it cannot be read
    if _is_ours(path):
        return False
    # The brands of moving pictures begin otherwise: a film is not read in to find that out.
    heic = start[4:8] == b"ftyp" and start[8:12] in (b"heic", b"heix", b"mif1", b"msf1", b"heim")
    webp = start[:4] == b"RIFF" and start[8:12] == b"WEBP"
    return heic or webp or start.startswith((b"\xff\xd8", b"\x89PNG"))


def is_named_as_photo(path: Path) -> bool:
    """Return whether a file's name promises a photo, and satcheck did not make it."""
    return path.suffix.lower() in PHOTO_ENDINGS and not _is_ours(path)


def _is_ours(path: Path) -> bool:
    return path.name.endswith(".labels.png") or is_overlay(path)


def watch(
    arrivals: Arrivals,
    judge: Callable[[Path], str | None],
    say: Callable[[str], None],
    wait: Callable[[float], bool],
) -> None:
    """Judge what arrives until ``wait`` returns True: it waits some seconds or for the end.

    Raises
    ------
    LedgerError
        If something cannot be recorded; what was said is recorded.
    """
    while True:
        known = 0
        for path in _due(arrivals, say):
            known += _try(arrivals, path, judge, say)
            if wait(0):
                return
        if known:
            say(f"{counted(known, 'photo')} had been judged before.")
        if wait(EVERY):
            return


def _due(arrivals: Arrivals, say: Callable[[str], None]) -> tuple[Path, ...]:
    """Return the files to try now; say once when the folder goes away, and when it is back."""
    was_reached = arrivals.is_reached
    try:
        due = arrivals.look()
    except OSError as error:
        if was_reached:
            say(f"{arrivals.folder}: cannot be reached ({error.strerror}); waiting for it")
        return ()
    if not was_reached:
        say(f"{arrivals.folder}: is back")
    return due


def _try(
    arrivals: Arrivals,
    path: Path,
    judge: Callable[[Path], str | None],
    say: Callable[[str], None],
) -> bool:
    """Try a file; return whether it lay there from the start and had been judged before."""
    is_photo = is_candidate(path)
    if not is_photo and not is_named_as_photo(path):
        arrivals.finish(path)
        return False
    try:
        line = judge(path) if is_photo else _refuse(path)
    except PhotoError as error:
        # A share that went away in the middle is no fault of the photo.
        if arrivals.folder.is_dir() and arrivals.fail(path):
            say(str(error))
        return False
    arrivals.finish(path)
    if line is None and arrivals.was_there(path):
        return True
    say(line or f"{shown(path.name)}: the same photo had been judged before")
    return False


def _refuse(path: Path) -> NoReturn:
    raise PhotoError(path.name, HOLDS_NONE, KINDS)
