"""Where everything lies on the printed reference card: the one source for printing and reading.

Card coordinates are millimetres from the card's top left corner, x right, y down.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.light import linear_light

FloatArray = NDArray[np.float64]

IDS_PER_DESIGN = 8
"""A marker's number is 8 times the card's design, plus the marker's index."""


@dataclass(frozen=True)
class Rect:
    """An upright rectangle on the card, millimetres."""

    x: float
    y: float
    width: float
    height: float

    def corners(self, inset: float = 0.0) -> FloatArray:
        """Return the (4, 2) corners, clockwise from the top left, moved in by ``inset``."""
        left, top = self.x + inset, self.y + inset
        right, bottom = self.x + self.width - inset, self.y + self.height - inset
        return np.array([(left, top), (right, top), (right, bottom), (left, bottom)])


@dataclass(frozen=True)
class Grey:
    """A plain patch of one sRGB code, relative to the paper's white at 255."""

    rect: Rect
    code: int

    @property
    def reflectance(self) -> float:
        """Linear reflectance relative to the paper, 0 to 1."""
        return _reflectance(self.code)


@dataclass(frozen=True)
class Square:
    """A black square turned against the card: edges in two directions, two of each."""

    x: float
    y: float
    side: float
    degrees: float

    def corners(self) -> FloatArray:
        """Return the (4, 2) corners, clockwise."""
        half = self.side / 2
        return self._turned(np.array([(-half, -half), (half, -half), (half, half), (-half, half)]))

    def edge_fields(self, length: float, half_width: float) -> tuple[FloatArray, ...]:
        """Return a (4, 2) rectangle astride each of the four edges."""
        out, along = self.side / 2, length / 2
        astride = np.array([(-along, -half_width), (along, -half_width)])
        upright = np.vstack([astride, -astride]) + np.array((0.0, -out))
        quarter = np.array([(0.0, 1.0), (-1.0, 0.0)])
        turns = [np.linalg.matrix_power(quarter, k) for k in range(4)]
        return tuple(self._turned(upright @ turn) for turn in turns)

    def _turned(self, points: FloatArray) -> FloatArray:
        c, s = math.cos(math.radians(self.degrees)), math.sin(math.radians(self.degrees))
        return np.asarray(points @ np.array([(c, s), (-s, c)]) + np.array((self.x, self.y)))


@dataclass(frozen=True)
class Weave:
    """A diamond check of two neighbouring grey codes, like a braid of 45 degrees.

    ``pitch`` is the diagonal of a diamond in mm: the period along and across the card.
    ``contrast`` is the name of its Michelson modulation, which the codes give within a fifth
    of its value: ``modulation`` is exact.
    """

    rect: Rect
    pitch: float
    contrast: float
    dark: int
    light: int

    @property
    def modulation(self) -> float:
        """Michelson modulation of the two codes in linear light."""
        dark, light = _reflectance(self.dark), _reflectance(self.light)
        return (light - dark) / (light + dark)

    @property
    def reflectance(self) -> float:
        """Mean linear reflectance relative to the paper."""
        return (_reflectance(self.dark) + _reflectance(self.light)) / 2


def _reflectance(code: int) -> float:
    return float(linear_light(np.array([[code]], np.uint8))[0, 0])


def _greys(x: float, y: float, codes: tuple[int, ...]) -> tuple[Grey, ...]:
    return tuple(Grey(Rect(x + 7 * i, y, 7, 12), code) for i, code in enumerate(codes))


def _weaves(pitches: tuple[float, float]) -> tuple[Weave, ...]:
    # At this grey a step of one code is 1.5 of a halftone screen's 256 levels, so that each step
    # prints; twice the light that just blows out the paper is still recorded.
    pairs = {0.01: (185, 187), 0.02: (185, 188), 0.04: (183, 190), 0.08: (180, 193)}
    return tuple(
        Weave(Rect(40.5 + 17 * column, top, 16, 15), pitch, contrast, *pair)
        for top, pitch in zip((23.5, 39.5), pitches, strict=True)
        for column, (contrast, pair) in enumerate(pairs.items())
    )


@dataclass(frozen=True)
class CardLayout:
    """Where everything lies on the card: the one source for printing and for reading it."""

    design: int = 1
    width: float = 148.0
    height: float = 105.0
    marker_side: float = 14.0
    markers: tuple[tuple[float, float], ...] = (
        (6, 6), (67, 6), (128, 6), (6, 85), (67, 85), (128, 85),
    )  # fmt: skip
    """Top left corner of each marker, by its index; marker number = 8 design + index."""
    greys: tuple[Grey, ...] = (
        *_greys(83.5, 7, (226, 193, 160, 129, 99, 71)),
        *_greys(22.5, 86, (71, 99, 129, 160, 193, 226)),
    )
    """Two opposed strips of L* 30, 42, 54, 66, 78 and 90."""
    white: Grey = Grey(Rect(88, 58, 20, 18), 255)
    edge_ground: Grey = Grey(Rect(110, 22, 32, 54), 186)
    """Grey behind the right-hand squares: their edges survive where the paper is blown out."""
    squares: tuple[Square, ...] = (
        Square(22, 35.5, 15, 5), Square(22, 62.5, 15, 50),
        Square(126, 35.5, 15, 27.5), Square(126, 62.5, 15, 72.5),
    )  # fmt: skip
    edge_length: float = 11.0
    edge_half_width: float = 4.5
    weave_ground: Grey = Grey(Rect(39, 22, 70, 33.5), 186)
    """The weaves' mean grey around them: blur brings no light in from their rims."""
    pitches: tuple[float, float] = (3.0, 1.5)
    qr: Rect = Rect(42, 58, 17, 17)
    ruler: Rect = Rect(24, 80, 100, 3)

    @cached_property
    def weaves(self) -> tuple[Weave, ...]:
        """Four contrasts of each of the two pitches."""
        return _weaves(self.pitches)

    @property
    def outline(self) -> Rect:
        """The card itself."""
        return Rect(0, 0, self.width, self.height)

    def marker(self, index: int) -> Rect:
        """Return a marker's black square."""
        return Rect(*self.markers[index], self.marker_side, self.marker_side)


LAYOUT = CardLayout()


def marker_dictionary() -> cv2.aruco.Dictionary:
    """Return the dictionary of the card's markers: 6 x 6 bits, at least 12 bits apart."""
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_MIP_36h12)
