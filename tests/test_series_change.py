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


@pytest.mark.parametrize(("cells", "word"), [(1, "unchanged"), (3, "unclear")])
def test_less_than_a_twentieth_of_a_zone_is_no_change(cells: int, word: str) -> None:
    """A row of n cells is 3 n + 2 wide and 0 narrow by a cell: n +/- 1.96 (3 n + 2) / 2 of 180.

    One cell: -2 to 3 %, surely no more than 5; three: -4 to 8 %.
    """
    zone = change(starved(), starved(place(SHAPE, 20, 4, 1, cells)), STILL).of("middle left")
    assert zone is not None
    assert zone.word == word


def test_the_sentence_has_the_half_width_of_the_interval() -> None:
    """(16 - 140) / 4 pitches; by a cell the one is 38 wider or 44 narrower, the other 16 and 12."""
    zone = change(starved(BIG), starved(SMALL), STILL).of("middle left")
    assert zone is not None
    doubt = 1.96 * np.hypot((38 + 44) / 2, (16 + 12) / 2) / 4
    assert zone.sentence == (
        "The starved share of the middle left went from 78 % to 9 %: shrinking "
        f"(-31 ± {doubt:.0f} pitches²)."
    )


def test_only_what_both_photos_judged_counts() -> None:
    """Of 180 cells the later photo hides 5 rows of 12, 50 of them starved before: 90 of 120.

    Of what is left the patch is 9 rows of 12 and 10 cells if wider, 8 rows of 8 if narrower.
    """
    hidden = shown(grid(), {Label.NOT_JUDGED: place(SHAPE, 15, 0, 5, 12)})
    zone = change(starved(BIG), hidden, STILL).of("middle left")
    assert zone is not None
    assert zone.before == pytest.approx(90 / 120)
    assert zone.after == 0
    assert zone.share is not None
    reach = 1.96 * (9 * 12 + 10 - 8 * 8) / 2 / 120
    assert zone.share.high - zone.share.value == pytest.approx(reach)


def test_the_clearest_change_of_the_worst_kind_is_said_first() -> None:
    """Starved before rich, growing before shrinking, and of two the larger first."""
    first = shown(grid(), {S: place(SHAPE, 0, 24, 15, 12)})
    second = shown(
        grid(), {S: place(SHAPE, 15, 0, 15, 12) | place(SHAPE, 31, 1, 12, 10),
                 R: place(SHAPE, 0, 12, 15, 12)},
    )  # fmt: skip
    told = summary(change(first, second, STILL), most=9)
    nine = [said for said in told if any(place in said for place in ZONES[:9])]
    assert [said.split(" went")[0].removeprefix("The ") for said in nine] == [
        "starved share of the middle left", "starved share of the distal left",
        "rich share of the proximal centre", "starved share of the proximal right",
    ]  # fmt: skip


def test_a_doubtful_or_unseen_change_is_said_so() -> None:
    unclear = change(starved(), starved(place(SHAPE, 20, 4, 1, 3)), STILL)
    assert summary(unclear) == ("No clear change since the last photo.",)
    blind = shown(grid(), rest=Label.NOT_JUDGED)
    assert summary(change(starved(), blind, STILL)) == ("No zone was seen in both photos.",)
    half = shown(grid(), {Label.NOT_JUDGED: place(SHAPE, 0, 0, 45, 12)})
    assert summary(change(starved(), half, STILL)) == ("Nothing has changed since the last photo.",)


def test_what_the_earlier_photo_hid_does_not_count_either() -> None:
    hidden = shown(grid(), {Label.NOT_JUDGED: place(SHAPE, 15, 0, 5, 12)})
    zone = change(hidden, starved(BIG), STILL).of("middle left")
    assert zone is not None
    assert zone.before == 0
    assert zone.after == pytest.approx(90 / 120)


def test_no_border_runs_along_the_edge_of_the_grid() -> None:
    """A whole corner zone of 15 by 12: narrower by a cell it is 14 by 11, for two of its sides."""
    zone = change(starved(place(SHAPE, 0, 0, 15, 12)), starved(), STILL).of("proximal left")
    assert zone is not None
    assert zone.share is not None
    reach = 1.96 * (15 * 12 - 14 * 11) / 2 / 180
    assert zone.share.high - zone.share.value == pytest.approx(reach)


@pytest.mark.parametrize(("rows", "is_seen"), [(3, False), (4, True)])
def test_a_zone_is_compared_from_a_quarter_on_that_both_judged(rows: int, is_seen: bool) -> None:
    hidden = shown(grid(), {Label.NOT_JUDGED: place(SHAPE, 15, 0, 15 - rows, 12)})
    zone = change(starved(), hidden, STILL).of("middle left")
    assert zone is not None
    assert (zone.word == "unchanged") is is_seen


def test_a_fifth_of_a_zone_as_before_is_told_in_figures() -> None:
    """3600 of 18000 cells, in so fine a grid that the border's strip is below a twentieth.

    By a cell it is 240 wider or 236 narrower, in both photos, a quarter of a square pitch each.
    """
    fine = grid((450, 360))
    fifth = shown(fine, {S: place((450, 360), 180, 20, 60, 60)})
    zone = change(fifth, fifth, STILL).of("middle left")
    assert zone is not None
    doubt = 1.96 * np.hypot(238, 238) / 4
    assert zone.sentence == (
        "The starved share of the middle left went from 20 % to 20 %: unchanged "
        f"(+0 ± {doubt:.0f} pitches²)."
    )


def test_the_earlier_labels_are_read_where_the_part_lay_then() -> None:
    """The camera was moved by 200 px across and 300 along: twenty and thirty cells."""
    earlier = shown(grid(to_photo=np.array([[10.0, 0, 300], [0, 10.0, 350]])), {S: BIG})
    aside = Alignment(np.array([[1.0, 0, 200], [0, 1.0, 300]]), 0.0)
    zone = change(earlier, starved(BIG), aside).of("middle left")
    assert zone is not None
    assert (zone.before, zone.after) == pytest.approx((140 / 180, 140 / 180))
