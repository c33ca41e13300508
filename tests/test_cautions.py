"""Cautions stand where they belong, and every limit has its source and date."""

import re

import pytest

from satcheck.cautions import (
    CAUTIONS,
    LIMITS,
    MIXING,
    WEIGHING,
    cautions_for,
    cautions_to_json,
    limits_for,
)


@pytest.mark.parametrize(
    ("hazard", "said"),
    [
        ("peroxide and promoter", "Never mix peroxide and promoter directly"),
        ("exotherm", "cup heats itself"),
        ("vapours", "hood"),
        ("skin and eyes", "Gloves"),
        ("lungs", "dust mask"),
        ("disposal", "special waste"),
    ],
)
def test_every_hazard_of_the_trade_has_its_caution(hazard: str, said: str) -> None:
    (found,) = cautions_for([hazard])
    assert said in found.words


def test_a_mix_minds_the_promoter_and_a_weighing_the_dust() -> None:
    assert {each.hazard for each in CAUTIONS} == set(MIXING) | set(WEIGHING)
    assert cautions_for(MIXING)[0].hazard == "peroxide and promoter"
    assert "lungs" in {each["hazard"] for each in cautions_to_json(WEIGHING)}


def test_a_hazard_without_a_caution_is_not_lost_in_silence() -> None:
    with pytest.raises(KeyError, match="no caution on acid"):
        cautions_for(["acid"])


def test_every_limit_has_its_source_and_its_year() -> None:
    for limit in LIMITS:
        assert re.search(r"\b(19|20)\d\d\b", limit.source), limit
        assert re.search(r"\d (ppm|mg/m3)", limit.limit), limit


@pytest.mark.parametrize(
    ("substance", "said"),
    [
        ("methyl methacrylate", ["100 ppm (410 mg/m3)", "1000 ppm", "1.7 %", "160 mg/m3"]),
        ("styrene", ["50 ppm", "200 ppm ceiling", "700 ppm", "0.9 %"]),
        ("dibenzoyl peroxide", ["5 mg/m3"]),
    ],
)
def test_the_limits_are_those_that_were_published(substance: str, said: list[str]) -> None:
    """NIOSH, documentation for IDLH concentrations, May 1994; Dutch Health Council 2011."""
    found = " ".join(each.limit for each in limits_for([substance]))
    assert all(words in found for words in said)


def test_a_caution_is_short_enough_for_one_line_of_a_card() -> None:
    assert max(len(each.words) for each in CAUTIONS) <= 90
