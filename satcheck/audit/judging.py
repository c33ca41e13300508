"""One photo of an audit, judged and drawn: bytes in, bytes out, in any process on any machine."""

import json
import re
from dataclasses import dataclass
from io import BytesIO
from typing import cast

import cv2
import numpy as np
from PIL import Image

from satcheck.audit.likeness import difference_hash
from satcheck.beside import on_one_core
from satcheck.calibration.file import Calibration
from satcheck.errors import SatcheckError
from satcheck.files import OVERLAY_MARK
from satcheck.inspection import Settings, inspect
from satcheck.ledger.entries import Draft
from satcheck.ledger.recording import Context, inspection_draft
from satcheck.model import Inspection, Side
from satcheck.overlay.draw import draw_overlay
from satcheck.photo.read import Photo, decode_photo
from satcheck.record import inspection_from_json

LONG_SIDE, QUALITY = 720, 80
"""Of the picture on page and sheet: some 60 kB, so that the page of a thousand photos opens."""

_MARK = re.compile(rb"%s of ([0-9a-f]{64}), likeness ([0-9a-f]{16})" % re.escape(OVERLAY_MARK))


@dataclass(frozen=True, eq=False)
class Task:
    """One photo, and what the record is to say of it."""

    key: str
    """By which the caller finds the photo again."""
    name: str
    data: bytes
    fibre: str
    distal: str | None
    context: Context
    fallback: tuple[str, str] | None
    """The part's number where neither the context nor the card names one, and where it is from."""
    known: tuple[str, bytes] | None = None
    """The record of an earlier inspection, its sha256 and itself: it is only drawn."""


@dataclass(frozen=True, eq=False)
class Done:
    """What came of a photo."""

    draft: Draft | None
    """To be recorded; None where it was judged before."""
    picture: bytes
    """The overlay as JPEG, marked with what `picture_mark` reads."""


@dataclass(frozen=True)
class Refused:
    """Why a photo cannot be read or judged, in one sentence."""

    sentence: str


@dataclass(frozen=True)
class PictureMark:
    """What a picture says of itself."""

    record: str
    """sha256 of the whole record that it shows."""
    likeness: int
    """Difference hash of the photo."""


def judge_task(bounds: Calibration, task: Task) -> Done | Refused:
    """Judge one photo, or draw what is known of it. The same task gives the same bytes."""
    cv2.setNumThreads(1)  # as many workers as cores: more threads would only wait for each other
    try:
        with on_one_core():
            return _done(bounds, task)
    except SatcheckError as error:
        return Refused(str(error))
    except MemoryError:
        return Refused(f"{task.name}: not enough memory; a smaller photo is allowed")


def _done(bounds: Calibration, task: Task) -> Done:
    photo = decode_photo(task.data, task.name)
    if task.known is not None:
        record, whole = task.known
        inspection = inspection_from_json(json.loads(whole), task.name)
        return Done(None, _picture(photo, inspection, record))
    distal = cast("Side | None", task.distal)
    inspection = inspect(photo, bounds, Settings(task.fibre, distal, task.context.view))
    draft = _draft(task, inspection)
    return Done(draft, _picture(photo, inspection, draft.body["blobs"]["whole"]))


def picture_mark(picture: bytes) -> PictureMark | None:
    """Return what a picture, or its first bytes, says of itself; None where it says nothing."""
    found = _MARK.search(picture)
    return None if found is None else PictureMark(found[1].decode(), int(found[2], 16))


def _draft(task: Task, inspection: Inspection) -> Draft:
    told = task.context
    part, more = told.part or (inspection.card.part if inspection.card else None), {}
    if part is None and task.fallback is not None:
        part, more["part_from"] = task.fallback
    return inspection_draft(
        inspection, Context(told.by, part, told.view, None, told.resin, more=more)
    )


def _picture(photo: Photo, inspection: Inspection, record: str) -> bytes:
    height, width = photo.rgb.shape[:2]
    scale = min(1.0, LONG_SIDE / max(width, height))
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    small = np.asarray(cv2.resize(photo.rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    stream = BytesIO()
    mark = b"%s of %s, likeness %016x" % (OVERLAY_MARK, record.encode(), _likeness(photo))
    drawn = Image.fromarray(draw_overlay(small, inspection))
    drawn.save(stream, "JPEG", quality=QUALITY, comment=mark)
    return stream.getvalue()


def _likeness(photo: Photo) -> int:
    grey = cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)
    return difference_hash(np.asarray(cv2.resize(grey, (9, 8), interpolation=cv2.INTER_AREA)))
