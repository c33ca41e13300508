"""Work beside other work: it is done when the block ends, and nothing is left changed."""

import sys
import threading

import pytest

from satcheck.beside import SWITCH, beside


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
