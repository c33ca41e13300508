"""Inspections go into the ledger and come out again, whole enough to be judged again."""

from pathlib import Path

import numpy as np
import pytest
from ledgers import clock_from, inspect, note
from records import inspection_of

from satcheck.errors import UsageError
from satcheck.ledger.book import Ledger, open_ledger
from satcheck.ledger.recording import Context, judged, record_inspection, stored_inspection
from satcheck.ledger.search import Search
from satcheck.model import CardFacts, Label
from satcheck.record import inspection_to_json


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return open_ledger(tmp_path / "shop.ledger", clock_from())


def test_an_inspection_comes_back_with_its_cells_and_label_map(ledger: Ledger) -> None:
    inspection = inspection_of(Label.STARVED)
    entry = record_inspection(ledger, inspection, Context(by="AB", part="4711"))
    again = stored_inspection(ledger, ledger.entry(entry.id))
    assert inspection_to_json(again) == inspection_to_json(inspection)
    assert again.cells is not None
    np.testing.assert_array_equal(again.labels, inspection.labels)


def test_an_inspection_is_found_by_its_part_verdict_and_resin(ledger: Ledger) -> None:
    entry = inspect(ledger, Label.RICH, part="4711", resin="epoxy", by="AB", view="medial")
    inspect(ledger, Label.GOOD, part="4711")
    assert ledger.find(Search(part="4711", verdict="rich", resin="epoxy", by="AB")) == (entry,)


def test_the_number_on_the_card_names_the_part_where_nobody_did(ledger: Ledger) -> None:
    inspection = inspection_of(card=CardFacts(part="0815"))
    assert record_inspection(ledger, inspection, Context()).body["part"] == "0815"
    assert record_inspection(ledger, inspection, Context(part="4711")).body["part"] == "4711"


def test_a_photo_counts_as_judged_only_under_the_same_calibration(ledger: Ledger) -> None:
    entry = inspect(ledger)
    photo = inspection_of().photo.sha256
    assert judged(ledger, photo, "c0ffee12", "basalt") == entry
    assert judged(ledger, photo, "c0ffee12", "carbon") is None
    assert judged(ledger, photo, "another", "basalt") is None
    assert judged(ledger, "f" * 64, "c0ffee12", "basalt") is None


def test_the_overlay_is_kept_where_it_is_given(ledger: Ledger) -> None:
    entry = record_inspection(ledger, inspection_of(), Context(), overlay=b"\xff\xd8 picture")
    assert ledger.blob(entry.body["blobs"]["overlay"]) == b"\xff\xd8 picture"


def test_a_note_is_no_inspection(ledger: Ledger) -> None:
    with pytest.raises(UsageError, match="is a note; an inspection is allowed"):
        stored_inspection(ledger, ledger.append(note("film torn")))
