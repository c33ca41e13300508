"""The shop's experience: certified values, a reference library, and no promise from too few."""

import math

import numpy as np
import pytest
import statsmodels.api as sm

from satcheck.errors import UsageError
from satcheck.resin.experience import (
    FEWEST_PER_CAUSE,
    ResinUse,
    WorkingTime,
    predict_resin,
    predict_working_time,
    prediction_interval,
    prediction_to_json,
)

RNG = np.random.default_rng(4)
PARTS = [ResinUse(s, 40 + 1.3 * s + e)
         for s, e in zip(RNG.uniform(100, 300, 24), RNG.normal(0, 8, 24), strict=True)]  # fmt: skip
MIXES = [WorkingTime(15 * 2 ** ((20 - t) / 10) / p * math.exp(e), t, p)
         for t, p, e in zip(RNG.uniform(15, 30, 30), RNG.uniform(1, 3, 30),
                            RNG.normal(0, 0.05, 30), strict=True)]  # fmt: skip

NORRIS_Y = """0.1 338.8 118.1 888.0 9.2 228.1 668.5 998.5 449.1 778.9 559.2 0.3 0.1 778.1
668.8 339.3 448.9 10.8 557.7 228.3 998.0 888.8 119.6 0.3 0.6 557.6 339.3 888.0 998.5 778.9
10.2 117.6 228.9 668.4 449.2 0.2"""
NORRIS_X = """0.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777.0 558.2 0.4 0.6 775.5
666.9 338.0 447.5 11.6 556.0 228.1 995.8 887.6 120.2 0.3 0.3 556.8 339.1 887.2 999.0 779.0
11.1 118.3 229.2 669.1 448.9 0.5"""


def floats(text: str) -> list[float]:
    return [float(word) for word in text.split()]


def test_the_line_of_the_norris_set() -> None:
    """NIST StRD, Norris: intercept -0.262323073774029, slope 1.00211681802045 (certified)."""
    x, y = floats(NORRIS_X), floats(NORRIS_Y)
    assert prediction_interval([x], y, [0.0])[0] == pytest.approx(-0.262323073774029, abs=1e-10)
    slope = prediction_interval([x], y, [1.0])[0] - prediction_interval([x], y, [0.0])[0]
    assert slope == pytest.approx(1.00211681802045, abs=1e-11)


def test_the_interval_of_one_cause_is_that_of_statsmodels() -> None:
    x, y = [r.size for r in PARTS], [r.used for r in PARTS]
    model = sm.OLS(y, sm.add_constant(np.array(x))).fit()
    frame = model.get_prediction([[1.0, 180.0]]).conf_int(obs=True, alpha=0.05)
    found = predict_resin(PARTS, 180.0)
    assert (found.low, found.high) == pytest.approx(tuple(frame[0]), rel=1e-9)
    assert found.records == 24


def test_the_interval_of_two_causes_is_that_of_statsmodels() -> None:
    x = sm.add_constant(np.array([[r.temperature, r.promoter] for r in MIXES]))
    model = sm.OLS(np.log([r.minutes for r in MIXES]), x).fit()
    frame = model.get_prediction([[1.0, 22.0, 2.0]]).conf_int(obs=True, alpha=0.05)
    found = predict_working_time(MIXES, 22.0, 2.0)
    assert (found.low, found.high) == pytest.approx(tuple(np.exp(frame[0])), rel=1e-9)


def test_the_interval_holds_the_next_part_as_often_as_it_says() -> None:
    """Drawn shops of twelve parts: 95 % of the next parts lie within, within binomial scatter."""
    rng, held = np.random.default_rng(1), 0
    for _ in range(800):
        sizes = rng.uniform(100, 300, 13)
        used = 40 + 1.3 * sizes + rng.normal(0, 8, 13)
        _, low, high = prediction_interval([sizes[:12].tolist()], used[:12].tolist(), [sizes[12]])
        held += low <= used[12] <= high
    assert 0.925 < held / 800 < 0.975


@pytest.mark.parametrize("count", [0, 1, 2, FEWEST_PER_CAUSE - 1])
def test_too_few_parts_promise_nothing(count: int) -> None:
    found = predict_resin(PARTS[:count], 180.0)
    assert found.value is None
    assert found.low is None
    assert "Too few parts" in found.sentence


def test_two_causes_need_twice_as_many() -> None:
    assert predict_working_time(MIXES[: 2 * FEWEST_PER_CAUSE - 1], 22.0, 2.0).value is None
    assert predict_working_time(MIXES[: 2 * FEWEST_PER_CAUSE], 22.0, 2.0).value is not None


@pytest.mark.parametrize("size", [50.0, 500.0])
def test_a_size_that_was_never_seen_is_not_predicted(size: float) -> None:
    found = predict_resin(PARTS, size)
    assert found.value is None
    assert "was never recorded" in found.sentence


def test_a_cause_that_never_varied_is_left_out_and_only_its_value_can_be_asked() -> None:
    same = [WorkingTime(r.minutes, r.temperature, 2.0) for r in MIXES[:12]]
    assert predict_working_time(same, 22.0, 2.0).value is not None
    other = predict_working_time(same, 22.0, 2.5)
    assert "2 only" in other.sentence


def test_causes_that_always_changed_together_are_not_told_apart() -> None:
    tied = [WorkingTime(r.minutes, r.temperature, r.temperature / 10) for r in MIXES]
    assert "changed together" in predict_working_time(tied, 22.0, 2.2).sentence


@pytest.mark.parametrize(
    "bad", [ResinUse(-1, 200), ResinUse(100, math.nan), ResinUse(0, 1), ResinUse(math.inf, 1)]
)
def test_a_record_that_cannot_be_is_refused(bad: ResinUse) -> None:
    with pytest.raises(UsageError, match="above 0 is allowed"):
        predict_resin([*PARTS, bad], 180.0)


@pytest.mark.parametrize(
    "bad", [WorkingTime(0, 20, 1), WorkingTime(9, math.nan, 1), WorkingTime(9, 20, -1)]
)
def test_a_mix_that_cannot_be_is_refused(bad: WorkingTime) -> None:
    with pytest.raises(UsageError, match="allowed"):
        predict_working_time([*MIXES, bad], 22.0, 2.0)


def test_a_prediction_says_its_confidence_as_plain_values() -> None:
    found = prediction_to_json(predict_resin(PARTS, 180.0))
    assert found["confidence"] == 0.95
    assert "19 of 20" in found["sentence"]


def test_no_promoter_is_allowed_and_less_than_none_is_not() -> None:
    """Of -1 it was said that a number above 1 is allowed, of 1 + promoter."""
    with pytest.raises(UsageError, match=r"^promoter -1: 0 and more parts per 100 are allowed$"):
        predict_working_time(MIXES, 22.0, -1.0)
    assert "no number" not in predict_working_time(MIXES, 22.0, 0.0).sentence


def test_a_part_takes_no_less_than_nothing() -> None:
    spread = [ResinUse(100 + k, 300 * (k % 2) + 1) for k in range(12)]
    found = predict_resin(spread, 105.0)
    assert found.low == 0
    assert "; 0 to " in found.sentence


def test_the_ends_of_what_was_recorded_can_be_asked_for() -> None:
    """Turned from another unit, the same value may differ in its last figures."""
    sizes = [r.size for r in PARTS]
    for size in (min(sizes) * (1 - 1e-12), max(sizes) * (1 + 1e-12)):
        assert predict_resin(PARTS, size).value is not None
    assert predict_resin(PARTS, max(sizes) * 1.001).value is None


def test_a_cause_that_varied_by_little_is_a_cause() -> None:
    near = [WorkingTime(r.minutes, r.temperature, 2.0 + 0.01 * (k % 2))
            for k, r in enumerate(MIXES[:12])]  # fmt: skip
    assert "Too few mixes: 12 of 20" in predict_working_time(near, 22.0, 2.0).sentence
