"""Marks scored: hand-worked cases, scikit-learn's kappa, and learners who do not look."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from sklearn.metrics import cohen_kappa_score

from satcheck.lesson.choice import Exercise, error_rates, next_exercise
from satcheck.lesson.scoring import count, score
from satcheck.model import Label

S, G, R = int(Label.STARVED), int(Label.GOOD), int(Label.RICH)
TRUTH = np.array([[S] * 30, [G] * 30, [R] * 30, [Label.LEAN] * 30, [0] * 30])
"""As much starved as good and rich; lean and outside do not count."""


def marks_of(starved: int, rich: int, false: int) -> NDArray[np.int64]:
    """Return marks: so many cells of starved and rich found, and good ones called starved."""
    marks = np.zeros_like(TRUTH)
    marks[0, :starved], marks[1, :false], marks[2, :rich] = S, S, R
    return marks


def test_a_learner_who_finds_everything_scores_one() -> None:
    got = score(count(marks_of(30, 30, 0), TRUTH))
    assert (got.starved_found, got.rich_found, got.false_marks) == (1, 1, 0)
    assert got.kappa == pytest.approx(1)


def test_a_case_worked_by_hand() -> None:
    """Found 15 of 30 starved, 30 of 30 rich, 10 of 30 good called starved.

    Agreement (15 + 20 + 30) / 90 = 0.7222; the learner says good 35, starved 25, rich 30 times:
    chance 30 (35 + 25 + 30) / 90 / 90 = 1/3; kappa (0.7222 - 0.3333) / 0.6667 = 0.5833.
    """
    got = score(count(marks_of(15, 30, 10), TRUTH))
    assert (got.starved_found, got.rich_found) == (0.5, 1)
    assert got.false_marks == pytest.approx(10 / 55)
    assert got.kappa == pytest.approx(7 / 12)


@pytest.mark.parametrize("mark", [0, S, R])
def test_marking_everything_or_nothing_scores_zero(mark: int) -> None:
    assert score(count(np.full_like(TRUTH, mark), TRUTH)).kappa == pytest.approx(0)


@pytest.mark.parametrize("seed", range(5))
def test_marking_at_random_scores_about_zero(seed: int) -> None:
    """Ten thousand cells of each: kappa's standard error by chance is about 0.004."""
    truth = np.repeat([S, G, R], 10_000)
    marks = np.random.default_rng(seed).choice([0, S, R], truth.size, p=[0.6, 0.3, 0.1])
    assert score(count(marks, truth)).kappa == pytest.approx(0, abs=0.02)


def test_swapping_starved_and_rich_is_worse_than_chance() -> None:
    marks = np.zeros_like(TRUTH)
    marks[0], marks[2] = R, S
    assert (score(count(marks, TRUTH)).kappa or 0) <= 0


def test_lean_and_heavy_may_be_marked_either_way() -> None:
    marks = marks_of(30, 30, 0)
    marks[3] = S
    assert score(count(marks, TRUTH)) == score(count(marks_of(30, 30, 0), TRUTH))


def test_without_anything_to_tell_apart_there_is_no_kappa() -> None:
    got = score(count(np.zeros(9), np.full(9, G)))
    assert (got.kappa, got.false_marks, got.starved_found) == (None, None, None)
    assert score(np.zeros((3, 3), np.int64)).kappa is None


def test_marks_of_another_shape_are_refused() -> None:
    with pytest.raises(ValueError, match="shape"):
        count(np.zeros(3), np.zeros(4))


words = st.lists(st.tuples(st.sampled_from([0, S, R]), st.sampled_from([S, G, R])), min_size=2)


@settings(max_examples=100)
@given(words)
def test_kappa_is_that_of_scikit_learn(pairs: list[tuple[int, int]]) -> None:
    marks, truth = np.array(pairs).T
    got = score(count(marks, truth)).kappa
    called = np.where(marks == 0, G, marks)
    if len({*called, *truth}) == 1:
        assert got is None
    else:
        assert got == pytest.approx(cohen_kappa_score(truth, called), abs=1e-12)


def row(right: int, wrong: int) -> NDArray[np.int64]:
    """Return counts of one photo: starved cells found and missed, good all right."""
    return np.array([[10, 0, 0], [wrong, right, 0], [0, 0, 0]])


EXERCISES = (
    Exercise("basalt", (0.5, 0.5, 0.0)),
    Exercise("basalt", (0.5, 0.0, 0.5)),
    Exercise("basalt", (0.6, 0.4, 0.0)),
    Exercise("carbon", (0.5, 0.5, 0.0)),
)


def test_the_next_photo_holds_what_the_learner_misses() -> None:
    """Starved on basalt missed wholly: rate (1 + 1) / (1 + 2); good and rich are better known."""
    assert next_exercise(EXERCISES, [(0, row(0, 10))]) == 2


def test_what_the_learner_finds_is_not_asked_again_first() -> None:
    """Starved and good on basalt are found: rich on basalt and carbon are not known yet."""
    assert next_exercise(EXERCISES, [(0, row(10, 0))]) == 3
    assert next_exercise(EXERCISES[:3], [(0, row(10, 0))]) == 1


def test_every_photo_comes_once() -> None:
    done: list[tuple[int, NDArray[np.int64]]] = []
    while (number := next_exercise(EXERCISES, done)) is not None:
        done.append((number, row(5, 5)))
    assert sorted(number for number, _ in done) == [0, 1, 2, 3]


def test_error_rates_follow_the_rule_of_succession() -> None:
    rates = error_rates([("basalt", row(5, 5)), ("basalt", row(0, 10))])
    assert rates["basalt"] == pytest.approx((1 / 4, (0.5 + 1 + 1) / 4, 1 / 2))
