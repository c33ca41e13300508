"""Whatever is changed, lost, added or moved in the file shows."""

import threading
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ledgers import clock_from, inspect, keep_photo, note, tamper

from satcheck.errors import UsageError
from satcheck.ledger import verifying
from satcheck.ledger.book import Head, Ledger, open_ledger, read_ledger
from satcheck.ledger.entries import chain_hash, entry_id
from satcheck.ledger.photos import photo_path
from satcheck.ledger.verifying import verify

COLUMNS = ("id", "kind", "body", "made_at", "by", "previous_hash", "hash")


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    """Return four entries; the third is an inspection, the fourth corrects the first."""
    ledger = open_ledger(tmp_path / "shop.ledger", clock_from())
    first, _ = ledger.append_all([note("one"), note("two")])
    inspect(ledger)
    ledger.append(note("four", corrects=first.id))
    return ledger


def problem(ledger: Ledger) -> tuple[int, str]:
    """Return place and kind of the first finding; the control is that there was none before."""
    first = verify(ledger).first
    assert first is not None
    return first.seq, first.problem


def test_an_untouched_ledger_is_whole(ledger: Ledger) -> None:
    report = verify(ledger)
    assert report.head == ledger.head()
    assert report.first is None
    assert report.index_agrees


def test_what_is_recorded_while_it_is_verified_is_no_fault(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    def count_later(reader: Ledger, head: Head, tally: Any) -> bool:
        ledger.append(note("meanwhile"))
        return count(reader, head, tally)

    count = verifying._counts_agree
    monkeypatch.setattr(verifying, "_counts_agree", count_later)
    with read_ledger(ledger.path) as reader:
        report = verify(reader)
        assert reader.head().seq == report.head.seq + 1
    assert report.index_agrees


@pytest.mark.parametrize(
    ("statement", "seq", "said"),
    [
        ("UPDATE record SET body = replace(body, 'two', 'too') WHERE seq = 2", 2, "content"),
        ("UPDATE record SET \"by\" = 'CD' WHERE seq = 2", 2, "content"),
        ("UPDATE record SET made_at = '2020' WHERE seq = 2", 2, "content"),
        ("UPDATE record SET corrects = NULL WHERE seq = 4", 4, "content"),
        ("UPDATE record SET kind = 'mix' WHERE seq = 1", 1, "content"),
        ("UPDATE record SET origin = '{}' WHERE seq = 2", 2, "hash"),
        ("UPDATE record SET hash = previous_hash WHERE seq = 2", 2, "hash"),
        ("UPDATE record SET previous_hash = hash WHERE seq = 2", 2, "follow"),
        ("DELETE FROM record WHERE seq = 1", 2, "entry 1 is missing"),
        ("DELETE FROM record WHERE seq = 2", 3, "entry 2 is missing"),
        ("DELETE FROM blob", 3, "its whole is missing"),
        ("UPDATE blob SET data = substr(data, 1, 50)", 3, "its whole is damaged"),
        ("UPDATE blob SET data = 'x', packed = 0", 3, "its whole was changed"),
    ],
)
def test_tampering_names_the_first_broken_entry(
    ledger: Ledger, statement: str, seq: int, said: str
) -> None:
    tamper(ledger.path, statement.replace("'x'", "CAST('x' AS BLOB)"))
    found, why = problem(ledger)
    assert found == seq
    assert said in why


def test_two_entries_that_change_places_show(ledger: Ledger) -> None:
    moves = ((1, 9), (2, 1), (9, 2))
    tamper(
        ledger.path,
        *(f"UPDATE record SET seq = {new} WHERE seq = {old}" for old, new in moves),
    )
    assert problem(ledger) == (1, "it does not follow the entry before it")


def test_an_entry_put_in_the_middle_breaks_what_follows(ledger: Ledger) -> None:
    rows = list(ledger.rows())
    body, when = '{"text":"forged"}', rows[1][4]
    forged = entry_id("note", body, when, "AB", None)
    hash_ = chain_hash(rows[0][9], 2, forged, "")
    tamper(
        ledger.path,
        "DELETE FROM record WHERE seq = 2",
        f"INSERT INTO record VALUES (2, '{forged}', 'note', '{body}', '{when}', 'AB', NULL, '', "
        f"'{rows[0][9]}', '{hash_}')",
    )
    assert problem(ledger) == (3, "it does not follow the entry before it")


def test_an_end_cut_off_shows_only_against_a_noted_hash(ledger: Ledger) -> None:
    noted = ledger.head().hash
    assert verify(ledger, noted=noted[:8]).first is None
    tamper(ledger.path, "DELETE FROM record WHERE seq = 4", "DELETE FROM lookup WHERE seq = 4")
    assert verify(ledger).first is None
    lost = verify(ledger, noted=noted).first
    assert lost is not None
    assert "rewritten" in lost.problem


def test_the_noted_hash_of_an_empty_ledger_accuses_nobody(tmp_path: Path) -> None:
    with open_ledger(tmp_path / "new.ledger", clock_from()) as new:
        noted = verify(new).head.hash
        new.append(note("one"))
        assert verify(new, noted=noted).first is None


def test_content_is_checked_on_another_core_than_it_is_read_on(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Unpacking and hashing is most of the work; the controls are that all is done and found."""
    threads, check = list[threading.Thread](), verifying._blob_problem

    def noted(*blob: Any) -> str | None:
        threads.append(threading.current_thread())
        return check(*blob)

    monkeypatch.setattr(verifying, "_blob_problem", noted)
    assert verify(ledger).first is None
    assert len(threads) == 1
    assert threads[0] is not threading.current_thread()


@pytest.mark.parametrize("noted", ["", "abc", "xyzxyzxyz"])
def test_what_is_no_hash_is_refused(ledger: Ledger, noted: str) -> None:
    with pytest.raises(UsageError, match="is no hash"):
        verify(ledger, noted=noted)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE lookup SET part = 'another' WHERE seq = 1",
        "UPDATE lookup SET superseded = 0",
        "DELETE FROM lookup WHERE seq = 2",
        'INSERT INTO lookup SELECT 9, kind, made_at, "by", corrects, superseded, part, "view", '
        "series, photo, calibration, fibre, resin, verdict, request FROM lookup WHERE seq = 2",
        "DELETE FROM tally",
        "UPDATE tally SET verdict = 'rich'",
        "UPDATE tally SET judged_ppm = 0",
        """UPDATE tally SET "by" = 'another'""",
    ],
)
def test_an_index_that_lies_shows_though_the_entries_are_whole(
    ledger: Ledger, statement: str
) -> None:
    tamper(ledger.path, statement)
    report = verify(ledger)
    assert report.first is None
    assert not report.index_agrees


def test_a_photo_changed_beside_the_ledger_shows(ledger: Ledger) -> None:
    entry = keep_photo(ledger)
    assert verify(ledger, photos=True).first is None
    photo_path(ledger.path, entry.body["file"]).write_bytes(b"\xff\xd8 other")
    assert "was changed" in problem_with_photos(ledger)
    assert verify(ledger).first is None


@pytest.mark.parametrize("body", ["no JSON", "[]", '{"blobs":{"whole":7}}'])
def test_a_photos_entry_that_says_nothing_is_an_entry_that_was_changed(
    ledger: Ledger, body: str
) -> None:
    keep_photo(ledger)
    tamper(ledger.path, f"UPDATE record SET body = '{body}' WHERE seq = 5")
    assert problem_with_photos(ledger) == "its content was changed"


def problem_with_photos(ledger: Ledger) -> str:
    """Return what is said of the first broken entry when photos are looked at too."""
    first = verify(ledger, photos=True).first
    assert first is not None
    return first.problem


@settings(max_examples=30)
@given(data=st.data())
def test_any_byte_changed_in_any_text_shows(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    with open_ledger(tmp_path_factory.mktemp("l") / "a.ledger", clock_from()) as ledger:
        ledger.append_all([note("one"), note("two"), note("three")])
        seq = data.draw(st.integers(1, 3))
        column = data.draw(st.sampled_from(COLUMNS))
        (old,) = ledger.read(f'SELECT "{column}" FROM record WHERE seq = {seq}')[0]
        place = data.draw(st.integers(0, len(old) - 1))
        sign = data.draw(st.sampled_from("0123456789abcdef").filter(lambda s: s != old[place]))
        changed = old[:place] + sign + old[place + 1 :]
        tamper(ledger.path, f"UPDATE record SET \"{column}\" = '{changed}' WHERE seq = {seq}")
        first = verify(ledger).first
        assert first is not None
        assert first.seq == seq


def test_a_correction_of_what_was_never_there_shows(ledger: Ledger) -> None:
    """Forged at the end with every hash right: only what it names tells."""
    head, nobody = ledger.head(), "f" * 64
    body, when = '{"text":"forged"}', "2026-03-05T00:00:00.000000Z"
    forged = entry_id("note", body, when, "AB", nobody)
    hash_ = chain_hash(head.hash, 5, forged, "")
    tamper(
        ledger.path,
        f"INSERT INTO record VALUES (5, '{forged}', 'note', '{body}', '{when}', 'AB', "
        f"'{nobody}', '', '{head.hash}', '{hash_}')",
    )
    assert problem(ledger) == (5, "it corrects an entry that is not there")
