"""ROC against its first published example, a reference library and its own definition."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.metrics import roc_auc_score

from satcheck.statistics.roc import roc

NORMAL, ABNORMAL = (33, 6, 6, 11, 2), (3, 2, 2, 11, 33)
"""Ratings 1 to 5 of 109 images: Hanley & McNeil, Radiology 143 (1982) 29, table I."""

RATINGS = np.concatenate([np.repeat(np.arange(1, 6), NORMAL), np.repeat(np.arange(1, 6), ABNORMAL)])
TRUTH = np.repeat([False, True], [sum(NORMAL), sum(ABNORMAL)])


def test_hanley_and_mcneil_1982_is_reproduced() -> None:
    curve = roc(RATINGS, TRUTH)
    assert curve is not None
    assert curve.auc * 58 * 51 == pytest.approx(2642)
    assert curve.auc == pytest.approx(0.893171, abs=1e-6)


def test_every_cut_of_hanley_and_mcneil_is_a_point_of_the_curve() -> None:
    """From none to all; rated four and more are 44 of 51 abnormal images and 13 of 58 normal."""
    curve = roc(RATINGS, TRUTH)
    assert curve is not None
    assert [point.threshold for point in curve.points] == [np.inf, 5, 4, 3, 2, 1]
    assert [51 * point.tpr for point in curve.points] == pytest.approx([0, 33, 44, 46, 48, 51])
    assert [58 * point.fpr for point in curve.points] == pytest.approx([0, 2, 13, 19, 25, 58])


@given(st.lists(st.tuples(st.integers(0, 5), st.booleans()), min_size=2, max_size=40))
def test_the_area_is_that_of_a_reference_library(pairs: list[tuple[int, bool]]) -> None:
    scores, truth = np.array([s for s, _ in pairs]), np.array([t for _, t in pairs])
    curve = roc(scores, truth)
    if truth.all() or not truth.any():
        assert curve is None
    else:
        assert curve is not None
        assert curve.auc == pytest.approx(roc_auc_score(truth, scores))
        assert (curve.points[-1].tpr, curve.points[-1].fpr) == (1, 1)


@pytest.mark.parametrize(("scores", "truth"), [([1, np.nan], [True, False]), ([1], [True, False])])
def test_what_is_no_score_is_refused(scores: list[float], truth: list[bool]) -> None:
    with pytest.raises(ValueError, match="finite numbers and as many"):
        roc(scores, truth)
