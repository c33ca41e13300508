"""Gauge repeatability and reproducibility: how much of what is read comes from the reading.

A crossed study: every person measures every part equally often. Both methods of AIAG, Measurement
Systems Analysis, 4th edition: average and range, and analysis of variance. They differ a little on
the same data, and so may the number of categories they tell apart.
"""

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f, norm

F64 = NDArray[np.float64]

POOL_FROM = 0.25
"""p of the interaction above which it counts as repeatability (AIAG; from memory)."""
GOOD, POOR = 0.10, 0.30
"""Shares of the total variation below which a gauge is good, above which it is not (AIAG)."""
ROUNDING = 1e-12
"""Of the largest reading: a spread up to it is how numbers are rounded (double precision keeps 16
digits, of which the sums of a study lose a few; own rule)."""
FEWEST_CATEGORIES = 5
"""ndc from which a gauge can tell parts apart well enough to follow a process (AIAG)."""


@dataclass(frozen=True)
class Gauge:
    """Standard deviations, all in the unit of the readings."""

    method: Literal["average and range", "anova"]
    repeatability: float
    """EV: one person, the same part again."""
    reproducibility: float
    """AV: one person or another; with anova, their interaction with the parts included."""
    part: float
    """PV: one part or another."""

    @property
    def gauge(self) -> float:
        """Return GRR, what both make together."""
        return math.hypot(self.repeatability, self.reproducibility)

    @property
    def total(self) -> float:
        """Return TV, gauge and parts together."""
        return math.hypot(self.gauge, self.part)

    @property
    def share(self) -> float | None:
        """Return the gauge's share of the total, 0 to 1; None where nothing varies."""
        return self.gauge / self.total if self.total else None

    @property
    def ratio(self) -> float:
        """Return 1.41 PV / GRR, the number of categories before it is cut to a whole one."""
        return 1.41 * self.part / self.gauge if self.gauge else math.inf

    @property
    def categories(self) -> int | None:
        """Return ndc, how many groups of parts can be told apart; None without any gauge error."""
        return math.floor(self.ratio) if self.gauge else None


@dataclass(frozen=True)
class Anova:
    """Sums of squares, degrees of freedom, and the test of the interaction."""

    gauge: Gauge
    part: float
    person: float
    interaction: float
    error: float
    f_interaction: float
    p_interaction: float
    is_pooled: bool
    """Whether the interaction was too small to be told from repeatability, and was added to it."""
    reading_df: float
    """Degrees of freedom of the gauge's variance (Satterthwaite, Biometrics Bull. 2, 1946)."""
    reading_sd: float
    """Of one reading by anyone, not cut off at nought as `Gauge.gauge`'s parts are."""

    @property
    def total(self) -> float:
        """Return the total sum of squares."""
        return self.part + self.person + self.interaction + self.error


def average_and_range(readings: F64) -> Gauge:
    """Return the gauge by the average and range method.

    Parameters
    ----------
    readings : (P, O, R) array
        Parts, persons and trials; two and more of each.

    Raises
    ------
    ValueError
        If there are fewer, or a reading is not finite.
    """
    parts, persons, trials = _checked(readings)
    noise = _rounding(readings)
    repeat = _beyond(np.ptp(readings, axis=2).mean(), noise) / _range_mean(trials)
    between = _beyond(np.ptp(readings.mean((0, 2))), noise) / _range_rms(persons)
    # Averages of persons differ by repeatability too, even where the persons do not.
    person = math.sqrt(max(between**2 - repeat**2 / (parts * trials), 0.0))
    part = _beyond(np.ptp(readings.mean((1, 2))), noise) / _range_rms(parts)
    return Gauge("average and range", repeat, person, part)


def anova(readings: F64) -> Anova:
    """Return the gauge by two-way analysis of variance; see `average_and_range`."""
    parts, persons, trials = _checked(readings)
    grand, cell = readings.mean(), readings.mean(2)
    noise = readings.size * _rounding(readings) ** 2
    part = _beyond(persons * trials * np.square(cell.mean(1) - grand).sum(), noise)
    person = _beyond(parts * trials * np.square(cell.mean(0) - grand).sum(), noise)
    within = _beyond(np.square(readings - cell[:, :, None]).sum(), noise)
    both = cell - cell.mean(1)[:, None] - cell.mean(0)[None, :] + grand
    interaction = _beyond(trials * np.square(both).sum(), noise)
    df = np.array([parts - 1, persons - 1, (parts - 1) * (persons - 1), readings.size - cell.size])
    f_value = float(interaction / df[2] / (within / df[3])) if within else math.inf
    p_value = float(f.sf(f_value, df[2], df[3])) if interaction else 1.0
    is_pooled = p_value > POOL_FROM
    if is_pooled:  # both become repeatability, with the freedom of both
        noise = (interaction + within) / (df[2] + df[3])
        df[3] += df[2]
        mean = np.array([part / df[0], person / df[1], noise, noise])
    else:
        mean = np.array([part, person, interaction, within]) / df
    gauge = _gauge_of(mean, parts, persons, trials)
    sd, freedom = _one_reading(mean, df, parts, trials, is_pooled=is_pooled)
    return Anova(gauge, part, person, interaction, within, f_value, p_value, is_pooled, freedom, sd)


def _gauge_of(mean: F64, parts: int, persons: int, trials: int) -> Gauge:
    """Return the components from mean squares of part, person, interaction and error."""
    by_part, by_person, both, error = (float(value) for value in mean)
    person = max(by_person - both, 0.0) / (parts * trials)
    mixed = max(both - error, 0.0) / trials
    part = max(by_part - both, 0.0) / (persons * trials)
    return Gauge("anova", math.sqrt(error), math.sqrt(person + mixed), math.sqrt(part))


def _one_reading(
    mean: F64, df: NDArray[np.int64], parts: int, trials: int, *, is_pooled: bool
) -> tuple[float, float]:
    """Return the standard deviation of one reading and its degrees of freedom."""
    weight = np.array([1 / (parts * trials), (1 - 1 / parts) / trials, 1 - 1 / trials])
    if is_pooled:
        weight = np.array([weight[0], 0.0, 1 - weight[0]])
    terms = weight * mean[1:]
    variance = float(terms.sum())
    spread = float((terms**2 / df[1:]).sum())
    return math.sqrt(variance), variance**2 / spread if spread else float(df[3])


def _checked(readings: F64) -> tuple[int, int, int]:
    if readings.ndim != 3 or min(readings.shape) < 2 or not np.isfinite(readings).all():
        raise ValueError("two and more parts, persons and trials, all finite, are allowed")
    parts, persons, trials = readings.shape
    return parts, persons, trials


def _rounding(readings: F64) -> float:
    """Return the spread up to which readings differ by how numbers are rounded."""
    return ROUNDING * float(np.abs(readings).max())


def _beyond(spread: float, noise: float) -> float:
    """Return a spread, 0 where it is no more than noise."""
    return float(spread) if spread > noise else 0.0


def _range_mean(of: int) -> float:
    """Return d2, the mean range of so many standard normal values (the manual prints 1 / d2)."""
    return _range_moments(of)[0]


def _range_rms(of: int) -> float:
    """Return d2* of one range, the root of its mean square (Duncan 1974; 1 / d2* is K2, K3)."""
    return _range_moments(of)[1]


@cache
def _range_moments(of: int) -> tuple[float, float]:
    """Return mean and root mean square of a range, from its distribution (Tippett 1925)."""
    x, width = np.linspace(-9, 9, 601), np.linspace(0, 14, 2801)
    inside = norm.cdf(x[:, None] + width) - norm.cdf(x)[:, None]
    beyond = 1 - np.trapezoid(of * norm.pdf(x)[:, None] * inside ** (of - 1), x, axis=0)
    mean, square = np.trapezoid(beyond, width), np.trapezoid(2 * width * beyond, width)
    return float(mean), math.sqrt(float(square))
