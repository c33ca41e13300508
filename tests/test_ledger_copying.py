"""A backup is whole while others write; two shops' ledgers become one and nothing is renamed."""

import json
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from ledgers import clock_from, inspect, keep_photo, note, tamper

from satcheck.errors import LedgerError, UsageError
from satcheck.ledger import copying
from satcheck.ledger.book import Ledger, open_ledger, read_ledger
from satcheck.ledger.copying import Merged, backup, merge
from satcheck.ledger.entries import canonical, chain_hash
from satcheck.ledger.photos import kept_photo, photo_folder
from satcheck.ledger.recording import stored_inspection
from satcheck.ledger.search import Search
from satcheck.ledger.trend import trend
from satcheck.ledger.verifying import Report, verify
from satcheck.model import Label


def ledger_at(folder: Path, start: str = "2026-03-04") -> Ledger:
    """Return an empty ledger in a folder of its own."""
    folder.mkdir()
    return open_ledger(folder / "shop.ledger", clock_from(start))


@pytest.fixture
def north(tmp_path: Path) -> Ledger:
    return ledger_at(tmp_path / "north")


@pytest.fixture
def south(tmp_path: Path) -> Ledger:
    """Return a ledger with an inspection, its correction and a photo."""
    ledger = ledger_at(tmp_path / "south", "2025-01-01")
    old = inspect(ledger, part="S1")
    inspect(ledger, part="S1", corrects=old.id)
    keep_photo(ledger)
    return ledger


def test_a_backup_holds_the_same_chain_and_the_photos(south: Ledger, tmp_path: Path) -> None:
    assert backup(south, tmp_path / "copy.ledger") == 1
    copy = open_ledger(tmp_path / "copy.ledger", clock_from())
    assert copy.head() == south.head()
    assert verify(copy, photos=True).first is None


def test_a_backup_made_while_others_write_is_whole(south: Ledger, tmp_path: Path) -> None:
    done = threading.Event()

    def write() -> None:
        while not done.is_set():
            south.append(note("while the backup runs"))

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for number in range(5):
            backup(read_ledger(south.path), tmp_path / f"{number}.ledger")
    finally:
        done.set()
        writer.join()
    for number in range(5):
        copy = read_ledger(tmp_path / f"{number}.ledger")
        assert verify(copy, noted=copy.head().hash).first is None
        assert verify(south, noted=copy.head().hash).first is None


def test_a_backup_goes_over_no_file(south: Ledger, tmp_path: Path) -> None:
    (tmp_path / "mine.ledger").write_text("mine")
    with pytest.raises(UsageError, match="there already"):
        backup(south, tmp_path / "mine.ledger")
    assert (tmp_path / "mine.ledger").read_text() == "mine"


def test_a_merged_ledger_holds_all_of_both_under_their_ids(north: Ledger, south: Ledger) -> None:
    own = north.append(note("north"))
    assert merge(north, south, by="QA") == Merged(added=3, known=0, photos=1)
    ids = {entry.id for entry in north.entries()}
    assert ids > {own.id, *(entry.id for entry in south.entries())}
    assert verify(north, photos=True).first is None
    assert verify(north).index_agrees


def test_merged_content_can_be_used_like_ones_own(north: Ledger, south: Ledger) -> None:
    merge(north, south)
    (current,) = north.find(Search(part="S1", current=True))
    assert stored_inspection(north, current).verdict.word == "good"
    (photo,) = north.find(Search(kind="photo"))
    assert kept_photo(north, photo) == b"\xff\xd8 photo"
    assert [(p.period, p.inspections) for p in trend(north)] == [("2025-01", 1)]


def test_what_is_merged_twice_is_there_once(north: Ledger, south: Ledger) -> None:
    merge(north, south)
    head = north.head()
    assert merge(north, south) == Merged(added=0, known=3, photos=0)
    assert north.head() == head


def test_merging_there_and_back_ends_with_the_same_entries(north: Ledger, south: Ledger) -> None:
    north.append(note("north"))
    merge(north, south)
    merge(south, north)
    names = [{e.id for e in ledger.entries() if e.kind != "merge"} for ledger in (north, south)]
    assert names[0] == names[1]
    assert verify(south).first is None


def test_a_merge_names_what_each_side_corrected_in_its_own_way(
    north: Ledger, south: Ledger
) -> None:
    """Both corrections count from then on, and nothing said so; once told is enough."""
    merge(north, south)
    (photo,) = north.find(Search(kind="photo"))
    north.append(note("reflex", corrects=photo.id))
    assert merge(north, south).disputed == ()
    south.append(note("shadow", corrects=photo.id))
    assert merge(north, south) == Merged(added=1, known=3, photos=0, disputed=(photo.id,))
    assert len(north.find(Search(kind="note", current=True))) == 2
    assert merge(north, south).disputed == ()


def test_a_merge_records_the_head_that_it_took(north: Ledger, south: Ledger) -> None:
    merge(north, south, by="QA")
    (entry,) = north.find(Search(kind="merge"))
    assert (entry.body["hash"], entry.by) == (south.head().hash, "QA")


def test_an_origin_that_was_changed_shows(north: Ledger, south: Ledger) -> None:
    merge(north, south)
    rows = list(north.rows())
    origin = rows[0][7].replace('"seq":1', '"seq":7')
    tamper(
        north.path,
        f"UPDATE record SET origin = '{origin}', "
        f"hash = '{chain_hash(rows[0][8], 1, rows[0][1], origin)}' WHERE seq = 1",
    )
    first = verify(north).first
    assert first is not None
    assert first.problem == "its origin was changed"


def test_a_broken_ledger_is_not_merged(north: Ledger, south: Ledger) -> None:
    tamper(south.path, "UPDATE record SET \"by\" = 'CD' WHERE seq = 2")
    with pytest.raises(UsageError, match="entry 2 is broken"):
        merge(north, south)
    assert north.head().seq == 0


def test_a_ledger_is_not_merged_into_itself(south: Ledger) -> None:
    with pytest.raises(UsageError, match="itself"):
        merge(south, read_ledger(south.path))


def test_what_one_ledger_corrected_twice_by_itself_is_no_dispute(
    north: Ledger, south: Ledger
) -> None:
    (photo,) = south.find(Search(kind="photo"))
    south.append_all([note("reflex", corrects=photo.id), note("shadow", corrects=photo.id)])
    assert merge(north, south).disputed == ()


def test_what_comes_after_the_other_ledger_was_verified_is_not_merged(
    north: Ledger, south: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    def verify_then_write(ledger: Ledger) -> Report:
        report = verify(ledger)
        ledger.append(note("not verified"))
        return report

    monkeypatch.setattr(copying, "verify", verify_then_write)
    assert merge(north, south) == Merged(added=3, known=0, photos=1)
    assert north.find(Search(kind="note")) == ()


def test_others_record_between_the_contents_of_a_merge(
    north: Ledger, south: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Large content is copied before the entries, and the writer's place is given free."""
    inspect(south, Label.RICH)
    write_between(south, monkeypatch, lambda: other.append(note("meanwhile")))
    with open_ledger(north.path, clock_from(), patience=0.0) as other:
        merge(north, south)
    assert [entry.body.get("text") for entry in north.find(Search(kind="note"))] == ["meanwhile"]
    assert verify(north, photos=True).first is None


def test_a_merge_that_was_stopped_leaves_a_whole_ledger_and_goes_on(
    north: Ledger, south: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop() -> None:
        raise KeyboardInterrupt

    inspect(south, Label.RICH)
    with monkeypatch.context() as patched:
        write_between(south, patched, stop)
        with pytest.raises(KeyboardInterrupt):
            merge(north, south)
    assert north.head().seq == 0
    assert north.read("SELECT sha256 FROM blob") == [(content_of(south)[0],)]
    assert verify(north) == Report(north.head(), None, index_agrees=True)
    copied = write_between(south, monkeypatch, lambda: None)
    assert merge(north, south) == Merged(added=4, known=0, photos=0)
    assert copied == content_of(south)[1:], "what is there is not copied again"
    assert verify(north, photos=True).first is None


def content_of(ledger: Ledger) -> list[str]:
    """Return the names of a ledger's large content, each once, as its entries come."""
    named = (entry.body.get("blobs", {}).get("whole") for entry in ledger.entries())
    return list(dict.fromkeys(filter(None, named)))


def write_between(
    source: Ledger, patched: pytest.MonkeyPatch, act: Callable[[], object]
) -> list[str]:
    """Act once, before the second content is copied; return the names of what is copied."""
    read, copied = source.read, list[str]()

    def read_and_act(sql: str, values: Sequence[Any] = ()) -> list[Any]:
        if sql.startswith("SELECT * FROM blob"):
            copied.extend(values)
            if len(copied) == 2:
                act()
        return read(sql, values)

    patched.setattr(copying, "STEP", 1, raising=False)
    patched.setattr(source, "read", read_and_act)
    return copied


def test_content_that_goes_while_it_is_merged_is_told_and_no_entry_taken(
    north: Ledger, south: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    def verify_then_lose(ledger: Ledger) -> Report:
        report = verify(ledger)
        tamper(ledger.path, "DELETE FROM blob")
        return report

    monkeypatch.setattr(copying, "verify", verify_then_lose)
    with pytest.raises(LedgerError, match="lost content while it was merged"):
        merge(north, south)
    assert north.head().seq == 0


def test_another_shops_clock_does_not_set_ones_own(tmp_path: Path, north: Ledger) -> None:
    """The other clock is five hours ahead: what is recorded here stays at the time of here."""
    ahead = ledger_at(tmp_path / "ahead", "2026-03-04T05:00")
    ahead.append(note("ahead"))
    merge(north, ahead)
    assert north.append(note("here")).made_at < "2026-03-04T01"


def test_a_photo_that_is_half_written_is_not_copied(south: Ledger, tmp_path: Path) -> None:
    (whole,) = photo_folder(south.path).glob("??/*")
    whole.with_name(f".{whole.name}.1234abcd.part").write_bytes(b"half")
    folder = tmp_path / "copies"
    folder.mkdir()
    assert backup(south, folder / "copy.ledger") == 1
    assert [path.name for path in photo_folder(folder / "copy.ledger").glob("??/*")] == [whole.name]


def test_an_origin_changed_two_merges_ago_shows(
    north: Ledger, south: Ledger, tmp_path: Path
) -> None:
    """Who forges the outer place too, with its hash, is found out by the inner one."""
    merge(north, south)
    third = ledger_at(tmp_path / "third")
    merge(third, north)
    row = next(third.rows())
    outer = json.loads(row[7])
    outer["origin"] = outer["origin"].replace('"seq":1', '"seq":7')
    outer["hash"] = chain_hash(outer["previous_hash"], outer["seq"], row[1], outer["origin"])
    origin = canonical(outer)
    tamper(
        third.path,
        f"UPDATE record SET origin = '{origin}', "
        f"hash = '{chain_hash(row[8], 1, row[1], origin)}' WHERE seq = 1",
    )
    first = verify(third).first
    assert first is not None
    assert (first.seq, first.problem) == (1, "its origin was changed")
