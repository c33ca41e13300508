"""What changed between two photos: closed forms, and one drawn part photographed anew."""

from dataclasses import replace

import numpy as np
import pytest
from drawn_shop import DrawnShop, draw_part
from grids import SHAPE, Bool, grid, place
from hypothesis import given, settings
from hypothesis import strategies as st
from records import inspection_of
from serial import moved, placed, shown

from satcheck.inspection import Settings, inspect
from satcheck.model import ZONES, Inspection, Label
from satcheck.photo.read import Photo
from satcheck.series.align import Alignment, align
from satcheck.series.change import Change, change, summary

STILL = Alignment(np.eye(2, 3), 0.0)
S, R = Label.STARVED, Label.RICH


def starved(where: Bool | None = None) -> Inspection:
    return shown(grid(), {} if where is None else {S: where})


def starved_words(found: Change) -> dict[str, str]:
    """Return each zone's word for what is starved."""
    return {zone.zone: zone.word for zone in found.zones if zone.label is S}


BIG, SMALL = place(SHAPE, 15, 1, 14, 10), place(SHAPE, 20, 4, 4, 4)


def test_a_shrinking_patch_is_measured_in_cells_pitches_and_words() -> None:
    """140 of the zone's 180 cells before, 16 after; a cell is a quarter of a square pitch."""
    zone = change(starved(BIG), starved(SMALL), STILL).of("middle left")
    assert zone is not None
    assert zone.before == pytest.approx(140 / 180)
    assert zone.after == pytest.approx(16 / 180)
    assert zone.area is not None
    assert (zone.area.value, zone.unit, zone.word) == (-31.0, "pitches²", "shrinking")


def test_the_area_is_uncertain_by_a_strip_along_the_border() -> None:
    """A patch of 14 by 10 cells: in its zone one cell wider is 38 more, narrower 44 less."""
    zone = change(starved(BIG), starved(), STILL).of("middle left")
    assert zone is not None
    assert zone.share is not None
    reach = 1.96 * (38 + 44) / 2 / 180
    assert zone.share.high - zone.share.value == pytest.approx(reach)
    assert zone.share.value - zone.share.low == pytest.approx(reach)


def test_with_a_scale_the_area_is_in_square_millimetres() -> None:
    cells = grid(mm_per_px=0.2)
    found = change(shown(cells, {S: BIG}), shown(cells, {S: SMALL}), STILL).of("middle left")
    assert found is not None
    assert found.area is not None
    assert (found.area.value, found.unit) == (-496.0, "mm²")
    assert "-496" in found.sentence


def test_growing_is_shrinking_read_backwards() -> None:
    there = starved_words(change(starved(BIG), starved(), STILL))
    back = starved_words(change(starved(), starved(BIG), STILL))
    assert (there["middle left"], back["middle left"]) == ("shrinking", "growing")


def test_a_spot_as_small_as_its_own_border_is_no_change() -> None:
    assert "growing" not in starved_words(change(starved(), starved(SMALL), STILL)).values()


def test_a_zone_without_the_label_before_and_after_is_unchanged() -> None:
    found = change(starved(), starved(), STILL)
    assert {zone.word for zone in found.zones} == {"unchanged"}
    assert summary(found) == ("Nothing has changed since the last photo.",)


def test_what_one_photo_did_not_judge_is_not_compared() -> None:
    hidden = shown(grid(), {Label.NOT_JUDGED: place(SHAPE, 15, 0, 15, 12)})
    found = change(starved(BIG), hidden, STILL)
    zone = found.of("middle left")
    assert zone is not None
    assert (zone.word, zone.before, zone.area) == ("not seen in both", None, None)
    assert zone.sentence == "The middle left was not seen in both photos."


def test_a_growing_starved_area_is_said_first() -> None:
    before = shown(grid(), {R: place(SHAPE, 0, 0, 30, 24)})
    after = shown(grid(), {S: place(SHAPE, 30, 24, 15, 12)})
    assert summary(change(before, after, STILL))[0].startswith("The starved share of the distal")


def test_photos_that_cannot_be_aligned_or_are_of_other_fibres_are_not_compared() -> None:
    refused = Alignment(np.eye(2, 3), 0.0, "Another view.")
    assert change(starved(), starved(), refused).problem == "Another view."
    assert change(inspection_of(cells=None), starved(), STILL).problem
    glass = shown(grid(), calibration=replace(starved().calibration, fibre="glass"))
    assert "basalt and glass" in (change(starved(), glass, STILL).problem or "")


def test_a_worse_alignment_makes_the_change_less_certain() -> None:
    good, poor = STILL, Alignment(np.eye(2, 3), 40.0)
    first, second = (change(starved(BIG), starved(), a).of("middle left") for a in (good, poor))
    assert first is not None
    assert second is not None
    assert (first.word, second.word) == ("shrinking", "unclear")


def test_a_slip_counts_in_cells_of_the_later_photo() -> None:
    """The earlier photo is twice as large: 20 px of it are one cell, as far as the border's own."""
    twice = Alignment(np.array([[2.0, 0, 0], [0, 2.0, 0]]), 20.0)
    earlier = shown(grid(to_photo=np.array([[20.0, 0, 200], [0, 20.0, 100]])), {S: BIG})
    zone = change(earlier, starved(), twice).of("middle left")
    assert zone is not None
    assert zone.share is not None
    assert zone.before == pytest.approx(140 / 180)
    reach = 1.96 * np.hypot(1, 1) * (38 + 44) / 2 / 180
    assert zone.share.high - zone.share.value == pytest.approx(reach)


@settings(max_examples=40, deadline=None)
@given(
    st.tuples(st.integers(0, 40), st.integers(0, 30), st.integers(1, 20), st.integers(1, 20)),
    st.tuples(st.integers(0, 40), st.integers(0, 30), st.integers(1, 20), st.integers(1, 20)),
)
def test_the_changes_of_the_nine_zones_sum_to_that_of_the_part(
    first: tuple[int, int, int, int], second: tuple[int, int, int, int]
) -> None:
    before, after = place(SHAPE, *first), place(SHAPE, *second)
    found = change(starved(before), starved(after), STILL, labels=[S])
    areas = [zone.area.value for zone in found.zones if zone.zone in ZONES[:9] and zone.area]
    assert sum(areas) == pytest.approx((int(after.sum()) - int(before.sum())) / 4)


def test_the_same_part_photographed_anew_has_not_changed(shop: DrawnShop) -> None:
    """Another camera position, exposure and noise; whatever state: no zone may claim a change."""
    wrong, zones = 0, 0
    for seed, thirds in enumerate([("starved", "good", "rich"), ("good", "starved", "good")]):
        before, after = (photographed(shop, thirds, seed, turn) for turn in (0.0, 3.0))
        found = change(before, after, align(before, after))
        assert found.problem is None
        wrong += sum(zone.word in ("growing", "shrinking") for zone in found.zones)
        zones += len(found.zones)
    assert wrong <= 0.05 * zones


def test_a_third_that_was_strung_is_seen_to_shrink(shop: DrawnShop) -> None:
    before = photographed(shop, ("good", "starved", "good"), 0, 0.0)
    after = photographed(shop, ("good", "good", "good"), 1, 3.0)
    words = starved_words(change(before, after, align(before, after)))
    assert {words[f"middle {side}"] for side in ("left", "centre", "right")} == {"shrinking"}
    assert "growing" not in words.values()


def photographed(
    shop: DrawnShop, thirds: tuple[str, str, str], seed: int, turn: float
) -> Inspection:
    """Draw a part anew and judge it, the camera turned by some degrees."""
    scene = draw_part(thirds, 70 + seed + round(10 * turn), exposure=1.0 + turn / 20)
    rgb = moved(scene.rgb, placed(scene.rgb, turn, 1 - turn / 60))
    photo = Photo("drawn.png", "0" * 64, rgb.shape[1], rgb.shape[0], None, rgb)
    return inspect(photo, shop.calibration, Settings("basalt", distal="down"))


def test_a_few_starved_cells_are_not_called_nothing() -> None:
    """One of a zone's 180 cells before and after: no change, and still there."""
    few = place(SHAPE, 20, 4, 1, 1)
    zone = change(starved(few), starved(few), STILL).of("middle left")
    assert zone is not None
    assert zone.sentence == "The middle left shows next to nothing starved, as before."
    clean = change(starved(), starved(), STILL).of("middle left")
    assert clean is not None
    assert clean.sentence == "The middle left shows nothing starved, as before."
