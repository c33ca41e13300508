"""Work on a second core while this one goes on."""

import sys
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from typing import TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")

SWITCH = 2e-4
"""Seconds after which a thread that waits for the interpreter is given it.

Python's own 5 ms are as long as a stage of a photo's judgement: with them a thread that comes back
from NumPy or OpenCV mostly waits (a photo took a tenth longer, medians of nine).
"""


@contextmanager
def beside(threads: int = 1) -> Iterator[ThreadPoolExecutor]:
    """Yield threads to hand work to; all of it is done when the block ends."""
    usual = sys.getswitchinterval()
    sys.setswitchinterval(min(usual, SWITCH))
    try:
        with ThreadPoolExecutor(threads) as pool:
            yield pool
    finally:
        sys.setswitchinterval(usual)


def ahead(
    threads: ThreadPoolExecutor, work: Callable[[Task], Result], tasks: Iterable[Task]
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
