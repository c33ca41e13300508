"""Lines on the picture: rims of patches, borders of zones, names of the part's ends."""

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from satcheck.model import Cells, Label
from satcheck.overlay.look import COLOURS, INK, PAPER, URGENT, Rgb, font_of
from satcheck.overlay.patterns import mask_of

Float = NDArray[np.floating[Any]]
Rims = dict[Label, list[Any]]
"""Closed lines by the label of their patch: (n, 1, 2) int32 arrays of x, y."""

RIM_ERROR = 1.1
"""Pixels by which a patch's rim is drawn off it at most: fewer corners are quicker and smoother."""


def find_rims(labels: NDArray[np.uint8]) -> Rims:
    """Return the rims of every lean, heavy, starved and rich patch; the urgent ones last."""
    found: Rims = {}
    for label in (Label.LEAN, Label.HEAVY, *URGENT):
        mask = mask_of(labels, label)
        rims, _ = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
        found[label] = [cv2.approxPolyDP(rim, RIM_ERROR, closed=True) for rim in rims]
    return found


def draw_rims(picture: Rgb, rims: Rims, unit: float) -> None:
    """Draw the rims of patches into a picture (h, w, 3); those of the urgent ones boldly."""
    for label, lines in rims.items():
        core = unit * (0.16 if label in URGENT else 0.07)
        for colour, width in ((INK, core + 0.16 * unit), (COLOURS[label], core)):
            cv2.polylines(picture, lines, True, colour, max(1, round(width)), cv2.LINE_AA)


def zone_borders(zone: NDArray[np.uint8]) -> tuple[tuple[Float, ...], tuple[Float, ...]]:
    """Return where one third and one side meet the next, as lines on the grid of ``Cells``.

    Each line is an array (N, 2) of column and row, in cells from the grid's corner: first the
    lines between thirds, then those between sides.
    """
    third, side = (zone.astype(int) - 1) // 3, (zone.astype(int) - 1) % 3
    part = zone > 0
    between_thirds, between_sides = [], []
    for index in (1, 2):
        before, after = part & (third < index), part & (third >= index)
        row, column = np.nonzero(before[:-1] & after[1:])
        order = np.argsort(column)
        between_thirds.append(np.stack([column + 0.5, row + 1.0], axis=1)[order])
        before, after = part & (side < index), part & (side >= index)
        row, column = np.nonzero(before[:, :-1] & after[:, 1:])
        between_sides.append(np.stack([column + 1.0, row + 0.5], axis=1))
    return tuple(between_thirds), tuple(between_sides)


def draw_zones(picture: Image.Image, cells: Cells, to_picture: Float, unit: float) -> None:
    """Draw the borders of the zones as thin dashes, and name the ends of the part beside it."""
    pen = ImageDraw.Draw(picture)
    for line in sum(zone_borders(cells.zone), ()):
        points = line @ to_picture[:, :2].T + to_picture[:, 2]
        _draw_dashes(pen, points, unit)
    rows, columns = (np.flatnonzero(cells.part.any(axis=axis)) for axis in (1, 0))
    if not rows.size:
        return
    row, column = float(rows.mean()) + 0.5, float(columns.mean()) + 0.5
    cell = math.sqrt(abs(float(np.linalg.det(to_picture[:, :2]))))
    ends = {
        "proximal": (column, rows[0] - 1.5 * unit / cell),
        "distal": (column, rows[-1] + 1 + 1.5 * unit / cell),
        "left": (columns[0] - 3.6 * unit / cell, row),  # beyond the badges beside the part
        "right": (columns[-1] + 1 + 3.6 * unit / cell, row),
    }
    for word, place in ends.items():
        x, y = to_picture[:, :2] @ place + to_picture[:, 2]
        _draw_word(pen, word, (float(x), float(y)), picture.size, unit)


def _draw_dashes(pen: ImageDraw.ImageDraw, points: Float, unit: float) -> None:
    """Draw a dashed line through points (N, 2), light within dark."""
    if len(points) < 2:
        return
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    starts = np.arange(0.0, along[-1], 0.8 * unit)
    ends = np.stack([starts, np.minimum(starts + 0.4 * unit, along[-1])], axis=1)
    x, y = (np.interp(ends, along, coordinate) for coordinate in points.T)
    for dash in np.stack([x, y], axis=2).reshape(-1, 4).tolist():
        pen.line(dash, INK, max(3, round(0.2 * unit)))
        pen.line(dash, PAPER, max(1, round(0.08 * unit)))


def _draw_word(
    pen: ImageDraw.ImageDraw,
    word: str,
    place: tuple[float, float],
    size: tuple[int, int],
    unit: float,
) -> None:
    """Write a word in light on a dark rim, within the picture."""
    font, half = font_of(0.95 * unit), 0.5 * unit
    reach = font.getlength(word) / 2 + half
    x = min(max(place[0], reach), size[0] - reach)
    y = min(max(place[1], 2 * half), size[1] - 2 * half)
    rim = max(1, round(0.14 * unit))
    pen.text((x, y), word, PAPER, font, anchor="mm", stroke_width=rim, stroke_fill=INK)
