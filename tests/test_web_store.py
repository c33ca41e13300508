"""What the pages ask of the ledger: a part's photos are listed without reading their records."""

from collections.abc import Callable
from pathlib import Path

import pytest
from ledgers import clock_from, inspect

from satcheck.ledger import book
from satcheck.ledger.book import Ledger, open_ledger
from satcheck.ledger.entries import Entry
from satcheck.ledger.index import RowValues
from satcheck.model import Label
from satcheck.web.answer import MOST_SERIES, series_answer
from satcheck.web.store import LedgerStore


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return open_ledger(tmp_path / "shop.ledger", clock_from())


@pytest.fixture
def bodies(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return the ids of the entries whose bodies are read, as they are."""
    read: list[str] = []
    made: Callable[[RowValues], Entry] = book.entry_of

    def noted(row: RowValues) -> Entry:
        read.append(str(row[1]))
        return made(row)

    monkeypatch.setattr(book, "entry_of", noted)
    return read


def test_a_parts_photos_are_listed_as_they_were_kept(ledger: Ledger) -> None:
    old = inspect(ledger, part="4711", view="medial", request="1" * 32)
    new = inspect(ledger, part="4711", view="medial", request="2" * 32, corrects=old.id)
    other = inspect(ledger, part="4711")
    inspect(ledger, part="4712")
    store = LedgerStore(ledger)
    listed = store.of_part("4711")
    assert [one.entry for one in listed] == [new.id, other.id]
    assert [one.id for one in listed] == ["2" * 32, other.id]
    for one in listed:
        kept = store.get(one.id)
        assert kept is not None
        assert all(getattr(kept, name) == value for name, value in vars(one).items())


def test_of_a_part_with_many_photos_only_those_shown_are_read(
    ledger: Ledger, bodies: list[str]
) -> None:
    """A coupon is photographed each shift: of its 1500 photos each page read all, in 1 s."""
    for k in range(3 * MOST_SERIES):
        inspect(ledger, Label.LEAN if k % 2 else Label.GOOD, part="coupon", view="medial")
    store = LedgerStore(ledger)
    last = store.get(store.of_part("coupon")[-1].id)
    assert last is not None
    bodies.clear()
    found = series_answer(last, store, None)
    assert len(bodies) <= 2 * MOST_SERIES
    assert [photo["verdict"] for photo in found["photos"]] == ["good", "lean"] * (MOST_SERIES // 2)
    assert found["photos"][-1]["id"] == last.id
