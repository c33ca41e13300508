"""ROC against its first published example, a reference library and its own definition."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.metrics import roc_auc_score

from satcheck.statistics.roc import roc, se_hanley_mcneil

NORMAL, ABNORMAL = (33, 6, 6, 11, 2), (3, 2, 2, 11, 33)
"""Ratings 1 to 5 of 109 images: Hanley & McNeil, Radiology 143 (1982) 29, table I."""

RATINGS = np.concatenate([np.repeat(np.arange(1, 6), NORMAL), np.repeat(np.arange(1, 6), ABNORMAL)])
TRUTH = np.repeat([False, True], [sum(NORMAL), sum(ABNORMAL)])


def test_hanley_and_mcneil_1982_is_reproduced() -> None:
    curve = roc(RATINGS, TRUTH)
    assert curve is not None
    assert curve.auc * 58 * 51 == pytest.approx(2642)
    assert curve.auc == pytest.approx(0.893171, abs=1e-6)
    assert curve.se_hanley_mcneil == pytest.approx(0.032487, abs=1e-6)
    assert curve.se_delong == pytest.approx(0.030724, abs=1e-6)


def test_the_best_cut_of_hanley_and_mcneil_is_four() -> None:
    curve = roc(RATINGS, TRUTH)
    assert curve is not None
    assert curve.best.threshold == 4
    assert (curve.best.tpr, curve.best.fpr) == pytest.approx((0.862745, 0.224138), abs=1e-6)
    assert curve.best.youden == pytest.approx(0.638607, abs=1e-6)
    assert curve.points[1].youden == pytest.approx(0.612576, abs=1e-6)


def test_the_standard_error_from_the_area_alone() -> None:
    """Hanley & McNeil's formula at 0.8 with 20 and 20, by hand."""
    assert se_hanley_mcneil(0.8, 20, 20) == pytest.approx(0.071024, abs=1e-6)


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


def test_delong_is_the_spread_of_the_area_over_many_draws() -> None:
    rng = np.random.default_rng(3)
    truth = np.repeat([True, False], [30, 40])
    draws = [roc(rng.normal(truth * 1.0), truth) for _ in range(400)]
    areas = [curve.auc for curve in draws if curve]
    stated = [curve.se_delong for curve in draws if curve]
    assert np.mean(stated) == pytest.approx(np.std(areas), rel=0.12)


@pytest.mark.parametrize(("scores", "truth"), [([1, np.nan], [True, False]), ([1], [True, False])])
def test_what_is_no_score_is_refused(scores: list[float], truth: list[bool]) -> None:
    with pytest.raises(ValueError, match="finite numbers and as many"):
        roc(scores, truth)
