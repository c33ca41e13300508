"""Work on a second core while this one goes on."""

import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

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
