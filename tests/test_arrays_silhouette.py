"""A silhouette's rim and long axis, against an ellipse's own."""

import cv2
import numpy as np
import pytest

from satcheck.arrays.silhouette import long_axis, rim


@pytest.mark.parametrize("angle", [0, 20, 45, 90, 130, 179])
def test_the_axis_of_an_ellipse_is_its_long_one(angle: int) -> None:
    mask = np.zeros((400, 420), np.uint8)
    cv2.ellipse(mask, (205, 190), (150, 60), angle, 0, 360, 1, -1)
    centre, along = long_axis(mask > 0)
    assert centre == pytest.approx((205, 190), abs=0.5)
    turn = np.radians(angle)
    assert abs(along @ [np.cos(turn), np.sin(turn)]) > np.cos(np.radians(0.3))


def test_the_rim_is_what_touches_the_outside_by_a_side() -> None:
    mask = np.zeros((7, 8), bool)
    mask[1:6, 2:7] = True
    mask[1, 2] = False  # (2, 3) now touches the outside by a corner alone
    found = np.zeros_like(mask)
    found[rim(mask)] = True
    expected = mask.copy()
    expected[2:5, 3:6] = False
    assert np.array_equal(found, expected)


def test_what_reaches_the_pictures_border_has_its_rim_there() -> None:
    found = np.zeros((3, 4), bool)
    found[rim(np.ones((3, 4), bool))] = True
    assert np.argwhere(~found).tolist() == [[1, 1], [1, 2]]
