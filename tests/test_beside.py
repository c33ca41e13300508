"""Work beside other work: it is done when the block ends, and nothing is left changed."""

import sys
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from satcheck.beside import SWITCH, ahead, beside, on_one_core


def test_work_runs_beside_this_and_is_done_at_the_end() -> None:
    here, there = threading.Event(), threading.Event()

    def meet() -> bool:
        there.set()
        return here.wait(10)  # only who goes on can let it end

    with beside() as second:
        met = second.submit(meet)
        assert there.wait(10)
        here.set()
    assert met.done()
    assert met.result()


@pytest.mark.parametrize("usual", [0.005, SWITCH / 4])
def test_the_interpreter_is_handed_over_soon_and_then_as_before(usual: float) -> None:
    before = sys.getswitchinterval()
    sys.setswitchinterval(usual)
    try:
        with beside():
            assert sys.getswitchinterval() == pytest.approx(
                min(usual, SWITCH), abs=2e-6
            )  # in whole microseconds
            with beside(2):
                pass
            assert sys.getswitchinterval() == pytest.approx(
                min(usual, SWITCH), abs=2e-6
            )  # in whole microseconds
        assert sys.getswitchinterval() == pytest.approx(usual, abs=2e-6)  # in whole microseconds
    finally:
        sys.setswitchinterval(before)


def test_what_goes_wrong_beside_is_raised_and_nothing_stays_changed() -> None:
    usual = sys.getswitchinterval()
    with pytest.raises(ZeroDivisionError), beside() as second:
        second.submit(lambda: 1 / 0).result()
    assert sys.getswitchinterval() == usual


def test_on_one_core_work_is_done_at_once_and_by_this_thread() -> None:
    with on_one_core(), beside(2) as second:
        assert second.submit(threading.get_ident).result() == threading.get_ident()
        assert list(second.map(pow, [2, 3], [3, 2])) == [8, 9]
        with pytest.raises(ZeroDivisionError):
            second.submit(lambda: 1 / 0)
    with beside() as second:
        assert second.submit(threading.get_ident).result() != threading.get_ident()


def test_one_threads_core_is_no_other_threads_matter() -> None:
    def is_elsewhere() -> bool:
        with beside() as second:
            return second.submit(threading.get_ident).result() != threading.get_ident()

    with ThreadPoolExecutor(1) as other, on_one_core():
        assert other.submit(is_elsewhere).result()


@pytest.mark.parametrize("count", [0, 1, 5])
def test_tasks_are_done_in_order_and_never_two_ahead(count: int) -> None:
    begun: list[int] = []

    def work(task: int) -> int:
        begun.append(task)
        return task * task

    with beside() as second:
        results = ahead(second, work, range(count))
        for task, result in enumerate(results):
            assert result.result() == task * task
            assert len(begun) <= task + 2
    assert begun == list(range(count))


def test_the_first_task_is_under_way_before_anybody_asks() -> None:
    begun = threading.Event()
    with beside() as second:
        results = ahead(second, lambda _: begun.set(), [1])
        assert begun.wait(10)
        assert [result.result() for result in results] == [None]


def test_a_task_that_fails_costs_the_others_nothing() -> None:
    with beside() as second:
        one, two, three = ahead(second, lambda n: 6 // n, [1, 0, 3])
        assert one.result() == 6
        assert three.result() == 2
        with pytest.raises(ZeroDivisionError):
            two.result()
