"""From a photo that has come to a verdict that is kept; the page may ask how far it is.

The order never changes: judged, kept on the disk, and only then shown.
"""

import asyncio
import secrets
from collections import OrderedDict
from dataclasses import dataclass

from satcheck.errors import SatcheckError, UsageError
from satcheck.ledger.photos import PreparedPhoto
from satcheck.web.judging import CardJob, CardRead, Job, Judged, Refused
from satcheck.web.shot import Shot
from satcheck.web.store import Store
from satcheck.web.upload import Uploads
from satcheck.web.words import say
from satcheck.web.workers import Workers

MOST_FAILURES = 500
EARLIER = 4
"""Photos of the series that a later one may take its weave's size from (own rule)."""
MOST_CARDS = 8
"""Photos of cards in memory at once (own rule); a further one waits before it is read in."""


@dataclass(frozen=True)
class Progress:
    """How far a photo is."""

    state: str
    """"sending", "waiting", "measuring", "kept" or "failed"."""
    received: int = 0
    ahead: int = 0
    sentence: str = ""
    is_here: bool = False
    """The photo of a failure is here as a whole: it can be tried again without being sent."""


class Bench:
    """Judges every photo that has come, and remembers why some could not be."""

    def __init__(self, store: Store, uploads: Uploads, workers: Workers) -> None:
        self.store, self.uploads, self.workers = store, uploads, workers
        self._tasks: dict[str, asyncio.Task[None]] = {}
        self._failed: OrderedDict[str, str] = OrderedDict()
        self.cards = asyncio.Semaphore(MOST_CARDS)

    def resume(self) -> None:
        """Go on with what had come before the server was stopped."""
        for shot in self.uploads.waiting():
            self.start(shot)

    def start(self, shot: Shot) -> None:
        """Judge a photo that is here as a whole; starting it twice does nothing."""
        if shot.id not in self._tasks and self.store.get(shot.id) is None:
            self._failed.pop(shot.id, None)
            self._tasks[shot.id] = asyncio.create_task(self._judge(shot))

    def progress(self, name: str) -> Progress | None:
        """Return how far a photo is; None for one that is not known."""
        if name in self._failed:
            is_here = self.uploads.is_whole(name)
            return Progress("failed", sentence=self._failed[name], is_here=is_here)
        if name in self._tasks:
            state = "waiting" if self.workers.is_waiting(name) else "measuring"
            return Progress(state, ahead=self.workers.ahead(name))
        if self.store.get(name) is not None:
            return Progress("kept")
        if self.uploads.shot(name) is not None:
            return Progress("sending", received=self.uploads.received(name))
        return None

    async def read_card(self, data: bytes) -> str | None:
        """Return the number that the card in a photo says; None where none could be read.

        Raises
        ------
        UsageError
            If the photo cannot be read.
        """
        found = await self.workers.judge(CardJob(secrets.token_hex(16), data))
        if isinstance(found, Refused):
            raise UsageError(found.sentence)
        return found.part if isinstance(found, CardRead) else None

    async def wait(self, name: str, seconds: float) -> None:
        """Return when a photo is through, or after some seconds."""
        task = self._tasks.get(name)
        if task is not None:
            await asyncio.wait({task}, timeout=seconds)

    async def _judge(self, shot: Shot) -> None:
        try:
            job = await asyncio.to_thread(self._job, shot)
            # The disk is slow: the photo is written while it is judged.
            found, photo = await asyncio.gather(self.workers.judge(job), self._prepared(job))
            if isinstance(found, Judged):
                await asyncio.to_thread(self.store.keep, found.draft, photo)
            elif isinstance(found, Refused):
                self._fail(shot.id, found.sentence)
            self.uploads.drop(shot.id)
        except (OSError, SatcheckError):  # it stays with the uploads, for the next start
            self._fail(shot.id, say("not_stored"))
        finally:
            self._tasks.pop(shot.id, None)

    async def _prepared(self, job: Job) -> PreparedPhoto | None:
        """Prepare a photo to be kept; one that is judged again is kept already."""
        if job.again is not None:
            return None
        to = self.uploads.prepared(job.shot.id)
        return await asyncio.to_thread(self.store.prepare, job.photo, job.shot.title, to)

    def _job(self, shot: Shot) -> Job:
        same = [
            one
            for one in self.store.of_part(shot.part)
            if (one.view, one.fibre) == (shot.view, shot.fibre) and one.id != shot.of
        ]
        earlier = tuple(self.store.inspection(one) for one in same[-EARLIER:])
        again = None if shot.of is None else self.store.get(shot.of)
        return Job(shot, self.uploads.photo(shot.id), earlier, again)

    def _fail(self, name: str, sentence: str) -> None:
        self._failed[name] = sentence
        if len(self._failed) > MOST_FAILURES:
            self._failed.popitem(last=False)
