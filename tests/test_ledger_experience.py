"""What a shop's ledger says of the next mix: only what enough of its own parts have shown."""

from pathlib import Path

import pytest
from ledgers import clock_from, note

from satcheck.ledger.book import Ledger, open_ledger
from satcheck.ledger.entries import Draft, Entry, Kind
from satcheck.ledger.experience import (
    experience,
    experience_sentences,
    experience_to_json,
    resin_uses,
    working_times,
)
from satcheck.ledger.sheets import SheetContext, record_weighing
from satcheck.resin.experience import ResinUse, WorkingTime
from satcheck.resin.mix_sheet import MixEntries, MixSheet, make_mix_sheet
from satcheck.resin.weigh_sheet import WeighEntries, make_weigh_sheet


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return open_ledger(tmp_path / "shop.ledger", clock_from())


def weigh(ledger: Ledger, part: str, fabric: float, mixed: float, fibre: str = "basalt") -> None:
    masses = {"fabric": f"{fabric:g}", "mixed": f"{mixed:g}", "cup": "10", "bag": "40"}
    entries = WeighEntries(masses, fibre, "acrylic")
    record_weighing(ledger, entries, make_weigh_sheet(entries), SheetContext(part=part))


def gel(ledger: Ledger, minutes: float, **more: float) -> Entry:
    body = {"event": "gelled", "minutes": minutes, "resin": "acrylic", "promoter": 0.0, **more}
    return ledger.append(Draft(Kind.GEL_CLOCK, body))


def planned(dry: str = "180") -> MixSheet:
    return make_mix_sheet(MixEntries("acrylic", "0.35", "3", fibre="basalt", dry_fabric=dry))


def test_parts_on_a_straight_line_are_carried_on_along_it(ledger: Ledger) -> None:
    """Resin used is 1.5 of the fabric: the next part of 180 g takes 270 g (closed form)."""
    for number in range(10):
        weigh(ledger, f"P{number}", 150 + 10 * number, 1.5 * (150 + 10 * number) + 10)
    found = experience(ledger, planned(), "basalt").resin
    assert found.value == pytest.approx(270)
    assert found.low == pytest.approx(270)
    assert found.records == 10


def test_a_cup_that_nobody_weighed_is_not_taken_for_empty(ledger: Ledger) -> None:
    """With the part weighed the cup may be left out; what it kept was told as used by the part."""
    for number in range(10):
        weigh(ledger, f"P{number}", 150 + 10 * number, 300)
    masses = {"fabric": "200", "mixed": "300", "part": "400"}
    for number in range(5):
        entries = WeighEntries(masses, "basalt", "acrylic")
        context = SheetContext(part=f"Q{number}")
        record_weighing(ledger, entries, make_weigh_sheet(entries), context)
    found = experience(ledger, planned(), "basalt").resin
    assert found.records == 10
    assert found.value == pytest.approx(290), "mixed less 10 g in each cup"


def test_nine_parts_promise_nothing(ledger: Ledger) -> None:
    for number in range(9):
        weigh(ledger, f"P{number}", 150 + 10 * number, 300)
    found = experience(ledger, planned(), "basalt").resin
    assert found.value is None
    assert "9 of 10" in found.sentence


def test_one_part_weighed_ten_times_is_one_part(ledger: Ledger) -> None:
    for number in range(10):
        weigh(ledger, "P", 150 + number, 300)
    assert resin_uses(ledger, "acrylic", "basalt") == (ResinUse(159.0, 290.0),)


def test_another_fibre_or_resin_teaches_nothing(ledger: Ledger) -> None:
    weigh(ledger, "P", 180, 300, "carbon")
    assert resin_uses(ledger, "acrylic", "basalt") == ()
    assert resin_uses(ledger, "epoxy", "carbon") == ()
    assert len(resin_uses(ledger, "acrylic", "carbon")) == 1


def test_a_part_weighed_without_its_mix_teaches_nothing_of_the_mix(ledger: Ledger) -> None:
    entries = WeighEntries({"fabric": "182", "part": "404"}, "basalt", "acrylic")
    record_weighing(ledger, entries, make_weigh_sheet(entries), SheetContext(part="P"))
    assert resin_uses(ledger, "acrylic", "basalt") == ()


def test_only_a_gel_that_was_seen_at_a_known_temperature_counts(ledger: Ledger) -> None:
    gel(ledger, 20.0, temperature=21.0)
    gel(ledger, 22.0)
    started = {"event": "start", "minutes": 25.0, "resin": "acrylic", "promoter": 0.0}
    ledger.append(Draft(Kind.GEL_CLOCK, {**started, "temperature": 21.0}))
    assert working_times(ledger, "acrylic") == (WorkingTime(20.0, 21.0, 0.0),)


def test_a_gel_that_was_taken_back_teaches_nothing(ledger: Ledger) -> None:
    ledger.append(note("wrong cup", corrects=gel(ledger, 20.0, temperature=21.0).id))
    assert working_times(ledger, "acrylic") == ()


def test_the_working_time_halves_where_it_always_halved(ledger: Ledger) -> None:
    """40 min at 10 degrees, half of it every 10 degrees: 20 min at 20 (closed form)."""
    for number in range(11):
        gel(ledger, 40 * 2 ** (-number / 10), temperature=10.0 + number)
    found = experience(ledger, planned(), "basalt", 20.0)
    assert found.working_time is not None
    assert found.working_time.value == pytest.approx(20.0)
    assert len(experience_sentences(found)) == 2
    assert experience_to_json(found)["working_time"]["records"] == 11


def test_without_a_temperature_nothing_is_said_of_time(ledger: Ledger) -> None:
    found = experience(ledger, planned(), "basalt")
    assert found.working_time is None
    assert len(experience_sentences(found)) == 1
