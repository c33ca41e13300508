"""Coarse search for the part: the best elongated, smooth-sided ribbon anywhere in the picture.

A socket seen from the side has two smooth flanks that mirror one another about a nearly straight
axis. For each of a fan of axis directions the picture is resampled on a coarse grid whose rows run
across the axis; dynamic programming (`search.py`) then finds the globally best pair of flanks

    sum over rows [ edge(left) + edge(right) + alpha * sum of evidence between them ]
    + edge along both end caps - penalty on the flanks' moves from row to row,

with free first and last row. Texture plays no role.

Steps: 1 perceptual colour at even exposure; 2 distance of each pixel from what the frame's border
shows nearby; 3 edges and evidence on each grid; 4 dynamic programming, on half as many rows for
all directions and on all rows for the most promising; 5 trace the best back.

A part that runs out of the picture covers its border at one end or both. It is looked for along
each side in turn as if only the other two sides showed background, and ends at the border for free.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.quantile import quantile
from satcheck.light import cielab, linear_light
from satcheck.outline.backdrop import Sides, border_distance
from satcheck.outline.search import FlankSearch
from satcheck.outline.strength import at_border, colour_step

Float = NDArray[np.float32]
Bool = NDArray[np.bool_]

COARSE = 192  # long side of the search picture, px
ROWS = 64  # rows of the search grid over the long side
# Of the best score on half as many rows, from which a direction is looked at on all of them: of 140
# rendered photos of parts the best one always was, with 0.9 too, and with 0.95 on all but one.
PROMISING = 0.8
# Of the best score, from which another direction's ribbon stands beside it. Of 235 rendered photos
# of parts 27 have such a second; the better outline of the two was 0.01 to 0.40 better (IoU) on
# four of them and worse on none.
TIED = 0.98
LEAST_WIDTH = 4  # cells; narrower is a pipe, not a part
LEAST_CUT = 16  # cells; a part that runs out of the picture fills much of it
LEAST_ROWS = 12  # cells; shorter is too small in the picture to be judged
# Common practice, no source; found with the weights of the search.
BACKGROUND_FLOOR, BACKGROUND_TYPICAL = 3.0, 1.5
ANGLES: dict[Sides, NDArray[np.float64]] = {
    "all": np.radians([*range(-30, 31, 10), *range(60, 121, 10)]),
    "left and right": np.radians(range(-30, 31, 10)),
    "top and bottom": np.radians(range(60, 121, 10)),
}
CUT = 2  # cells beside the picture's border, where an end may be the border's own


@dataclass(frozen=True, eq=False)
class Ribbon:
    """A coarse silhouette.

    Attributes
    ----------
    polygon : (N, 2) float array
        x, y in [0, 1] of the picture's width and height, first the left flank, then the right.
    score : float
        Value of the objective; in cells, larger is better.
    angle : float
        Direction of the axis, radians from the picture's vertical.
    """

    polygon: Float
    score: float
    angle: float


def lab_at_even_exposure(rgb: NDArray[np.uint8]) -> Float:
    """Return CIE L*a*b* (H, W, 3) after a gain that lifts the 98th percentile to near white.

    The gain is held to 6, so that a black frame stays black.
    """
    brightest = np.maximum(np.maximum(rgb[..., 0], rgb[..., 1]), rgb[..., 2])
    high = quantile(brightest, 0.98) / 255
    return cielab(linear_light(rgb, min(0.95 / max(high, 0.02), 6.0)))


def find_ribbons(
    rgb: NDArray[np.uint8], exclude: Bool | None = None, background: Sides = "all"
) -> list[Ribbon]:
    """Return the best ribbon of a picture (H, W, 3), and those of other directions as good.

    ``background`` says which sides of the picture show background alone. Where two do, ribbons lie
    between them, and may run out of the picture at the others.
    """
    scale = COARSE / max(rgb.shape[:2])
    size = (max(8, round(rgb.shape[1] * scale)), max(8, round(rgb.shape[0] * scale)))
    reduced = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    lab = _soft(lab_at_even_exposure(reduced))
    scene = _Scene(lab, _unlike(lab, exclude, background), background != "all")
    return _ribbons(scene, ANGLES[background])


@dataclass(frozen=True, eq=False)
class _Scene:
    """What is searched: L*a*b* (H, W, 3), how unlike the background (H, W), may the part be cut."""

    lab: Float
    distance: Float
    runs_out: bool


def _soft(lab: Float) -> Float:
    return np.asarray(cv2.GaussianBlur(lab, (0, 0), 0.8 * COARSE / ROWS / 2), np.float32)


def _unlike(lab: Float, exclude: Bool | None, sides: Sides) -> Float:
    """Return how unlike the background each pixel (H, W) is; 0 where it is excluded."""
    half = np.asarray(
        cv2.resize(lab, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.float32
    )
    size = (lab.shape[1], lab.shape[0])
    banned = None if exclude is None else shrink(exclude, (half.shape[1], half.shape[0]))
    distance = np.asarray(cv2.resize(border_distance(half, banned, sides), size), np.float32)
    if exclude is not None:
        distance[shrink(exclude, size)] = 0
    return distance


def _ribbons(scene: _Scene, angles: NDArray[np.float64]) -> list[Ribbon]:
    """Return the best ribbon along some directions, and those that tie with it."""
    size = (scene.lab.shape[1], scene.lab.shape[0])
    softer = _Scene(_soft(scene.lab), scene.distance, scene.runs_out)
    rough, _ = _searched(softer, angles, ROWS // 2)
    if rough.best.max() <= 0:
        return []
    angles = angles[rough.best >= PROMISING * rough.best.max()]
    search, (x, y) = _searched(scene, angles, ROWS)
    if search.best.max() <= 0:
        return []
    tied = np.flatnonzero(search.best >= TIED * search.best.max())
    traced = [(i, search.trace(int(i))) for i in tied]
    return [
        Ribbon(_polygon(rows, x[i], y[i], size), float(search.best[i]), float(angles[i]))
        for i, rows in traced
        if len(rows) >= LEAST_ROWS
    ]


def _searched(
    scene: _Scene, angles: NDArray[np.float64], rows: int
) -> tuple[FlankSearch, tuple[Float, Float]]:
    """Search along some directions on grids of so many rows; return the search and the grids."""
    grids = _grids(scene.distance.shape, angles, rows)
    level = BACKGROUND_FLOOR + BACKGROUND_TYPICAL * quantile(scene.distance, 0.4)
    least = (LEAST_CUT if scene.runs_out else LEAST_WIDTH) * rows // ROWS
    return FlankSearch(*_layers(scene, level, *grids), least), grids


def shrink(mask: Bool | None, size: tuple[int, int]) -> Bool:
    """Return ``mask`` resized to ``size`` (width, height): true where any part of it was."""
    if mask is None:
        return np.zeros(size[::-1], bool)
    small = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    return np.asarray(small > 0)


def _grids(shape: tuple[int, ...], angles: NDArray[np.float64], rows: int) -> tuple[Float, Float]:
    """Return x and y (directions, rows, rows) of grids whose rows lie across their direction."""
    height, width = shape
    cell = max(shape) / rows
    sin, cos = (f(angles)[:, None, None] for f in (np.sin, np.cos))
    place = (np.arange(rows) - (rows - 1) / 2) * cell
    u, v = place[None, :], place[:, None]
    x = width / 2 - 0.5 + v * sin + u * cos
    y = height / 2 - 0.5 + v * cos - u * sin
    return x.astype(np.float32), y.astype(np.float32)


def _layers(scene: _Scene, level: float, x: Float, y: Float) -> tuple[Float, Float, Float]:
    """Return evidence for the part, edges across and edges along, (directions, rows, rows) each.

    At the distance ``level`` from what the border shows, evidence is even. Edges along are not a
    number where a part that runs out may end.
    """
    height, width = scene.distance.shape
    inside = (x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1)
    sample, unlike = (_sampled(layer, x, y) for layer in (scene.lab, scene.distance))
    evidence = np.clip((unlike - level) / level, -1, 1)
    evidence[~inside] = -2
    along = colour_step(sample, inside, 0)
    if scene.runs_out:
        along[np.stack([at_border(each, CUT) for each in inside])] = np.nan
    return evidence, colour_step(sample, inside, 1), along


def _sampled(layer: Float, x: Float, y: Float) -> Float:
    """Return a layer (H, W) or (H, W, C) on grids (directions, N, N)."""
    below = (-1, x.shape[-1])  # one grid below the other: one call for all
    found = cv2.remap(
        layer,
        x.reshape(below),
        y.reshape(below),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(found, np.float32).reshape(*x.shape, *layer.shape[2:])


def _polygon(rows: NDArray[np.intp], x: Float, y: Float, size: tuple[int, int]) -> Float:
    """Return a ribbon's outline in fractions of the picture; an edge lies before its cell.

    The cells lie at x, y (N, N).
    """
    half = np.array([x[0, 1] - x[0, 0], y[0, 1] - y[0, 0]]) / 2
    row, left, right = rows.T
    flanks = [np.stack([x[row, c], y[row, c]], axis=1) - half for c in (left, right)]
    outline = np.vstack([flanks[0], flanks[1][::-1]]) + 0.5
    return np.asarray(outline / np.array(size), np.float32)
