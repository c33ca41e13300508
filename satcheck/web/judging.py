"""What a worker process does with one photo: read, judge, draw. Knows nothing of the server."""

import signal
from contextlib import suppress
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from satcheck.beside import beside
from satcheck.calibration.file import Calibration, read_calibration
from satcheck.card.find import find_cards
from satcheck.errors import SatcheckError, UsageError
from satcheck.inspection import Settings, inspect
from satcheck.ledger.blob import Blob
from satcheck.ledger.entries import Draft
from satcheck.ledger.recording import Context, inspection_draft, whole_record
from satcheck.model import Inspection
from satcheck.overlay.draw import draw_marks
from satcheck.photo.read import Photo, decode_photo
from satcheck.series.reference import carry
from satcheck.web.mending import mended_outline
from satcheck.web.pictures import Rgb, jpeg, shown
from satcheck.web.shot import Shot
from satcheck.web.store import Kept
from satcheck.web.words import say


@dataclass(frozen=True, eq=False)
class Job:
    """One photo to judge.

    Attributes
    ----------
    shot : Shot
    photo : Path
        The file with the photo's bytes.
    earlier : tuple of Inspection
        Of the same part and view, oldest first.
    again : Kept or None
        The verdict that this one corrects, where a photo is judged again.
    """

    shot: Shot
    photo: Path
    earlier: tuple[Inspection, ...] = ()
    again: Kept | None = None

    @property
    def name(self) -> str:
        """Return what the queue calls it."""
        return self.shot.id


@dataclass(frozen=True, eq=False)
class CardJob:
    """A photo of which only the card's number is wanted."""

    name: str
    data: bytes


@dataclass(frozen=True, eq=False)
class Judged:
    """A verdict as it is to be recorded, with the pictures that the page shows."""

    draft: Draft


@dataclass(frozen=True)
class CardRead:
    """The part's number that a card in the photo says; None where none could be read."""

    part: str | None


@dataclass(frozen=True)
class Refused:
    """Why a photo could not be read or judged, in one sentence."""

    sentence: str


Found = Judged | CardRead | Refused


def serve_jobs(calibration: Path, jobs: Connection) -> None:
    """Judge photos from a pipe until it closes; the life of a worker process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C is the server's, which closes the pipe
    cv2.setNumThreads(1)  # as many workers as cores: more threads would only wait for each other
    bounds = read_calibration(calibration)
    _warm_up(bounds)
    jobs.send(None)  # ready
    while True:
        try:
            job = jobs.recv()
        except EOFError:
            return
        jobs.send(read_card(job) if isinstance(job, CardJob) else judge_job(job, bounds))


def read_card(job: CardJob) -> CardRead | Refused:
    """Read the part's number off the card in a photo."""
    try:
        cards = find_cards(decode_photo(job.data, say("card_photo")).rgb).cards
    except SatcheckError as error:
        return Refused(str(error))
    except MemoryError:
        return Refused(say("no_memory"))
    told = {card.part for card in cards if card.part is not None}
    return CardRead(told.pop() if len(told) == 1 else None)


def judge_job(job: Job, bounds: Calibration) -> Judged | Refused:
    """Judge one photo; its weave may be known from earlier photos of the series."""
    try:
        inspection, picture = _inspected(job, bounds)
    except SatcheckError as error:
        return Refused(str(error))
    except MemoryError:
        return Refused(say("no_memory"))
    with beside() as second:
        whole = second.submit(whole_record, inspection)
        plain = second.submit(jpeg, picture)
        overlay = jpeg(draw_marks(picture, inspection))
        pictures = {"overlay": overlay, "plain": plain.result()}
        return Judged(_draft(job, inspection, pictures, whole.result()))


def _inspected(job: Job, bounds: Calibration) -> tuple[Inspection, Rgb]:
    """Return what a photo shows, and the picture of it (h, w, 3) that the verdict is drawn on."""
    shot = job.shot
    photo = decode_photo(job.photo.read_bytes(), shot.title)
    if job.again is not None:  # its bytes have lost the place since, and so their old sha256
        photo = replace(photo, sha256=job.again.photo)
    with beside() as second:
        picture = second.submit(shown, photo.rgb)
        inspection = _inspect(photo, bounds, shot)
        if job.earlier and (pitch := carry(job.earlier, inspection).pitch) is not None:
            with suppress(UsageError):  # one that does not suit this photo's part tells nothing
                inspection = _inspect(photo, bounds, shot, pitch)
        return inspection, picture.result()


def _inspect(
    photo: Photo, bounds: Calibration, shot: Shot, pitch: float | None = None
) -> Inspection:
    distal: Any = shot.distal
    outline = mended_outline(photo, shot.inside, shot.outside)
    return inspect(photo, bounds, Settings(shot.fibre, distal, shot.view, pitch, outline=outline))


def _draft(job: Job, inspection: Inspection, pictures: dict[str, bytes], whole: Blob) -> Draft:
    shot = job.shot
    context = Context(
        part=shot.part,
        view=shot.view,
        request=shot.id,
        corrects=None if job.again is None else job.again.entry,
        more={"taps": {"part": list(shot.inside), "not part": list(shot.outside)}},
    )
    shown = {name: Blob.of(picture) for name, picture in pictures.items()}
    return inspection_draft(inspection, context, shown, whole)


def _warm_up(bounds: Calibration) -> None:
    """Judge a drawn check once, so that the first photo of the day is as quick as the second."""
    y, x = np.mgrid[0:900, 0:700]
    check = 120 + 60 * np.sin(x / 3) * np.sin(y / 3)
    grey = np.where((abs(x - 350) < 200) & (abs(y - 450) < 350), check, 30).astype(np.uint8)
    photo = Photo("warm-up", "0" * 64, 700, 900, None, np.repeat(grey[..., None], 3, 2))
    corners = np.array([[160, 110], [540, 110], [540, 790], [160, 790]], float)
    settings = replace(Settings(next(iter(bounds.fibres))), outline=corners)
    jpeg(draw_marks(shown(photo.rgb), inspect(photo, bounds, settings)))
