"""Averages of blocks, against sums by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satcheck.area_mean import area_mean


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
    picture = np.tile(np.array([[10, 11]], np.uint8), (2, 4))
    assert set(area_mean(picture, 4, 1).ravel()) <= {10, 11}
    assert area_mean(np.full((8, 8), 255, np.uint8), 2, 2).min() == 255


def test_what_is_not_to_be_smaller_stays() -> None:
    picture = np.arange(12, dtype=np.float32).reshape(3, 4)
    assert area_mean(picture, 4, 3) is picture
