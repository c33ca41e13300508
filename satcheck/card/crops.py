"""Fields of a card cut out of a photo."""

import math
from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.card.markers import project
from satcheck.light import linear_light

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
RgbArray = NDArray[np.uint8]

T = TypeVar("T", bound=np.generic)
MIN_PATCH_PIXELS = 100
MAX_CLIPPED = 0.02
"""Share of a patch's pixels that may be clipped."""


@dataclass(frozen=True, eq=False)
class Crop:
    """The pixels of one field: linear (h, w, 3), those inside (h, w), the corner's place."""

    linear: NDArray[np.float32]
    inside: BoolArray
    left: int
    top: int


@dataclass(frozen=True, eq=False)
class PlacedCard:
    """A photo and where the card lies in it."""

    rgb: RgbArray
    homography: FloatArray

    def crop(self, field_mm: FloatArray) -> Crop | None:
        """Cut a (4, 2) field out; None unless all of it is in the photo and it has area."""
        quad = project(self.homography, field_mm)
        left, top = np.floor(quad.min(axis=0)).astype(int)
        right, bottom = np.ceil(quad.max(axis=0)).astype(int) + 1
        if min(left, top) < 0 or bottom > self.rgb.shape[0] or right > self.rgb.shape[1]:
            return None
        inside = np.zeros((bottom - top, right - left), np.uint8)
        cv2.fillConvexPoly(inside, np.rint(quad - (left, top)).astype(np.int32), 1)
        linear = linear_light(self.rgb[top:bottom, left:right])
        return Crop(linear, inside.astype(bool), int(left), int(top))


def thinned(values: NDArray[T], most: int) -> NDArray[T]:
    """Keep every k-th row, so that at most this many are left."""
    return values[:: math.ceil(len(values) / most)]
