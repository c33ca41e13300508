"""Worker processes that judge photos, one photo each at a time, in the order of their coming.

A photo that makes a decoder crash takes its own worker with it and nothing else: the worker is
started again, and the others go on.
"""

import asyncio
import contextlib
import multiprocessing
import os
from collections import deque
from collections.abc import Callable
from pathlib import Path
from types import TracebackType

from satcheck.errors import UsageError
from satcheck.processes import deaf
from satcheck.web.judging import CardJob, Found, Job, Refused, serve_jobs
from satcheck.web.words import say

MOST_SECONDS = 60.0
"""A photo that takes longer is given up (own rule: a 200 megapixel photo takes a tenth)."""

_START_SECONDS = 120.0
_CONTEXT = multiprocessing.get_context("spawn")

Work = Callable[..., None]


class Worker:
    """One process and the pipe to it."""

    def __init__(self, calibration: Path, work: Work) -> None:
        self._calibration, self._work = calibration, work
        self._start()

    def _start(self) -> None:
        self._pipe, theirs = _CONTEXT.Pipe()
        self._process = _CONTEXT.Process(
            target=self._work, args=(self._calibration, theirs), daemon=True
        )
        with deaf():
            self._process.start()
        theirs.close()

    def is_ready(self) -> bool:
        """Wait until the process has warmed up; False where it did not come up."""
        with contextlib.suppress(EOFError, OSError):
            if self._pipe.poll(_START_SECONDS):
                self._pipe.recv()
                return True
        return False

    def judge(self, job: Job | CardJob, seconds: float) -> Found:
        """Judge a photo or read its card; a process that crashes or takes too long is renewed."""
        if not self._process.is_alive():  # it went between two photos: this one is not to blame
            self._renew()
        try:
            self._pipe.send(job)
            if self._pipe.poll(seconds):
                found: Found = self._pipe.recv()
                return found
            sentence = say("too_slow")
        except (EOFError, OSError):
            sentence = say("crashed")
        self._renew()
        return Refused(sentence)

    def _renew(self) -> None:
        self.stop()
        self._start()
        self.is_ready()

    def stop(self) -> None:
        """End the process."""
        self._pipe.close()
        self._process.kill()
        self._process.join()


class Workers:
    """As many workers as there are cores, and the queue before them."""

    def __init__(
        self,
        calibration: Path,
        count: int | None = None,
        seconds: float = MOST_SECONDS,
        work: Work = serve_jobs,
    ) -> None:
        self.count = count or os.cpu_count() or 1
        self._seconds, self._calibration, self._work = seconds, calibration, work
        self._queue: deque[str] = deque()
        self._free: asyncio.Queue[Worker] = asyncio.Queue()
        self._all: list[Worker] = []

    async def __aenter__(self) -> "Workers":
        self._all = [Worker(self._calibration, self._work) for _ in range(self.count)]
        ready = await asyncio.gather(*(asyncio.to_thread(one.is_ready) for one in self._all))
        if not all(ready):
            await self.__aexit__(None, None, None)
            raise UsageError(
                f"the processes that judge photos do not start ({self.count} of them, one a core); "
                "where memory is short, end other programs and start again"
            )
        for worker in self._all:
            self._free.put_nowait(worker)
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for worker in self._all:
            worker.stop()

    def ahead(self, name: str) -> int:
        """Return how many photos wait before this one; 0 also for one that is being judged."""
        return self._queue.index(name) if name in self._queue else 0

    def is_waiting(self, name: str) -> bool:
        """Return whether a photo still waits for a worker."""
        return name in self._queue

    async def judge(self, job: Job | CardJob) -> Found:
        """Judge a photo when those before it have found a worker."""
        self._queue.append(job.name)
        try:
            worker = await self._free.get()
        finally:
            self._queue.remove(job.name)
        try:
            return await asyncio.to_thread(worker.judge, job, self._seconds)
        finally:
            self._free.put_nowait(worker)
