"""Marks: a label map that an inspector painted over a photo, read strictly and asked at cells."""

from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.calibration.parts_table import LabelledPhoto
from satcheck.errors import TableError
from satcheck.model import SCALE, Cells, Label
from satcheck.photo.read import Photo

U8 = NDArray[np.uint8]
SAME_SHAPE = 0.01
"""Relative difference of the aspects from which marks are of another picture: rounding of a smaller
copy stays below from 100 pixels on (own rule)."""


def read_marks(table: Path, labelled: LabelledPhoto) -> U8 | None:
    """Return the marks of a labelled photo, (H, W), in the label codes; None where it has none.

    Raises
    ------
    TableError
        If they are no 8-bit grey picture, hold another code, or name no state.
    """
    if labelled.marks is None:
        return None
    name = f"marks {labelled.marks.name}"
    codes = ", ".join(str(int(code)) for code in Label)
    marks = _picture(labelled.marks)
    if marks is None or marks.ndim != 2 or marks.dtype != np.uint8:
        raise TableError(
            str(table), labelled.line, f"{name} cannot be used",
            f"an 8-bit grey PNG in the label codes {codes} is allowed",
        )  # fmt: skip
    other = np.setdiff1d(marks, list(Label))
    if other.size:
        raise TableError(
            str(table), labelled.line, f"{name} hold the code {other[0]}",
            f"{codes} are allowed, without soft edges (a smaller copy must not blend them)",
        )  # fmt: skip
    if not np.isin(marks, SCALE).any():
        raise TableError(
            str(table), labelled.line, f"{name} name no state",
            "paint some place 1 (starved) to 5 (rich), or leave marks blank",
        )  # fmt: skip
    return np.asarray(marks, np.uint8)


def _picture(path: Path) -> NDArray[Any] | None:
    """Return what a file shows, of any shape and dtype; None where it shows nothing."""
    data = np.fromfile(path, np.uint8)
    return cv2.imdecode(data, cv2.IMREAD_UNCHANGED) if data.size else None  # none is an error there


def marks_at_cells(
    table: Path, labelled: LabelledPhoto, marks: U8, cells: Cells, photo: Photo
) -> U8:
    """Return the marks at the middles of the cells, (R, C).

    Raises
    ------
    TableError
        If they have another shape than the photo.
    """
    scale = marks.shape[1] / photo.width
    if abs(marks.shape[0] / photo.height / scale - 1) > SAME_SHAPE:
        raise TableError(
            str(table), labelled.line,
            f"marks of {labelled.path.name} are {marks.shape[1]} x {marks.shape[0]}",
            f"the upright photo's {photo.width} x {photo.height}, or a smaller copy of this shape, "
            "is allowed",
        )  # fmt: skip
    rows, columns = np.indices(cells.zone.shape) + 0.5
    x, y = np.einsum("ij,jrc->irc", cells.to_photo[:, :2], np.stack([columns, rows]))
    x, y = x + cells.to_photo[0, 2], y + cells.to_photo[1, 2]
    inside = np.clip((y * scale).astype(int), 0, marks.shape[0] - 1)
    return np.asarray(marks[inside, np.clip((x * scale).astype(int), 0, marks.shape[1] - 1)])
