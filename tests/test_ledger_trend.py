"""Months and weeks are counted as the entries say, corrected ones as corrected."""

from collections import Counter
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from ledgers import clock_from, inspect, note

from satcheck.errors import UsageError
from satcheck.ledger import index
from satcheck.ledger.book import Ledger, open_ledger
from satcheck.ledger.entries import Entry
from satcheck.ledger.search import Search
from satcheck.ledger.trend import trend
from satcheck.ledger.verifying import verify
from satcheck.model import Label


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    """Return forty inspections, ten days apart, and a correction of the first."""
    ledger = open_ledger(tmp_path / "shop.ledger", clock_from("2024-12-28", days=10))
    labels = (Label.STARVED, Label.GOOD, Label.GOOD, Label.RICH)
    entries = [inspect(ledger, labels[i % 4], by="ABC"[i % 3], resin="epoxy") for i in range(40)]
    inspect(ledger, Label.LEAN, by="A", resin="epoxy", corrects=entries[0].id)
    ledger.append(note("not an inspection"))
    return ledger


@pytest.mark.parametrize(("period", "length"), [("month", 7), ("week", 8)])
def test_a_trend_counts_what_a_reader_would_count(ledger: Ledger, period: str, length: int) -> None:
    entries = ledger.find(Search(kind="inspection", current=True), limit=None)
    if period == "month":
        counted = Counter((e.made_at[:7], e.body["verdict"]) for e in entries)
    else:
        counted = Counter((week_of(e.made_at), e.body["verdict"]) for e in entries)
    points = trend(ledger, "month" if period == "month" else "week")
    assert {(p.period, v): n for p in points for v, n in p.verdicts.items()} == counted
    assert all(len(p.period) == length for p in points)


def week_of(time: str) -> str:
    """Return the ISO week by the C library's own count."""
    return datetime.fromisoformat(time).strftime("%G-W%V")


def test_means_are_those_of_the_inspections(ledger: Ledger) -> None:
    for point in trend(ledger):
        assert point.share_judged == pytest.approx(0.96, abs=1e-6)
        assert point.evenness == pytest.approx(0.91, abs=1e-6)


def test_a_trend_by_technician_splits_the_same_counts(ledger: Ledger) -> None:
    split = trend(ledger, group="by")
    assert {p.group for p in split} == {"A", "B", "C"}
    for whole in trend(ledger):
        own = [p for p in split if p.period == whole.period]
        assert sum(p.inspections for p in own) == whole.inspections


def test_a_trend_of_one_technician_and_some_months_holds_only_those(ledger: Ledger) -> None:
    points = trend(ledger, since="2025-03", until="2025-06", by="A")
    assert {p.period for p in points} <= {"2025-03", "2025-04", "2025-05", "2025-06"}
    assert points == tuple(
        p.__class__(p.period, "", *list(vars(p).values())[2:])
        for p in trend(ledger, group="by")
        if p.group == "A" and "2025-03" <= p.period <= "2025-06"
    )


def test_an_unknown_group_is_refused(ledger: Ledger) -> None:
    with pytest.raises(UsageError, match="allowed are by, resin, calibration, fibre"):
        trend(ledger, group="moon")


def test_the_index_made_again_is_the_same(ledger: Ledger) -> None:
    tables = ("SELECT * FROM lookup ORDER BY seq", "SELECT * FROM tally WHERE inspections")
    before = [ledger.read(sql) for sql in tables]
    with ledger.writing() as db:
        db.execute("UPDATE lookup SET part = 'wrong', superseded = 0")
        db.execute("DELETE FROM tally")
    ledger.reindex()
    assert [ledger.read(sql) for sql in tables] == before


def test_others_record_while_the_index_is_made_again(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What they say then is indexed too, and what they correct then counts no more."""
    first = ledger.find(Search(kind="inspection"), limit=None)[-2]
    looked_up, said = index.lookup_line, list[Entry]()

    def record_meanwhile(*args: Any, **more: Any) -> tuple[Any, ...]:
        if not said:
            said.append(first)
            said.append(other.append(note("meanwhile", corrects=first.id)))
        return looked_up(*args, **more)

    monkeypatch.setattr(index, "lookup_line", record_meanwhile)
    with open_ledger(ledger.path, clock_from("2027-01-01"), patience=0.0) as other:
        ledger.reindex()
    assert said[-1] in ledger.find(Search(kind="note"))
    assert verify(ledger).index_agrees


def test_an_inspection_corrected_twice_is_taken_out_once(tmp_path: Path) -> None:
    with open_ledger(tmp_path / "twice.ledger", clock_from()) as ledger:
        first = inspect(ledger, Label.STARVED)
        for label in (Label.LEAN, Label.GOOD):
            inspect(ledger, label, corrects=first.id)
        inspect(ledger, Label.STARVED)
        (point,) = trend(ledger)
    assert point.verdicts == {"starved": 1, "lean": 1, "good": 1}


def test_a_year_as_the_last_period_is_included_to_its_end(ledger: Ledger) -> None:
    periods = [point.period for point in trend(ledger, until="2025")]
    assert (periods[0], periods[-1]) == ("2025-01", "2025-12")
    assert trend(ledger)[-1].period > "2026"
