"""How inspections went over the months or weeks, for all or by technician, resin or calibration."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Literal

from satcheck.errors import UsageError
from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import storable
from satcheck.model import SCALE, Label

Period = Literal["month", "week"]
GROUPS = ("by", "resin", "calibration", "fibre")
"""What a trend can be told apart by; "by" is the technician."""
VERDICTS = tuple(label.word for label in (*SCALE, Label.NOT_JUDGED))

_SHAPES: Mapping[Period, str] = {"month": "____-__", "week": "____-W__"}
_TYPED: Mapping[Period, tuple[re.Pattern[str], str]] = {
    "month": (re.compile(r"[0-9]{4}(-(0[1-9]|1[0-2]))?"), "2026 and 2026-03"),
    "week": (re.compile(r"[0-9]{4}(-W(0[1-9]|[1-4][0-9]|5[0-3]))?"), "2026 and 2026-W10"),
}
"""How the first and the last period may be typed, and how that is told."""


@dataclass(frozen=True)
class Point:
    """One month or ISO week in UTC; corrected inspections are counted as corrected."""

    period: str
    """2026-03, or 2026-W10."""
    group: str
    """Whose point it is; blank where the trend is of all, or nobody was named."""
    inspections: int
    verdicts: Mapping[str, int]
    """How many had each verdict, by its word; verdicts that none had are missing."""
    share_judged: float
    """Mean, 0 to 1."""
    evenness: float | None
    """Mean of those that have one, 0 to 1."""


def trend(
    ledger: Ledger,
    period: Period = "month",
    *,
    group: str | None = None,
    since: str | None = None,
    until: str | None = None,
    **only: str,
) -> tuple[Point, ...]:
    """Return the points in the order of time, then of groups.

    Parameters
    ----------
    group : str, optional
        One of ``GROUPS``: a point for each of its values.
    since, until : str, optional
        First and last period, written as in the points, or a year; both are included.
    **only
        Only inspections with this value of one of ``GROUPS``.

    Raises
    ------
    UsageError
        If something else is grouped or chosen by, or a time is no such period.
    """
    for option, time in (("--since", since), ("--until", until)):
        _check_period(option, time, period)
    for name in (*only, *([] if group is None else [group])):
        if name not in GROUPS:
            raise UsageError(f"a trend by {name}: allowed are {', '.join(GROUPS)}")
    terms = [f'AND "{name}" = ?' for name in only]
    chosen = "''" if group is None else f'"{group}"'
    rows = ledger.read(
        f"SELECT period, {chosen}, verdict, sum(inspections), sum(judged_ppm), "
        "sum(with_evenness), sum(evenness_ppm) FROM tally "
        f"WHERE period LIKE ? AND period >= ? AND period <= ? {' '.join(terms)} "
        "GROUP BY 1, 2, 3 HAVING sum(inspections) > 0 ORDER BY 1, 2, 3",
        # ~ stands behind every sign of a period: all that begins so is included
        (_SHAPES[period], since or "", f"{until or ''}~", *map(storable, only.values())),
    )
    return tuple(
        _point(when, whose, list(verdicts))
        for (when, whose), verdicts in groupby(rows, key=lambda row: (row[0], row[1]))
    )


def _check_period(option: str, time: str | None, period: Period) -> None:
    typed, allowed = _TYPED[period]
    if time is not None and not typed.fullmatch(time):
        raise UsageError(f"{option} {time}: no time of a trend by {period}; allowed are {allowed}")


def _point(when: str, whose: str, rows: Sequence[Sequence[Any]]) -> Point:
    count, judged, with_evenness, evenness = (sum(row[i] for row in rows) for i in range(3, 7))
    return Point(
        period=when,
        group=whose,
        inspections=count,
        verdicts={row[2]: row[3] for row in rows},
        share_judged=judged / count / 1e6,
        evenness=evenness / with_evenness / 1e6 if with_evenness else None,
    )
