"""Optimal transport: closed forms, scipy's Wasserstein distance and assignment, properties."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.stats import wasserstein_distance

from satcheck.stringing.transport import transport

F64 = NDArray[np.float64]
amounts = st.lists(st.floats(0, 1e4) | st.just(0.0), min_size=1, max_size=6).map(np.array)


def between(sources: F64, sinks: F64) -> F64:
    """Return the distances between places on a line, (n, m)."""
    return np.abs(sources[:, None] - sinks[None])


def test_one_source_and_one_sink_exchange_the_smaller_amount() -> None:
    assert_allclose(transport([3], [2], [[5]]), [[2]])
    assert_allclose(transport([2], [3], [[5]]), [[2]])


def test_a_line_keeps_its_order() -> None:
    """On a line the best transport never crosses: first to first, last to last."""
    at, to = np.array([0.0, 1.0, 2.0]), np.array([5.0, 6.0, 7.0])
    cost = between(at, to) ** 2
    assert_allclose(transport([1, 1, 1], [1, 1, 1], cost), np.eye(3), atol=1e-9)


def test_a_symmetric_scene_is_served_symmetrically() -> None:
    """Two sources outside, two sinks inside: each sink from its own side."""
    cost = between(np.array([-3.0, 3.0]), np.array([-1.0, 1.0]))
    assert_allclose(transport([2, 2], [1, 1], cost), np.eye(2), atol=1e-9)


def test_the_nearest_source_first_would_be_worse() -> None:
    """The control for "solved, not guessed": the greedy way costs 1 + 10, the best 2 + 3."""
    cost = np.array([[1.0, 2.0], [3.0, 10.0]])
    flow = transport([1, 1], [1, 1], cost)
    assert (flow * cost).sum() == pytest.approx(5)
    assert cost[0, 0] + cost[1, 1] == 11


def test_what_is_left_over_stays_with_the_farthest_source() -> None:
    flow = transport([1, 1], [1], [[1], [9]])
    assert_allclose(flow, [[1], [0]], atol=1e-9)


def test_a_balanced_line_costs_what_scipy_says() -> None:
    rng, n = np.random.default_rng(2), 5
    at, to = rng.uniform(0, 10, n), rng.uniform(0, 10, n)
    have = rng.uniform(1, 2, n)
    want = rng.permutation(have)
    flow = transport(have, want, between(at, to))
    expected = wasserstein_distance(at, to, have, want) * have.sum()
    assert (flow * between(at, to)).sum() == pytest.approx(expected)


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 6), st.integers(1, 6), st.integers(0, 1000))
def test_unit_amounts_are_an_assignment(n: int, m: int, seed: int) -> None:
    cost = np.random.default_rng(seed).uniform(0, 1, (n, m))
    rows, columns = linear_sum_assignment(cost)
    flow = transport(np.ones(n), np.ones(m), cost)
    assert (flow * cost).sum() == pytest.approx(cost[rows, columns].sum(), abs=1e-9)


@settings(max_examples=80, deadline=None)
@given(amounts, amounts, st.integers(0, 1000))
def test_nothing_is_made_or_lost(have: F64, want: F64, seed: int) -> None:
    cost = np.random.default_rng(seed).uniform(0, 10, (have.size, want.size))
    flow = transport(have, want, cost)
    total = min(have.sum(), want.sum())
    slack = 1e-6 * max(total, 1e-300)
    assert (flow >= 0).all()
    assert (flow.sum(1) <= have + slack).all()
    assert (flow.sum(0) <= want + slack).all()
    assert flow.sum() == pytest.approx(total, rel=1e-6, abs=1e-300)


@pytest.mark.parametrize("shape", [(0, 3), (3, 0), (0, 0)])
def test_an_empty_side_moves_nothing(shape: tuple[int, int]) -> None:
    flow = transport(np.ones(shape[0]), np.ones(shape[1]), np.ones(shape))
    assert flow.shape == shape
    assert flow.sum() == 0


@pytest.mark.parametrize(
    ("have", "want", "cost"),
    [([-1], [1], [[1]]), ([1], [np.nan], [[1]]), ([1], [1], [[-1]]), ([1], [1, 1], [[1]])],
)
def test_amounts_that_make_no_sense_are_refused(
    have: list[float], want: list[float], cost: list[list[float]]
) -> None:
    with pytest.raises(ValueError, match=r"finite|shapes"):
        transport(have, want, cost)
