"""Tasks over worker processes, so that one that crashes or hangs costs its own task and no other.

A pool of the standard library gives up all its tasks when one worker dies; this one starts the
worker again and goes on.
"""

import contextlib
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from multiprocessing.connection import Connection, wait
from typing import Any, Generic, TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")

MOST_SECONDS = 120.0
"""A task that takes longer is given up (own rule: a 200 megapixel photo takes a tenth)."""
_CONTEXT = multiprocessing.get_context("spawn")


@dataclass(frozen=True)
class Lost:
    """A task that brought no result."""

    why: str
    """In a few words."""


@dataclass
class _Hand(Generic[Task]):
    """A process, the pipe to it, and what it is doing."""

    pipe: Connection
    process: Any
    task: Task | None = None
    until: float = 0.0


def each(
    work: Callable[[Task], Result],
    tasks: Iterable[Task],
    count: int | None = None,
    seconds: float = MOST_SECONDS,
) -> Iterator[tuple[Task, Result | Lost]]:
    """Yield each task with its result, in the order in which they end.

    No more tasks are taken from ``tasks`` than there are processes, so that memory stays flat.

    Parameters
    ----------
    work : callable
        Runs in the processes: it and its result can be pickled. What it raises is a `Lost`.
    tasks : iterable
    count : int, optional
        Processes; as many as the computer has cores if None.
    seconds : float
        After which a task is given up.
    """
    coming = iter(tasks)
    first = list(islice(coming, count or os.cpu_count() or 1))
    hands: list[_Hand[Task]] = []
    try:
        hands += [_start(work) for _ in first]  # all at once: each takes a second to come up
        for hand, task in zip(hands, first, strict=True):
            _give(hand, task, seconds)
        first.clear()
        while hands:
            for hand in _ended(hands):
                hands.remove(hand)
                done, (result, is_lost) = hand.task, _result(hand, seconds)
                _go_on(hands, hand, work, coming, seconds, is_lost=is_lost)
                assert done is not None
                yield done, result
    finally:
        for hand in hands:
            _stop(hand)


class Helper(Generic[Task, Result]):
    """One process that is asked task after task, and started again where one made it crash."""

    def __init__(self, work: Callable[[Task], Result], seconds: float = MOST_SECONDS) -> None:
        self._work, self._seconds = work, seconds
        self._hand: _Hand[Task] | None = None

    def __call__(self, task: Task) -> Result | Lost:
        """Return what came of a task."""
        if self._hand is None or not self._hand.process.is_alive():
            self.close()
            self._hand = _start(self._work)
        _give(self._hand, task, self._seconds)
        _ended([self._hand])
        result, is_lost = _result(self._hand, self._seconds)
        if is_lost:
            self.close()
        found: Result | Lost = result
        return found

    def close(self) -> None:
        """End the process."""
        if self._hand is not None:
            _stop(self._hand)
            self._hand = None


def _go_on(
    hands: list[_Hand[Task]],
    hand: _Hand[Task],
    work: Callable[[Task], Any],
    coming: Iterator[Task],
    seconds: float,
    *,
    is_lost: bool,
) -> None:
    """Give the next task to a process that is free, or to a new one in the place of a lost one."""
    task = next(coming, None)
    if is_lost or task is None or not hand.process.is_alive():
        _stop(hand)
        if task is None:
            return
        hand = _start(work)
    hands.append(hand)
    _give(hand, task, seconds)


def _give(hand: _Hand[Task], task: Task, seconds: float) -> None:
    hand.task, hand.until = task, time.monotonic() + seconds
    with contextlib.suppress(OSError):  # a process that died since shows at its pipe
        hand.pipe.send(task)


def _start(work: Callable[[Task], Any]) -> "_Hand[Task]":
    ours, theirs = _CONTEXT.Pipe()
    process = _CONTEXT.Process(target=_serve, args=(work, theirs), daemon=True)
    with deaf():
        process.start()
    theirs.close()
    return _Hand(ours, process)


@contextlib.contextmanager
def deaf() -> Iterator[None]:
    """Start a process that Ctrl+C does not reach, from its first moment on."""
    if threading.current_thread() is not threading.main_thread():
        yield  # only the main thread may say so; the process says it itself a second later
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _ended(hands: list[_Hand[Task]]) -> list[_Hand[Task]]:
    """Wait for processes that have a result, are dead, or have had their time."""
    left = max(0.0, min(hand.until for hand in hands) - time.monotonic())
    ready = wait([hand.pipe for hand in hands], left)
    now = time.monotonic()
    return [hand for hand in hands if hand.pipe in ready or hand.until <= now]


def _result(hand: _Hand[Task], seconds: float) -> tuple[Any, bool]:
    """Return what a task brought, and whether its process is of no more use."""
    try:
        if not hand.pipe.poll():
            return Lost(f"took longer than {seconds:g} s"), True
        return hand.pipe.recv(), False
    except (EOFError, OSError):
        return Lost("made the process that read it crash"), True


def _stop(hand: _Hand[Any]) -> None:
    hand.pipe.close()
    hand.process.kill()
    hand.process.join()


def _serve(work: Callable[[Any], Any], pipe: Connection) -> None:
    """Work off tasks from a pipe until it closes; the life of a process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C is the caller's, which closes the pipe
    while True:
        try:
            task = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            result: Any = work(task)
        except Exception as error:  # noqa: BLE001 - one task must not cost the others
            result = Lost(f"an unforeseen error ({type(error).__name__}: {error})")
        with contextlib.suppress(OSError):
            pipe.send(result)
