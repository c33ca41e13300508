"""Single sampling plans by attributes for normal inspection: ISO 2859-1:1999, tables 1 and 2-A.

The tables are not copied cell by cell: sample sizes and AQLs are the standard's series of preferred
numbers, and acceptance numbers run along the table's diagonals. From memory; the tests hold the
cells that two independent copies of the table show. The standard itself comes first.
"""

from bisect import bisect_left
from dataclasses import dataclass

import numpy as np
from scipy.stats import hypergeom

AQLS = (
    *(0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65),
    *(1.0, 1.5, 2.5, 4.0, 6.5, 10.0),
)
"""Acceptance quality limits in per cent nonconforming."""

LETTERS = "ABCDEFGHJKLMNPQR"
SIZES = (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000)
_LOTS = (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000)
"""Upper ends of the lot sizes that share a code letter."""
_LEVELS = {"I": "AABCCDEFGHJKLMN", "II": "ABCDEFGHJKLMNPQ", "III": "BCDEFGHJKLMNPQR"}
_ACCEPT = (1, 2, 3, 5, 7, 10, 14, 21)
"""Acceptance numbers down a column, from three letters below the one that accepts 0."""


@dataclass(frozen=True)
class Plan:
    """How many parts of a lot to look at, and how many of them may be wrong."""

    lot: int
    aql: float
    """Per cent."""
    letter: str
    """Code letter of the plan in use: where the table has an arrow, not the lot's own."""
    size: int
    """Parts to look at; all where the plan asks for as many as there are."""
    accept: int
    """The lot is accepted with as many wrong parts and fewer."""

    @property
    def is_all(self) -> bool:
        """Return whether every part of the lot is looked at."""
        return self.size >= self.lot


def sampling_plan(lot: int, aql: float, level: str = "II") -> Plan:
    """Return the single plan for normal inspection.

    Parameters
    ----------
    lot : int
        Parts in the lot, from 1.
    aql : float
        One of `AQLS`, in per cent.
    level : str
        General inspection level, I, II or III.

    Raises
    ------
    ValueError
        If one of them is not allowed.
    """
    if lot < 1 or aql not in AQLS or level not in _LEVELS:
        raise ValueError(f"a lot of {lot}, AQL {aql}, level {level}")
    own = LETTERS.index(_LEVELS[level][bisect_left(_LOTS, lot)])
    row, accept = _cell(own, len(AQLS) - 2 - AQLS.index(aql))
    size = SIZES[row]
    if size >= lot:  # 100 % inspection: what is wrong is found, none of it is accepted
        return Plan(lot, aql, LETTERS[row], lot, 0)
    return Plan(lot, aql, LETTERS[row], size, accept)


def _cell(row: int, zero: int) -> tuple[int, int]:
    """Return the row and acceptance number in use for a row, as the column's arrows say.

    ``zero`` is the column's row that accepts 0: AQL 6.5 at A, 4.0 at B and so on, -1 for AQL 10.
    Above it arrows lead down to it, one row below it up to it; two below, down to the third.
    """
    if zero >= 0 and (row <= zero + 1 or zero + 3 >= len(SIZES)):
        return zero, 0
    below = max(row - zero, 3) - 3
    return (zero + 3 + min(below, len(_ACCEPT) - 1), _ACCEPT[min(below, len(_ACCEPT) - 1)])


def wrong_that_pass(plan: Plan, chance: float = 0.10) -> int:
    """Return how many of the lot's parts may be wrong so that it is accepted with a chance.

    The most of which that holds: hypergeometric, as parts are drawn from the lot itself and not
    put back (type A operating characteristic; a binomial says up to twice as many for small lots).
    """
    wrong = np.arange(plan.lot + 1)
    passes = hypergeom.cdf(plan.accept, plan.lot, wrong, plan.size) >= chance
    return int(np.flatnonzero(passes)[-1])
