"""Known truth: scipy.ndimage, which does the same; and single cases that can be counted by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from scipy import ndimage

from satcheck.arrays.cell_grid import (
    depth,
    holes,
    means,
    medians,
    smoothed,
    smoothing,
    spots,
    widened,
)

EIGHT = np.ones((3, 3), np.int8)
MASKS = arrays(np.bool_, array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=14))
LAYERS = arrays(
    np.float64,
    array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=14),
    elements=st.floats(-100, 100),
)


@given(MASKS)
def test_spots_are_those_of_the_reference_library(mask: np.ndarray) -> None:
    names, count = spots(mask)
    expected, number = ndimage.label(mask, EIGHT)
    assert count == number
    np.testing.assert_array_equal(names, expected)


def test_cells_that_touch_by_a_corner_are_one_spot() -> None:
    names, count = spots(np.array([[1, 0, 0], [0, 1, 0], [0, 0, 0], [1, 0, 1]], bool))
    assert count == 3
    assert names.tolist() == [[1, 0, 0], [0, 1, 0], [0, 0, 0], [2, 0, 3]]


def test_a_long_spiral_is_one_spot() -> None:
    mask = np.zeros((21, 21), bool)
    mask[::2] = True
    mask[1::4, -1] = mask[3::4, 0] = True
    assert spots(mask)[1] == 1


@given(MASKS)
def test_holes_are_those_of_the_reference_library(mask: np.ndarray) -> None:
    np.testing.assert_array_equal(holes(mask), ndimage.binary_fill_holes(mask, EIGHT) & ~mask)


def test_a_ring_that_is_open_at_a_corner_has_no_hole() -> None:
    ring = np.ones((3, 3), bool)
    ring[1, 1] = False
    assert holes(ring).sum() == 1
    ring[0, 0] = False
    assert not holes(ring).any()


@given(MASKS, st.integers(0, 4))
def test_widening_is_that_of_the_reference_library(mask: np.ndarray, steps: int) -> None:
    expected = ndimage.binary_dilation(mask, EIGHT, steps) if steps else mask
    np.testing.assert_array_equal(widened(mask, steps), expected)


@given(MASKS)
def test_depth_is_that_of_the_reference_library(mask: np.ndarray) -> None:
    expected = ndimage.distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1]
    np.testing.assert_allclose(depth(mask), expected)


def test_a_disc_is_as_deep_as_its_radius() -> None:
    y, x = np.mgrid[-20:21, -20:21]
    assert depth(x**2 + y**2 < 15**2).max() == pytest.approx(15)


@given(LAYERS, st.floats(0.3, 6))
def test_smoothing_is_that_of_the_reference_library(layer: np.ndarray, sigma: float) -> None:
    expected = ndimage.gaussian_filter(layer, sigma)
    np.testing.assert_allclose(smoothed(layer, sigma), expected, atol=1e-9)
    column = smoothing(len(layer), sigma) @ layer
    np.testing.assert_allclose(column, ndimage.gaussian_filter1d(layer, sigma, 0), atol=1e-9)


def test_a_smoothed_step_is_the_gaussian_integral() -> None:
    step = np.repeat([[0.0, 1.0]], 200, axis=1)
    assert smoothed(step, 20.0)[0, 220] == pytest.approx(0.8473, abs=2e-3)  # Phi(20.5 / 20)


@given(LAYERS, st.integers(0, 4), st.integers(0, 2**32 - 1))
def test_medians_and_means_are_those_of_the_reference_library(
    layer: np.ndarray, count: int, seed: int
) -> None:
    names = np.random.default_rng(seed).integers(0, count + 1, layer.shape)
    there = np.unique(names)
    found = medians(layer, names, count), means(layer, names, count)
    for ours, theirs in zip(found, (ndimage.median, ndimage.mean), strict=True):
        np.testing.assert_allclose(ours[there], theirs(layer, names, there), atol=1e-9)
        assert np.isnan(np.delete(ours, there)).all()
