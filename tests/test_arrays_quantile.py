"""Quantiles and medians, held against NumPy's."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from satcheck.arrays.quantile import median, quantile

NUMBERS = st.floats(-1e6, 1e6, width=32)


@given(arrays(np.float32, st.tuples(st.integers(1, 7), st.integers(1, 9)), elements=NUMBERS),
       st.floats(0, 1))  # fmt: skip
def test_it_is_numpys(values: np.ndarray, share: float) -> None:
    expected = np.quantile(values.astype(np.float64), share)
    assert quantile(values, share) == pytest.approx(expected, rel=1e-9, abs=1e-6)


@pytest.mark.parametrize(
    ("share", "expected"), [(0, 15.0), (0.25, 20.0), (0.4, 29.0), (0.5, 35.0), (1, 50.0)]
)
def test_five_numbers(share: float, expected: float) -> None:
    """By hand: the place is 4 * share among 15 20 35 40 50, so 0.4 lies at 1.6: 20 + 0.6 * 15."""
    assert quantile(np.array([40, 15, 50, 20, 35], np.uint8), share) == pytest.approx(expected)


def test_the_values_are_left_in_their_order() -> None:
    values = np.array([3.0, 1.0, 2.0])
    quantile(values, 0.5)
    assert values.tolist() == [3, 1, 2]


@given(arrays(np.float32, st.tuples(st.integers(1, 5), st.integers(1, 6)), elements=NUMBERS),
       st.sampled_from([None, 0, 1]))  # fmt: skip
def test_a_median_is_numpys(values: np.ndarray, axis: int | None) -> None:
    found = median(values, axis)
    np.testing.assert_allclose(found, np.median(values, axis), rtol=1e-6)
    assert found.shape == np.median(values, axis).shape


def test_a_median_of_whole_numbers_may_lie_between_them() -> None:
    assert median(np.array([7, 1, 2, 4], np.uint8)) == 3
    assert median(np.array([200, 201], np.uint8)) == 200.5


def test_the_median_of_nothing_is_not_a_number() -> None:
    assert np.isnan(median(np.zeros(0)))
    assert np.isnan(median(np.zeros((0, 3)), 0)).tolist() == [True] * 3


def test_no_values_and_no_such_share_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        quantile(np.zeros(0), 0.5)
    for share in (-0.01, 1.01, float("nan")):
        with pytest.raises(ValueError, match="0 to 1"):
            quantile(np.zeros(3), share)
