"""Exact and near-exact bounds for a share: k of n."""

import math
from collections.abc import Sequence

from scipy.stats import beta, binomtest

from satcheck.model import Interval

CONFIDENCE = 0.95


def clopper_pearson(hits: float, of: float, confidence: float = CONFIDENCE) -> Interval:
    """Return a share, 0 to 1, with its exact two-sided interval (Clopper & Pearson 1934).

    Counts need not be whole; see `upper_bound`.

    Raises
    ------
    ValueError
        If ``of`` is 0, or ``hits`` is not 0 to ``of``.
    """
    if not of:
        raise ValueError("a share of nothing")
    if not 0 <= hits <= of:
        raise ValueError(f"{hits} of {of}; 0 to all of them is allowed")
    tail = (1 + confidence) / 2
    return Interval(hits / of, lower_bound(hits, of, tail), upper_bound(hits, of, tail))


def wilson(hits: int, of: int, confidence: float = CONFIDENCE) -> Interval:
    """Return a share with Wilson's two-sided score interval (1927); see `clopper_pearson`."""
    found = binomtest(hits, of).proportion_ci(confidence, "wilson") if of else None
    if found is None:
        raise ValueError("a share of nothing")
    return Interval(hits / of, float(found.low), float(found.high))


def share_of_parts(hits: Sequence[float], of: Sequence[float]) -> Interval:
    """Return the share of items that are hits, with an exact interval (95 %) that counts parts.

    Items of one part are not independent, so the part is the unit. Parts with more items weigh
    more; so many equal parts are worth as much as all of them (Kish, Survey Sampling, 1965).

    Parameters
    ----------
    hits, of : (P,) sequences
        Hits and items of each part; a hit may count in part.

    Raises
    ------
    ValueError
        If there is no item.
    """
    items = sum(of)
    if not items:
        raise ValueError("a share of nothing")
    worth = items**2 / sum(count**2 for count in of)
    return clopper_pearson(worth * min(sum(hits) / items, 1.0), worth)


def upper_bound(hits: float, of: float, confidence: float = CONFIDENCE) -> float:
    """Return the exact one-sided upper bound of a share.

    Counts need not be whole: a mean of values from 0 to 1 over n independent parts varies at most
    as a share of n does, so that the bound of n times that mean holds all the more.
    """
    return 1.0 if hits >= of else float(beta.ppf(confidence, hits + 1, of - hits))


def percent_up(share: float) -> int:
    """Return an upper bound in whole percent, rounded up: rounded down it would not hold."""
    return math.ceil(100 * share - 1e-9)


def percent_down(share: float) -> int:
    """Return a lower bound in whole percent, rounded down; see `percent_up`."""
    return math.floor(100 * share + 1e-9)


def lower_bound(hits: float, of: float, confidence: float = CONFIDENCE) -> float:
    """Return the exact one-sided lower bound of a share; see `upper_bound`."""
    return 0.0 if hits <= 0 else float(beta.ppf(1 - confidence, hits, of - hits + 1))
