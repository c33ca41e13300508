"""The best smooth path, against trying all of them."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from satcheck.outline.path import MOST_BEND, smooth_path

Float = NDArray[np.float32]


def value(score: Float, path: tuple[int, ...], steepest: int, bend_cost: float) -> float:
    """Return what a path is worth by the words of ``smooth_path``; minus infinity if forbidden."""
    slopes = np.diff(path)
    bends = np.abs(np.diff(slopes))
    if (np.abs(slopes) > steepest).any() or (bends > MOST_BEND).any():
        return -np.inf
    return float(score[np.arange(len(path)), path].sum() - bend_cost * bends.sum())


@settings(max_examples=60)
@given(st.integers(0, 10**6), st.integers(1, 5), st.integers(1, 4), st.integers(1, 3))
def test_no_path_is_worth_more(seed: int, rows: int, columns: int, steepest: int) -> None:
    score = np.random.default_rng(seed).random((rows, columns)).astype(np.float32)
    found = tuple(int(column) for column in smooth_path(score, steepest, 0.3))
    ways = product(range(columns), repeat=rows)
    best = max(value(score, way, steepest, 0.3) for way in ways)
    assert value(score, found, steepest, 0.3) == pytest.approx(best, abs=1e-5)


def test_a_straight_slope_costs_nothing_and_a_step_aside_its_bends() -> None:
    score = np.zeros((6, 12), np.float32)
    score[np.arange(6), 2 * np.arange(6)] = 1
    assert smooth_path(score, 2, 10.0).tolist() == [0, 2, 4, 6, 8, 10]
    score = np.zeros((7, 4), np.float32)
    score[:, 1] = 1
    score[3, 1], score[3, 2] = 0, 1  # out and back: slopes 0, 1, -1, 0, four bends for a gain of 1
    assert smooth_path(score, 2, 0.2)[3] == 2
    assert smooth_path(score, 2, 0.3)[3] == 1
