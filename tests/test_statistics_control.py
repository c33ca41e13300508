"""Control charts against the NIST/SEMATECH handbook's examples and their run lengths."""

import math

import numpy as np
import pytest

from satcheck.statistics.control import (
    DECISION,
    Level,
    chart,
    cusum,
    ewma,
    ewma_half_width,
    level_of,
    level_of_shares,
)

ROW = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8,
       51.2, 52.6, 52.4, 53.6, 52.1]  # fmt: skip
AVERAGES = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36,
            49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip
"""NIST/SEMATECH e-Handbook 6.3.2.4, EWMA of weight 0.3 around 50 (data from memory, recomputed)."""


def test_the_handbooks_ewma_and_its_limits() -> None:
    """Target 50, s 2.0539, weight 0.3: limits 52.5884 and 47.4115 (printed factor 0.1765)."""
    assert np.round(ewma(ROW, 50.0, 0.3), 2) == pytest.approx(AVERAGES, abs=0.0101)
    half = ewma_half_width(2.0539, 0.3, 3.0)
    assert (50 + half, 50 - half) == pytest.approx((52.5884, 47.4115), abs=3e-4)


def test_the_handbooks_individuals_give_level_and_spread() -> None:
    """NIST/SEMATECH 6.3.2.2: mean 50.81, mean moving range 1.87778, limits 45.8159 and 55.8041."""
    found = level_of(ROW[10:])
    assert found.target == pytest.approx(50.81)
    assert found.sd * 1.128 == pytest.approx(1.87778, abs=5e-6)
    limits = (found.target - 3 * found.sd, found.target + 3 * found.sd)
    assert limits == pytest.approx((45.8159, 55.8041), abs=5e-5)


def test_a_cusum_by_hand() -> None:
    high, low = cusum([1.0, 2.0, 0.0, -1.0, -3.0], Level(0.0, 2.0), slack=0.25)
    assert high == pytest.approx([0.25, 1.0, 0.75, 0.0, 0.0])
    assert low == pytest.approx([0.0, 0.0, 0.0, 0.25, 1.5])


@pytest.mark.parametrize("move", [0.5, 1.0, 2.0])
def test_the_cusums_run_length_is_siegmunds(move: float) -> None:
    """Siegmund 1985: (exp(-2 d b) + 2 d b - 1) / (2 d^2), d = move - k, b = h + 1.166."""
    rng, limit = np.random.default_rng(2), 5.0
    gain, reach = move - 0.5, limit + 1.166
    known = reach**2 if gain == 0 else (
        (math.exp(-2 * gain * reach) + 2 * gain * reach - 1) / (2 * gain**2)
    )  # fmt: skip
    lengths = []
    for _ in range(600):
        high, _low = cusum(rng.normal(move, 1, 400), Level(0.0, 1.0))
        lengths.append(int(np.argmax(high > limit)) + 1)
    assert np.mean(lengths) == pytest.approx(known, rel=0.08)


def test_a_move_is_found_and_a_steady_row_mostly_is_not() -> None:
    """The control: as many rows that do not move."""
    rng, moved, steady = np.random.default_rng(4), 0, 0
    for _ in range(300):
        row = rng.normal(0, 1, 40)
        level = level_of(row[:20])
        moved += bool(chart(list(row[20:] + 2), level).alarms[:10].any())
        steady += bool(chart(list(row[20:]), level).alarms.any())
    assert moved / 300 > 0.97
    assert steady / 300 < 0.16


@pytest.mark.parametrize("side", [-1, 1])
def test_either_direction_warns_and_says_how_far(side: int) -> None:
    made = chart([10 + side * 3.0] * 12, Level(10.0, 1.0))
    assert made.alarms[-1]
    assert made.moved == pytest.approx(side * 3, abs=0.3)
    assert (made.high if side > 0 else made.low)[-1] > DECISION
    low, high = made.limits
    assert low < 10 < high


@pytest.mark.parametrize("side", [-1, 1])
def test_a_small_lasting_move_is_told_by_the_sum_alone(side: int) -> None:
    """One sd off gains a half each time: beyond 6.5 after 14; the average never gets to 1.1 sd."""
    made = chart([10 + side * 1.0] * 20, Level(10.0, 1.0))
    assert np.flatnonzero(made.alarms).tolist() == list(range(13, 20))
    assert np.abs(made.ewma - 10).max() < made.half_width


@pytest.mark.parametrize("values", [[], [1.0], [1.0, math.nan]])
def test_no_level_comes_of_too_little(values: list[float]) -> None:
    with pytest.raises(ValueError, match="two and more"):
        level_of(values)


@pytest.mark.parametrize("side", [-1, 1])
def test_the_way_is_that_of_the_chart_that_warns(side: int) -> None:
    """After 60 values 0.8 sd off the sum is 18; one value 4 sd back leaves it at 13.5.

    The average is then 0.8 * 0.8 - 0.2 * 4, on the other side.
    """
    made = chart([side * 0.8] * 60 + [side * -4.0], Level(0.0, 1.0))
    assert made.ewma[-1] == pytest.approx(side * -0.16, abs=1e-4)
    assert made.alarms[-1]
    assert made.way(60) == ("up" if side > 0 else "down")


def test_a_share_that_is_mostly_nought_scatters_as_its_standard_deviation() -> None:
    """Two ones of twenty: k (n - k) / (n (n - 1)), closed form; moving ranges say a third of it."""
    level = level_of_shares([0.0] * 9 + [1.0] * 2 + [0.0] * 9)
    assert level.target == pytest.approx(0.1)
    assert level.sd == pytest.approx(math.sqrt(2 * 18 / (20 * 19)))
    to_and_fro = [0.0, 1.0] * 10
    assert level_of_shares(to_and_fro).sd == pytest.approx(1 / 1.128)
