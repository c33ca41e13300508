"""Entries are appended, found and shown; nothing is changed or lost."""

import hashlib
import sqlite3
import threading
from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ledgers import clock_from, note

from satcheck.errors import LedgerError, UsageError
from satcheck.ledger.blob import Blob
from satcheck.ledger.book import Head, Ledger, open_ledger
from satcheck.ledger.entries import START, Draft, Kind
from satcheck.ledger.opening import connect
from satcheck.ledger.schema import STEPS
from satcheck.ledger.search import Search
from satcheck.ledger.verifying import verify


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return open_ledger(tmp_path / "shop.ledger", clock_from())


def test_what_was_recorded_is_found_again_by_another_reader(ledger: Ledger) -> None:
    entry = ledger.append(note("film torn"))
    again = open_ledger(ledger.path, clock_from())
    assert again.entry(entry.id) == again.entry(entry.id[:8]) == entry
    assert entry.body == {"part": "4711", "text": "film torn"}
    assert (entry.seq, entry.by, entry.made_at) == (1, "AB", "2026-03-04T00:00:00.000000Z")


def test_a_ledger_that_went_away_takes_nothing_more(ledger: Ledger) -> None:
    """What is written to a deleted file is lost, though the system says that it was written."""
    ledger.append(note("one"))
    ledger.path.rename(ledger.path.with_name("moved.ledger"))
    with pytest.raises(LedgerError, match="was deleted or moved, or its disk is gone"):
        ledger.append(note("two"))


def test_an_empty_ledger_has_a_head_of_zeros(ledger: Ledger) -> None:
    assert ledger.head() == Head(0, START)


def test_each_entry_holds_the_hash_of_the_one_before(ledger: Ledger) -> None:
    first, second = ledger.append_all([note("one"), note("two")])
    assert second.previous_hash == first.hash
    assert ledger.head() == Head(2, second.hash)


def test_one_bad_draft_keeps_all_of_its_call_out(ledger: Ledger) -> None:
    with pytest.raises(UsageError, match="no entry of this id"):
        ledger.append_all([note("good"), Draft(Kind.CORRECTION, {}, corrects="0" * 64)])
    assert ledger.head() == Head(0, START)


def test_what_is_appended_while_the_writers_place_is_held_stays_whole_or_not_at_all(
    ledger: Ledger,
) -> None:
    def stop() -> None:
        with ledger.writing():
            ledger.append(note("lost"))
            raise RuntimeError

    with pytest.raises(RuntimeError):
        stop()
    with ledger.writing():
        ledger.append(note("one"))
        ledger.append(note("two"))
    assert [entry.body["text"] for entry in ledger.entries()] == ["one", "two"]
    assert verify(ledger).first is None


def test_the_same_said_twice_with_its_time_is_one_entry(ledger: Ledger) -> None:
    draft = Draft(Kind.NOTE, {"text": "mixed"}, made_at="2026-03-04T05:06:07+01:00")
    assert ledger.append(draft) == ledger.append(draft)
    assert ledger.head().seq == 1


def test_a_corrected_entry_stays_and_is_left_out_of_what_is_current(ledger: Ledger) -> None:
    old = ledger.append(note("brim lean"))
    new = ledger.append(Draft(Kind.NOTE, {"part": "4711", "text": "brim good"}, corrects=old.id))
    assert ledger.find(Search(part="4711")) == (new, old)
    assert ledger.find(Search(part="4711", current=True)) == (new,)


def test_entries_are_found_newest_first_by_each_word_and_time(ledger: Ledger) -> None:
    entries = ledger.append_all([note(str(i), part=str(i % 2), by="ABC"[i % 3]) for i in range(6)])
    assert ledger.find(Search(part="1", by="B")) == (entries[1],)
    assert ledger.find(Search(part="0"), limit=2) == (entries[4], entries[2])
    assert ledger.find(Search(since="2026-03-04T00:02", until="2026-03-04T00:03")) == (
        entries[3],
        entries[2],
    )
    assert ledger.find(Search(kind="photo")) == ()


@pytest.mark.parametrize(("back", "order"), [(1, [1, 2, 3]), (60, [1, 2, 3]), (3000, [2, 3, 1])])
def test_a_clock_set_back_by_less_than_a_day_changes_no_order(
    tmp_path: Path, back: int, order: list[int]
) -> None:
    """Beyond a day the clock is believed: then it is the earlier time that was wrong."""
    times = [datetime(2026, 3, 4, 8, tzinfo=UTC) - timedelta(minutes=m) for m in (0, back, back)]
    with open_ledger(tmp_path / "set.ledger", iter(times).__next__) as ledger:
        entries = [ledger.append(note("the same")) for _ in times[:2]]
        entries.append(ledger.append(note("after")))
        assert [entry.seq for entry in reversed(ledger.find(Search()))] == order
        assert len({entry.id for entry in entries}) == 3
        assert verify(ledger).first is None


def test_time_zones_do_not_matter_only_moments_do(tmp_path: Path) -> None:
    """The computer goes from one zone to another and back, ten minutes pass each time."""
    zones = [timezone(timedelta(hours=hours)) for hours in (1, -9, 12, 0)]
    first = datetime(2026, 3, 4, 8, tzinfo=UTC)
    times = [(first + k * timedelta(minutes=10)).astimezone(z) for k, z in enumerate(zones)]
    with open_ledger(tmp_path / "zones.ledger", iter(times).__next__) as ledger:
        made = [ledger.append(note(str(k))).made_at for k in range(4)]
    assert made == [f"2026-03-04T08:{k}0:00.000000Z" for k in ("0", "1", "2", "3")]


def test_an_older_version_stops_recording_when_a_newer_one_has_changed_the_file(
    tmp_path: Path,
) -> None:
    path = tmp_path / "shop.ledger"
    with open_ledger(path, clock_from()) as older:
        older.append(note("before"))
        connect(path, create=False, steps=(*STEPS, ("CREATE TABLE more (a)",))).close()
        with pytest.raises(LedgerError, match="a newer satcheck has given it form"):
            older.append(note("after"))
        assert [entry.body["text"] for entry in older.entries()] == ["before"]


@pytest.mark.parametrize(
    ("search", "index"),
    [
        (Search(), "lookup_time"),
        (Search(since="2026-03", until="2026-03"), "lookup_time"),
        (Search(kind="note", verdict="starved", by="AB"), "lookup_by"),
        (Search(kind="inspection", verdict="starved", current=True), "lookup_verdict"),
        (Search(resin="epoxy", calibration="0" * 16, by="AB"), "lookup_calibration"),
        (Search(part="4711", by="AB", since="2026"), "lookup_part"),
    ],
)
def test_a_search_goes_by_the_word_that_fewest_entries_share(
    ledger: Ledger, search: Search, index: str
) -> None:
    """By another, a million entries are gone through for one technician's."""
    where, values = search.sql()
    asked = f"EXPLAIN QUERY PLAN SELECT seq FROM lookup WHERE {where} ORDER BY made_at DESC"
    assert f"INDEX {index} " in f"{ledger.read(asked, values)[0][3]} "


def test_a_record_is_on_the_disk_before_it_is_acknowledged(ledger: Ledger) -> None:
    """SQLite, PRAGMA synchronous: FULL (2) in WAL mode waits for the disk at each commit."""
    assert ledger.read("PRAGMA synchronous") == [(2,)]
    assert ledger.read("PRAGMA journal_mode") == [("wal",)]


@pytest.mark.parametrize("statement", ["UPDATE record SET body = '{}'", "DELETE FROM record"])
def test_the_file_itself_refuses_to_change_an_entry(ledger: Ledger, statement: str) -> None:
    ledger.append(note("kept"))
    with sqlite3.connect(ledger.path) as db, pytest.raises(sqlite3.IntegrityError, match="stay"):
        db.execute(statement)
    db.close()


@settings(max_examples=40)
@given(
    body=st.dictionaries(
        st.text(), st.recursive(st.none() | st.booleans() | st.integers() | st.text(), st.lists)
    ),
    by=st.text(),
)
def test_any_plain_content_comes_back_as_it_was(
    tmp_path_factory: pytest.TempPathFactory, body: dict[str, object], by: str
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.ledger"
    with open_ledger(path, lambda: datetime.now(UTC)) as ledger:
        entry = ledger.append(Draft(Kind.NOTE, body, by))
        assert ledger.entry(entry.id).body == body
        assert ledger.entry(entry.id).by == by


@pytest.mark.parametrize("value", [float("nan"), b"bytes", {1, 2}])
def test_what_json_cannot_say_is_refused(ledger: Ledger, value: object) -> None:
    with pytest.raises(UsageError, match="plain JSON"):
        ledger.append(Draft(Kind.NOTE, {"value": value}))


def test_large_content_is_stored_once_and_comes_back(ledger: Ledger) -> None:
    contents = (b"weave " * 1000, b"\x00\xff")
    blobs = tuple(map(Blob.of, contents))
    first = ledger.append(Draft(Kind.NOTE, {"text": "one"}, blobs=blobs))
    assert ledger.append(Draft(Kind.NOTE, {"text": "two"}, blobs=blobs)).seq == first.seq + 1
    names = [hashlib.sha256(content).hexdigest() for content in contents]
    assert [ledger.blob(name) for name in names] == list(contents)
    assert ledger.read("SELECT count(*) FROM blob") == [(2,)]


def test_many_threads_and_connections_write_one_unbroken_chain(ledger: Ledger) -> None:
    def write(own: Ledger, name: str) -> None:
        for number in range(20):
            own.append(note(f"{name} {number}"))

    other = open_ledger(ledger.path, clock_from())
    threads = [
        threading.Thread(target=write, args=(own, f"{i}"))
        for i, own in enumerate((ledger, ledger, other, other))
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    entries = list(ledger.entries())
    assert [entry.seq for entry in entries] == list(range(1, 81))
    assert all(b.previous_hash == a.hash for a, b in pairwise(entries))


def test_a_second_writer_gets_a_sentence_when_the_first_does_not_end(ledger: Ledger) -> None:
    other = open_ledger(ledger.path, clock_from(), patience=0.05)
    with ledger.writing(), pytest.raises(LedgerError, match="another program is writing"):
        other.append(note("late"))


def test_of_two_corrections_the_newest_is_named(ledger: Ledger) -> None:
    old = ledger.append(note("old"))
    _, newest = ledger.append_all([note(text, corrects=old.id) for text in ("new", "newest")])
    assert ledger.corrected_by(old.id) == newest.id
