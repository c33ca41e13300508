"""The tables of a ledger, as ordered steps.

``record`` and ``blob`` are the ledger: triggers forbid to change or delete in them. ``lookup`` and
``tally`` are an index for fast lists and trends; they are filled in the same transaction, and can
be made again from the records.
"""

APPLICATION_ID = 0x53415443
"""Stands in the file's header and tells a ledger from another SQLite database."""

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
            superseded INTEGER NOT NULL,
            part TEXT,
            "view" TEXT,
            series TEXT,
            photo TEXT,
            calibration TEXT,
            fibre TEXT,
            resin TEXT,
            verdict TEXT,
            request TEXT
        ) STRICT""",
        "CREATE INDEX lookup_time ON lookup (made_at)",
        "CREATE INDEX lookup_kind ON lookup (kind, made_at)",
        'CREATE INDEX lookup_by ON lookup ("by", made_at)',
        *(
            f"CREATE INDEX lookup_{column} ON lookup ({column}, made_at) WHERE {column} IS NOT NULL"
            for column in (
                *("corrects", "part", "series", "photo", "calibration", "resin", "verdict"),
                "request",
            )
        ),
        """CREATE TABLE tally (
            period TEXT NOT NULL,
            "by" TEXT NOT NULL,
            resin TEXT NOT NULL,
            calibration TEXT NOT NULL,
            fibre TEXT NOT NULL,
            verdict TEXT NOT NULL,
            inspections INTEGER NOT NULL,
            judged_ppm INTEGER NOT NULL,
            with_evenness INTEGER NOT NULL,
            evenness_ppm INTEGER NOT NULL,
            PRIMARY KEY (period, "by", resin, calibration, fibre, verdict)
        ) STRICT, WITHOUT ROWID""",
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
