"""The straightened picture: where its pixels come from, which way it is turned, its light."""

from typing import get_args

import cv2
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from satcheck.frame import Cutout, Frame
from satcheck.light import encode_srgb, linear_light
from satcheck.model import Side
from satcheck.zones import DIRECTIONS, split_zones

Float = NDArray[np.float64]
Bool = NDArray[np.bool_]
TURNS: dict[Side, int] = {"down": 0, "left": 90, "up": 180, "right": 270}
CENTRE = np.array([210.0, 200.0])


def turn(angle: float) -> Float:
    """Return the matrix that turns x, y (y down) clockwise on the screen."""
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    return np.array([[c, -s], [s, c]])


def cone(angle: float, centre: Float = CENTRE) -> Bool:
    """Return a tapered part, its narrow distal end pointing down before the turn."""
    outline = np.array([(-60, -120), (60, -120), (40, 120), (-40, 120)]) @ turn(angle).T + centre
    mask = np.zeros((400, 420), np.uint8)
    cv2.fillPoly(mask, [np.round(outline * 16).astype(np.int32)], 1, shift=4)
    return mask > 0


def cut(rgb: NDArray[np.uint8], part: Bool, distal: Side | None = None) -> Cutout:
    """Return a part with no tape on it."""
    return Cutout.of(rgb, part, split_zones(part, distal), lambda: part)


def dot(at: Float, sigma: float = 3.0) -> NDArray[np.uint8]:
    """Return a photo with one light dot at x, y, in pixels from the photo's corner."""
    y, x = np.mgrid[:400, :420] + 0.5
    light = 0.8 * np.exp(-((x - at[0]) ** 2 + (y - at[1]) ** 2) / (2 * sigma**2))
    return np.repeat(encode_srgb(light)[..., None], 3, 2)


def centroid(frame: Frame) -> Float:
    """Return where the light lies, x, y in pixels from the frame's corner."""
    light = frame.linear[..., 1].astype(float)
    y, x = np.mgrid[: light.shape[0], : light.shape[1]] + 0.5
    return np.asarray(np.array([(x * light).sum(), (y * light).sum()]) / light.sum())


@pytest.mark.parametrize("scale", [1.0, 0.62, 0.35])
@pytest.mark.parametrize("angle", [0, 17, 90, 143, 180, 270, 305])
def test_a_dot_of_the_photo_is_found_where_the_map_says(angle: int, scale: float) -> None:
    part = cone(angle)
    at = turn(angle) @ np.array([21.3, -64.6]) + CENTRE
    frame = cut(dot(at), part).straightened(scale)
    found = frame.to_photo @ [*centroid(frame), 1]
    assert np.hypot(*(found - at)) < 0.2  # px of the photo; the warp rounds to 1/32 of its own


@pytest.mark.parametrize("distal", get_args(Side))
def test_the_proximal_end_is_up_and_right_stays_right(distal: Side) -> None:
    """Right is clockwise of up, seen with the proximal end up: a turn, never a mirror."""
    part = cone(TURNS[distal])
    proximal_right = turn(TURNS[distal]) @ np.array([30.0, -90.0]) + CENTRE
    frame = cut(dot(proximal_right), part, distal).straightened(0.8)
    x, y = centroid(frame) / frame.laminate.shape[::-1]
    assert (x > 0.6, y < 0.25) == (True, True)
    assert np.linalg.det(frame.to_photo[:, :2]) > 0
    down = frame.to_photo[:, 1] * frame.scale
    assert down == pytest.approx(DIRECTIONS[distal], abs=0.02)


@pytest.mark.parametrize("distal", get_args(Side))
def test_zones_run_down_and_to_the_right(distal: Side) -> None:
    part = cone(TURNS[distal])
    frame = cut(dot(CENTRE), part, distal).straightened(0.7)
    y, x = np.nonzero(frame.zones)
    code = frame.zones[y, x].astype(int) - 1
    rows = [y[code // 3 == third].mean() for third in range(3)]
    columns = [x[code % 3 == side].mean() for side in range(3)]
    assert rows == sorted(rows)
    assert columns == sorted(columns)
    assert y[frame.brim[y, x]].mean() < rows[0] < rows[2] < y[frame.lock[y, x]].mean()


@example(246.625, 0.2)
@settings(max_examples=15)
@given(st.floats(0, 360), st.floats(0.2, 1.0))
def test_areas_shrink_with_the_square_of_the_scale(angle: float, scale: float) -> None:
    part = cone(angle)
    frame = cut(dot(CENTRE), part).straightened(scale)
    square = frame.to_photo[:, :2].T @ frame.to_photo[:, :2]
    assert square == pytest.approx(np.eye(2) / scale**2, abs=1e-9)  # a similarity
    rim = max(0.02, 0.005 / scale)  # the smaller the frame, the more of it is its rim
    assert frame.laminate.sum() == pytest.approx(scale**2 * part.sum(), rel=rim)
    assert np.array_equal(frame.zones > 0, frame.laminate)


def test_light_is_averaged_as_light_not_as_codes() -> None:
    """A fine board of codes 40 and 220: the mean of their light, not the light of their mean."""
    codes = np.array([40, 220, 130], np.uint8)
    dark, bright, between = linear_light(codes)
    y, x = np.mgrid[:400, :420]
    board = np.repeat(codes[(x + y) % 2][..., None], 3, 2)
    part = cone(30)
    frame = cut(board, part).straightened(0.25)
    assert frame.linear[frame.laminate].mean() == pytest.approx((dark + bright) / 2, abs=0.005)
    assert between < 0.7 * (dark + bright) / 2  # what an average of codes would give


@pytest.mark.parametrize("scale", [1.0, 0.5])
def test_a_part_cut_by_the_border_is_still_placed_right(scale: float) -> None:
    part = cone(10, np.array([30.0, 110.0]))
    assert part[:, 0].any()
    assert part[0].any()
    at = np.array([45.0, 120.0])
    frame = cut(dot(at), part, "down").straightened(scale)
    assert np.hypot(*(frame.to_photo @ [*centroid(frame), 1] - at)) < 0.15


def test_a_photo_is_never_enlarged() -> None:
    part = cone(0)
    frame = cut(dot(CENTRE), part).straightened(3.0)
    assert frame.scale == 1.0
    assert frame.laminate.sum() == pytest.approx(part.sum(), rel=0.01)


def test_span_is_the_axis_and_the_half_width() -> None:
    part = cone(0)
    frame = cut(dot(CENTRE), part, "down").straightened(1.0)
    centre, half = frame.span
    rows = np.flatnonzero(frame.laminate.any(1))
    photo_y = (np.arange(len(half)) + 0.5 + frame.to_photo[1, 2])[rows]
    assert half[rows] == pytest.approx(60 - (photo_y - 80) / 12, abs=1.1)
    assert np.ptp(centre[rows]) < 2.1  # half a degree of the axis
    assert np.isnan(half[0])
    assert np.isnan(centre[-1])


def test_what_is_covered_is_no_laminate() -> None:
    whole = cone(0)
    taped = np.zeros_like(whole)
    taped[190:200] = whole[190:200]
    photo, zones = dot(CENTRE), split_zones(whole)
    frame = Cutout.of(photo, whole, zones, lambda: whole & ~taped).straightened(0.5)
    assert not (frame.covered & frame.laminate).any()
    assert not frame.zones[frame.covered].any()
    assert frame.covered.sum() == pytest.approx(taped.sum() / 4, rel=0.1)


def test_width_is_the_mean_across_the_axis() -> None:
    part = cone(40)
    assert cut(dot(CENTRE), part).width == pytest.approx(100, rel=0.02)
