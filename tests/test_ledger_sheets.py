"""Mix sheets and weighings go into the ledger once, replace each other, and come out again."""

from pathlib import Path

import pytest
from ledgers import clock_from, note

from satcheck.ledger.book import Ledger, open_ledger
from satcheck.ledger.entries import Entry, Kind
from satcheck.ledger.search import Search
from satcheck.ledger.sheets import (
    SheetContext,
    newest_sheet,
    record_mix,
    record_weighing,
    stored_weighing,
)
from satcheck.resin.mix_sheet import MixEntries, make_mix_sheet
from satcheck.resin.weigh_sheet import WeighEntries, make_weigh_sheet, weigh_sheet_to_json

MASSES = {"fabric": "182", "mixed": "300", "cup": "14", "bag": "62"}


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return open_ledger(tmp_path / "shop.ledger", clock_from())


def mixed(ledger: Ledger, request: str | None = None) -> Entry:
    entries = MixEntries("acrylic", "0.35", "3", fibre="Basalt", dry_fabric="182")
    context = SheetContext("AB", "4711", request)
    return record_mix(ledger, entries, make_mix_sheet(entries), context, 21.0)


def weighed(ledger: Ledger, **masses: str) -> Entry:
    entries = WeighEntries(MASSES | masses, "basalt", "acrylic", target="0.25..0.3")
    return record_weighing(ledger, entries, make_weigh_sheet(entries), SheetContext("AB", "4711"))


def test_a_weighing_comes_back_with_the_same_results(ledger: Ledger) -> None:
    entry = ledger.entry(weighed(ledger).id)
    assert weigh_sheet_to_json(stored_weighing(entry)) == entry.body["sheet"]
    assert entry.body["sheet"]["results"]["resin"]["value"] == pytest.approx(224)


def test_a_sheet_is_found_by_its_part_resin_and_fibre(ledger: Ledger) -> None:
    entry = mixed(ledger)
    search = Search(kind=Kind.MIX, part="4711", resin="acrylic", fibre="basalt")
    assert ledger.find(search)[0].id == entry.id
    assert ledger.find(Search(kind=Kind.MIX, resin="epoxy")) == ()


def test_a_new_sheet_takes_the_place_of_the_old_one_which_stays(ledger: Ledger) -> None:
    first, second = weighed(ledger), weighed(ledger, part="404")
    assert second.corrects == first.id
    newest = newest_sheet(ledger, Kind.WEIGHING, "4711")
    assert newest is not None
    assert newest.id == second.id
    assert ledger.entry(first.id).body["entries"]["masses"] == MASSES


def test_a_sheet_asked_for_twice_is_recorded_once(ledger: Ledger) -> None:
    assert mixed(ledger, request="a" * 32).id == mixed(ledger, request="a" * 32).id
    assert len(ledger.find(Search(kind=Kind.MIX))) == 1


def test_a_mix_and_a_weighing_of_one_part_do_not_replace_each_other(ledger: Ledger) -> None:
    mixed(ledger)
    assert weighed(ledger).corrects is None


def test_no_folder_of_this_computer_gets_into_the_record(ledger: Ledger, tmp_path: Path) -> None:
    layup = tmp_path / "layup.toml"
    layup.write_text('[[layer]]\nmass = "182"\nfibre = "basalt"\n')
    entries = MixEntries("acrylic", "0.35", "3", layup=layup)
    entry = record_mix(ledger, entries, make_mix_sheet(entries), SheetContext())
    assert entry.body["entries"]["layup"] == "layup.toml"
    assert str(tmp_path) not in str(entry.body)


def test_a_sheet_that_a_note_took_back_counts_no_more(ledger: Ledger) -> None:
    ledger.append(note("wrong scale", corrects=weighed(ledger).id))
    assert newest_sheet(ledger, Kind.WEIGHING, "4711") is None
