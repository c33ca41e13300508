"""The promise holds over many drawn shops, and not where zones pass for parts."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from satcheck.statistics.promise import (
    FEWEST,
    Promise,
    count_errors,
    errors_allowed,
    fewest_parts,
    set_bound,
    upper_share,
)

F64 = NDArray[np.float64]
Draw = Callable[[int], tuple[NDArray[np.intp], F64]]
SHOPS = 2000
CHANCE = 3 * math.sqrt(0.05 * 0.95 / SHOPS)
"""Three standard errors of a share of 5 % over the drawn shops."""


@pytest.mark.parametrize(
    ("errors", "parts", "share"),
    [(0, 30, 0.095034), (0, 100, 0.029513), (0, 29, 1 - 0.901855), (1, 46, 1 - 0.900976),
     (2, 61, 1 - 0.900365), (0, 59, 1 - 0.950492), (15, 15, 1.0)],
)  # fmt: skip
def test_the_upper_bound_is_clopper_and_pearsons(errors: int, parts: int, share: float) -> None:
    """One-sided 95 %: the zero-miss rule of MIL-HDBK-1823A, recomputed there from 0.9^29."""
    assert upper_share(errors, parts) == pytest.approx(share, abs=2e-6)


@pytest.mark.parametrize(("share", "parts"), [(0.05, 59), (0.10, 29), (0.20, 14), (0.01, 299)])
def test_the_fewest_parts_are_tong_feng_and_lis(share: float, parts: int) -> None:
    """Tong, Feng & Li, Sci. Adv. 2018: least class-0 sample at 95 %; 299 is 99/95."""
    assert fewest_parts(share) == parts
    assert upper_share(0, parts - 1) > share, "one part fewer must not do"


@pytest.mark.parametrize(
    ("parts", "errors"), [(0, 0), (28, 0), (29, 0), (45, 0), (46, 1), (58, 1), (59, 0), (93, 1)]
)
def test_the_bound_may_leave_as_many_parts_as_the_step_allows(parts: int, errors: int) -> None:
    assert errors_allowed(parts) == errors


def drawn(rng: np.random.Generator) -> Draw:
    """Return a maker of shops: 1 to 9 starved zones a part, alike within it, wilder where more."""

    def draw(parts: int) -> tuple[NDArray[np.intp], F64]:
        zones = rng.integers(1, 10, parts)
        own = rng.normal(0, 1, parts) * (1 + zones / 9)
        part = np.repeat(np.arange(parts), zones)
        return part, own[part] + rng.normal(0, 0.5, part.size)

    return draw


def worst(part: NDArray[np.intp], score: F64) -> F64:
    result = np.full(part.max() + 1, -np.inf)
    np.maximum.at(result, part, score)
    return result


def broken(parts: int, limits: tuple[float, float], by_zone: bool) -> float:
    """Return the share of drawn shops whose stated share is exceeded."""
    draw = drawn(np.random.default_rng(parts))
    part, score = draw(100_000)
    truth = np.sort(score if by_zone else worst(part, score))
    exceeded = 0
    for _ in range(SHOPS):
        part, score = draw(parts)
        bound, promise = set_bound(list(score if by_zone else worst(part, score)), *limits)
        missed = 1 - np.searchsorted(truth, bound, side="right") / truth.size
        exceeded += int(promise.share is not None and missed > promise.share)
    return exceeded / SHOPS


@pytest.mark.parametrize("limits", [(-9.0, 9.0), (1.5, 4.0), (2.5, 3.0)])
@pytest.mark.parametrize("parts", [10, 29, 59])
def test_the_stated_share_is_exceeded_in_at_most_one_shop_of_twenty(
    parts: int, limits: tuple[float, float]
) -> None:
    """Over 4000 shops each we measured 0 to 5.5 %."""
    assert broken(parts, limits, by_zone=False) <= 0.05 + CHANCE


@pytest.mark.parametrize("parts", [10, 29, 59])
def test_zones_taken_for_parts_break_the_promise(parts: int) -> None:
    """Negative control: five zones a part are not five pieces of evidence (26 to 40 %)."""
    assert broken(parts, (-9.0, 9.0), by_zone=True) > 0.2


def discriminant(starved: F64, good: F64) -> tuple[F64, F64]:
    spread = (np.cov(starved.T) + np.cov(good.T)) / 2
    spread = 0.9 * spread + 0.1 * np.diag(np.diag(spread))
    middle = (starved.mean(0) + good.mean(0)) / 2
    return np.linalg.solve(spread, good.mean(0) - starved.mean(0)), middle


def fitted(parts: int, shops: int, leave_out: bool) -> float:
    """Return the share of exceeded promises where the index comes from the same parts.

    Seven cues, a part's own offset in each; a linear discriminant is fitted anew without each part.
    """
    rng, mean = np.random.default_rng(parts), np.array([2.5, 1.25, 0, 0, 0, 0, 0])

    def draw(count: int) -> tuple[NDArray[np.intp], F64]:
        part = np.repeat(np.arange(count), rng.integers(1, 7, count))
        own = rng.normal(0, 0.7, (count, 7))[part]
        return part, own + rng.normal(0, 0.7, own.shape)

    population, truth = draw(5000)
    exceeded = 0
    for _ in range(shops):
        (part, starved), (_, good) = draw(parts), draw(parts)
        good = good + mean
        weight, middle = discriminant(starved, good)
        score = (starved - middle) @ weight
        for own in range(parts if leave_out else 0):
            out = part == own
            without, centre = discriminant(starved[~out], good)
            score[out] = (starved[out] - centre) @ without
        bound, promise = set_bound(list(worst(part, score)), -99, 99)
        missed = (worst(population, (truth - middle) @ weight) > bound).mean()
        exceeded += missed > (promise.share or 1)
    return exceeded / shops


@pytest.mark.parametrize(("parts", "shops"), [(10, 300), (29, 150)])
def test_an_index_fitted_without_the_part_keeps_the_promise_nearly(parts: int, shops: int) -> None:
    """Measured over 1000 shops: 6.7, 4.0 and 3.4 % for 10, 29 and 59 parts."""
    assert fitted(parts, shops, leave_out=True) < 0.05 + 3 * math.sqrt(0.05 * 0.95 / shops) + 0.02


def test_an_index_fitted_with_the_part_breaks_it() -> None:
    """Negative control; measured over 1000 shops of 10 parts: 20 %."""
    assert fitted(10, 300, leave_out=False) > 0.12


def test_a_zone_of_a_random_part_is_missed_no_more_often_than_a_part() -> None:
    """Why zones may stand in the sentence, and why every part counts alike in it."""
    part, score = drawn(np.random.default_rng(4))(20_000)
    missed = score > 2.0
    by_part = np.bincount(part, missed) / np.bincount(part)
    assert by_part.mean() <= (worst(part, score) > 2.0).mean()
    assert missed.mean() > by_part.mean(), "zones counted alike say something else"


@given(st.lists(st.floats(-1, 1), max_size=70), st.floats(-1, 1), st.floats(0, 1))
def test_the_bound_keeps_its_limits_and_never_states_fewer_errors_than_lie_beyond_it(
    scores: list[float], floor: float, width: float
) -> None:
    bound, promise = set_bound(scores, floor, floor + width)
    assert floor <= bound <= floor + width
    assert promise.parts == len(scores)
    assert count_errors(scores, bound) <= promise.errors <= len(scores)


def test_equal_scores_do_not_lower_the_stated_errors() -> None:
    """The rank is free of what is seen: 46 parts are stated with one error, none lying beyond."""
    assert set_bound([0.0] * 44 + [1.0, 1.0], -9.0, 9.0) == (1.0, Promise(46, 1))


def test_a_part_that_no_bound_explains_is_an_error_and_not_a_bound() -> None:
    bound, promise = set_bound([0.0] * 28 + [math.inf], -0.1, 0.2)
    assert (bound, promise) == (0.2, Promise(29, 1))
    assert promise.percent == 16


@pytest.mark.parametrize(
    ("promise", "words"),
    [
        (Promise(0, 0), "no part with a starved zone judged without its help"),
        (Promise(9, 0), "Provisional: 9 parts"),
        (Promise(FEWEST, 0), "at most 26 % of starved zones"),
        (Promise(28, 0), "at most 11 %"),
        (Promise(29, 0), "at most 10 %"),
        (Promise(59, 0), "at most 5 %"),
    ],
)
def test_the_sentence_says_no_more_than_the_parts_support(promise: Promise, words: str) -> None:
    assert words in promise.sentence
    assert ("no promise" in promise.sentence) == (promise.parts < FEWEST)


@pytest.mark.parametrize(
    ("promise", "words"),
    [
        (Promise(9, 0), "1 more part with a starved zone is needed for a promise."),
        (Promise(10, 0), "19 more parts"),
        (Promise(28, 0), "1 more part with a starved zone is needed, none"),
        (Promise(29, 1), "17 more parts"),  # 1 of 46
        (Promise(29, 0), "30 more parts"),
    ],
)
def test_the_parts_still_missing_are_counted(promise: Promise, words: str) -> None:
    assert promise.missing.startswith(words)


@pytest.mark.parametrize(("worst_score", "more"), [(0.5, 13), (math.inf, 47)])
def test_an_error_that_the_bound_was_free_to_leave_may_be_covered_again(
    worst_score: float, more: int
) -> None:
    """At 46 parts the 10 % step leaves one beyond; at 59 none, unless no bound covers it.

    47 more were asked for, and 14 of the shop that had one part fewer.
    """
    scores = [*np.linspace(-0.9, 0.4, 45), worst_score]
    now = set_bound(scores, -1.0, 0.9)[1]
    assert now == Promise(46, 1)
    assert now.missing.startswith("13 to 47 more parts with a starved zone are needed, none")
    for added, reached in ((more - 1, False), (more, True)):
        later = set_bound([*scores, *[-0.9] * added], -1.0, 0.9)[1]
        assert (later.percent == 5) is reached


def test_at_the_last_step_nothing_is_missing() -> None:
    assert Promise(59, 0).missing == ""


def test_errors_outside_the_parts_are_refused() -> None:
    with pytest.raises(ValueError, match="3 errors of 2 parts"):
        upper_share(3, 2)


def test_a_promise_that_rests_on_no_part_tells_of_none() -> None:
    assert Promise(0, 0).basis == ""
    assert Promise(1, 0).basis.startswith("Of 1 part ")
