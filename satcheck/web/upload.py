"""Photos on their way in: streamed to a file, counted, taken up again where they broke.

A photo and what was said of it stay in this folder until photo and verdict are in the store: the
server may be stopped at any moment, and goes on with them when it starts again.
"""

import asyncio
import json
import os
import time
from collections.abc import AsyncIterator
from dataclasses import asdict
from pathlib import Path

from satcheck.files import write_whole
from satcheck.web.shot import Shot

MOST_BYTES = 60_000_000
"""Of one photo: a 200 megapixel JPEG stays below (from memory of such files)."""

MOST_OPEN = 60
"""Photos under way at once: enough for six shops of ten phones (own rule)."""

FORGET_SECONDS = 3600.0
"""An upload that nobody has gone on with for so long is dropped (own rule)."""


class UploadsFull(Exception):  # noqa: N818 - not an error of the program
    """Too many photos are under way."""


class TooLarge(Exception):  # noqa: N818
    """More bytes came than were announced or are allowed."""


class WrongOffset(Exception):  # noqa: N818
    """The piece does not begin where the last one ended."""


class Uploads:
    """The folder of photos under way: of each ID.json, ID.part or ID.photo, perhaps ID.prepared."""

    def __init__(self, folder: Path, most_bytes: int = MOST_BYTES) -> None:
        self.folder = folder
        self.most_bytes = most_bytes
        self._locks: dict[str, asyncio.Lock] = {}
        folder.mkdir(parents=True, exist_ok=True)

    def begin(self, shot: Shot) -> int:
        """Return how many bytes of a shot are there; its upload is opened where it is new.

        Raises
        ------
        UploadsFull
        OSError
            If the disk is full.
        """
        if not self._note(shot.id).exists():
            self._forget_old()
            if len(list(self.folder.glob("*.json"))) >= MOST_OPEN:
                raise UploadsFull
            write_whole(self._note(shot.id), json.dumps(asdict(shot)).encode())
        return self.received(shot.id)

    def shot(self, name: str) -> Shot | None:
        """Return the shot that is under way by an id."""
        try:
            sent = json.loads(self._note(name).read_text(encoding="utf-8"))
        except (FileNotFoundError, ValueError):
            return None
        for taps in ("inside", "outside"):
            sent[taps] = tuple((x, y) for x, y in sent[taps])
        return Shot(**sent)

    def received(self, name: str) -> int:
        """Return how many bytes of a photo have come."""
        for path in (self._part(name), self.photo(name)):  # the first becomes the second
            if (found := _stat(path)) is not None:
                return found.st_size
        return 0

    def is_whole(self, name: str) -> bool:
        """Return whether all of a photo has come."""
        return self.photo(name).exists()

    async def append(self, shot: Shot, offset: int, stream: AsyncIterator[bytes]) -> int:
        """Write a piece as it comes, and return how many bytes are there now.

        What has come when the network breaks stays, and the next piece goes on from there.

        Raises
        ------
        WrongOffset
            If the piece begins elsewhere than the last one ended.
        TooLarge
            If more comes than was announced; nothing is kept then.
        OSError
            If the disk is full.
        """
        async with self._locks.setdefault(shot.id, asyncio.Lock()):
            if self.is_whole(shot.id) or self.received(shot.id) != offset:
                raise WrongOffset
            part = self._part(shot.id)
            with part.open("ab") as file:
                async for piece in stream:
                    offset += len(piece)
                    if offset > min(shot.size, self.most_bytes):
                        self.drop(shot.id)
                        raise TooLarge
                    file.write(piece)
            if offset == shot.size:
                await asyncio.to_thread(self._finish, shot.id)
            return offset

    def place(self, name: str, data: bytes) -> None:
        """Put a photo that the store has already in its place, to be judged again."""
        write_whole(self.photo(name), data)

    def waiting(self) -> tuple[Shot, ...]:
        """Return the shots whose photo is here, not judged yet, oldest first."""
        photos = sorted(self.folder.glob("*.photo"), key=lambda path: path.stat().st_mtime)
        found = (self.shot(path.stem) for path in photos)
        return tuple(shot for shot in found if shot is not None)

    def drop(self, name: str) -> None:
        """Forget a shot that is in the store, or that nobody wants."""
        for path in (self._part(name), self.photo(name), self.prepared(name), self._note(name)):
            path.unlink(missing_ok=True)
        self._locks.pop(name, None)

    def photo(self, name: str) -> Path:
        """Return where a whole photo lies until it is in the store."""
        return self.folder / f"{name}.photo"

    def prepared(self, name: str) -> Path:
        """Return where what is to be kept of a photo lies until the store takes it."""
        return self.folder / f"{name}.prepared"

    def _finish(self, name: str) -> None:
        """Put a whole photo safely on the disk."""
        part = self._part(name)
        with part.open("rb") as file:
            os.fsync(file.fileno())
        part.replace(self.photo(name))

    def _part(self, name: str) -> Path:
        return self.folder / f"{name}.part"

    def _note(self, name: str) -> Path:
        return self.folder / f"{name}.json"

    def _forget_old(self) -> None:
        now = time.time()
        for note in self.folder.glob("*.json"):
            found = (_stat(note), _stat(self._part(note.stem)))
            newest = max((one.st_mtime for one in found if one is not None), default=now)
            if not self.is_whole(note.stem) and now - newest > FORGET_SECONDS:
                self.drop(note.stem)


def _stat(path: Path) -> os.stat_result | None:
    """Return what is known of a file; None where it has just been moved or dropped."""
    try:
        return path.stat()
    except FileNotFoundError:
        return None
