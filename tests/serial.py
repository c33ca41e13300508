"""Photos of one part in a row: inspections whose label maps are drawn by hand or measured."""

from collections.abc import Callable, Mapping
from typing import Any

import cv2
import numpy as np
from grids import Bool, labels_of
from numpy.typing import NDArray
from records import inspection_of

from satcheck.measurement import Hints, measure_photo, spread
from satcheck.model import Cells, Inspection, Label
from satcheck.photo.read import Photo

BORDER = 80
"""Pixels of the picture around a drawn grid."""


def shown(
    cells: Cells,
    patches: Mapping[Label, Bool] | None = None,
    rest: Label = Label.GOOD,
    **changes: Any,
) -> Inspection:
    """Return an inspection whose label map is exactly the cells' labels, drawn where they lie."""
    labels = labels_of(cells, patches or {}, rest)
    rows, columns = labels.shape
    corners = np.array([[0, 0], [columns, 0], [0, rows], [columns, rows]], float)
    ends = corners @ cells.to_photo[:, :2].T + cells.to_photo[:, 2]
    width, height = np.ceil(ends.max(0)).astype(int) + BORDER
    y, x = np.indices((height, width)) + 0.5
    points = np.stack([x.ravel(), y.ravel()]) - cells.to_photo[:, 2:]
    column, row = np.floor(np.linalg.solve(cells.to_photo[:, :2], points)).astype(int)
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    drawn = np.zeros(height * width, np.uint8)
    drawn[inside] = labels[row[inside], column[inside]]
    size = (int(width), int(height))
    return inspection_of(size=size, labels=drawn.reshape(height, width), cells=cells, **changes)


def measured(
    rgb: NDArray[np.uint8],
    truth: Callable[[NDArray[np.float64]], NDArray[np.uint8]] | None = None,
    hints: Hints | None = None,
) -> Inspection:
    """Measure a picture, and label its cells by ``truth`` at their centres (n, 2), else good."""
    height, width = rgb.shape[:2]
    photo = Photo("drawn.png", "0" * 64, width, height, None, rgb)
    found = measure_photo(photo, hints or Hints(distal="down"))
    assert found is not None
    cells = found.cells
    rows, columns = np.indices(cells.zone.shape) + 0.5
    flat = np.stack([columns.ravel(), rows.ravel()])
    at = (cells.to_photo[:, :2] @ flat + cells.to_photo[:, 2:]).T
    here = np.full(len(at), Label.GOOD, np.uint8) if truth is None else truth(at)
    labels = np.where(cells.part, here.reshape(cells.zone.shape), 0).astype(np.uint8)
    drawn = spread(labels, cells, photo, found.laminate, found.silhouette)
    return inspection_of(size=(width, height), labels=drawn, cells=cells)


def moved(rgb: NDArray[np.uint8], matrix: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Return the picture as another camera position shows it; ``matrix`` maps pixel corners."""
    centred = matrix.copy()
    centred[:, 2] += matrix[:, :2] @ [0.5, 0.5] - 0.5
    size = (rgb.shape[1], rgb.shape[0])
    warped = cv2.warpAffine(
        rgb, centred, size, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(warped, np.uint8)


def placed(
    rgb: NDArray[np.uint8],
    turn: float = 0.0,
    scale: float = 1.0,
    squeeze: float = 1.0,
    shift: tuple[float, float] = (0.0, 0.0),
) -> NDArray[np.float64]:
    """Return a map (2, 3): turned by degrees about the middle, scaled, squeezed across, shifted."""
    middle = (rgb.shape[1] / 2, rgb.shape[0] / 2)
    matrix = np.asarray(cv2.getRotationMatrix2D(middle, turn, scale), np.float64)
    matrix[:, 0] *= squeeze
    matrix[:, 2] += shift
    return matrix
