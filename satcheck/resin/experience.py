"""The shop's own experience: resin used against part size, working time against heat and promoter.

Ordinary least squares with the prediction interval of the next single value (Draper and Smith,
Applied Regression Analysis, 3rd ed., 1.4 and 5; from memory, held to statsmodels by a test). What
the shop has not seen is not predicted: too few parts, or a value outside what was recorded.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import stats

from satcheck.errors import UsageError

FEWEST_PER_CAUSE = 10
"""Records for each cause in a fit (common practice of regression, no source)."""

CONFIDENCE = 0.95
"""Of the interval that holds the next value, where the spread stays as it was."""

SAME = 1e-9
"""Relative spread below which all records count as one value (own rule, rounding only)."""


@dataclass(frozen=True)
class ResinUse:
    """What one part took."""

    size: float
    """Of one kind for all parts: dry fabric in g, or surface in m² times layers."""
    used: float
    """Mixed less what stayed in the cup, g: with what the bag took."""


@dataclass(frozen=True)
class WorkingTime:
    """How long one mix of one resin could be worked."""

    minutes: float
    """From mixing to gel."""
    temperature: float
    """Of the shop or the cast, always the same of both, °C."""
    promoter: float
    """Parts per 100 of resin by mass."""


@dataclass(frozen=True)
class Prediction:
    """The next value with its interval, or why there is none."""

    value: float | None
    low: float | None
    high: float | None
    unit: str
    records: int
    """How many it rests on."""
    sentence: str


def predict_resin(records: Sequence[ResinUse], size: float) -> Prediction:
    """Return how much resin the next part of a size will take, g; straight line against size.

    Raises
    ------
    UsageError
        If a record or the size is no number above 0.
    """
    _check([(r.size, r.used) for r in records] + [(size,)], "size and resin")
    causes = {"part size": [r.size for r in records]}
    found = _predict(causes, [r.used for r in records], {"part size": size}, "g", "parts")
    if isinstance(found, Prediction):
        return found
    value, low, high = found
    return _told("The next part of this size", value, max(low, 0.0), high, "g", len(records))


def predict_working_time(
    records: Sequence[WorkingTime], temperature: float, promoter: float
) -> Prediction:
    """Return the working time of the next mix, minutes.

    The logarithm of the time is straight in temperature and promoter, since heat and promoter
    multiply the speed of a reaction. A cause that never varied is left out, and only its one value
    can be asked for.

    Raises
    ------
    UsageError
        If a time is not above 0, a promoter below 0, or a value no number.
    """
    _check([(r.minutes,) for r in records], "a working time")
    for parts in (promoter, *(r.promoter for r in records)):
        if not (math.isfinite(parts) and parts >= 0):
            raise UsageError(f"promoter {parts:g}: 0 and more parts per 100 are allowed")
    if not all(math.isfinite(t) for t in (temperature, *(r.temperature for r in records))):
        raise UsageError("a temperature is no number; degrees Celsius are allowed")
    causes = {
        "temperature": [r.temperature for r in records],
        "promoter": [r.promoter for r in records],
    }
    asked = {"temperature": temperature, "promoter": promoter}
    logs = [math.log(r.minutes) for r in records]
    found = _predict(causes, logs, asked, "min", "mixes")
    if isinstance(found, Prediction):
        return found
    value, low, high = (math.exp(each) for each in found)
    return _told("The next mix gels after", value, low, high, "min", len(records))


def prediction_to_json(prediction: Prediction) -> dict[str, Any]:
    """Return a prediction as plain values."""
    return vars(prediction) | {"confidence": CONFIDENCE}


def prediction_interval(
    causes: Sequence[Sequence[float]], results: Sequence[float], asked: Sequence[float]
) -> tuple[float, float, float]:
    """Return the next value and its interval at `CONFIDENCE`, by ordinary least squares.

    Parameters
    ----------
    causes : sequence of shape (k, n)
        Each cause that varies, over the records; an intercept is added.
    results : sequence of shape (n,)
    asked : sequence of shape (k,)
    """
    made = np.column_stack([np.ones(len(results)), *map(np.asarray, causes)])
    y, at = np.asarray(results, float), np.array([1.0, *asked])
    left = len(y) - made.shape[1]
    factors = np.linalg.lstsq(made, y, rcond=None)[0]
    variance = float(np.sum((y - made @ factors) ** 2)) / left
    spread = float(np.sum(np.linalg.lstsq(made.T, at, rcond=None)[0] ** 2))  # x' (X'X)^-1 x
    half = float(stats.t.ppf(0.5 + CONFIDENCE / 2, left)) * math.sqrt(variance * (1 + spread))
    value = float(at @ factors)
    return value, value - half, value + half


def _predict(
    causes: Mapping[str, Sequence[float]],
    results: Sequence[float],
    asked: Mapping[str, float],
    unit: str,
    word: str,
) -> Prediction | tuple[float, float, float]:
    """Return value and interval, or the prediction that says why there is none."""
    count = len(results)
    if count == 0:
        return _none(unit, 0, f"Too few {word}: none of {FEWEST_PER_CAUSE}.")
    varied = [name for name, values in causes.items() if not _is_one(values)]
    needed = FEWEST_PER_CAUSE * max(len(varied), 1)
    if count < needed:
        return _none(unit, count, f"Too few {word}: {count} of {needed}.")
    for name, values in causes.items():
        low, high = min(values), max(values)
        slack = SAME * max(abs(low), abs(high))
        if not low - slack <= asked[name] <= high + slack:
            seen = f"{low:g} to {high:g}" if name in varied else f"{low:g} only"
            return _none(unit, count, f"{name} {asked[name]:g} was never recorded: {seen}.")
    columns = [causes[name] for name in varied]
    matrix = np.column_stack([np.ones(count), *map(np.asarray, columns)])
    if np.linalg.matrix_rank(matrix / np.abs(matrix).max(axis=0)) < matrix.shape[1]:
        return _none(unit, count, f"{' and '.join(varied)} always changed together.")
    return prediction_interval(columns, results, [asked[name] for name in varied])


def _is_one(values: Sequence[float]) -> bool:
    return max(values) - min(values) <= SAME * max(abs(each) for each in values)


def _none(unit: str, count: int, why: str) -> Prediction:
    return Prediction(None, None, None, unit, count, f"{why} No prediction.")


def _told(what: str, value: float, low: float, high: float, unit: str, count: int) -> Prediction:
    sentence = (
        f"{what}: about {value:.0f} {unit}; {low:.0f} to {high:.0f} {unit} in 19 of 20 cases, "
        f"if nothing has changed ({count} records)."
    )
    return Prediction(value, low, high, unit, count, sentence)


def _check(rows: Sequence[Sequence[float]], what: str) -> None:
    for row in rows:
        for value in row:
            if not (math.isfinite(value) and value > 0):
                raise UsageError(f"{what} {value:g}: a number above 0 is allowed")
