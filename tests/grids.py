"""Hand-made grids of cells, a fibre's bounds and one-cue mixtures, for the tests of judgement."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from satcheck.calibration.file import FibreBounds
from satcheck.judgement.mixture import Mixture
from satcheck.model import Cells, Label

Bool = NDArray[np.bool_]

SHAPE = (45, 36)
"""Rows and columns of a grid: nine zones of 15 by 12 cells."""


def grid(shape: tuple[int, int] = SHAPE, **changes: Any) -> Cells:
    """Return cells half a pitch of 20 px apart, all measured alike and nothing doubted."""
    rows, columns = shape
    third, side = np.arange(rows) * 3 // rows, np.arange(columns) * 3 // columns
    zone = (1 + 3 * third[:, None] + side).astype(np.uint8)
    row = np.broadcast_to(np.arange(rows)[:, None], shape)
    made = Cells(
        to_photo=np.array([[10.0, 0, 100], [0, 10.0, 50]]),
        pitch=20.0,
        mm_per_px=None,
        zone=zone,
        brim=row < 3,
        lock=row >= rows - 4,
        visibility=np.full(shape, 0.1, np.float32),
        uncertainty=np.full(shape, 0.02, np.float32),
        cues={name: np.zeros(shape, np.float32) for name in ("coherence", "order", "light")},
        reasons=np.zeros(shape, np.uint32),
    )
    return replace(made, **changes)


def place(shape: tuple[int, int], row: int, column: int, height: int, width: int) -> Bool:
    """Return a rectangle of cells."""
    where = np.zeros(shape, bool)
    where[row : row + height, column : column + width] = True
    return where


def labels_of(
    cells: Cells, patches: Mapping[Label, Bool], rest: Label = Label.GOOD
) -> NDArray[np.uint8]:
    """Return a label for each cell of the part: that of its patch, else ``rest``."""
    labels = np.where(cells.part, rest, Label.OUTSIDE).astype(np.uint8)
    for label, where in patches.items():
        labels[where & cells.part] = label
    return labels


def mixture(
    cues: tuple[str, ...], means: ArrayLike, within: float = 0.3, between: float = 0.5
) -> Mixture:
    """Return classes at ``means`` (3, K) with the standard deviations within and between photos."""
    size = len(cues)
    return Mixture(
        cues,
        np.zeros(size),
        np.ones(size),
        np.asarray(means, float).reshape(3, size),
        np.stack([within**2 * np.eye(size)] * 3),
        between**2 * np.eye(size),
    )


def fibre_bounds(**changes: Any) -> FibreBounds:
    """Return bounds with a dry mixture on the cue 'dry' and a full one on 'full'."""
    made = FibreBounds(
        fibre="basalt",
        bounds=(-0.6, -0.2, 0.3, 0.7),
        dry=mixture(("dry",), [3.0, 0.0, 0.0]),
        full=mixture(("full",), [0.0, 0.0, 3.0]),
        parts=7,
        photos=9,
        light=(-2.0, 2.0),
        visibility={"good": (0.08, 0.1, 0.12)},
    )
    return replace(made, **changes)
