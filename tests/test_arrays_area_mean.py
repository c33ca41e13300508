"""Averages of blocks, against sums by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satcheck.arrays.area_mean import area_mean, to_show, whole_step


@settings(max_examples=30)
@given(
    st.sampled_from([2, 4, 8]),
    st.integers(1, 9),
    st.integers(1, 9),
    st.sampled_from([(), (3,)]),
    st.integers(0, 2**32 - 1),
)
def test_whole_blocks_are_their_means(
    step: int, height: int, width: int, channels: tuple[int, ...], seed: int
) -> None:
    shape = (step * height, step * width, *channels)
    picture = np.random.default_rng(seed).random(shape).astype(np.float32)
    blocks = picture.reshape(height, step, width, step, *channels)
    found = area_mean(picture, width, height).reshape(height, width, *channels)
    assert found == pytest.approx(blocks.mean((1, 3)), abs=1e-6)


@pytest.mark.parametrize("shape", [(64, 96), (63, 96), (60, 97), (101, 77)])
def test_a_picture_keeps_its_mean_its_place_and_its_type(shape: tuple[int, int]) -> None:
    """A ramp is averaged to a ramp, within a tenth of the new pixels, halved or not."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    ramp = (300 * y + 200 * x).astype(np.uint16)
    small = area_mean(ramp, 19, 14)
    rows = (np.arange(14) + 0.5) * shape[0] / 14 - 0.5
    columns = (np.arange(19) + 0.5) * shape[1] / 19 - 0.5
    assert small.dtype == np.uint16
    tenth = 0.1 * (300 * shape[0] / 14 + 200 * shape[1] / 19)
    assert small == pytest.approx(300 * rows[:, None] + 200 * columns, abs=tenth)


def test_eight_bits_are_rounded_not_cut() -> None:
    mostly = np.tile(np.array([[10, 11], [11, 11]], np.uint8), (1, 4))
    assert (area_mean(mostly, 4, 1) == 11).all()
    assert (area_mean(21 - mostly, 4, 1) == 10).all()


def test_what_is_not_to_be_smaller_stays() -> None:
    picture = np.arange(12, dtype=np.float32).reshape(3, 4)
    assert area_mean(picture, 4, 3) is picture


def test_fine_stripes_are_averaged_for_the_eye_where_pixels_would_be_passed_over() -> None:
    """Every other row white: at a third of the size all must be grey, and not one or the other."""
    stripes = np.repeat((np.arange(96) % 2 * 200).astype(np.uint8)[:, None], 96, 1)
    assert to_show(stripes, 32, 32) == pytest.approx(100, abs=34)
    assert to_show(stripes, 24, 24) == pytest.approx(100, abs=1)
    assert to_show(stripes, 80, 80).shape == (80, 80)


@pytest.mark.parametrize(("most", "step"), [(0.2, 1), (1.99, 1), (2.0, 2), (3.9, 2), (8.5, 8)])
def test_a_step_is_a_power_of_two_that_is_not_too_long(most: float, step: int) -> None:
    assert whole_step(most) == step
