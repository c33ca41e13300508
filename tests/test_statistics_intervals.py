"""Bounds of a share against printed tables, closed forms and their own promise."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from satcheck.statistics.intervals import (
    clopper_pearson,
    lower_bound,
    percent_down,
    percent_up,
    share_of_parts,
    upper_bound,
    wilson,
)

TWO_SIDED = [  # k, n, Wilson, Clopper-Pearson; recomputed, but for the sources named below
    (81, 263, (0.255289, 0.366210), (0.252737, 0.367622)),  # Newcombe, Stat. Med. 17 (1998) 857
    (15, 148, (0.062386, 0.160487), (0.057844, 0.161650)),  # the same
    (0, 20, (0, 0.161125), (0, 0.168433)),
    (1, 29, (0.006113, 0.171755), (0.000873, 0.177644)),
    (7, 50, (0.069508, 0.261862), (0.058192, 0.267396)),  # the latter: SciPy's documentation
    (19, 20, (0.763869, 0.991119), (0.751267, 0.998735)),
    (29, 29, (0.883030, 1), (0.880555, 1)),
    (5, 30, (0.073365, 0.335644), (0.056422, 0.347212)),
    (0, 30, (0, 0.113513), (0, 0.115703)),
]

PER_CENT = [  # Clopper-Pearson of k/15, as printed by an inspection package for its agreement study
    (7, 21.267, 73.414), (8, 26.59, 78.73), (9, 32.287, 83.664), (11, 44.900, 92.213),
    (12, 51.911, 95.669), (13, 59.54, 98.34), (14, 68.052, 99.831),
]  # fmt: skip


@pytest.mark.parametrize(("hits", "of", "score", "exact"), TWO_SIDED)
def test_two_sided_intervals(
    hits: int, of: int, score: tuple[float, float], exact: tuple[float, float]
) -> None:
    for found, known in ((wilson(hits, of), score), (clopper_pearson(hits, of), exact)):
        assert (found.low, found.high) == pytest.approx(known, abs=6e-7)
        assert found.value == hits / of


@pytest.mark.parametrize(("hits", "low", "high"), PER_CENT)
def test_printed_intervals_of_fifteen(hits: int, low: float, high: float) -> None:
    found = clopper_pearson(hits, 15)
    assert (100 * found.low, 100 * found.high) == pytest.approx((low, high), abs=6e-3)


def test_fifteen_of_fifteen_tells_one_side_from_two() -> None:
    """Packages print 81.90 %, which is the one-sided bound; the two-sided interval is wider."""
    assert lower_bound(15, 15) == pytest.approx(0.8190, abs=5e-5)
    assert clopper_pearson(15, 15).low == pytest.approx(0.7820, abs=5e-5)


def test_nist_handbook_7_2_4_2_ninety_per_cent() -> None:
    found = clopper_pearson(4, 20, 0.90)
    assert (found.low, found.high) == pytest.approx((0.071354, 0.401028), abs=1e-6)


@pytest.mark.parametrize(
    ("hits", "of", "bound"),
    [(29, 29, 0.901855), (45, 46, 0.900976), (59, 61, 0.900365), (59, 59, 0.950492)],
)
def test_the_zero_miss_rule_and_its_neighbours(hits: int, of: int, bound: float) -> None:
    """29 of 29 shows 90 % with 95 % confidence (0.9^29 < 0.05); 28 of 28 does not."""
    assert lower_bound(hits, of) == pytest.approx(bound, abs=1e-6)
    assert upper_bound(of - hits, of) == pytest.approx(1 - bound, abs=1e-6)
    assert lower_bound(28, 28) < 0.9 < lower_bound(29, 29)


def test_ninety_per_cent_with_ninety_per_cent_confidence_needs_22() -> None:
    """Closed form, 0.9^22 < 0.1; likewise 299 for 99 % with 95 %."""
    assert lower_bound(22, 22, 0.90) > 0.9 > lower_bound(21, 21, 0.90)
    assert lower_bound(299, 299) > 0.99 > lower_bound(298, 298)


@pytest.mark.parametrize(("of", "bound"), [(30, 0.095034), (100, 0.029513)])
def test_the_rule_of_three_is_near_and_on_the_safe_side(of: int, bound: float) -> None:
    assert upper_bound(0, of) == pytest.approx(bound, abs=1e-6)
    assert upper_bound(0, of) < 3 / of


@given(st.integers(1, 40), st.floats(0.01, 0.99))
@settings(max_examples=25, deadline=None)
def test_the_exact_interval_covers_whatever_the_truth_is(of: int, truth: float) -> None:
    """Summed over every outcome, not drawn."""
    found = [clopper_pearson(hits, of) for hits in range(of + 1)]
    held = [interval.low <= truth <= interval.high for interval in found]
    assert binom.pmf(np.arange(of + 1), of, truth)[held].sum() >= 0.95 - 1e-9


def test_a_score_interval_would_break_that_promise() -> None:
    """The control: near 0 Wilson's interval of 20 covers only where nothing was found."""
    truth, found = 0.005, [wilson(hits, 20) for hits in range(21)]
    held = [interval.low <= truth <= interval.high for interval in found]
    covered = binom.pmf(np.arange(21), 20, truth)[held].sum()
    assert covered == pytest.approx((1 - truth) ** 20)
    assert covered < 0.91


def test_a_share_of_nothing_is_refused() -> None:
    for interval in (clopper_pearson, wilson):
        with pytest.raises(ValueError, match="of nothing"):
            interval(0, 0)


def test_items_of_a_part_count_as_one_and_parts_alone_are_clopper_and_pearson() -> None:
    parts = share_of_parts([1, 0, 1, 1], [1, 1, 1, 1])
    assert parts == clopper_pearson(3, 4)
    assert share_of_parts([6, 0, 6, 6], [6, 6, 6, 6]) == parts
    with pytest.raises(ValueError, match="of nothing"):
        share_of_parts([], [])


def test_a_bound_in_whole_percent_still_holds() -> None:
    """0 of 15 bound at 18.1 %, 14 of 14 at 80.7 %; what is whole stays as it is."""
    assert percent_up(upper_bound(0, 15)) == 19
    assert percent_down(lower_bound(14, 14)) == 80
    assert (percent_up(0.29), percent_down(0.29), percent_up(1.0), percent_down(0.0)) == (
        29, 29, 100, 0,
    )  # fmt: skip
