"""The tables of a ledger, as ordered steps, and the opening of its file.

``record`` and ``blob`` are the ledger: triggers forbid to change or delete in them. ``lookup`` is
an index for fast lists; it is filled in the same transaction and can be made again from them.
"""

import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from satcheck.errors import LedgerError

APPLICATION_ID = 0x53415443
"""Stands in the file's header and tells a ledger from another SQLite database."""

PATIENCE = 10.0
"""Seconds to wait for another writer (own rule; one entry takes milliseconds)."""

Step = tuple[str, ...]

STEPS: tuple[Step, ...] = (
    (
        """CREATE TABLE record (
            seq INTEGER PRIMARY KEY,
            id TEXT NOT NULL UNIQUE,
            kind TEXT NOT NULL,
            body TEXT NOT NULL,
            made_at TEXT NOT NULL,
            "by" TEXT NOT NULL,
            corrects TEXT,
            origin TEXT NOT NULL,
            previous_hash TEXT NOT NULL,
            hash TEXT NOT NULL
        ) STRICT""",
        """CREATE TABLE blob (
            sha256 TEXT PRIMARY KEY,
            packed INTEGER NOT NULL,
            data BLOB NOT NULL
        ) STRICT""",
        """CREATE TABLE lookup (
            seq INTEGER PRIMARY KEY,
            kind TEXT NOT NULL,
            made_at TEXT NOT NULL,
            "by" TEXT NOT NULL,
            corrects TEXT,
            part TEXT,
            "view" TEXT,
            series TEXT,
            photo TEXT,
            calibration TEXT,
            fibre TEXT,
            resin TEXT,
            verdict TEXT
        ) STRICT""",
        "CREATE INDEX lookup_time ON lookup (made_at)",
        "CREATE INDEX lookup_kind ON lookup (kind, made_at, verdict)",
        "CREATE INDEX lookup_part ON lookup (part, made_at) WHERE part IS NOT NULL",
        "CREATE INDEX lookup_series ON lookup (series, made_at) WHERE series IS NOT NULL",
        "CREATE INDEX lookup_photo ON lookup (photo, calibration) WHERE photo IS NOT NULL",
        "CREATE INDEX lookup_corrects ON lookup (corrects) WHERE corrects IS NOT NULL",
        """CREATE TRIGGER record_follows BEFORE INSERT ON record
            WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM record)
            BEGIN SELECT raise(ABORT, 'a record follows the last one'); END""",
        *(
            f"""CREATE TRIGGER {table}_no_{verb} BEFORE {verb} ON {table}
                BEGIN SELECT raise(ABORT, 'records stay as they are'); END"""
            for table in ("record", "blob")
            for verb in ("update", "delete")
        ),
    ),
)
"""One step a schema version, in order. A step that has been used is never changed: add one."""

_ALLOWED = "a ledger that satcheck made is allowed"
_PROBLEMS = {
    sqlite3.SQLITE_BUSY: "another program is writing to it; try again when that has ended",
    sqlite3.SQLITE_LOCKED: "another program is writing to it; try again when that has ended",
    sqlite3.SQLITE_FULL: "the disk is full; nothing was recorded; make room and try again",
    sqlite3.SQLITE_READONLY: "it cannot be written; a file and folder that you may write to "
    "are allowed",
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened; a file and folder that you may write to "
    "are allowed",
    sqlite3.SQLITE_PERM: "it cannot be opened; a file that you may read is allowed",
    sqlite3.SQLITE_CORRUPT: "it is damaged; go back to a backup",
    sqlite3.SQLITE_NOTADB: f"it is no ledger; {_ALLOWED}",
    sqlite3.SQLITE_IOERR: "its disk or share cannot be reached; nothing was recorded",
    sqlite3.SQLITE_TOOBIG: "the entry is too large; nothing was recorded",
}


@contextmanager
def explained(path: Path) -> Iterator[None]:
    """Turn what SQLite says about a ledger into LedgerError."""
    try:
        yield
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF  # the low byte is the primary code
        problem = _PROBLEMS.get(code, f"it cannot be used ({error})")
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
        If it is missing and not to be created, no ledger, damaged, of a newer version, locked, or
        cannot be written; nothing in it is changed then.
    """
    with explained(path):
        _check_header(path, create)
        mode = "rwc" if create else "rw"
        uri = f"{path.absolute().as_uri()}?mode={mode}"
        db = sqlite3.connect(
            uri, uri=True, timeout=patience, isolation_level=None, check_same_thread=False
        )
        try:
            db.execute("PRAGMA synchronous = FULL")  # an acknowledged entry survives power loss
            _migrate(db, path, steps)
            _use_wal(db, path, patience)
        except BaseException:
            db.close()
            raise
    return db


def _check_header(path: Path, create: bool) -> None:
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
    # A call that was killed while it made the ledger leaves an empty file.
    if not header and create:
        return
    # SQLite file format: magic text first, application id at byte 68.
    ours = header.startswith(b"SQLite format 3\0")
    if not ours or int.from_bytes(header[68:72], "big") != APPLICATION_ID:
        raise LedgerError(str(path), f"it is no ledger; {_ALLOWED}")


def _migrate(db: sqlite3.Connection, path: Path, steps: Sequence[Step]) -> None:
    """Take the steps that the ledger lacks, each with its number in one transaction."""
    while (version := _version(db)) != len(steps):
        if version > len(steps):
            raise LedgerError(
                str(path),
                f"a newer satcheck made it (form {version}); this one reads up to {len(steps)}",
            )
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


def _use_wal(db: sqlite3.Connection, path: Path, patience: float) -> None:
    """Let readers read while one writes. SQLite does not wait for this by itself, so we do."""
    until = time.monotonic() + patience
    while True:
        try:
            mode = db.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
            time.sleep(0.05)
            continue
        if mode != "wal":
            raise LedgerError(
                str(path), "its disk does not allow safe writing; a folder of this computer is"
            )
        return
