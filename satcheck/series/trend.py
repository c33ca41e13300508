"""How each zone went over a series of photos: the points of a small curve, and its direction."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import stats

from satcheck.judgement.verdict import ENOUGH, zone_mask
from satcheck.model import ZONES, Inspection, Interval, Label
from satcheck.series.grid import cell_labels, judged

LEAST = 5
"""Photos from which a slope is given: with four in a row, chance alone gives a
steady rise or fall in 2 of 24 orders, with five in 2 of 120."""


@dataclass(frozen=True)
class Point:
    """One zone in one photo; shares of what was judged of it, 0 to 1.

    ``place`` is the mean on the scale starved -1, lean -0.5, good 0, heavy 0.5, rich 1: an order,
    not an amount of resin.
    """

    photo: int
    """Number in the series, from 0."""
    verdict: Label
    starved: float
    rich: float
    place: float


@dataclass(frozen=True)
class ZoneTrend:
    """One zone over the series; photos that did not show it are missing from ``points``."""

    zone: str
    points: tuple[Point, ...]
    slope: Interval | None
    """Change of ``place`` per photo (Theil-Sen, 95 %); None with fewer than ``LEAST`` points."""
    word: Literal["wetter", "drier", "steady", "too few photos"]


def trends(series: Sequence[Inspection]) -> tuple[ZoneTrend, ...]:
    """Return the trend of every zone.

    Parameters
    ----------
    series : sequence of Inspection
        Of one part and view, the earliest first.
    """
    points: dict[str, list[Point]] = {name: [] for name in ZONES}
    for number, inspection in enumerate(series):
        for name, point in _points(number, inspection):
            points[name].append(point)
    return tuple(_trend(name, tuple(found)) for name, found in points.items())


def _points(number: int, inspection: Inspection) -> list[tuple[str, Point]]:
    cells, labels = inspection.cells, cell_labels(inspection)
    if cells is None or not labels.size or inspection.cut:
        return []  # the zones of a part that runs out of the picture are those of what shows
    verdicts = {zone.name: zone.verdict for zone in inspection.zones}
    found = []
    for name in ZONES:
        zone = zone_mask(cells, name)
        here = labels[zone & judged(labels)]
        if here.size < ENOUGH * max(int(zone.sum()), 1):
            continue
        starved, rich = (float((here == label).mean()) for label in (Label.STARVED, Label.RICH))
        place = float(here.mean() - Label.GOOD) / 2
        verdict = verdicts.get(name, Label.NOT_JUDGED)
        found.append((name, Point(number, verdict, starved, rich, place)))
    return found


def _trend(name: str, points: tuple[Point, ...]) -> ZoneTrend:
    if len(points) < LEAST:
        return ZoneTrend(name, points, None, "too few photos")
    times, places = np.array([p.photo for p in points]), np.array([p.place for p in points])
    fit = stats.theilslopes(places, times, 0.95)  # robust: Sen 1968
    slope = Interval(float(fit.slope), float(fit.low_slope), float(fit.high_slope))
    word: Literal["wetter", "drier", "steady"] = "steady"
    if slope.low > 0:
        word = "wetter"
    elif slope.high < 0:
        word = "drier"
    return ZoneTrend(name, points, slope, word)
