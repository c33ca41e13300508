"""The frozen records of a lesson: everything that its page and its chart show, pictures included.

A picture is a JPEG or PNG as bytes. Grids are label codes in rows, the proximal end where it lies
in the picture.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satcheck.lesson.choice import Exercise
from satcheck.model import Label

Grid = NDArray[np.uint8]


@dataclass(frozen=True)
class Stop:
    """One stop of the slider: a piece of laminate in one state, all at the same scale."""

    fibre: str
    state: Label
    picture: bytes
    visibility: float
    """Median of the weave's visibility in the piece."""
    photo: str
    note: str = ""


@dataclass(frozen=True)
class Fibre:
    """One fibre on the slider."""

    name: str
    stops: tuple[Stop, ...]
    """Driest first."""
    good: tuple[float, float]
    """Quartiles of visibility that the calibration's good zones showed."""
    top: float
    """Visibility at the end of the scale."""


@dataclass(frozen=True)
class Pair:
    """One place photographed well and badly."""

    fibre: str
    trick: str
    """"blur", "glare" or "distance"."""
    spoiled: bytes
    clear: bytes
    kept: float
    """Share of the clear picture's fine contrast that the spoiled one still shows, 0 to 1."""
    note: str = ""


@dataclass(frozen=True, eq=False)
class Search:
    """One photo on which to mark what is starved and rich."""

    name: str
    picture: bytes
    width: int
    height: int
    truth: Grid
    """Where the truth is known place by place; else the same as ``shop``."""
    tool: Grid
    shop: Grid
    """The zones' labels in the shop's table; 9 where it says nothing."""
    exercise: Exercise
    note: str = ""


@dataclass(frozen=True)
class Decision:
    """One part in the middle of stringing, and what to do next."""

    name: str
    picture: bytes
    situation: str
    options: tuple[str, ...]
    answer: int
    reasons: tuple[str, ...]
    """Why, each marked as common practice."""
    note: str = ""


@dataclass(frozen=True)
class Lesson:
    """A whole lesson."""

    fibres: tuple[Fibre, ...]
    pairs: tuple[Pair, ...]
    searches: tuple[Search, ...]
    decisions: tuple[Decision, ...]
    source: str
    """Where the pictures come from, in one sentence."""
    calibration: str
    """The calibration's id."""
