"""The verdict drawn on the photo, as a picture and as files.

It is read at a glance on a phone, in daylight, in black and white, and without colour vision. What
is good stays as the photo shows it, and what was not judged is veiled.
"""

import math
import struct
import zlib
from io import BytesIO

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from satcheck.arrays.area_mean import to_show
from satcheck.beside import beside
from satcheck.files import LABELS_MARK, OVERLAY_MARK
from satcheck.model import Inspection
from satcheck.overlay.badges import draw_badge, place_badges
from satcheck.overlay.borders import draw_rims, draw_zones, find_rims
from satcheck.overlay.look import COLUMNS, Rgb
from satcheck.overlay.patterns import patterned
from satcheck.overlay.strips import (
    legend,
    legend_height,
    note_lines,
    strip,
    strip_height,
    verdict_lines,
)

LONG_SIDE = 1600
QUALITY = 88
BADGE_PIXELS = 10
"""Pixels of a badge's radius that are enough to find it a place."""

# Rows of a label map are mostly as the row above. OpenCV else tries all filters, which takes three
# times as long (33 ms against 11 for three megapixels).
_PACKED = (
    *(cv2.IMWRITE_PNG_COMPRESSION, 1),
    *(cv2.IMWRITE_PNG_STRATEGY, cv2.IMWRITE_PNG_STRATEGY_RLE),
    *(cv2.IMWRITE_PNG_FILTER, cv2.IMWRITE_PNG_FILTER_UP),
)

_PNG_HEAD = 33
"""Bytes of a PNG's signature and its first chunk (ISO/IEC 15948, IHDR): others come after it."""


def overlay_jpeg(rgb: Rgb, inspection: Inspection) -> bytes:
    """Return `draw_overlay` as the bytes of a JPEG that says by its comment what it is."""
    stream = BytesIO()
    picture = Image.fromarray(draw_overlay(rgb, inspection))
    picture.save(stream, "JPEG", quality=QUALITY, comment=OVERLAY_MARK)
    return stream.getvalue()


def draw_overlay(rgb: Rgb, inspection: Inspection) -> Rgb:
    """Draw the verdict on the upright photo.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array, sRGB
        The upright photo, at any size.
    inspection : Inspection
        Its label map may be of another size.

    Returns
    -------
    (h, w, 3) uint8 array, sRGB
        The photo between the verdict in words and a legend, long side at most 1600 pixels.
    """
    words = verdict_lines(inspection)
    notes = note_lines(inspection)
    strips = strip_height(words) + legend_height(notes)
    height, width = rgb.shape[:2]
    scale = min(1.0, LONG_SIDE / max(width, height + strips * width / COLUMNS + 2))
    size = (max(1, int(width * scale)), max(1, int(height * scale)))
    drawn = draw_marks(to_show(rgb, *size), inspection)
    return np.concatenate([strip(words, size[0]), drawn, legend(notes, size[0])])


def draw_marks(photo: Rgb, inspection: Inspection) -> Rgb:
    """Draw patterns, borders and letters on the upright photo (h, w, 3), without any strip."""
    height, width = photo.shape[:2]
    unit = width / COLUMNS
    labels = _nearest(inspection.labels, (width, height))
    step = max(1, int(unit / BADGE_PIXELS))
    with beside() as second:
        rims = second.submit(find_rims, labels)
        badges = second.submit(place_badges, labels[::step, ::step], unit / step)
        picture = patterned(photo, labels, unit)
        draw_rims(picture, rims.result(), unit)
    drawn = Image.fromarray(picture)
    if inspection.cells is not None:
        to_picture = np.diag([width / inspection.photo.width, height / inspection.photo.height])
        draw_zones(drawn, inspection.cells, to_picture @ inspection.cells.to_photo, unit)
    for badge in badges.result():
        draw_badge(drawn, badge.enlarged(step), unit)
    return np.asarray(drawn)


def label_map_png(inspection: Inspection) -> bytes:
    """Return the label map as the bytes of an 8-bit grey PNG, at least a quarter of the photo.

    It says by its text what it is.
    """
    png = bytes(cv2.imencode(".png", _label_map(inspection), _PACKED)[1])
    return png[:_PNG_HEAD] + _text_chunk(LABELS_MARK) + png[_PNG_HEAD:]


def shows_labels(png: bytes, inspection: Inspection) -> bool:
    """Return whether a picture is an inspection's label map, pixel by pixel."""
    there = cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_UNCHANGED)
    return there is not None and np.array_equal(there, _label_map(inspection))


def _label_map(inspection: Inspection) -> NDArray[np.uint8]:
    """Return the label map (H, W), at least a quarter of the photo."""
    labels, photo = inspection.labels, inspection.photo
    least = (math.ceil(photo.width / 4), math.ceil(photo.height / 4))
    if labels.shape[1] < least[0] or labels.shape[0] < least[1]:
        return _nearest(labels, least)
    return labels


def _text_chunk(text: bytes) -> bytes:
    """Return the chunk of a PNG that names the program that wrote it (ISO/IEC 15948, tEXt)."""
    data = b"tEXtSoftware\0" + text
    return struct.pack(">I", len(data) - 4) + data + struct.pack(">I", zlib.crc32(data))


def _nearest(labels: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    """Return a label map at another size (width, height), without new codes in between."""
    return np.asarray(cv2.resize(labels, size, interpolation=cv2.INTER_NEAREST), np.uint8)
