"""Work on a second core while this one goes on."""

import sys
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import ContextVar
from typing import ParamSpec, TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")
Given = ParamSpec("Given")

SWITCH = 2e-4
"""Seconds after which a thread that waits for the interpreter is given it.

Python's own 5 ms are as long as a stage of a photo's judgement: with them a thread that comes back
from NumPy or OpenCV mostly waits (a photo took a tenth longer, medians of nine).
"""


_has_one_core: ContextVar[bool] = ContextVar("has_one_core", default=False)


@contextmanager
def beside(threads: int = 1) -> Iterator[Executor]:
    """Yield what to hand work to; all of it is done when the block ends."""
    if _has_one_core.get():
        yield _AtOnce()
        return
    usual = sys.getswitchinterval()
    sys.setswitchinterval(min(usual, SWITCH))
    try:
        with ThreadPoolExecutor(threads) as pool:
            yield pool
    finally:
        sys.setswitchinterval(usual)


@contextmanager
def on_one_core() -> Iterator[None]:
    """Do in the block at once what would be handed to other threads.

    For one of as many processes as there are cores, where threads only wait for each other: two did
    1.6 times the work of one with threads, 1.8 to 2.0 times without (tests/bench_audit.py).
    """
    token = _has_one_core.set(True)
    try:
        yield
    finally:
        _has_one_core.reset(token)


class _AtOnce(Executor):
    """Does work when it is handed over; what goes wrong is raised then."""

    def submit(
        self, work: Callable[Given, Result], /, *args: Given.args, **kwargs: Given.kwargs
    ) -> Future[Result]:
        done: Future[Result] = Future()
        done.set_result(work(*args, **kwargs))
        return done


def ahead(
    threads: Executor, work: Callable[[Task], Result], tasks: Iterable[Task]
) -> Iterator[Future[Result]]:
    """Return what becomes of each task, in their order.

    The first is under way when this returns, each other one when the one before it is taken: there
    is never more than one result that nobody has asked for.
    """
    begun = (threads.submit(work, task) for task in tasks)
    first = next(begun, None)

    def in_order() -> Iterator[Future[Result]]:
        waiting = first
        while waiting is not None:
            following = next(begun, None)
            yield waiting
            waiting = following

    return in_order()
