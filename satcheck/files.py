"""Writing files so that nothing is lost: whole or not at all, and never over what is not ours."""

import contextlib
import errno
import os
import secrets
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from satcheck.errors import UsageError

OVERLAY_MARK = b"satcheck overlay"
"""JPEG comment by which an overlay is told from a photo."""

LABELS_MARK = b"satcheck label map"
"""Text of a PNG by which a label map of ours is told from one that a person painted."""

SCHEMA_FAMILY = b'"satcheck.inspection/'
AUDIT_FAMILY = b'"satcheck.audit/'
CALIBRATION_MARK = b"Made by satcheck; read by satcheck."
PAGE_MARK = b" supports a trained eye."
PDF_MARK = b"/Creator (satcheck)"
"""By which a record, a calibration, a page and a PDF of ours are told from another's."""

_KINDS = {
    b"SQLite format 3\0": "a ledger",
    b"\xff\xd8\xff": "a JPEG picture",
    b"\x89PNG": "a PNG picture",
    b"%PDF": "a PDF",
}
_AT_END = {PAGE_MARK: None, PDF_MARK: "a PDF"}
"""Marks that stand near a file's end, and what kind of file they are looked for in."""
_HEADER = 4096
"""All other marks stand within this many first bytes."""


@dataclass(frozen=True)
class Job:
    """One photo and the files that its inspection is written to."""

    photo: Path
    folder: Path
    stem: str

    @property
    def record(self) -> Path:
        """The inspection as JSON."""
        return self.folder / f"{self.stem}.json"

    @property
    def labels(self) -> Path:
        """The label map."""
        return self.folder / f"{self.stem}.labels.png"

    @property
    def overlay(self) -> Path:
        """The photo with the verdict drawn on it."""
        return self.folder / f"{self.stem}.overlay.jpg"


def plan_jobs(photos: Sequence[Path], folder: Path) -> tuple[Job, ...]:
    """Give every photo its own output files.

    A photo named twice is taken once. A stem that an earlier photo of the call already has, in
    upper or lower case, gets a number: STEM, STEM-2, STEM-3.

    Raises
    ------
    UsageError
        If an output would be written over one of the photos.
    """
    unique: dict[Path, Path] = {}
    for photo in photos:
        unique.setdefault(photo.resolve(), photo)
    taken: set[str] = set()
    jobs = []
    for photo in unique.values():
        own = photo.stem or "photo"
        stem, number = own, 1
        while stem.casefold() in taken:
            number += 1
            stem = f"{own}-{number}"
        taken.add(stem.casefold())
        jobs.append(Job(photo, folder, stem))
    for job in jobs:
        for output in (job.record, job.labels, job.overlay):
            if output.resolve() in unique:
                raise UsageError(
                    f"{output}: this photo would be overwritten by the result of "
                    f"{job.photo.name}; give another folder with --out"
                )
    return tuple(jobs)


def is_overlay(path: Path) -> bool:
    """Return whether a file is an overlay that satcheck drew; False where it cannot be read."""
    return OVERLAY_MARK in _header(path)


def check_replaceable(path: Path, mark: bytes, what: str) -> None:
    """Raise UsageError where something stands that has no ``mark``; an empty file may go.

    It is another's then, and no older ``what`` (an inspection, an overlay) of ours.
    """
    if path.is_dir():
        raise UsageError(f"{path}: this is a folder; the name of a file to write is allowed")
    if path.exists() and not path.is_file():  # a device or a pipe, which a file would replace
        raise UsageError(f"{path}: this is no plain file; the name of a file to write is allowed")
    content = _header(path)
    if content and mark in _AT_END:
        content = path.read_bytes() if _kind(content) == _AT_END[mark] else b""
    if path.exists() and path.stat().st_size and mark not in content:
        raise UsageError(
            f"{path}: this file is there already and is no {what}; "
            "move it, or write to another place"
        )


def check_target(path: Path, mark: bytes, what: str) -> None:
    """Make sure that a file that a user named can be written; its folder is made where missing.

    Raises
    ------
    UsageError
        As `check_replaceable`, or if the folder cannot be written.
    """
    check_replaceable(path, mark, what)
    make_writable(path.parent)


def make_writable(folder: Path) -> None:
    """Make sure that files can be written to a folder; it is created where it is missing.

    Raises
    ------
    UsageError
        If it cannot be created or written, or is a file.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        why = "it is a file" if folder.is_file() else (error.strerror or "unknown cause")
        raise UsageError(
            f"{folder}: this output folder cannot be written ({why}); "
            "a folder that you may write to is allowed"
        ) from error


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that it holds either what it held before or all of ``data``.

    Raises
    ------
    UsageError
        If a ledger, a picture or a PDF stands there and ``data`` is none: it is no older result.
    OSError
        Naming the file, if the disk is full or it cannot be written; nothing is left behind then.
    """
    there = _kind(_header(path))
    if there is not None and there != _kind(data):
        raise UsageError(
            f"{path}: {there} is there already and would be overwritten; give another name"
        )
    part = path.with_name(f".{path.name[:40]}.{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except BaseException as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        if isinstance(error, OSError):  # a full disk says no name, and the part's says nothing
            raise type(error)(error.errno, error.strerror, str(path)) from error
        raise


def move_whole(source: Path, path: Path) -> None:
    """Move a file, also to another disk, where it is then whole or not at all.

    Raises
    ------
    OSError
        If the disk is full or it cannot be written.
    """
    try:
        source.replace(path)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
        write_whole(path, source.read_bytes())
        source.unlink()


def _kind(data: bytes) -> str | None:
    """Return what a file is by its first bytes; None for text, and what is damaged or empty."""
    return next((kind for magic, kind in _KINDS.items() if data.startswith(magic)), None)


def _header(path: Path) -> bytes:
    """Return a file's first bytes; none where it cannot be read, or is a pipe, which would wait."""
    if not path.is_file():
        return b""
    try:
        with path.open("rb") as file:
            return file.read(_HEADER)
    except OSError:
        return b""
