"""Opening a ledger's file: what is no ledger stays untouched, an older one is brought up to date.

References
----------
SQLite, Database File Format: magic text at byte 0, application id at byte 68.
SQLite, Write-Ahead Logging: all processes on one computer, never a network share.
"""

import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from satcheck.errors import LedgerError
from satcheck.ledger.schema import APPLICATION_ID, STEPS, Step

PATIENCE = 10.0
"""Seconds to wait for another writer (own rule; one entry takes milliseconds)."""

_SHARES = ("nfs", "nfs4", "cifs", "smb3", "smbfs", "fuse.sshfs", "9p", "afs", "ceph")
_ALLOWED = "a ledger that satcheck made is allowed"
_BUSY = "another program is writing to it; try again when that has ended"
_PLACE = "a file and folder that you may write to are allowed"
_PROBLEMS = {
    sqlite3.SQLITE_BUSY: _BUSY,
    sqlite3.SQLITE_LOCKED: _BUSY,
    sqlite3.SQLITE_FULL: "the disk is full; nothing was recorded; make room and try again",
    sqlite3.SQLITE_READONLY: f"it cannot be written; {_PLACE}",
    sqlite3.SQLITE_CANTOPEN: f"it cannot be opened; {_PLACE}",
    sqlite3.SQLITE_PERM: f"it cannot be opened; {_PLACE}",
    sqlite3.SQLITE_CORRUPT: "it is damaged; go back to a backup",
    sqlite3.SQLITE_NOTADB: f"it is no ledger, or damaged; {_ALLOWED}",
    sqlite3.SQLITE_IOERR: "its disk cannot be read or written; nothing was recorded",
    sqlite3.SQLITE_TOOBIG: "the entry is too large; nothing was recorded",
}


@contextmanager
def explained(path: Path) -> Iterator[None]:
    """Turn what SQLite and the disk say about a ledger into LedgerError."""
    try:
        yield
    except sqlite3.Error as error:
        problem = _PROBLEMS.get(_code(error), f"it cannot be used ({error})")
        raise LedgerError(str(path), problem) from error
    except OSError as error:
        raise LedgerError(str(path), f"it cannot be used ({error.strerror or error})") from error


def connect(
    path: Path, *, create: bool, patience: float = PATIENCE, steps: Sequence[Step] = STEPS
) -> sqlite3.Connection:
    """Open a ledger for writing, and bring it to the newest schema.

    Raises
    ------
    LedgerError
        If it is missing and not to be created, no ledger, damaged, of a newer version, locked, on
        a network share, or cannot be written; nothing in it is changed then.
    """
    with explained(path):
        _check_place(path)
        _check_file(path, create=create)
        db = _open(path, "mode=rwc" if create else "mode=rw", patience)
        try:
            db.execute("PRAGMA synchronous = FULL")  # an acknowledged entry survives power loss
            _migrate(db, path, steps)
            _use_wal(db, path, patience)
        except BaseException:
            db.close()
            raise
    return db


def connect_to_read(path: Path, steps: Sequence[Step] = STEPS) -> sqlite3.Connection:
    """Open a ledger for reading only, also where nothing can be written.

    Raises
    ------
    LedgerError
        If it is missing, no ledger, damaged, or not of the newest schema.
    """
    with explained(path):
        _check_file(path, create=False)
        db = _open(path, "mode=ro", PATIENCE)
        try:
            version = _version(db)
        except sqlite3.OperationalError as error:
            db.close()
            # Without leave to write beside it, SQLite reads only what nobody else can change.
            wal = path.with_name(f"{path.name}-wal")
            if _code(error) not in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY) or (
                wal.exists() and wal.stat().st_size
            ):
                raise
            db = _open(path, "mode=ro&immutable=1", PATIENCE)
            version = _version(db)
        if version != len(steps):
            db.close()
            raise LedgerError(str(path), _version_problem(version, len(steps)))
    return db


def _open(path: Path, options: str, patience: float) -> sqlite3.Connection:
    return sqlite3.connect(
        f"{path.absolute().as_uri()}?{options}",
        uri=True,
        timeout=patience,
        isolation_level=None,
        check_same_thread=False,
    )


def _code(error: sqlite3.Error) -> int:
    """Return SQLite's primary code, the low byte of the extended one."""
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


def _check_file(path: Path, *, create: bool) -> None:
    """Look at the file before SQLite does, so that what is no ledger stays untouched."""
    if path.is_dir():
        raise LedgerError(str(path), "it is a folder; a file is allowed")
    if not path.exists():
        if not create:
            raise LedgerError(str(path), "there is no such ledger; give it with --ledger FILE")
        if not path.parent.is_dir():
            raise LedgerError(str(path), "its folder does not exist; make it first")
        return
    with path.open("rb") as file:
        header = file.read(100)
    if not header and create:  # a call that was killed while it made the ledger leaves it empty
        return
    ours = header.startswith(b"SQLite format 3\0")
    if not ours or int.from_bytes(header[68:72], "big") != APPLICATION_ID:
        raise LedgerError(str(path), f"it is no ledger; {_ALLOWED}")


def _check_place(path: Path) -> None:
    """Refuse a network share: there a ledger with several writers does not stay whole."""
    kind = "share" if str(path).startswith("\\\\") else _file_system(path)
    if kind == "share" or kind in _SHARES:
        raise LedgerError(
            str(path),
            f"it lies on a network share ({kind}), where records are not safe; keep it on this "
            "computer and send backups to the share",
        )


def _file_system(path: Path, mounts: Path = Path("/proc/self/mounts")) -> str:
    """Return the kind of file system that a path lies on; blank where nothing tells."""
    try:
        lines = mounts.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return ""
    place, kind = path.absolute().resolve(), ("", "")
    for line in lines:
        _, at, name, *_ = line.split(" ")
        # A space in a mount point is written \040; the last of equal ones lies on top.
        at = at.replace("\\040", " ")
        if place.is_relative_to(at) and len(at) >= len(kind[0]):
            kind = (at, name)
    return kind[1]


def _migrate(db: sqlite3.Connection, path: Path, steps: Sequence[Step]) -> None:
    """Take the steps that the ledger lacks, each with its number in one transaction."""
    while (version := _version(db)) != len(steps):
        if version > len(steps):
            raise LedgerError(str(path), _version_problem(version, len(steps)))
        db.execute("BEGIN IMMEDIATE")
        try:
            if _version(db) == version:  # else another process has just taken the step
                for statement in steps[version]:
                    db.execute(statement)
                db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                db.execute(f"PRAGMA user_version = {version + 1}")
            db.execute("COMMIT")
        except BaseException:
            db.rollback()
            raise


def _version(db: sqlite3.Connection) -> int:
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def _version_problem(version: int, newest: int) -> str:
    if version > newest:
        return f"a newer satcheck made it (form {version}); this one reads up to form {newest}"
    return f"it has the earlier form {version}; open it once where it can be written"


def _use_wal(db: sqlite3.Connection, path: Path, patience: float) -> None:
    """Let readers read while one writes. SQLite does not wait for this by itself, so we do."""
    until = time.monotonic() + patience
    while True:
        try:
            mode = db.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        except sqlite3.OperationalError as error:
            if _code(error) != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
            time.sleep(0.05)
            continue
        if mode != "wal":
            raise LedgerError(str(path), "its disk does not allow safe writing; another disk does")
        return
