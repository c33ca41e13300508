"""A machine that fails: a full disk at any write, permission lost, too little memory.

The commands run in this process; ``attack_machine.py`` runs them on a disk that is really full.
"""

import errno
import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from ledgers import clock_from, inspect, note
from PIL import Image
from study_tables import gauge_lines, written

from satcheck.audit import judging as audit_judging
from satcheck.audit.judging import Task, judge_task
from satcheck.calibration.file import Calibration
from satcheck.cli.app import main
from satcheck.files import PAGE_MARK, PDF_MARK
from satcheck.ledger.book import open_ledger
from satcheck.ledger.recording import Context
from satcheck.web import judging as web_judging
from satcheck.web.judging import CardJob, Job, Refused, judge_job, read_card
from satcheck.web.shot import Shot

MIX = ("--resin", "acrylic", "--hardener", "3", "--fibre", "basalt", "--dry-fabric", "182",
       "--target", "30 %..40 %")  # fmt: skip
WRITES: dict[str, tuple[str, ...]] = {
    "a card": ("card", "--out", "old.pdf"),
    "a mix's card": ("mix", *MIX, "--card", "old.pdf"),
    "a verdict": ("check", "blank.png", "--fibre", "basalt"),
    "a study's page": ("study", "repeatability", "table.csv", "--page", "old.html"),
    "an export": ("ledger", "export", "new.csv"),
    "a backup": ("ledger", "backup", "new.ledger"),
}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the current folder: a ledger, a photo, a table, and files that are written again."""
    monkeypatch.chdir(tmp_path)
    with open_ledger(tmp_path / "satcheck.ledger", clock_from()) as ledger:
        inspect(ledger, part="4711")
        ledger.append(note("film torn"))
    Image.fromarray(np.full((300, 400, 3), 120, np.uint8)).save("blank.png")
    written(tmp_path, *gauge_lines())
    Path("old.pdf").write_bytes(b"%PDF-1.7 " + PDF_MARK)
    Path("old.html").write_bytes(PAGE_MARK)
    return tmp_path


def status(*words: str) -> int:
    with pytest.raises(SystemExit) as stopped:
        main(words)
    return int(stopped.value.code or 0)


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file but SQLite's own, which come and go beside a ledger."""
    files = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    return {name: data for name, data in files.items() if not name.endswith(("-wal", "-shm"))}


def refusing(number: int) -> Callable[..., None]:
    def refuse(*_: object) -> None:
        raise OSError(number, os.strerror(number))

    return refuse


@pytest.mark.parametrize("what", WRITES)
@pytest.mark.parametrize(
    ("number", "said"), [(errno.ENOSPC, "No space left"), (errno.EIO, "Input/output")]
)
def test_a_disk_that_is_full_or_fails_is_one_sentence_and_changes_no_file(
    folder: Path,
    what: str,
    number: int,
    said: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    before = contents(folder)
    monkeypatch.setattr("os.fsync", refusing(number))
    assert status(*WRITES[what]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert said in line
    assert any(name in line for name in ("old.", "new.", "blank."))
    assert contents(folder) == before


@pytest.mark.parametrize("what", WRITES)
def test_the_control_each_of_them_writes_where_it_can(folder: Path, what: str) -> None:
    before = contents(folder)
    assert status(*WRITES[what]) in (0, 3)
    assert contents(folder) != before


def test_a_ledger_without_room_records_nothing_and_the_files_are_there(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The photo's files say what was found; the status says that the record is missing."""
    with closing(sqlite3.connect(folder / "satcheck.ledger")) as db:
        (pages,) = db.execute("PRAGMA page_count").fetchone()
    connect = sqlite3.connect

    def small(*args: object, **more: object) -> sqlite3.Connection:
        db: sqlite3.Connection = connect(*args, **more)  # type: ignore[call-overload]
        db.execute(f"PRAGMA max_page_count = {pages}")
        return db

    monkeypatch.setattr("sqlite3.connect", small)
    words = ("check", "blank.png", "--fibre", "basalt", "--ledger", "satcheck.ledger")
    assert status(*words) == 2
    assert "the disk is full; nothing was recorded" in capsys.readouterr().err
    monkeypatch.setattr("sqlite3.connect", connect)
    assert status("ledger", "verify") == 0
    assert "Whole: 2 entries" in capsys.readouterr().out


def test_a_photo_that_may_not_be_read_is_named_and_the_next_one_is_judged(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    read = Path.read_bytes

    def guarded(path: Path) -> bytes:
        return read(path) if path.name != "shut.png" else refusing(errno.EACCES)() or b""

    (folder / "shut.png").write_bytes((folder / "blank.png").read_bytes())
    monkeypatch.setattr(Path, "read_bytes", guarded)
    assert status("check", "shut.png", "blank.png", "--fibre", "basalt") == 2
    said = capsys.readouterr()
    assert "shut.png" in said.err
    assert "Permission denied" in said.err
    assert (folder / "blank.json").exists()


def test_want_of_memory_costs_the_photo_and_not_its_worker(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bounds: Calibration = None  # type: ignore[assignment]
    task = Task("k", "large.jpg", b"", "basalt", None, Context(), None)
    (tmp_path / "large.jpg").write_bytes(b"")
    job = Job(Shot("0" * 32, "4711", "medial", "basalt"), tmp_path / "large.jpg")

    def full(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr(audit_judging, "decode_photo", full)
    monkeypatch.setattr(web_judging, "decode_photo", full)
    sentences = [judge_task(bounds, task), judge_job(job, bounds), read_card(CardJob("c", b""))]
    for found in sentences:
        assert isinstance(found, Refused | audit_judging.Refused)
        assert "ot enough memory" in found.sentence
        assert "a smaller photo is allowed" in found.sentence
