"""The best pair of flanks against plain recursion over every way through a small grid."""

from functools import cache
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from satcheck.outline.search import (
    ALPHA,
    EDGE_FLOOR,
    EDGE_PAR,
    EDGE_TYPICAL,
    MISS,
    MOVE_AXIS,
    MOVE_FAR,
    MOVE_WIDTH,
    FlankSearch,
)

F64 = NDArray[np.float64]
Layers = tuple[F64, F64, F64]


class Plain:
    """One direction, as the module's text defines it: evidence and edges (rows, n)."""

    def __init__(self, layers: Layers, typical: float, least: int) -> None:
        self.evidence, across, along = layers
        self.rows, self.n = self.evidence.shape
        flank = across / (across + typical) - EDGE_PAR
        self.flank = np.where(flank < 0, MISS * flank, flank)
        self.cap = np.nan_to_num(along / (along + typical) - EDGE_PAR)
        self.least = least
        self.reached = cache(self._reached)

    def inside(self, row: int, left: int, right: int) -> float:
        """Return what a row of a ribbon is worth."""
        filled = ALPHA * self.evidence[row, left:right].sum()
        return float(filled + self.flank[row, left] + self.flank[row, right])

    def close(self, row: int, left: int, right: int) -> float:
        """Return what an end before this row is worth."""
        return float(self.cap[row, left:right].sum())

    def _reached(self, row: int, left: int, right: int) -> float:
        """Return the value of the best ribbon whose last row so far is this one."""
        if right - left < self.least:
            return -np.inf
        ways = [self.close(row, left, right)]
        for to_left, to_right in product(range(-2, 3), repeat=2):
            from_left, from_right = left - to_left, right - to_right
            on_grid = 0 <= from_left < self.n and 0 <= from_right < self.n
            if row > 0 and on_grid and abs(to_left + to_right) <= 1:
                ways.append(self.reached(row - 1, from_left, from_right) - cost(to_left, to_right))
        return max(ways) + self.inside(row, left, right)

    def value(self, path: NDArray[np.intp]) -> float:
        """Return what a ribbon (N, 3) row, left, right is worth."""
        (top, *first), (last, *ends) = path[0], path[-1]
        total = self.close(top, *first) + self.close(last + 1, *ends)
        total += sum(self.inside(*row) for row in path)
        return float(total - sum(cost(*move) for move in np.diff(path[:, 1:], axis=0)))

    def best(self) -> float:
        """Return what the best ribbon is worth."""
        states = product(range(self.rows - 1), range(self.n), range(self.n))
        return max(
            self.reached(row, left, right) + self.close(row + 1, left, right)
            for row, left, right in states
            if left < right
        )


def cost(left: int, right: int) -> float:
    """Return what a move of both flanks costs."""
    far = max(abs(left) - 1, 0) + max(abs(right) - 1, 0)
    return MOVE_WIDTH * abs(right - left) + MOVE_AXIS * abs(left + right) + MOVE_FAR * far


def searched(layers: Layers, least: int) -> FlankSearch:
    """Search in single precision, as the module does."""
    evidence, across, along = (layer.astype(np.float32) for layer in layers)
    return FlankSearch(evidence, across, along, least)


def drawn(seed: int, directions: int, rows: int, n: int) -> Layers:
    rng = np.random.default_rng(seed)
    evidence, across, along = rng.uniform(-1, 1, (3, directions, rows, n))
    along = np.where(rng.random(along.shape) < 0.1, np.nan, 20 * np.abs(along))
    return evidence, 20 * np.abs(across), along


@given(st.integers(0, 10**6), st.integers(1, 4), st.integers(3, 6), st.integers(4, 7))
@settings(max_examples=40, deadline=None)
def test_no_way_through_the_grid_is_better(seed: int, directions: int, rows: int, n: int) -> None:
    evidence, across, along = drawn(seed, directions, rows, n)
    search = searched((evidence, across, along), 2)
    typical = EDGE_FLOOR + EDGE_TYPICAL * float(np.median(across[across > 0]))
    for i in range(directions):
        plain = Plain((evidence[i], across[i], along[i]), typical, 2)
        assert search.best[i] == pytest.approx(plain.best(), abs=1e-4)
        path = search.trace(i)
        assert plain.value(path) == pytest.approx(plain.best(), abs=1e-4)
        assert (np.diff(path[:, 0]) == 1).all()
        assert (path[:, 2] - path[:, 1] >= 2).all()


def test_a_direction_is_searched_as_if_it_were_alone() -> None:
    """Directions share one array; none may lend another its ribbon."""
    evidence, across, along = drawn(3, 5, 8, 9)
    across[:] = 5.0  # throughout: the typical strength of an edge is the same for each
    evidence[2] += 40.0  # a direction that would win everywhere
    together = searched((evidence, across, along), 0)
    for i in range(5):
        one = slice(i, i + 1)
        alone = searched((evidence[one], across[one], along[one]), 0)
        assert together.best[i] == alone.best[0]
        np.testing.assert_array_equal(together.trace(i), alone.trace(0))
