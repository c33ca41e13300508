"""Tolerance factors against printed tables and what they promise."""

import numpy as np
import pytest
from scipy.stats import norm

from satcheck.statistics.intervals import lower_bound
from satcheck.statistics.tolerance import one_sided_factor, two_sided_factor

ONE_SIDED = [  # readings; 90/95, 95/95, 99/95, 90/90: exact non-central t, recomputed
    (5, 3.407, 4.203, 5.741, 2.742), (8, 2.582, 3.187, 4.354, 2.219),
    (10, 2.355, 2.911, 3.981, 2.066), (15, 2.068, 2.566, 3.520, 1.867),
    (20, 1.926, 2.396, 3.295, 1.765), (30, 1.777, 2.220, 3.064, 1.657),
    (50, 1.646, 2.065, 2.862, 1.559),
]  # fmt: skip


@pytest.mark.parametrize("row", ONE_SIDED)
def test_the_one_sided_table(row: tuple[float, ...]) -> None:
    asked = ((0.90, 0.95), (0.95, 0.95), (0.99, 0.95), (0.90, 0.90))
    found = [one_sided_factor(share, row[0], confidence) for share, confidence in asked]
    assert found == pytest.approx(row[1:], abs=6e-4)


def test_nist_7_2_6_3_two_sided_and_one_sided() -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.3: 43 readings, 90 % of values, 99 % confidence.

    Howe's k2 = 2.2173159 gives 97.010576 to 97.12942. The handbook's one-sided k1 = 1.8751896 is
    Natrella's approximation, 0.07 % above the exact 1.8740.
    """
    k2 = two_sided_factor(0.90, 43, 0.99)
    assert k2 == pytest.approx(2.2173159, abs=5e-7)
    assert (97.07 - 0.0268 * k2, 97.07 + 0.0268 * k2) == pytest.approx((97.010576, 97.12942))
    k1 = one_sided_factor(0.90, 43, 0.99)
    assert k1 == pytest.approx(1.8740, abs=5e-5)
    assert k1 == pytest.approx(1.8751896, rel=1e-3)


@pytest.mark.parametrize(("share", "readings"), [(0.95, 59), (0.90, 29)])
def test_without_a_distribution_the_least_value_needs_so_many(share: float, readings: int) -> None:
    """Closed form: the least of n bounds a share with 1 - share^n confidence."""
    assert lower_bound(readings, readings) >= share > lower_bound(readings - 1, readings - 1)


@pytest.mark.parametrize(("share", "readings"), [(0.95, 93), (0.90, 46)])
def test_least_and_greatest_value_together_need_more(share: float, readings: int) -> None:
    """Between them lies a share of Beta(n - 1, 2) (Wilks 1941): the bound of n - 1 in n."""
    shares = [lower_bound(count - 1, count) for count in (readings, readings - 1)]
    assert shares[0] >= share > shares[1]


@pytest.mark.parametrize("readings", [5, 20])
def test_the_factors_hold_over_many_draws(readings: int) -> None:
    rng = np.random.default_rng(readings)
    drawn = rng.normal(0, 1, (4000, readings))
    mean, sd = drawn.mean(1), drawn.std(1, ddof=1)
    k1, k2 = one_sided_factor(0.9, readings), two_sided_factor(0.9, readings)
    below = norm.cdf(mean + k1 * sd)
    within = norm.cdf(mean + k2 * sd) - norm.cdf(mean - k2 * sd)
    assert np.mean(below >= 0.9) == pytest.approx(0.95, abs=0.011)
    assert np.mean(within >= 0.9) == pytest.approx(0.95, abs=0.015)


def test_more_freedom_of_the_spread_needs_a_smaller_factor() -> None:
    assert one_sided_factor(0.95, 9, df=60) < one_sided_factor(0.95, 9)
    assert two_sided_factor(0.95, 9, df=60) < two_sided_factor(0.95, 9)
