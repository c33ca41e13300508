"""How well one score tells two classes apart: the ROC curve and its area."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import rankdata

F64 = NDArray[np.float64]


@dataclass(frozen=True)
class OperatingPoint:
    """One cut: what lies at or above ``threshold`` is called positive."""

    threshold: float
    tpr: float
    """Share of the positives that are called positive."""
    fpr: float
    """Share of the negatives that are called positive."""


@dataclass(frozen=True)
class Roc:
    """The curve and its area, 0 to 1."""

    auc: float
    positives: int
    negatives: int
    points: Sequence[OperatingPoint]
    """From the strictest cut (infinite: nothing is positive) to the loosest (all is)."""


def roc(scores: ArrayLike, is_positive: ArrayLike) -> Roc | None:
    """Return the ROC of a score; None where one of the classes is missing.

    Parameters
    ----------
    scores : (n,) array
        Higher means positive. Ties count half.
    is_positive : (n,) array of bool

    Raises
    ------
    ValueError
        If a score is not finite, or the lengths differ.
    """
    score, positive = np.asarray(scores, np.float64), np.asarray(is_positive, bool)
    if score.shape != positive.shape or score.ndim != 1 or not np.isfinite(score).all():
        raise ValueError("scores and classes are finite numbers and as many")
    high, low = score[positive], score[~positive]
    if not high.size or not low.size:
        return None
    return Roc(
        auc=float(_placements(high, low).mean()),
        positives=high.size,
        negatives=low.size,
        points=_points(score, positive),
    )


def _placements(of: F64, among: F64) -> F64:
    """Return for each value the share of the others that it exceeds, ties as half."""
    both = rankdata(np.concatenate([of, among]))[: of.size]
    return np.asarray((both - rankdata(of)) / among.size, np.float64)


def _points(score: F64, positive: NDArray[np.bool_]) -> tuple[OperatingPoint, ...]:
    cuts = [np.inf, *np.unique(score)[::-1]]
    high, low = score[positive], score[~positive]
    return tuple(
        OperatingPoint(float(cut), float((high >= cut).mean()), float((low >= cut).mean()))
        for cut in cuts
    )
