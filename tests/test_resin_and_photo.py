"""The scale beside the photo: every pair of answers, and what may not be said."""

from collections.abc import Mapping
from itertools import product

import pytest
from records import inspection_of

from satcheck.model import CalibrationFacts, Inspection, Label
from satcheck.resin.weigh_sheet import WeighEntries, WeighSheet, make_weigh_sheet
from satcheck.resin_and_photo import beside, beside_text, beside_to_json, places

DISTAL = {f"distal {side}": Label.STARVED for side in ("left", "centre", "right")}
PROXIMAL = {"proximal centre": Label.RICH}


def weighed(target: str | None, *, is_cured: bool = False, scale: str = "1") -> WeighSheet:
    """Return the worked example, fibre 26.4 % by volume, against a target."""
    masses = {"fabric": "182", "mixed": "300", "cup": "14", "bag": "62"}
    if is_cured:
        masses["part"] = "406"
    return make_weigh_sheet(WeighEntries(masses, "2.67", "1.18", scale, target=target))


def photo(verdicts: Mapping[str, Label]) -> Inspection:
    found = set(verdicts.values())
    worst = next((each for each in (Label.STARVED, Label.RICH) if each in found), Label.GOOD)
    return inspection_of(worst, verdicts)


LEAN, ENOUGH, HEAVY = "0.15..0.2", "0.25..0.3", "0.35..0.4"
"""Targets by which the worked example is lean, enough and heavy."""


@pytest.mark.parametrize(
    ("target", "verdicts", "sentence"),
    [
        (LEAN, DISTAL, "Whole part lean by weight, photo starved at the distal third: add resin"
         " there."),
        (ENOUGH, DISTAL | PROXIMAL, "By weight enough, photo starved distally and rich proximally:"
         " it was not moved."),
        (ENOUGH, DISTAL, "By weight enough, photo starved at the distal third: the rest sits where"
         " this photo does not look; see the other sides."),
        (HEAVY, PROXIMAL, "Whole part heavy by weight, photo rich at the proximal third: string it"
         " out from there."),
        (ENOUGH, {}, "By weight enough, photo neither starved nor rich where it could be judged:"
         " both agree."),
    ],
)  # fmt: skip
def test_each_pair_has_its_sentence(target: str, verdicts: dict[str, Label], sentence: str) -> None:
    found = beside(weighed(target), photo(verdicts))
    assert found is not None
    assert found.sentence == sentence


def test_no_resin_goes_into_a_cured_part() -> None:
    found = beside(weighed(LEAN, is_cured=True), photo(DISTAL))
    assert found is not None
    assert found.sentence.endswith("add resin there next time.")


@pytest.mark.parametrize(
    ("target", "verdicts"),
    list(product((LEAN, ENOUGH, HEAVY), ({}, DISTAL, PROXIMAL, DISTAL | PROXIMAL))),
)
def test_all_is_well_only_where_both_say_so(target: str, verdicts: dict[str, Label]) -> None:
    found = beside(weighed(target), photo(verdicts))
    assert found is not None
    assert ("both agree" in found.sentence) == (target == ENOUGH and not verdicts)
    assert "add resin" not in found.sentence or target == LEAN


def test_a_photo_that_was_not_judged_says_nothing_of_places() -> None:
    blind = inspection_of(Label.NOT_JUDGED, zones=(), cells=None, evenness=None)
    found = beside(weighed(LEAN), blind)
    assert found is not None
    assert "could not be judged" in found.sentence
    assert "add resin" not in found.sentence


def test_a_coarse_scale_is_unsure() -> None:
    masses = {"fabric": "20", "mixed": "33", "cup": "2", "bag": "6"}
    sheet = make_weigh_sheet(WeighEntries(masses, "2.67", "1.18", "10", target="0.26..0.27"))
    found = beside(sheet, photo(DISTAL))
    assert found is not None
    assert found.weight == "unsure"
    assert found.sentence.startswith("Scale or densities are too coarse to tell by weight, photo")


def test_a_density_that_is_hardly_known_is_no_coarse_scale() -> None:
    """Polyester of 1.1 to 1.4 g/cm3 leaves 3 % open on any scale: a finer one was asked for."""
    masses = {"fabric": "182", "mixed": "300", "cup": "14", "bag": "62"}
    entries = WeighEntries(masses, "basalt", "polyester", "0.01", target="0.26..0.27")
    found = beside(make_weigh_sheet(entries), photo(DISTAL))
    assert found is not None
    assert found.weight == "unsure"
    assert "densities" in found.sentence


def test_without_a_target_there_is_nothing_to_compare() -> None:
    assert beside(weighed(None), photo(DISTAL)) is None


def test_brim_and_lock_are_places_of_their_own() -> None:
    seen = photo({"lock": Label.STARVED, "middle left": Label.STARVED, **PROXIMAL})
    assert places(seen, Label.STARVED) == ("middle", "lock")
    found = beside(weighed(LEAN), photo({"lock": Label.STARVED, "middle left": Label.STARVED}))
    assert found is not None
    assert "at the middle third and the lock" in found.sentence


def test_invented_parts_are_owned_up_to() -> None:
    facts = CalibrationFacts("c0ffee12", "basalt", {}, 9, True, "No promise.")
    found = beside(weighed(LEAN), inspection_of(Label.STARVED, DISTAL, calibration=facts))
    assert found is not None
    assert "invented" in beside_text(found)
    assert beside_to_json(found)["is_demo"] is True
