"""Each label's pattern: lines for too little resin, drops for too much.

Every line has a dark rim, so that it stands on a black and on a white laminate.
"""

import math
from typing import Any

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from satcheck.model import Label
from satcheck.overlay.look import COLOURS, GREY, INK, URGENT, Colour, Rgb

Float = NDArray[np.floating[Any]]

_STEPS = 24
"""Of distance to a pixel: 255 of them reach beyond a rim in pictures up to 3,000 pixels wide."""


def patterned(photo: Rgb, labels: NDArray[np.uint8], unit: float) -> Rgb:
    """Lay each label's pattern on the photo (h, w, 3); the surroundings step back."""
    grey = np.asarray(cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY), np.uint8)
    grey = np.asarray(cv2.cvtColor(grey, cv2.COLOR_GRAY2RGB), np.uint8)
    out = photo.copy()
    cv2.copyTo(cv2.addWeighted(photo, 0.23, grey, 0.42, 0), mask_of(labels, Label.OUTSIDE), out)
    for label in (Label.NOT_JUDGED, Label.STARVED, Label.LEAN, Label.HEAVY, Label.RICH):
        mask = mask_of(labels, label)
        x, y, width, height = cv2.boundingRect(mask)
        if width == 0:
            continue
        here = np.s_[y : y + height, x : x + width]
        if label is Label.NOT_JUDGED:
            laid = _washed(grey[here], COLOURS[label], 0.6)
        else:
            laid = _inked(out[here], label, unit)
        cv2.copyTo(laid, mask[here], out[here])
    return out


def swatch(label: Label, width: int, height: int, unit: float) -> Rgb:
    """Return a piece of a label's pattern (height, width, 3) on middling grey."""
    plain = np.full((height, width, 3), GREY, np.uint8)
    return patterned(plain, np.full((height, width), label, np.uint8), unit)


def mask_of(labels: NDArray[np.uint8], label: Label) -> NDArray[np.uint8]:
    """Return 255 where a label is, else 0."""
    return np.asarray(cv2.inRange(labels, int(label), int(label)), np.uint8)


def _inked(picture: Rgb, label: Label, unit: float) -> Rgb:
    """Return a piece of the picture (h, w, 3) with a label's pattern all over it."""
    strokes = _strokes(label, (picture.shape[0], picture.shape[1]), unit)
    share, colours = _ink(label, unit)
    inked = cv2.LUT(cv2.cvtColor(strokes, cv2.COLOR_GRAY2RGB), colours)
    washed = _washed(picture, COLOURS[label], 0.2)
    return np.asarray(
        cv2.blendLinear(washed, inked, cv2.LUT(strokes, 1 - share), cv2.LUT(strokes, share)),
        np.uint8,
    )


def _strokes(label: Label, size: tuple[int, int], unit: float) -> NDArray[np.uint8]:
    """Return each pixel's distance from the strokes of a pattern, (h, w), in ``_STEPS`` a pixel.

    Lines for too little resin, drops for too much; stronger and closer where it is urgent. The
    strokes lie aslant: how far a pixel is from one depends on x + y or on x - y alone. 0 is half a
    pixel and more within a stroke.
    """
    height, width = size
    period, half = unit * (1.0 if label in URGENT else 1.4), unit * 0.1
    aslant = np.arange(-height, height + width) * math.sqrt(0.5)
    away = np.abs(aslant % period - period / 2).astype(np.float32)
    if label in (Label.STARVED, Label.LEAN):
        away = _steps(away - half * (1.0 if label in URGENT else 0.8))
    rising = sliding_window_view(away[height:], width)[:height]
    falling = sliding_window_view(away, width)[height:0:-1]
    if label is Label.LEAN:
        return np.ascontiguousarray(rising)
    if label is Label.STARVED:
        return np.asarray(np.minimum(rising, falling), np.uint8)
    return _steps(np.sqrt(rising**2 + falling**2) - half * (3.2 if label is Label.RICH else 1.8))


def _steps(distance: Float) -> NDArray[np.uint8]:
    """Return a distance in pixels, from half a pixel within, in ``_STEPS`` a pixel."""
    steps = np.float32(_STEPS) * (distance + np.float32(0.5))
    return np.asarray(np.clip(steps, 0, 255), np.uint8)


def _ink(label: Label, unit: float) -> tuple[NDArray[np.float32], Rgb]:
    """Return how much ink there is at each step of distance (256,), 0 to 1, and its colour.

    Colours are (256, 1, 3): a label's own within a dark rim, either smoothed over a pixel.
    """
    distance = np.arange(256) / _STEPS - 0.5
    rim, core = (np.clip(0.5 + wide - distance, 0, 1)[:, None] for wide in (0.09 * unit, 0.0))
    share = 1 - (1 - rim) * (1 - core)
    mixed = core * np.array(COLOURS[label]) + (1 - core) * rim * np.array(INK)
    colours = np.rint(mixed / np.maximum(share, 1e-6)).astype(np.uint8)
    return share[:, 0].astype(np.float32), colours[:, None]


def _washed(picture: Rgb, colour: Colour, share: float) -> Rgb:
    """Return a picture (h, w, 3) with a share of a colour in it."""
    table = (1 - share) * np.arange(256)[:, None] + share * np.array(colour)
    return np.asarray(cv2.LUT(picture, np.rint(table)[:, None].astype(np.uint8)), np.uint8)
