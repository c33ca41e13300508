"""Which way to string: drawn parts with one right answer. Rules of the trade: common practice."""

from collections.abc import Mapping

import numpy as np
import pytest
from grids import SHAPE, Bool, grid, place
from hypothesis import given, settings
from hypothesis import strategies as st
from records import inspection_of
from serial import shown

from satcheck.model import SCALE, Label
from satcheck.stringing.plan import Plan, plan
from satcheck.stringing.rules import ORIGIN, RULES

S, L, G, H, R = SCALE
TOP, MIDDLE, BOTTOM = (place(SHAPE, row, 0, 11, 12) for row in (3, 16, 30))
RIGHT_TOP, RIGHT_BOTTOM = (place(SHAPE, row, 24, 11, 12) for row in (3, 30))


def planned(patches: Mapping[Label, Bool], minutes: float | None = None) -> Plan:
    return plan(shown(grid(), patches), minutes)


def ways(found: Plan) -> list[tuple[str, str]]:
    return [(move.source, move.target) for move in found.moves]


def test_one_rich_and_one_starved_zone_make_one_move() -> None:
    found = planned({R: TOP, S: BOTTOM})
    assert found.state == "string"
    assert ways(found) == [("proximal left", "distal left")]
    assert found.moves[0].share == pytest.approx(1)
    assert found.sentences[0] == "String from the proximal left distally to the distal left."


def test_the_distance_is_that_along_the_surface() -> None:
    """Twenty-seven cells of half a pitch down; equally far round on both ends."""
    assert planned({R: TOP, S: BOTTOM}).moves[0].distance == pytest.approx(13.5)


def test_resin_goes_round_the_part_by_the_arc_not_the_chord() -> None:
    """From left to right across the front: the arc of a circle of radius 18 cells, half a pitch."""
    found = planned({R: BOTTOM, S: RIGHT_BOTTOM})
    columns = np.arange(24, 36) + 0.5
    arc = 2 * np.mean(18 * np.arcsin(np.minimum((columns - 18) / 18, 0.98))) / 2
    assert found.moves[0].distance == pytest.approx(arc, rel=1e-6)
    assert arc > 12 / 2 * 1.2  # the chord is 24 cells, 12 pitches; the arc is longer
    assert found.moves[0].direction == "round to the right"


def test_each_lean_zone_is_fed_from_its_own_side() -> None:
    """Two sources above, two sinks below: straight down, not crosswise."""
    found = planned({H: TOP | RIGHT_TOP, L: BOTTOM | RIGHT_BOTTOM})
    assert sorted(ways(found)) == [
        ("proximal left", "distal left"),
        ("proximal right", "distal right"),
    ]
    assert [move.share for move in found.moves] == pytest.approx([0.5, 0.5])


def test_a_starved_cell_wants_twice_what_a_lean_one_does() -> None:
    """An order, not a weight: rich 2 and starved 2 steps off good, lean and heavy 1."""
    found = planned({R: TOP, L: BOTTOM})
    assert found.too_much[0].amount == pytest.approx(2 * found.too_little[0].amount)


def test_turning_the_scale_round_turns_every_move_round() -> None:
    there, back = planned({R: TOP, S: RIGHT_BOTTOM}), planned({S: TOP, R: RIGHT_BOTTOM})
    assert ways(back) == [(target, source) for source, target in ways(there)]


def test_an_even_part_is_left_alone() -> None:
    found = planned({})
    assert (found.state, found.moves, found.rules) == ("stop", (), ())
    assert found.sentences == ("Stop: what was judged is even. More stringing only dries it.",)


def test_spots_too_small_to_matter_move_nothing() -> None:
    assert planned({R: place(SHAPE, 3, 2, 6, 6), S: place(SHAPE, 30, 2, 6, 6)}).state == "stop"


def test_a_part_that_lacks_resin_everywhere_gets_more() -> None:
    found = plan(shown(grid(), rest=S))
    assert (found.state, found.moves) == ("add resin", ())
    assert found.sentences[0] == "This side lacks resin as a whole: add some, for the whole part."


def test_a_little_lean_area_without_a_source_is_fed_from_above_not_from_the_cup() -> None:
    found = planned({L: BOTTOM})
    assert found.state == "string"
    assert found.sentences[0] == "No zone has too much: string a little down to the distal left."


def test_a_rich_part_that_lacks_nothing_is_strung_out() -> None:
    found = planned({R: TOP})
    assert (found.state, found.moves) == ("string", ())
    assert "string some out of the proximal left with a soft band" in found.sentences[0]


def test_one_zone_with_both_is_evened_out_within() -> None:
    found = planned({R: place(SHAPE, 16, 0, 5, 12), S: place(SHAPE, 23, 0, 5, 12)})
    assert found.sentences[0].startswith("Even out the middle left")


@pytest.mark.parametrize(("minutes", "most"), [(None, 4), (10.5, 4), (10.0, 2), (4.5, 2), (4.0, 1)])
def test_advice_gets_shorter_as_the_time_runs_out(minutes: float | None, most: int) -> None:
    patches = {H: TOP | RIGHT_TOP | MIDDLE, S: BOTTOM | RIGHT_BOTTOM}
    found = planned(patches, minutes)
    assert len(found.moves) == 3
    assert len(found.sentences) == min(most, 3)


def test_after_the_working_time_nothing_is_moved() -> None:
    found = planned({R: TOP, S: BOTTOM}, 0)
    assert (found.state, found.moves) == ("too late", ())
    assert "data sheet decides" in found.sentences[1]


def test_with_little_time_lean_and_heavy_are_left() -> None:
    assert planned({H: TOP, L: BOTTOM}, 3).state == "stop"
    assert planned({H: TOP, L: BOTTOM}, 20).state == "string"
    assert planned({R: TOP, S: BOTTOM}, 3).state == "string"


def test_what_the_photo_hid_is_not_planned_by() -> None:
    hidden = plan(shown(grid(), rest=Label.NOT_JUDGED))
    assert (hidden.state, hidden.moves) == ("not judged", ())
    assert plan(inspection_of(cells=None)).state == "not judged"
    half = planned({Label.NOT_JUDGED: place(SHAPE, 0, 0, 22, 36)})
    assert "Look by eye at the 49 % that was not judged." in half.sentences
    for rows, is_said in ((8, False), (10, True)):  # 18 and 22 % of 45 rows; a fifth may be unseen
        found = planned({Label.NOT_JUDGED: place(SHAPE, 0, 0, rows, 36)})
        assert any("Look by eye" in said for said in found.sentences) is is_said


@pytest.mark.parametrize(
    ("patches", "minutes", "name"),
    [
        ({S: place(SHAPE, 0, 0, 3, 36)}, None, "brim"),
        ({R: place(SHAPE, 41, 0, 4, 36)}, None, "undercut"),
        ({S: place(SHAPE, 41, 0, 4, 36)}, None, "bridge"),
        ({S: place(SHAPE, 0, 0, 40, 36)}, None, "vacuum"),
        ({R: TOP, S: BOTTOM}, None, "proximal"),
        ({R: TOP}, 8.0, "warm"),
    ],
)
def test_a_rule_of_the_trade_comes_where_it_applies(
    patches: Mapping[Label, Bool], minutes: float | None, name: str
) -> None:
    assert name in {rule.name for rule in planned(patches, minutes).rules}
    assert name not in {rule.name for rule in planned({L: MIDDLE}, minutes).rules}


def test_resin_is_never_strung_over_the_edge() -> None:
    found = planned({S: place(SHAPE, 0, 0, 3, 36), R: MIDDLE})
    assert "to the brim and stop short of the edge." in found.sentences[0]


def test_every_rule_gives_its_reason_and_its_origin() -> None:
    assert all(rule.reason and rule.origin == ORIGIN for rule in RULES)
    warm = next(rule for rule in RULES if rule.name == "warm")
    assert "flames" in warm.caution
    assert "data sheet" in warm.caution


def test_the_plan_says_that_it_does_not_weigh() -> None:
    assert "does not weigh" in planned({R: TOP, S: BOTTOM}).caveat


def test_minutes_that_are_no_number_are_refused() -> None:
    with pytest.raises(ValueError, match="number"):
        planned({}, float("nan"))


patch = st.tuples(st.integers(0, 40), st.integers(0, 30), st.integers(1, 25), st.integers(1, 25))


@settings(max_examples=40, deadline=None)
@given(patch, patch, st.sampled_from([H, R]), st.sampled_from([S, L]))
def test_no_move_gives_more_than_there_is_or_feeds_more_than_is_wanted(
    first: tuple[int, ...], second: tuple[int, ...], wet: Label, dry: Label
) -> None:
    found = planned({wet: place(SHAPE, *first), dry: place(SHAPE, *second)})
    lacking, excess = (sum(n.amount for n in side) for side in (found.too_little, found.too_much))
    moved = sum(move.share for move in found.moves) * lacking
    assert moved == pytest.approx(min(lacking, excess), abs=1e-6)


def test_the_move_that_settles_most_comes_first() -> None:
    """Equally large, starved wants twice what lean does: two thirds of all."""
    found = planned({R: MIDDLE | RIGHT_TOP, S: BOTTOM, L: TOP})
    shares = [move.share for move in found.moves]
    assert shares == sorted(shares, reverse=True)
    assert found.moves[0].target == "distal left"
    assert shares[0] == pytest.approx(2 / 3)


def test_no_rule_is_given_for_what_is_not_done() -> None:
    assert planned({H: TOP, L: BOTTOM}, 3).rules == ()
    assert "proximal" not in {rule.name for rule in planned({R: TOP}).rules}
