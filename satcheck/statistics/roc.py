"""How well one score tells two classes apart: the ROC curve, its area and the best cut."""

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

    @property
    def youden(self) -> float:
        """Return Youden's J, -1 to 1: TPR less FPR (Youden, Cancer 3, 1950)."""
        return self.tpr - self.fpr


@dataclass(frozen=True)
class Roc:
    """The curve and its area, 0 to 1; both standard errors are 0, and say nothing, at 0 and 1."""

    auc: float
    se_delong: float
    se_hanley_mcneil: float
    positives: int
    negatives: int
    points: Sequence[OperatingPoint]
    """From the strictest cut (infinite: nothing is positive) to the loosest (all is)."""

    @property
    def best(self) -> OperatingPoint:
        """Return the point with the greatest Youden's J; of equal ones the strictest."""
        return max(self.points, key=lambda point: point.youden)


def roc(scores: ArrayLike, is_positive: ArrayLike) -> Roc | None:
    """Return the ROC of a score; None where one of the classes is missing.

    Parameters
    ----------
    scores : (n,) array
        Higher means positive. Ties count half.
    is_positive : (n,) array of bool
        One entry a part: entries that belong together make the standard errors too small.

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
    above = _placements(high, low)
    auc = float(above.mean())
    return Roc(
        auc=auc,
        se_delong=_se_delong(above, 1 - _placements(low, high)),
        se_hanley_mcneil=se_hanley_mcneil(auc, high.size, low.size),
        positives=high.size,
        negatives=low.size,
        points=_points(score, positive),
    )


def se_hanley_mcneil(auc: float, positives: int, negatives: int) -> float:
    """Return the standard error of an area, from the area alone.

    Hanley & McNeil, Radiology 143 (1982) 29: exponential scores; Q1 = A / (2 - A),
    Q2 = 2 A^2 / (1 + A).
    """
    q1, q2 = auc / (2 - auc), 2 * auc**2 / (1 + auc)
    variance = auc * (1 - auc) + (positives - 1) * (q1 - auc**2) + (negatives - 1) * (q2 - auc**2)
    return float(np.sqrt(max(variance, 0.0) / (positives * negatives)))


def _placements(of: F64, among: F64) -> F64:
    """Return for each value the share of the others that it exceeds, ties as half."""
    both = rankdata(np.concatenate([of, among]))[: of.size]
    return np.asarray((both - rankdata(of)) / among.size, np.float64)


def _se_delong(positive: F64, negative: F64) -> float:
    """Return the standard error from the placements (DeLong et al., Biometrics 44, 1988)."""
    parts = [values.var(ddof=1) / values.size for values in (positive, negative) if values.size > 1]
    return float(np.sqrt(sum(parts)))


def _points(score: F64, positive: NDArray[np.bool_]) -> tuple[OperatingPoint, ...]:
    cuts = [np.inf, *np.unique(score)[::-1]]
    high, low = score[positive], score[~positive]
    return tuple(
        OperatingPoint(float(cut), float((high >= cut).mean()), float((low >= cut).mean()))
        for cut in cuts
    )
