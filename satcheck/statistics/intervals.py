"""Exact and near-exact bounds for a share: k of n."""

from typing import Literal

from scipy.stats import beta, binomtest

from satcheck.model import Interval

CONFIDENCE = 0.95


def clopper_pearson(hits: int, of: int, confidence: float = CONFIDENCE) -> Interval:
    """Return a share, 0 to 1, with its exact two-sided interval (Clopper & Pearson 1934).

    Raises
    ------
    ValueError
        If ``of`` is 0, or ``hits`` is not 0 to ``of``.
    """
    return _of_library(hits, of, confidence, "exact")


def wilson(hits: int, of: int, confidence: float = CONFIDENCE) -> Interval:
    """Return a share with Wilson's two-sided score interval (1927); see `clopper_pearson`."""
    return _of_library(hits, of, confidence, "wilson")


def upper_bound(hits: float, of: float, confidence: float = CONFIDENCE) -> float:
    """Return the exact one-sided upper bound of a share.

    Counts need not be whole: a mean of values from 0 to 1 over n independent parts varies at most
    as a share of n does, so that the bound of n times that mean holds all the more.
    """
    return 1.0 if hits >= of else float(beta.ppf(confidence, hits + 1, of - hits))


def lower_bound(hits: float, of: float, confidence: float = CONFIDENCE) -> float:
    """Return the exact one-sided lower bound of a share; see `upper_bound`."""
    return 0.0 if hits <= 0 else float(beta.ppf(1 - confidence, hits, of - hits + 1))


def _of_library(
    hits: int, of: int, confidence: float, method: Literal["exact", "wilson"]
) -> Interval:
    found = binomtest(hits, of).proportion_ci(confidence, method) if of else None
    if found is None:
        raise ValueError("a share of nothing")
    return Interval(hits / of, float(found.low), float(found.high))
