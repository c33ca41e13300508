"""The part as a whole, from drawn views."""

from dataclasses import replace

import pytest
from grids import SHAPE, grid, place
from serial import shown

from satcheck.model import Label
from satcheck.stringing.plan import Plan, plan
from satcheck.stringing.whole_part import whole_part

DRY, WET, EVEN = Label.STARVED, Label.RICH, Label.GOOD


def view(label: Label, rows: int = 45, hidden: int = 0) -> Plan:
    """Return the plan of a view whose first rows, of 45, have a label; the last are not judged."""
    patches = {label: place(SHAPE, 0, 0, rows, 36)}
    if hidden:
        patches[Label.NOT_JUDGED] = place(SHAPE, 45 - hidden, 0, hidden, 36)
    return plan(shown(grid(), patches))


def test_a_part_that_is_dry_all_round_lacks_resin() -> None:
    said = whole_part({"medial": view(DRY), "lateral": view(DRY)})
    assert said == "By the 2 views judged the part lacks resin as a whole: add some."


def test_a_part_that_is_wet_all_round_has_too_much() -> None:
    assert "more resin than it needs" in whole_part({"medial": view(WET), "lateral": view(WET)})


def test_a_wet_side_feeds_the_dry_side() -> None:
    said = whole_part({"medial": view(WET), "lateral": view(DRY), "anterior": view(EVEN)})
    assert "from the medial to the lateral view" in said


def test_one_view_does_not_speak_for_the_part() -> None:
    assert whole_part({"medial": view(DRY)}).startswith("By the medial view alone")


def test_an_even_part_has_enough() -> None:
    said = whole_part({"medial": view(EVEN), "lateral": view(EVEN)})
    assert said == "By the 2 views judged the part has enough resin."


@pytest.mark.parametrize("plans", [{}, {"medial": view(EVEN, hidden=45)}])
def test_without_a_judged_view_nothing_is_said(plans: dict[str, Plan]) -> None:
    assert whole_part(plans) == "No view of the part has been judged yet."


def test_a_view_counts_by_what_was_judged_of_it() -> None:
    """Twelve dry rows judged against forty-five even ones: 2 x 12 / 57 steps, above a quarter."""
    little, much = view(DRY, hidden=33), view(EVEN)
    net = (little.shortfall * little.judged + much.shortfall * much.judged) / (
        little.judged + much.judged
    )
    assert net == pytest.approx(2 * 12 / 57)
    assert "lacks resin" in whole_part({"medial": little, "lateral": much})


@pytest.mark.parametrize(
    ("medial", "lateral", "says"),
    [
        (0.25, 0.25, "the part lacks resin as a whole"),
        (-0.25, -0.25, "the part has more resin than it needs"),
        (0.125, -0.125, "string it round from the lateral to the medial view."),
        (0.12, -0.12, "the part has enough resin."),
        (0.3, 0.0, "the part has enough resin."),
    ],
)
def test_a_quarter_of_a_step_decides(medial: float, lateral: float, says: str) -> None:
    """The rule of one view, `SHORT`, holds for the part; a view that is even feeds no other."""
    plans = {
        name: replace(view(EVEN), shortfall=shortfall)
        for name, shortfall in (("medial", medial), ("lateral", lateral))
    }
    assert says in whole_part(plans)
