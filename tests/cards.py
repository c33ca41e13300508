"""Reference cards as they would be read, made by hand: a camera of a known MTF, in closed form."""

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from satcheck.card.find import Card
from satcheck.card.layout import LAYOUT
from satcheck.card.slanted_edge import EdgeMtf

Float = NDArray[np.float64]
EDGE_ANGLES = np.radians(np.arange(0, 180, 22.5) + 5)


def edges_of(mtf: Callable[[Float, float], Float]) -> tuple[EdgeMtf, ...]:
    """Return eight edges of a camera whose MTF is a function of frequency and direction."""
    frequency = np.linspace(0, 1, 513)
    return tuple(EdgeMtf(frequency, mtf(frequency, a), None, a, 1.0) for a in EDGE_ANGLES)


def gaussian(along_x: float, along_y: float | None = None) -> Callable[[Float, float], Float]:
    """Return the MTF of a Gaussian blur, its standard deviations in pixels."""
    y = along_x if along_y is None else along_y

    def mtf(frequency: Float, angle: float) -> Float:
        width = (along_x * np.cos(angle)) ** 2 + (y * np.sin(angle)) ** 2
        return np.asarray(np.exp(-2 * np.pi**2 * width * frequency**2))

    return mtf


def card_of(
    px_per_mm: float = 4.0,
    edges: tuple[EdgeMtf, ...] = (),
    texture: Mapping[float, float] | None = None,
    fine: Mapping[float, float] | None = None,
    failures: tuple[str, ...] = (),
    part: str | None = "L-204/7",
) -> Card:
    """Return a card at the upper left corner of a photo, seen from straight above."""
    return Card(
        markers=(0, 1, 2, 3, 4, 5),
        corners=px_per_mm * LAYOUT.outline.corners(),
        homography=np.diag([px_per_mm, px_per_mm, 1.0]),
        px_per_mm=px_per_mm,
        residual=0.02,
        part=part,
        white_gains=np.array([1.1, 1.0, 1.6]),
        exposure=None,
        edges=edges,
        edge_failures=failures,
        texture_transfer=texture or {},
        fine_texture_transfer=fine or {},
        is_screen=False,
    )
