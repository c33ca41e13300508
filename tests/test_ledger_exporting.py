"""What is exported reads back, and runs nothing in a spreadsheet."""

import csv
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ledgers import clock_from, inspect, note

from satcheck.ledger.book import Ledger, open_ledger
from satcheck.ledger.exporting import COLUMNS, csv_lines, json_lines, json_text, write_export
from satcheck.tables import unformula


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    ledger = open_ledger(tmp_path / "shop.ledger", clock_from())
    inspect(ledger, part="4711", by="AB")
    ledger.append(note('=HYPERLINK("x")', part="-4712", by='Ann, "AB"'))
    return ledger


def test_the_csv_has_a_row_an_entry_and_the_numbers_as_numbers(ledger: Ledger) -> None:
    rows = list(csv.DictReader(csv_lines(ledger.entries(), ledger.corrected_by)))
    assert tuple(rows[0]) == COLUMNS
    assert [row["kind"] for row in rows] == ["inspection", "note"]
    assert (rows[0]["part"], rows[0]["verdict"]) == ("4711", "good")
    assert float(rows[0]["evenness"]) == 0.91
    assert rows[1]["by"] == 'Ann, "AB"'


def test_the_csv_holds_no_formula(ledger: Ledger) -> None:
    row = list(csv.DictReader(csv_lines(ledger.entries(), ledger.corrected_by)))[1]
    assert (row["part"], row["text"]) == ("'-4712", '\'=HYPERLINK("x")')


@given(st.text())
def test_no_text_begins_as_a_formula_does(text: str) -> None:
    assert not unformula(text).lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r"))


@pytest.mark.parametrize("number", [-1, -0.5, None])
def test_numbers_stay_numbers(number: float | None) -> None:
    assert unformula(number) == number


def test_the_json_holds_whole_entries(ledger: Ledger) -> None:
    found = json.loads("\n".join(json_lines(ledger.entries(), ledger.corrected_by)))
    assert [entry["id"] for entry in found] == [entry.id for entry in ledger.entries()]
    assert found[0]["body"]["inspection"]["schema"] == "satcheck.inspection/1"


def test_an_empty_ledger_is_an_empty_array() -> None:
    assert json.loads("\n".join(json_lines([], str))) == []


def test_a_name_that_is_no_text_costs_no_export(tmp_path: Path) -> None:
    """A file's name may hold a lone surrogate, which UTF-8 cannot: its escape stands there."""
    with open_ledger(tmp_path / "shop.ledger", clock_from()) as ledger:
        ledger.append(note("photo \udcff"))
        write_export(ledger.entries(), ledger.corrected_by, tmp_path / "all.csv")
    assert "photo \\udcff" in (tmp_path / "all.csv").read_text(encoding="utf-8-sig")


def test_an_entry_is_not_copied_to_be_written_as_json(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Copying each body value by value took four fifths of an export's time."""

    def refuse(value: object, *_: object) -> object:
        raise AssertionError(f"copied {value!r}")

    monkeypatch.setattr("copy.deepcopy", refuse)
    found = json.loads("\n".join(json_lines(ledger.entries(), ledger.corrected_by)))
    entry = next(ledger.entries())
    assert found[0] == json.loads(json_text(entry)) | {"corrected_by": found[0]["corrected_by"]}
