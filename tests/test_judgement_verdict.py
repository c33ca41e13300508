"""From labelled cells to zones and the part: sizes, shares and evenness in closed form."""

from itertools import pairwise

import numpy as np
import pytest
from grids import SHAPE, grid, labels_of, place
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from satcheck.flags import EXPLANATIONS, Reason
from satcheck.judgement.verdict import (
    CELLS_PER_WINDOW,
    MATTERS_MM,
    MATTERS_PITCHES,
    PartVerdict,
    judge,
    zone_mask,
)
from satcheck.model import ZONES, Cells, Label, ZoneVerdict

WIDE = (90, 90)
STARVED, LEAN, GOOD, HEAVY, RICH = (Label(code) for code in range(1, 6))


def judged(cells: Cells, labels: NDArray[np.uint8]) -> PartVerdict:
    return judge(cells, labels, cells.reasons)


def zone_of(part: PartVerdict, name: str) -> ZoneVerdict:
    return part.zones[ZONES.index(name)]


def verdicts(part: PartVerdict) -> dict[str, Label]:
    """Return the zones that are not good."""
    return {zone.name: zone.verdict for zone in part.zones if zone.verdict is not GOOD}


def blob(count: int) -> NDArray[np.bool_]:
    """Return a compact patch of so many cells in the upper left of the middle of a wide grid."""
    side = int(np.ceil(np.sqrt(count)))
    cell = np.arange(count)
    where = np.zeros(WIDE, bool)
    where[30 + cell // side, 30 + cell % side] = True
    return where


@settings(max_examples=40)
@given(st.integers(60, 900), st.floats(0.02, 0.2), st.floats(3, 30), st.floats(0, 6.28))
def test_a_patch_names_its_zone_from_a_size_in_millimetres_on(
    count: int, mm_per_px: float, step: float, turn: float
) -> None:
    """Diameter of a disc of the same area, whichever way the part lies in the photo."""
    diameter = 2 * np.sqrt(count * (step * mm_per_px) ** 2 / np.pi)
    assume(abs(diameter / MATTERS_MM - 1) > 1e-6)
    across, along = (np.cos(turn), np.sin(turn)), (-np.sin(turn), np.cos(turn))
    to_photo = np.column_stack([step * np.array([across, along]).T, [700, 900]])
    cells = grid(WIDE, mm_per_px=mm_per_px, to_photo=to_photo)
    part = judged(cells, labels_of(cells, {STARVED: blob(count)}))
    assert verdicts(part) == ({"middle centre": STARVED} if diameter > MATTERS_MM else {})
    assert [p.unit for p in part.flagged] == ["mm"] * int(diameter > MATTERS_MM)
    assert [p.size for p in part.flagged] == pytest.approx([diameter] * len(part.flagged))


@settings(max_examples=40)
@given(st.integers(60, 900), st.floats(5, 80))
def test_without_scale_the_size_is_counted_in_pitches(count: int, pitch: float) -> None:
    diameter = 2 * np.sqrt(count / np.pi) * 10 / pitch
    assume(abs(diameter / MATTERS_PITCHES - 1) > 1e-6)
    cells = grid(WIDE, pitch=pitch)
    part = judged(cells, labels_of(cells, {RICH: blob(count)}))
    assert part.verdict is (RICH if diameter > MATTERS_PITCHES else GOOD)
    assert [p.unit for p in part.flagged] == ["pitches"] * int(part.verdict is RICH)


def test_without_scale_and_pitch_cells_are_half_a_pitch() -> None:
    unknown, known = grid(WIDE, pitch=None), grid(WIDE, pitch=20.0)
    labels = labels_of(known, {STARVED: blob(200)})
    assert judged(unknown, labels).flagged[0].size == judged(known, labels).flagged[0].size


def test_a_zone_is_named_by_its_worst_patch_and_not_by_its_mean() -> None:
    """A starved eighth of a good zone names it; as much starved cloth in dots does not."""
    cells = grid(WIDE)
    dots = np.zeros(WIDE, bool)
    dots[31:60:2, 31:46:2] = True
    assert dots.sum() == 120
    assert verdicts(judged(cells, labels_of(cells, {STARVED: dots}))) == {}
    part = judged(cells, labels_of(cells, {STARVED: blob(120)}))
    assert verdicts(part) == {"middle centre": STARVED}
    assert zone_of(part, "middle centre").worst == part.flagged[0]


def test_a_patch_as_thin_as_a_fold_is_only_lean() -> None:
    """Cells are half a pitch apart: 2/3 of four pitches are 5.3, and 8 pitches across 201 cells."""
    cells = grid((135, 135))
    for thick, long, verdict in ((3, 28, LEAN), (5, 28, LEAN), (7, 28, STARVED), (5, 42, STARVED)):
        strip = place((135, 135), 46, 46, thick, long)
        part = judged(cells, labels_of(cells, {STARVED: strip}))
        assert verdicts(part) == {"middle centre": verdict}


def test_a_patchs_place_is_its_centre_in_the_photo() -> None:
    """Rows 30 to 39 and columns 30 to 49, of 10 px from (100, 50): centre (500, 400)."""
    cells = grid(WIDE)
    (patch,) = judged(cells, labels_of(cells, {RICH: place(WIDE, 30, 30, 10, 20)})).flagged
    assert (patch.x, patch.y) == pytest.approx((500, 400))


ORDER = (STARVED, RICH, LEAN, HEAVY)


@pytest.mark.parametrize(("worse", "better"), tuple(pairwise(ORDER)))
def test_of_two_patches_the_worse_names_zone_and_part(worse: Label, better: Label) -> None:
    cells = grid(WIDE)
    both = {worse: place(WIDE, 30, 30, 15, 25), better: place(WIDE, 45, 30, 15, 30)}
    part = judged(cells, labels_of(cells, both))
    assert part.verdict is worse
    assert verdicts(part) == {"middle centre": worse}


@pytest.mark.parametrize(
    ("core", "around"), [(STARVED, LEAN), (RICH, HEAVY)], ids=["lean", "heavy"]
)
def test_a_core_too_small_to_name_a_zone_still_counts_with_what_surrounds_it(
    core: Label, around: Label
) -> None:
    cells = grid(WIDE)
    patches = {around: place(WIDE, 35, 35, 9, 9), core: place(WIDE, 37, 37, 6, 6)}
    alone = {core: patches[core]}
    assert judged(cells, labels_of(cells, alone)).verdict is GOOD
    part = judged(cells, labels_of(cells, patches))
    assert part.verdict is around
    assert part.flagged == ()


@pytest.mark.parametrize(("mild", "extreme"), [(LEAN, STARVED), (HEAVY, RICH)])
def test_lean_or_heavy_names_a_zone_from_two_fifths_of_it_or_beside_a_worse_cell(
    mild: Label, extreme: Label
) -> None:
    """Of 900 cells two fifths are 360."""
    cells = grid(WIDE)
    for rows, named in ((23, GOOD), (24, mild)):
        labels = labels_of(cells, {mild: place(WIDE, 33, 33, rows, 15)})
        assert zone_of(judged(cells, labels), "middle centre").verdict is named
        labels[33, 33] = extreme
        assert zone_of(judged(cells, labels), "middle centre").verdict is mild


@pytest.mark.parametrize(("label", "is_named"), [(LEAN, False), (HEAVY, False), (STARVED, True)])
def test_of_a_zone_that_is_hardly_judged_only_the_extremes_are_said(
    label: Label, is_named: bool
) -> None:
    cells = grid(WIDE)
    hidden = place(WIDE, 30, 30, 30, 30) & ~place(WIDE, 30, 30, 14, 15)  # 210 of 900 are seen
    labels = np.where(hidden, Label.NOT_JUDGED, labels_of(cells, {label: blob(900)}))
    named = zone_of(judged(cells, labels.astype(np.uint8)), "middle centre").verdict
    assert named is (label if is_named else Label.NOT_JUDGED)


def test_a_patch_that_reaches_a_little_into_a_zone_does_not_name_it() -> None:
    cells = grid(WIDE)
    part = judged(cells, labels_of(cells, {STARVED: place(WIDE, 32, 28, 20, 20)}))
    assert verdicts(part) == {"middle centre": STARVED}


@pytest.mark.parametrize(("rows", "named"), [(15, GOOD), (16, LEAN)])
def test_lean_that_a_window_sees_over_from_a_starved_zone_is_not_the_zones_own(
    rows: int, named: Label
) -> None:
    """Four rows beside a starved third are its windows'; of thirty, twelve name a zone."""
    cells = grid(WIDE)
    patches = {STARVED: place(WIDE, 0, 0, 30, 90), LEAN: place(WIDE, 30, 0, rows, 90)}
    part = judged(cells, labels_of(cells, patches))
    assert zone_of(part, "middle centre").verdict is named


@settings(max_examples=60)
@given(st.integers(0, 80), st.integers(0, 80), st.integers(3, 90), st.integers(3, 90))
def test_no_flagged_patch_is_left_without_a_zone(
    row: int, column: int, height: int, width: int
) -> None:
    """A strip along the border of six zones is less than a quarter of each, and of itself."""
    cells = grid(WIDE)
    part = judged(cells, labels_of(cells, {STARVED: place(WIDE, row, column, height, width)}))
    assert (part.verdict is STARVED) == bool(part.flagged)
    assert (STARVED in verdicts(part).values()) == bool(part.flagged)


@pytest.mark.parametrize(("side", "width"), [(90, 10), (60, 4)])
def test_a_starved_strip_over_six_zones_is_not_called_good(side: int, width: int) -> None:
    """Of the narrow one no piece matters by itself, or is a quarter of anything."""
    cells = grid((side, side))
    strip = place((side, side), 0, side // 3 - width // 2, side, width)
    assert judged(cells, labels_of(cells, {STARVED: strip})).verdict is STARVED


def test_brim_and_lock_are_zones_of_their_own() -> None:
    cells = grid(WIDE)
    part = judged(cells, labels_of(cells, {STARVED: cells.brim, RICH: cells.lock}))
    assert zone_of(part, "brim").verdict is STARVED
    assert zone_of(part, "lock").verdict is RICH
    assert not zone_mask(cells, "brim")[3:].any()


def test_nothing_is_called_good_where_too_little_is_judged() -> None:
    cells = grid(SHAPE)
    labels = labels_of(cells, {}, rest=Label.NOT_JUDGED)
    labels[:, :6] = GOOD  # half of the left zones, a sixth of the part
    part = judged(cells, labels)
    assert part.verdict is Label.NOT_JUDGED
    assert part.share_judged == pytest.approx(1 / 6)
    assert zone_of(part, "middle left").share_judged == pytest.approx(0.5)
    assert zone_of(part, "middle left").verdict is GOOD
    assert zone_of(part, "middle centre").verdict is Label.NOT_JUDGED


def test_a_starved_patch_counts_however_little_else_is_judged() -> None:
    cells = grid(WIDE)
    labels = labels_of(cells, {STARVED: blob(100)}, rest=Label.NOT_JUDGED)
    assert judged(cells, labels).verdict is STARVED


def test_a_part_of_which_nothing_is_judged() -> None:
    reasons = np.full(SHAPE, Reason.FOCUS, np.uint32)
    cells = grid(SHAPE, reasons=reasons)
    part = judge(cells, labels_of(cells, {}, rest=Label.NOT_JUDGED), reasons)
    assert {zone.verdict for zone in part.zones} == {part.verdict} == {Label.NOT_JUDGED}
    assert part.share_judged == 0
    assert part.evenness is None
    assert part.reasons == {EXPLANATIONS[Reason.FOCUS].word: 1.0}
    assert all(zone.visibility is None for zone in part.zones)


def test_a_grid_without_a_part_is_not_judged() -> None:
    cells = grid(SHAPE, zone=np.zeros(SHAPE, np.uint8))
    part = judged(cells, np.zeros(SHAPE, np.uint8))
    assert part.verdict is Label.NOT_JUDGED
    assert (part.share_judged, part.flagged, part.reasons) == (0.0, (), {})


def test_each_reason_has_its_share_of_the_part_largest_first() -> None:
    """Shares of the part alone, and of each reason by itself where two hold at once."""
    reasons = np.zeros(SHAPE, np.uint32)
    reasons[:9] |= np.uint32(Reason.GLARE)
    reasons[:, :18] |= np.uint32(Reason.FOCUS)
    cells = grid(SHAPE, reasons=reasons)
    part = judged(cells, labels_of(cells, {Label.NOT_JUDGED: reasons > 0}))
    words = [EXPLANATIONS[reason].word for reason in (Reason.FOCUS, Reason.GLARE)]
    assert list(part.reasons.items()) == [(words[0], 0.5), (words[1], 0.2)]
    assert part.share_judged == pytest.approx(0.4)


def test_a_zones_visibility_is_its_mean_over_what_was_judged() -> None:
    visibility = np.full(SHAPE, 0.1, np.float32)
    visibility[:15, :12] = 0.3
    visibility[0, 0] = np.nan
    cells = grid(SHAPE, visibility=visibility)
    labels = labels_of(cells, {Label.NOT_JUDGED: place(SHAPE, 15, 0, 15, 12)})
    part = judged(cells, labels)
    shown = zone_of(part, "proximal left").visibility
    assert shown is not None
    assert shown.value == pytest.approx(0.3)
    assert shown.low < 0.3 < shown.high
    assert zone_of(part, "middle left").visibility is None


def test_a_zones_interval_is_that_of_its_independent_windows() -> None:
    """900 cells of standard uncertainty 0.02; 95 % of a normal distribution within 1.96."""
    cells = grid(WIDE)
    interval = zone_of(judged(cells, labels_of(cells, {})), "middle centre").visibility
    assert interval is not None
    half = 1.96 * 0.02 / np.sqrt(900 / CELLS_PER_WINDOW)
    assert (interval.low, interval.high) == pytest.approx((0.1 - half, 0.1 + half))


def test_more_cells_make_the_interval_narrower_but_never_below_zero() -> None:
    """As the root of their number; a mean near zero is not given a negative low end."""
    small, large = grid((45, 36)), grid((90, 72))
    widths = []
    for cells in (small, large):
        shown = zone_of(judged(cells, labels_of(cells, {})), "middle centre").visibility
        assert shown is not None
        widths.append(shown.high - shown.low)
    assert widths[0] / widths[1] == pytest.approx(2, rel=0.01)
    faint = grid(SHAPE, visibility=np.full(SHAPE, 1e-3, np.float32))
    shown = zone_of(judged(faint, labels_of(faint, {})), "middle centre").visibility
    assert shown is not None
    assert shown.low == 0


EVEN = [
    ({}, GOOD, 1.0, "even"),
    ({}, STARVED, 1.0, "even"),  # evenly bad
    ({STARVED: 3}, GOOD, 1 - np.sqrt(1 / 3 - 1 / 9), "uneven"),
    ({LEAN: 3}, GOOD, 1 - 0.5 * np.sqrt(1 / 3 - 1 / 9), "fairly even"),
    ({HEAVY: 1}, GOOD, 1 - 0.5 * np.sqrt(1 / 9 - 1 / 81), "fairly even"),
    ({STARVED: 4}, RICH, 1 - 2 * np.sqrt(4 / 9 - 16 / 81), "uneven"),
]


@pytest.mark.parametrize(("zones", "rest", "value", "word"), EVEN)
def test_evenness_is_one_less_the_spread_of_the_zones(
    zones: dict[Label, int], rest: Label, value: float, word: str
) -> None:
    """Standard deviation of k zones at one place of the scale and 9 - k at another."""
    cells = grid(WIDE)
    patches = {label: cells.zone <= count for label, count in zones.items()}
    evenness = judged(cells, labels_of(cells, patches, rest=rest)).evenness
    assert evenness is not None
    assert evenness.value == pytest.approx(max(0.0, value))
    assert evenness.word == word


def test_one_zone_alone_is_neither_even_nor_uneven() -> None:
    cells = grid(WIDE)
    labels = labels_of(cells, {Label.NOT_JUDGED: cells.zone != 5})
    assert judged(cells, labels).evenness is None


@pytest.mark.parametrize(("zones", "is_told"), [(4, False), (5, True)])
def test_a_part_of_which_most_is_hidden_is_neither_even_nor_uneven(
    zones: int, is_told: bool
) -> None:
    """Where only starved cells can be believed, all that is seen is alike."""
    cells = grid(WIDE)
    labels = labels_of(cells, {STARVED: cells.zone <= zones}, rest=Label.NOT_JUDGED)
    assert (judged(cells, labels).evenness is not None) is is_told


def test_a_piece_that_matters_by_itself_names_its_zone() -> None:
    """A starved cross over five zones: its arms are small shares of patch and zone, yet large."""
    shape = (180, 120)
    cells = grid(shape)
    cross = place(shape, 88, 0, 4, 120) | place(shape, 0, 58, 180, 4)
    part = judged(cells, np.where(cross, STARVED, GOOD).astype(np.uint8))
    for name in ("middle left", "middle right"):
        arm, zone = zone_mask(cells, name) & cross, zone_mask(cells, name)
        assert arm.sum() < 0.25 * min(cross.sum(), zone.sum())
        assert zone_of(part, name).verdict is STARVED
    assert zone_of(part, "proximal left").verdict is GOOD
