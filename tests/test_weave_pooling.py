"""Gaussian means at a few places, against a blur of the whole layer."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from satcheck.weave.pooling import WIDE, Pool, gaussian_rows
from satcheck.weave.spectrum import blur

F32 = NDArray[np.float32]
SHAPE = (90, 61)
ROWS, COLUMNS = np.arange(0, 90, 7), np.arange(2, 61, 5)


def layer(seed: int = 3) -> F32:
    return np.random.default_rng(seed).normal(0, 1, SHAPE).astype(np.float32)


def pool(mask: NDArray[np.bool_] | None = None) -> Pool:
    return Pool(np.ones(SHAPE, bool) if mask is None else mask, ROWS, COLUMNS)


@settings(max_examples=30)
@given(st.floats(0.4, 2 * WIDE, exclude_max=True), st.integers(0, 2**32 - 1))
def test_a_pool_is_opencvs_blur_at_its_places(sigma: float, seed: int) -> None:
    """Borders are mirrored alike, also where the taps reach across the whole layer."""
    expected = cv2.GaussianBlur(layer(seed), (0, 0), sigma)[np.ix_(ROWS, COLUMNS)]
    assert pool().blurred(layer(seed), sigma) == pytest.approx(expected, abs=2e-6)


@settings(max_examples=30)
@given(st.floats(2 * WIDE, 20.0), st.floats(0.005, 0.03), st.floats(0, np.pi))
def test_a_wide_gaussian_leaves_of_a_wave_what_the_closed_form_says(
    sigma: float, cycles: float, turn: float
) -> None:
    """A wave of f cycles a pixel keeps exp(-2 pi^2 s^2 f^2): the Gaussian's Fourier transform."""
    y, x = np.mgrid[:401, :302]
    wave = np.cos(2 * np.pi * cycles * (x * np.cos(turn) + y * np.sin(turn)))
    expected = wave * np.exp(-2 * (np.pi * sigma * cycles) ** 2)
    inner = np.s_[100:-100, 100:-100]
    rows, columns = np.arange(100, 301, 7), np.arange(100, 202, 5)
    pooled = Pool(np.ones(wave.shape, bool), rows, columns).blurred(wave.astype(np.float32), sigma)
    assert pooled == pytest.approx(expected[np.ix_(rows, columns)], abs=4e-3)
    assert blur(wave.astype(np.float32), sigma)[inner] == pytest.approx(expected[inner], abs=8e-3)


def test_a_mean_takes_nothing_from_outside_the_mask() -> None:
    mask = np.arange(SHAPE[1]) < 30
    values = np.where(mask, np.float32(0.2), np.float32(900.0)) + np.zeros(SHAPE, np.float32)
    inside = COLUMNS < 30
    assert pool(mask & (values > 0)).mean(values, 6.0)[:, inside] == pytest.approx(0.2, rel=1e-5)
    assert pool().mean(values, 6.0)[:, inside].max() > 1


def test_scattered_values_are_a_layer_of_points_blurred() -> None:
    rows, columns = np.array([4, 4, 60, 89]), np.array([10, 50, 33, 0])
    values = np.array([1, -2, 3, 5], np.float32)
    points = np.zeros(SHAPE, np.float32)
    points[rows, columns] = values
    found = pool().scattered(rows, columns, values, 2.5)
    assert found == pytest.approx(pool().blurred(points, 2.5), abs=1e-6)


def test_weights_add_up_to_one_also_on_a_line_of_one_pixel() -> None:
    for size in (1, 2, 40):
        weights = gaussian_rows(size, np.arange(size), 3.0)
        assert weights.sum(1) == pytest.approx(1, abs=1e-5)
