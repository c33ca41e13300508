"""Probability of detection against published hit/miss sets, closed forms and drawn truth."""

import math

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from published import BEETLES, EXAMPLE_3, EXAMPLE_8, O_RINGS, hits
from scipy import stats
from scipy.special import expit, xlogy

from satcheck.statistics.detection import Detection, Scale, detect, fit_line, fit_logit

Drawn = tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.int64]]


def study(rows: list[tuple[float, int]], scale: Scale = "linear") -> Detection:
    sizes, found = zip(*rows, strict=True)
    return detect(sizes, found, scale=scale)


def test_handbook_example_3() -> None:
    """MIL-HDBK-1823A software, example 3: a50 about 0.1156; the rest recomputed with statsmodels.

    The bound by likelihood ratio is 0.192495; Wald's would be 0.195968.
    """
    found = study(hits(EXAMPLE_3))
    assert (found.trials, found.hits, found.trouble, found.missing) == (134, 92, "", ())
    assert found.line is not None
    assert (found.line.intercept, found.line.slope) == pytest.approx((-4.597367, 39.765429))
    assert found.line.deviance == pytest.approx(77.4938, abs=5e-5)
    sizes = (found.a50, found.a90, found.a90_95)
    assert sizes == pytest.approx((0.115612, 0.170867, 0.192495), abs=1e-6)


def test_handbook_example_3_on_the_logarithm_of_size() -> None:
    """The transform moves the bound by 6 %: say which one was used. Recomputed."""
    found = study(hits(EXAMPLE_3), "log")
    sizes = (found.a50, found.a90, found.a90_95)
    assert sizes == pytest.approx((0.108495, 0.173363, 0.203229), abs=1e-6)


def test_handbook_example_8_to_nine_digits() -> None:
    """Published test values of an open package: intercept, slope, AIC. Sizes recomputed."""
    found = study(hits(EXAMPLE_8))
    assert (found.trials, found.hits) == (370, 280)
    assert found.line is not None
    assert found.line.intercept == pytest.approx(-0.939354906, abs=2e-9)
    assert found.line.slope == pytest.approx(16.181349363, abs=2e-9)
    assert found.line.deviance + 2 * 2 == pytest.approx(290.470583966, abs=2e-9)
    sizes = (found.a50, found.a90, found.a90_95)
    assert sizes == pytest.approx((0.058052, 0.193839, 0.228573), abs=1e-6)


def test_repeats_on_one_target_widen_the_bound() -> None:
    """Example 8 is two tests of 185 targets: taken for 370 its bound is too narrow."""
    sizes, found = zip(*hits(EXAMPLE_8), strict=True)
    careless, told = detect(sizes, found), detect(sizes, found, np.repeat(np.arange(185), 2))
    assert (told.parts, told.a90) == (185, careless.a90)
    assert told.effect > 1.5
    assert careless.a90_95 is not None
    assert told.a90_95 is not None
    assert told.a90_95 > careless.a90_95 + 0.01


def test_the_o_rings_of_23_flights() -> None:
    """Dalal, Fowlkes & Hoadley 1989: 15.0429, -0.2322; standard errors 7.3786, 0.1082."""
    sizes, found = zip(*O_RINGS, strict=True)
    line = fit_line(sizes, found, "linear", penalised=False)
    assert (line.intercept, line.slope) == pytest.approx((15.0429, -0.2322), abs=5e-5)
    assert (line.se_intercept, line.se_slope) == pytest.approx((7.3786, 0.1082), abs=6e-5)
    assert line.deviance == pytest.approx(20.3152, abs=5e-5)
    assert line.size(0.5) == pytest.approx(64.795, abs=5e-4)
    told = detect(sizes, found)
    assert (told.trouble, told.a90, told.a90_95) == ("falls", None, None)
    assert "does not rise with size" in told.missing[0]


def test_the_beetles() -> None:
    """Bliss 1935 (data from memory), recomputed with statsmodels; LR bound 1.846771."""
    found = study([(dose, int(k < killed)) for dose, n, killed in BEETLES for k in range(n)])
    assert found.line is not None
    line = (found.line.intercept, found.line.slope)
    assert line == pytest.approx((-60.717455, 34.270326), abs=1e-6)
    saturated = sum(xlogy(k, k / n) + xlogy(n - k, 1 - k / n) for _, n, k in BEETLES)
    assert found.line.deviance + 2 * saturated == pytest.approx(11.2322, abs=5e-5)
    sizes = (found.a50, found.a90, found.a90_95)
    assert sizes == pytest.approx((1.771721, 1.835835, 1.846771), abs=1e-6)


@pytest.mark.parametrize(("low", "high"), [(2, 7), (2, 10), (0, 10)])
def test_firths_penalty_adds_half_a_trial_to_each_cell(low: int, high: int) -> None:
    """Closed form for two groups of ten (Firth 1993): finite where plain likelihood is not."""
    columns = np.column_stack([np.ones(20), np.repeat([0.0, 1.0], 10)])
    hit = np.concatenate([np.arange(10) < low, np.arange(10) < high]).astype(np.float64)
    odds = [math.log((k + 0.5) / (10.5 - k)) for k in (low, high)]
    found = fit_logit(columns, hit, penalised=True)
    assert found == pytest.approx((odds[0], odds[1] - odds[0]), abs=1e-8)


def test_separated_trials_get_a_finite_line_and_bound() -> None:
    found = study([(float(k), int(k > 10)) for k in range(1, 31)])
    assert found.is_separated
    assert found.line is not None
    assert found.line.is_penalised
    assert found.a50 == pytest.approx(10.5, abs=0.1)
    assert found.a90 is not None
    assert found.a90_95 is not None
    assert 11 < found.a90 < found.a90_95 < 30


def test_four_separated_trials_bound_nothing() -> None:
    found = study([(1, 0), (2, 0), (3, 1), (4, 1)])
    assert found.a90_95 is None
    assert any("larger than 4" in sentence for sentence in found.missing)


@pytest.mark.parametrize(
    ("rows", "trouble", "says"),
    [
        ([(2.0, 1), (3.0, 1), (9.0, 1)], "no misses", "add patches smaller than 2"),
        ([(2.0, 0), (3.0, 0), (9.0, 0)], "no hits", "add patches larger than 9"),
        ([(3.0, 0), (3.0, 1)], "one size", "smaller and larger"),
        ([(3.0, 1), (5.0, 0)], "falls", "check the columns"),
    ],
)
def test_an_open_end_says_what_is_missing(
    rows: list[tuple[float, int]], trouble: str, says: str
) -> None:
    found = study(rows)
    assert (found.trouble, found.a90, found.a90_95) == (trouble, None, None)
    assert says in found.missing[0]
    assert f"{60 - len(rows)} more patches" in found.missing[-1] or trouble == "falls"


def test_a_few_misses_among_large_patches_only_leave_the_small_end_open() -> None:
    rows = [(5.0 + k % 20, int(k % 11 > 0)) for k in range(80)]
    assert any("add patches smaller than 5" in sentence for sentence in study(rows).missing)


def drawn(rng: np.random.Generator, parts: int, trials: int, spread: float) -> Drawn:
    """Return sizes, hits and parts; parts differ in how easy they are, a90 is 4 + log(9) / 1.5."""
    part = np.repeat(np.arange(parts), trials)
    size = np.repeat(rng.uniform(1, 9, parts), trials)
    odds = 1.5 * (size - 4) + spread * rng.normal(0, 1, parts)[part]
    return size, rng.random(part.size) < expit(odds), part


def test_the_bound_holds_as_often_as_it_says() -> None:
    """It lies below the true a90 in 5 of 100 drawn studies."""
    rng, truth = np.random.default_rng(8), 4 + math.log(9) / 1.5
    found = [detect(*drawn(rng, 120, 1, 0.0)[:2]).a90_95 for _ in range(300)]
    assert sum(bound is not None and bound < truth for bound in found) / 300 < 0.09


def test_parts_told_apart_mend_most_of_what_repeats_spoil() -> None:
    """40 parts of 6 trials, some easier; the true a90 by quadrature. The control: parts untold."""
    rng, spread = np.random.default_rng(8), 1.5
    grid = np.linspace(0, 20, 4001)
    points, weights = np.polynomial.hermite_e.hermegauss(41)
    mean = expit(1.5 * (grid[:, None] - 4) + spread * points) @ weights / weights.sum()
    truth = grid[np.searchsorted(mean, 0.9)]
    told = untold = 0
    for _ in range(200):
        size, hit, part = drawn(rng, 40, 6, spread)
        told += (detect(size, hit, part).a90_95 or math.inf) < truth
        untold += (detect(size, hit).a90_95 or math.inf) < truth
    assert told / 200 < 0.10
    assert untold / 200 > 0.13


def test_the_log_scale_refuses_no_positive_size_and_follows_a_change_of_unit() -> None:
    rows = hits(EXAMPLE_3)
    scales: tuple[Scale, ...] = ("linear", "log")
    for scale in scales:
        inches = study(rows, scale)
        mm = study([(25.4 * size, found) for size, found in rows], scale)
        assert inches.a90_95 is not None
        assert mm.a90_95 == pytest.approx(25.4 * inches.a90_95, rel=1e-6)


STEEP = [(1, False)] * 4 + [(1, True), (2, False)]  # a line steep enough has no information left


@given(st.lists(st.tuples(st.integers(1, 9), st.booleans()), min_size=1, max_size=40))
@example(STEEP)
@settings(deadline=None, max_examples=60)
def test_any_study_gets_an_answer_in_order(rows: list[tuple[int, bool]]) -> None:
    found = study([(float(size), int(hit)) for size, hit in rows])
    if found.a50 is not None:
        assert found.a90 is not None
        assert found.a50 < found.a90 < (found.a90_95 or math.inf)
    else:
        assert found.trouble
        assert found.missing


@pytest.mark.parametrize("sizes", [[], [0.0], [-1.0], [math.inf], [math.nan], [1.0, 2.0]])
def test_what_is_no_size_is_refused(sizes: list[float]) -> None:
    with pytest.raises(ValueError, match="above 0"):
        detect(sizes, [True] * min(len(sizes), 1))


def test_the_bound_by_parts_is_that_of_a_sandwich_and_t() -> None:
    """By statsmodels: sandwich over the model's variance, G / (G - 2), t of G - 2 for the ratio.

    Through the bound a line is fitted with an offset; its likelihood falls by t squared times the
    design effect.
    """
    size, hit, part = drawn(np.random.default_rng(3), 12, 8, 1.5)
    found = detect(size, hit, part)
    assert found.a90 is not None
    assert found.a90_95 is not None
    columns, y, family = sm.add_constant(size), hit.astype(float), sm.families.Binomial()
    free = sm.GLM(y, columns, family=family).fit(tol=1e-12)
    robust = sm.GLM(y, columns, family=family).fit(
        tol=1e-12, cov_type="cluster", cov_kwds={"groups": part, "use_correction": False}
    )
    at = np.array([1.0, found.a90])
    effect = at @ robust.cov_params() @ at / (at @ free.cov_params() @ at) * 12 / 10
    assert found.effect == pytest.approx(effect, rel=1e-5)
    bound = size[:, None] - found.a90_95
    through = sm.GLM(y, bound, family=family, offset=np.full(size.size, math.log(9))).fit(tol=1e-12)
    fallen = 2 * (free.llf - through.llf)
    assert fallen == pytest.approx(stats.t.ppf(0.95, 10) ** 2 * effect, rel=1e-5)


def test_parts_that_scatter_less_than_chance_narrow_nothing() -> None:
    """Each part has one patch of every size, and all parts found the same ones: no spread."""
    sizes, found = np.tile(np.arange(1.0, 9.0), 10), np.tile([0, 0, 1, 0, 1, 0, 1, 1], 10)
    assert detect(sizes, found, np.repeat(np.arange(10), 8)).effect == 1.0


def test_two_parts_tell_of_no_effect() -> None:
    """The correction for few parts, G / (G - 2), has no value for two."""
    sizes, found = np.tile(np.arange(1.0, 9.0), 2), np.array([0, 0, 1, 0, 1, 0, 1, 1] + 8 * [1])
    told = detect(sizes, found, np.repeat([0, 1], 8))
    assert (told.parts, told.effect) == (2, 1.0)


def test_sixty_trials_are_as_many_as_a_study_should_have() -> None:
    """Example 3 is whole; of its first 60 and 59 trials only the fewer are short of some."""
    rows = hits(EXAMPLE_3)
    assert not any("more patches make" in said for said in study(rows[:60]).missing)
    assert "1 more patches make the 60" in study(rows[:59]).missing[-1]


def test_a_size_that_is_not_certain_enough_is_said_once() -> None:
    """Three parts leave one degree of freedom and no bound; a90 lies among the sizes or beyond."""
    sizes, parts = np.tile(np.arange(1.0, 9.0), 3), np.repeat(np.arange(3), 8)
    rising = [0, 0, 0, 1, 1, 1, 1, 1] * 2 + [0, 0, 0, 0, 1, 0, 1, 1]
    found = detect(sizes, rising, parts)
    assert found.a90 is not None
    assert (found.a90 < 8, found.a90_95) == (True, None)
    assert [said.split(" to be")[0] for said in found.missing[:-1]] == ["No size is certain enough"]
    hardly = detect(sizes, [0, 0, 1, 0, 1, 0, 1, 1] * 2 + [0, 1, 0, 1, 0, 1, 0, 1], parts)
    assert hardly.a90 is not None
    assert (hardly.a90 > 8, hardly.a90_95) == (True, None)
    assert [said.split(":")[0] for said in hardly.missing[:-1]] == [
        "No patch that was tried is found 90 times in 100"
    ]
