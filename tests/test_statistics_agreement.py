"""Agreement beyond chance, against published tables and the true coverage of its interval."""

import numpy as np
import pytest
from numpy.typing import NDArray
from published import KAPPA, KAPPA_STANDARD
from scipy import stats
from sklearn.metrics import cohen_kappa_score

from satcheck.statistics.agreement import BOOTSTRAP_PARTS, cohen, fleiss


def pairs(table: list[list[int]]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the ratings of a cross table of counts, first rater down."""
    cells = [(i, j, n) for i, row in enumerate(table) for j, n in enumerate(row)]
    first, second, counts = (np.array(column) for column in zip(*cells, strict=True))
    return np.repeat(first, counts), np.repeat(second, counts)


def kappa_of(table: list[list[int]], *, ordered: bool = False) -> float | None:
    first, second = pairs(table)
    return cohen(first, second, np.arange(first.size), len(table), ordered=ordered).value


@pytest.mark.parametrize(
    ("table", "kappa"),
    [
        ([[44, 6], [3, 97]], 0.8629),
        ([[43, 7], [8, 92]], 0.7761),
        ([[42, 5], [9, 94]], 0.7880),
        ([[45, 5], [3, 97]], 0.8788),
        ([[45, 2], [3, 100]], 0.9230),
        ([[42, 9], [6, 93]], 0.7740),
    ],
)
def test_the_manual_of_measurement_systems(table: list[list[int]], kappa: float) -> None:
    """AIAG, Measurement Systems Analysis, attribute study of 50 parts (counts from memory)."""
    assert kappa_of(table) == pytest.approx(kappa, abs=5e-5)


@pytest.mark.parametrize(
    ("table", "kappa"),
    [
        ([[12, 5], [3, 25]], 0.612903),
        ([[12, 8], [3, 22]], 0.492308),
        ([[5, 3], [10, 27]], 0.264151),
    ],
)
def test_an_open_statistics_package(table: list[list[int]], kappa: float) -> None:
    """Published test set of JASP: three operators against the standard, 45 ratings each."""
    assert kappa_of(table) == pytest.approx(kappa, abs=1e-6)


@pytest.mark.parametrize(
    ("operator", "kappa"), [("EG", 0.612919), ("BL", 0.486089), ("MH", 0.220152)]
)
def test_each_repeat_against_the_standard_by_fleiss(operator: str, kappa: float) -> None:
    """The same set of JASP: the mean of Fleiss' kappas of the three repeats with the standard."""
    standard = [int(mark == "Y") for mark in KAPPA_STANDARD]
    repeats = [[int(m == "Y") for m in row] for row in zip(*KAPPA[operator].split(), strict=True)]
    found = [fleiss(np.column_stack([r, standard]), np.arange(15), 2).value for r in repeats]
    assert np.mean([value for value in found if value is not None]) == pytest.approx(
        kappa, abs=1e-6
    )


def test_a_textbooks_two_by_two() -> None:
    """20, 5, 10, 15 (table from memory): agreement 0.70, chance 0.50, kappa 0.40 by hand."""
    first, second = pairs([[20, 5], [10, 15]])
    found = cohen(first, second, np.arange(50), 2)
    assert (found.agreement, found.chance, found.value) == pytest.approx((0.70, 0.50, 0.40))


def test_sas_unweighted_and_weighted() -> None:
    """The table that statsmodels checks against SAS: 0.4842, linear weights 0.4701."""
    table = [[0, 4, 1], [0, 8, 0], [0, 1, 5]]
    assert kappa_of(table) == pytest.approx(0.4842, abs=5e-5)
    assert kappa_of(table, ordered=True) == pytest.approx(0.4701, abs=5e-5)


def test_the_interval_is_wider_than_the_one_sas_prints_for_few() -> None:
    """SAS: 0.2137 to 0.7547 (Wald), which covers too seldom at 19 items; ours holds it within."""
    first, second = pairs([[0, 4, 1], [0, 8, 0], [0, 1, 5]])
    found = cohen(first, second, np.arange(19), 3)
    assert found.low is not None
    assert found.high is not None
    assert found.low < 0.2137 < 0.7547 < found.high


def test_fleiss_of_two_items_as_statsmodels_checks_it() -> None:
    """Counts 7, 1 and 3, 5 in the tests of statsmodels: 0.161905."""
    ratings = np.array([np.repeat([0, 1], row) for row in ([7, 1], [3, 5])])
    assert fleiss(ratings, np.arange(2), 2).value == pytest.approx(0.161905, abs=1e-6)


def test_fleiss_as_published() -> None:
    """Fleiss' own example, 10 items, 14 raters, 5 words: 0.210 (in the tests of statsmodels)."""
    counts = [
        [0, 0, 0, 0, 14], [0, 2, 6, 4, 2], [0, 0, 3, 5, 6], [0, 3, 9, 2, 0], [2, 2, 8, 1, 1],
        [7, 7, 0, 0, 0], [3, 2, 6, 3, 0], [2, 5, 3, 2, 2], [6, 5, 2, 1, 0], [0, 2, 2, 3, 7],
    ]  # fmt: skip
    ratings = np.array([np.repeat(np.arange(5), row) for row in counts])
    found = fleiss(ratings, np.arange(10), 5)
    assert found.agreement == pytest.approx(0.378022, abs=1e-6)
    assert found.chance == pytest.approx(0.212755, abs=1e-6)
    assert found.value == pytest.approx(0.209931, abs=1e-6)


def test_random_ratings_agree_with_a_reference_library() -> None:
    rng = np.random.default_rng(3)
    for words in (2, 3, 5):
        first, second = rng.integers(0, words, (2, 60))
        second[:30] = first[:30]
        for ordered in (False, True):
            found = cohen(first, second, np.arange(60), words, ordered=ordered).value
            known = cohen_kappa_score(first, second, weights="linear" if ordered else None)
            assert found == pytest.approx(known)


def test_all_alike_is_undefined_and_neither_one_nor_zero() -> None:
    alike = np.ones(20, np.int64)
    found = cohen(alike, alike, np.arange(20), 2)
    assert (found.value, found.low, found.high, found.method) == (None, None, None, "undefined")
    assert found.agreement == 1
    assert fleiss(np.ones((20, 3), np.int64), np.arange(20), 2).value is None


@pytest.mark.parametrize("parts", [15, 30, BOOTSTRAP_PARTS])
def test_the_interval_covers_the_true_kappa(parts: int) -> None:
    """Two raters who each keep the truth in 90 of 100 items: kappa is known in closed form."""
    rng = np.random.default_rng(parts)
    keep, draws = 0.9, 200
    agreement = keep**2 + (1 - keep) ** 2  # two words, equally frequent: chance is one half
    true = (agreement - 0.5) / 0.5
    covered = 0
    for _ in range(draws):
        truth = rng.integers(0, 2, parts)
        first, second = (np.where(rng.random(parts) < keep, truth, 1 - truth) for _ in "ab")
        found = cohen(first, second, np.arange(parts), 2)
        assert found.low is not None
        assert found.high is not None
        covered += int(found.low <= true <= found.high)
    assert covered / draws > 0.92


def test_zones_of_one_part_are_no_independent_evidence() -> None:
    """Each part six times over: as many parts, so as wide an interval."""
    first, second = pairs([[20, 5], [3, 12]])
    once = cohen(first, second, np.arange(40), 2)
    six, other = np.repeat(first, 6), np.repeat(second, 6)
    often = cohen(six, other, np.repeat(np.arange(40), 6), 2)
    assert often.low == pytest.approx(once.low)
    assert often.high == pytest.approx(once.high)
    careless = cohen(six, other, np.arange(240), 2)
    assert careless.low is not None
    assert once.low is not None
    assert careless.low > once.low + 0.05, "the control: counted as independent it looks surer"


@pytest.mark.parametrize("apart", [0, 2])
def test_hardly_any_disagreement_of_many_parts_leaves_the_exact_interval(apart: int) -> None:
    """Parts drawn again show no dissent that is not there: [1, 1] of 80 parts would be no interval.

    Half good, half starved: kappa is 2 a - 1 of Clopper & Pearson's bounds of agreement (scipy).
    """
    first = np.arange(80) % 2
    second = np.where(np.arange(80) < apart, 1 - first, first)
    found = cohen(first, second, np.arange(80), 2)
    exact = stats.binomtest(80 - apart, 80).proportion_ci(0.95, "exact")
    assert found.method == "exact"
    assert (found.low, found.high) == pytest.approx((2 * exact.low - 1, 2 * exact.high - 1))
