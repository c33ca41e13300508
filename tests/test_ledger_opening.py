"""A ledger opens or is refused in one sentence; what is no ledger is not touched."""

import os
import resource
import shutil
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from kill_ledger import kill_often
from ledgers import clock_from, inspect, note

from satcheck.errors import LedgerError
from satcheck.ledger import opening
from satcheck.ledger.blob import Blob
from satcheck.ledger.book import open_ledger, read_ledger
from satcheck.ledger.entries import Draft, Kind
from satcheck.ledger.opening import connect, explained
from satcheck.ledger.schema import STEPS
from satcheck.ledger.search import Search
from satcheck.ledger.verifying import verify

DATA = Path(__file__).parent / "data"


def made(path: Path) -> bytes:
    """Make a ledger of three entries that nobody has open, and return its bytes."""
    with open_ledger(path, clock_from()) as ledger:
        ledger.append_all([note("one"), note("two"), note("three")])
    return path.read_bytes()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"a shopping list", "it is no ledger"),
        (b"SQLite format 3\0" + bytes(4000), "it is no ledger"),
        (b"", "there is no|it is no ledger"),
    ],
)
def test_what_is_no_ledger_is_refused_and_stays(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "other.db"
    path.write_bytes(content)
    with pytest.raises(LedgerError, match=said):
        open_ledger(path, clock_from(), create=False)
    assert path.read_bytes() == content
    assert list(tmp_path.iterdir()) == [path]


def test_another_programs_database_is_refused_and_stays(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("CREATE TABLE theirs (x)")
    before = path.read_bytes()
    with pytest.raises(LedgerError, match="no ledger"):
        open_ledger(path, clock_from())
    assert path.read_bytes() == before


def test_a_file_left_empty_by_a_killed_call_becomes_the_ledger(tmp_path: Path) -> None:
    (tmp_path / "new.ledger").touch()
    made(tmp_path / "new.ledger")


def test_a_newer_ledger_is_refused_and_stays(tmp_path: Path) -> None:
    path = tmp_path / "newer.ledger"
    made(path)
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA user_version = 99")
    with pytest.raises(LedgerError, match="a newer satcheck made it"):
        open_ledger(path, clock_from())
    with pytest.raises(LedgerError, match="a newer satcheck made it"):
        read_ledger(path)
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("SELECT count(*) FROM record").fetchone() == (3,)


@pytest.mark.parametrize("place", [100, 4096 * 3, 4096 * 8])
def test_a_damaged_ledger_is_a_sentence_wherever_the_damage_is(tmp_path: Path, place: int) -> None:
    path = tmp_path / "shop.ledger"
    whole = made(path)
    path.write_bytes(whole[:place] + b"\xa5" * 4096 + whole[place + 4096 :])
    with pytest.raises(LedgerError, match="damaged"), read_ledger(path) as ledger:
        verify(ledger)


def test_an_earlier_form_gains_what_it_lacks_and_loses_nothing(tmp_path: Path) -> None:
    path = tmp_path / "shop.ledger"
    made(path)
    later = (*STEPS, ("CREATE TABLE added (x INTEGER) STRICT", "INSERT INTO added VALUES (1)"))
    connect_with(path, later)
    connect_with(path, later)
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("SELECT count(*) FROM added").fetchone() == (1,)
        assert db.execute("SELECT count(*) FROM record").fetchone() == (3,)
    with pytest.raises(LedgerError, match="newer"):
        open_ledger(path, clock_from())


def connect_with(path: Path, steps: tuple[tuple[str, ...], ...]) -> None:
    """Open and close a ledger as a version with these steps would."""
    connect(path, create=False, steps=steps).close()


def test_a_step_that_fails_leaves_the_earlier_form(tmp_path: Path) -> None:
    path = tmp_path / "shop.ledger"
    made(path)
    with pytest.raises(LedgerError):
        connect_with(path, (*STEPS, ("CREATE TABLE added (x)", "INSERT INTO nowhere VALUES (1)")))
    with open_ledger(path, clock_from()) as ledger:
        assert ledger.head().seq == 3
        assert ledger.read("SELECT * FROM sqlite_schema WHERE name = 'added'") == []


@pytest.mark.parametrize("old", sorted(DATA.glob("form_*.ledger")), ids=lambda path: path.stem)
def test_a_ledger_of_every_earlier_form_opens_and_is_whole(old: Path, tmp_path: Path) -> None:
    path = Path(shutil.copy(old, tmp_path / "old.ledger"))
    with open_ledger(path, clock_from("2027-01-01")) as ledger:
        assert [entry.kind for entry in ledger.entries()] == ["inspection", "inspection", "note"]
        assert len(ledger.find(Search(part="4711", current=True))) == 2
        assert verify(ledger).first is None
        inspect(ledger, part="4712")
        assert verify(ledger).index_agrees


def test_there_is_a_file_of_every_form() -> None:
    assert len(list(DATA.glob("form_*.ledger"))) == len(STEPS)


def test_a_full_disk_loses_only_what_was_not_acknowledged(tmp_path: Path) -> None:
    with open_ledger(tmp_path / "shop.ledger", clock_from()) as ledger:
        ledger.append(note("kept"))
        ((pages,),) = ledger.read("PRAGMA page_count")
        ledger.read(f"PRAGMA max_page_count = {pages + 4}")
        with pytest.raises(LedgerError, match="the disk is full; nothing was recorded"):
            ledger.append(
                Draft(Kind.NOTE, {"text": "large"}, blobs=(Blob.of(os.urandom(100_000)),))
            )
        ledger.read(f"PRAGMA max_page_count = {10**6}")
        ledger.append(note("room again"))
        assert [entry.body["text"] for entry in ledger.entries()] == ["kept", "room again"]
        assert verify(ledger).first is None


LIMITED = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from ledgers import clock_from, note
from satcheck.errors import LedgerError
from satcheck.ledger.blob import Blob
from satcheck.ledger.book import open_ledger
from satcheck.ledger.entries import Draft, Kind
with open_ledger(Path(sys.argv[1]), clock_from()) as ledger:
    try:
        for number in range(10_000):
            blob = Blob.of(bytes([number % 256]) * 9)
            ledger.append(Draft(Kind.NOTE, {"n": number}, blobs=(blob,)))
    except LedgerError as error:
        print(number, error)
"""


def test_a_file_that_may_not_grow_is_a_sentence_and_stays_whole(tmp_path: Path) -> None:
    path = tmp_path / "shop.ledger"
    made(path)

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))

    words = [sys.executable, "-c", LIMITED, str(path), str(Path(__file__).parent)]
    out = subprocess.run(words, preexec_fn=limit, capture_output=True, text=True, check=True)
    number = int(out.stdout.split()[0])
    assert "nothing was recorded" in out.stdout
    with read_ledger(path) as ledger:
        assert ledger.head().seq == 3 + number
        assert verify(ledger).first is None


def test_a_disk_that_goes_away_is_a_sentence() -> None:
    error = sqlite3.OperationalError("disk I/O error")
    error.sqlite_errorcode = sqlite3.SQLITE_IOERR_READ
    with pytest.raises(LedgerError, match="its disk cannot be read"), explained(Path("a.ledger")):
        raise error


@pytest.mark.parametrize(("kind", "refused"), [("cifs", True), ("nfs4", True), ("ext4", False)])
def test_a_network_share_is_refused(
    tmp_path: Path, kind: str, refused: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    mounts = tmp_path / "mounts"
    mounts.write_text(f"/dev/sda / ext4 rw 0 0\nserver:/shop {tmp_path} {kind} rw 0 0\n")
    found = opening._file_system(tmp_path / "shop.ledger", mounts)
    assert found == kind
    monkeypatch.setattr(opening, "_file_system", lambda _: found)
    if refused:
        with pytest.raises(LedgerError, match=f"network share \\({kind}\\)"):
            open_ledger(tmp_path / "shop.ledger", clock_from())
    else:
        made(tmp_path / "shop.ledger")


def test_a_folder_that_cannot_be_written_can_be_read(tmp_path: Path) -> None:
    path = tmp_path / "shop.ledger"
    made(path)
    with without_rights(tmp_path):
        with read_ledger(path) as ledger:
            assert ledger.head().seq == 3
        with pytest.raises(LedgerError, match=r"it cannot be (written|opened)"):
            open_ledger(path, clock_from())
        with pytest.raises(LedgerError, match=r"it cannot be (written|opened)"):
            open_ledger(tmp_path / "new.ledger", clock_from())
    assert list(tmp_path.iterdir()) == [path]


@contextmanager
def without_rights(folder: Path) -> Iterator[None]:
    """Make a folder and what is in it read-only, also for root."""
    root = os.geteuid() == 0
    for above in folder.parents[:-2] if root else ():
        above.chmod(above.stat().st_mode | 0o055)
    for path in (folder, *folder.iterdir()):
        path.chmod(0o555)
    if root:
        os.seteuid(65534)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)
        folder.chmod(0o755)


def test_many_openers_at_once_make_one_ledger(tmp_path: Path) -> None:
    errors: list[BaseException] = []

    def use(name: str) -> None:
        try:
            with open_ledger(tmp_path / "new.ledger", clock_from()) as ledger:
                ledger.append(note(name))
        except BaseException as error:  # noqa: BLE001 - a thread must tell its test
            errors.append(error)

    threads = [threading.Thread(target=use, args=(str(i),)) for i in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    with read_ledger(tmp_path / "new.ledger") as ledger:
        assert verify(ledger).head.seq == 8


@pytest.mark.parametrize(("how", "times"), [("appending", 8), ("serving", 1)])
def test_what_a_killed_writer_acknowledged_is_there(tmp_path: Path, how: str, times: int) -> None:
    """The full run: python tests/kill_ledger.py HOW --times 200; watching has its own test."""
    acknowledged, there = kill_often(tmp_path, how, times, seed=2)
    assert 0 < acknowledged <= there


def test_a_share_mounted_over_a_disk_or_in_a_folder_with_a_space_is_seen(tmp_path: Path) -> None:
    """By proc(5) a space is written as its octal code; of two mounts the last lies on top."""
    mounts, place = tmp_path / "mounts", f"{tmp_path}/the\\040shop"
    mounts.write_text(
        f"/dev/sda / ext4 rw 0 0\n/dev/sdb {place} ext4 rw 0 0\nserver:/shop {place} cifs rw 0 0\n"
    )
    assert opening._file_system(tmp_path / "the shop" / "shop.ledger", mounts) == "cifs"


def test_what_only_the_log_beside_a_ledger_holds_is_not_passed_over(tmp_path: Path) -> None:
    """Where nothing can be written SQLite would read the file alone, without its last entries."""
    folder = tmp_path / "copy"
    folder.mkdir()
    with open_ledger(tmp_path / "shop.ledger", clock_from()) as ledger:
        ledger.append(note("in the log"))
        for name in ("shop.ledger", "shop.ledger-wal"):
            shutil.copy(tmp_path / name, folder / name)
    with (
        without_rights(folder),
        pytest.raises(LedgerError, match=r"it cannot be (written|opened)"),
        read_ledger(folder / "shop.ledger") as copy,
    ):
        copy.head()
