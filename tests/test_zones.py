"""Zones on silhouettes whose axis and thirds are known in closed form."""

from typing import get_args

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from satcheck.errors import UsageError
from satcheck.model import Side
from satcheck.zones import NUMBER, ON_BRIM, ON_LOCK, ZoneMap, split_zones

Bool = NDArray[np.bool_]
TURNS: dict[Side, Side] = {"up": "left", "left": "down", "down": "right", "right": "up"}


def cone(angle: float = 0.0, length: int = 240, flare: bool = False) -> Bool:
    """Return a tapered silhouette, wide end up; turned clockwise by ``angle``."""
    half = length / 2
    outline = [(-60, -half), (60, -half), (35, half), (-35, half)]
    if flare:
        outline = [(-60, -half), (100, -half - 12), (58, -half + 30), (35, half), (-35, half)]
    turn = np.radians(angle)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    mask = np.zeros((400, 420), np.uint8)
    points = np.array(outline) @ matrix.T + [210, 200]
    cv2.fillPoly(mask, [np.round(points * 16).astype(np.int32)], 1, shift=4)
    return mask > 0


def third(zones: ZoneMap) -> NDArray[np.uint8]:
    """Return 0 off the part, 1 proximal, 2 middle, 3 distal."""
    return np.asarray(((zones.codes & NUMBER) + 2) // 3, np.uint8)


def side(zones: ZoneMap) -> NDArray[np.uint8]:
    """Return 0 off the part, 1 left, 2 centre, 3 right."""
    number = zones.codes & NUMBER
    return np.asarray(np.where(number > 0, (number + 2) % 3 + 1, 0), np.uint8)


def brim(zones: ZoneMap) -> Bool:
    return np.asarray(zones.codes & ON_BRIM > 0)


def lock(zones: ZoneMap) -> Bool:
    return np.asarray(zones.codes & ON_LOCK > 0)


@pytest.mark.parametrize("angle", [0, 20, 45, 90, 135, 180, 250, 300])
def test_the_axis_points_from_the_wide_to_the_narrow_end(angle: int) -> None:
    zones = split_zones(cone(angle))
    expected = np.array([-np.sin(np.radians(angle)), np.cos(np.radians(angle))])
    assert zones.guessed
    assert np.dot(zones.axis, expected) > np.cos(np.radians(1))


def test_a_one_sided_flare_of_the_brim_hardly_turns_the_axis() -> None:
    mask = cone(0, flare=True)
    y, x = np.nonzero(mask)
    moments = np.linalg.eigh(np.cov(np.stack([x, y])))[1][:, 1]
    tilt = abs(np.degrees(np.arctan2(*split_zones(mask).axis)))
    assert tilt < 2
    assert abs(np.degrees(np.arctan(moments[0] / moments[1]))) > 4  # what the moments would say


def test_thirds_are_equal_lengths() -> None:
    zones = split_zones(cone(), "down")
    rows = [np.flatnonzero((third(zones) == code).any(axis=1)) for code in (1, 2, 3)]
    assert [len(r) for r in rows] == pytest.approx([80, 80, 80], abs=1)
    assert rows[0].max() < rows[1].min() < rows[1].max() < rows[2].min()


def test_sides_are_thirds_of_the_local_width() -> None:
    zones = split_zones(cone(), "down")
    across = side(zones)
    for row in (100, 200, 300):
        widths = [int((across[row] == code).sum()) for code in (1, 2, 3)]
        assert max(widths) - min(widths) <= 2
        assert across[row, 210] == 2


@pytest.mark.parametrize(
    ("angle", "distal", "right"),
    [(0, "down", (1, 0)), (180, "up", (-1, 0)), (90, "left", (0, 1)), (270, "right", (0, -1))],
)
def test_right_is_right_with_the_proximal_end_up(
    angle: int, distal: Side, right: tuple[int, int]
) -> None:
    zones = split_zones(cone(angle), distal)
    centre = [np.argwhere(side(zones) == code).mean(axis=0)[::-1] for code in (1, 3)]
    assert np.dot(centre[1] - centre[0], right) > 30


def test_the_stated_end_outranks_the_narrower_one() -> None:
    zones = split_zones(cone(), "up")
    assert not zones.guessed
    assert zones.axis[1] == pytest.approx(-1, abs=0.01)
    assert zones.distal == "up"


def test_a_stated_end_across_the_long_axis_takes_the_short_one() -> None:
    mask = np.zeros((200, 300), bool)
    mask[60:140, 50:250] = True
    zones = split_zones(mask, "down")
    assert zones.axis == pytest.approx((0, 1), abs=1e-6)


def test_the_brim_strip_follows_a_curved_brim() -> None:
    mask = np.zeros((400, 300), bool)
    x = np.arange(300)
    top = 60 + 25 * np.cos((x - 150) / 90 * np.pi)
    y = np.arange(400)[:, None]
    mask |= (y >= top) & (y < 360) & (np.abs(x - 150) < 90)
    zones = split_zones(mask, "down")
    length = np.ptp(np.flatnonzero(mask.any(axis=1))) + 1
    depth = brim(zones).sum(axis=0)[70:230]
    assert depth == pytest.approx(0.06 * length, abs=2.5)
    assert not brim(zones)[200:].any()


def test_the_lock_is_the_last_tenth() -> None:
    zones = split_zones(cone(), "down")
    rows = np.flatnonzero(lock(zones).any(axis=1))
    assert (rows.min(), rows.max()) == pytest.approx((297, 320), abs=1)


@settings(max_examples=25)
@given(st.integers(0, 359), st.sampled_from([None, *get_args(Side)]))
def test_cells_partition_the_part(angle: int, distal: Side | None) -> None:
    silhouette = cone(angle)
    zones = split_zones(silhouette, distal)
    assert set(np.unique(zones.codes[silhouette] & NUMBER)) == set(range(1, 10))
    assert not zones.codes[~silhouette].any()


def layers(zones: ZoneMap) -> tuple[NDArray[np.generic], ...]:
    return third(zones), side(zones), brim(zones), lock(zones)


@pytest.mark.parametrize("end", get_args(Side))
@pytest.mark.parametrize("distal", ["up", "down"])
def test_an_end_that_the_picture_cuts_has_no_brim_and_no_lock(end: Side, distal: Side) -> None:
    """The cone reaches from row 80 to row 320 and from column 150 to column 270."""
    mask = cone()
    left = {"up": mask[120:], "down": mask[:280], "left": mask[:, 190:], "right": mask[:, :230]}
    zones = split_zones(np.ascontiguousarray(left[end]), distal)
    assert zones.cut == (end,)
    opposite = {"up": "down", "down": "up"}
    assert lock(zones).any() == (end != distal)
    assert brim(zones).any() == (end != opposite[distal])


def test_a_part_that_ends_inside_the_picture_is_not_cut() -> None:
    """Five rows of background beyond either end are enough; a corner on the border is no cut."""
    assert split_zones(cone()[75:325], "down").cut == ()
    tip = cone(45)
    rows = np.flatnonzero(tip.any(axis=1))
    assert split_zones(tip[rows[0] :], "down").cut == ()


@pytest.mark.parametrize("angle", [0, 25, 160])
@pytest.mark.parametrize("distal", get_args(Side))
def test_zones_turn_with_the_picture(angle: int, distal: Side) -> None:
    mask = cone(angle)
    before = split_zones(mask, distal)
    after = split_zones(np.ascontiguousarray(np.rot90(mask)), TURNS[distal])
    for one, other in zip(layers(before), layers(after), strict=True):
        assert np.mean(np.rot90(one) != other) < 0.005


def test_mirroring_swaps_left_and_right_only() -> None:
    zones = split_zones(cone(15), "down")
    mirrored = split_zones(np.ascontiguousarray(cone(15)[:, ::-1]), "down")
    swap = np.array([0, 3, 2, 1], np.uint8)
    assert np.mean(third(zones)[:, ::-1] != third(mirrored)) < 0.005
    assert np.mean(swap[side(zones)[:, ::-1]] != side(mirrored)) < 0.01


def test_a_large_picture_has_the_same_zones() -> None:
    mask = cone(20)
    big = cv2.resize(mask.astype(np.uint8), None, fx=5, fy=5, interpolation=cv2.INTER_NEAREST) > 0
    large = third(split_zones(big, "down"))[2::5, 2::5]
    assert np.mean(large != third(split_zones(mask, "down"))) < 0.01


def test_an_unknown_end_is_named_with_what_is_allowed() -> None:
    with pytest.raises(UsageError, match="up, down, left, right"):
        split_zones(cone(), "distal")  # type: ignore[arg-type]


def test_an_empty_silhouette_is_refused() -> None:
    with pytest.raises(ValueError, match="empty"):
        split_zones(np.zeros((20, 20), bool))
