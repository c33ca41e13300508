"""Coarse search for the part: the best elongated, smooth-sided ribbon anywhere in the picture.

A socket seen from the side has two smooth flanks that mirror one another about a nearly straight
axis. For each of a fan of axis directions the picture is resampled on a coarse grid whose rows run
across the axis; dynamic programming then finds the globally best pair of flanks

    sum over rows [ edge(left) + edge(right) + alpha * sum of evidence between them ]
    + edge along both end caps - penalty on the flanks' moves from row to row,

with free first and last row. A move in which both flanks go the same way bends the axis and costs
more than one in which they part or close like mirror images. Texture plays no role.

Steps: 1 perceptual colour at even exposure; 2 distance of each pixel from what the frame's border
shows nearby; 3 edges and evidence on each grid; 4 dynamic programming, on half as many rows for
all directions and on all rows for the most promising; 5 trace the best back.
"""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.quantile import median, quantile
from satcheck.light import cielab, linear_light
from satcheck.outline.nearest import nearest
from satcheck.outline.strength import colour_step

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
LEAST_ROWS = 12  # cells; shorter is too small in the picture to be judged
# The weights below were set by a random search over rendered and drawn scenes: common practice,
# no source.
ALPHA, EDGE_PAR, EDGE_FLOOR, EDGE_TYPICAL = 0.03, 0.5, 3.0, 1.0
MOVE_WIDTH, MOVE_AXIS, MOVE_FAR = 0.15, 0.4, 0.3
BACKGROUND_FLOOR, BACKGROUND_TYPICAL = 3.0, 1.5
MISS = 1.5  # an edge that a flank lacks costs more than one it has earns
ANGLES = np.radians([*range(-30, 31, 10), *range(60, 121, 10)])
MOVES = [
    (dl, dr)
    for dl in range(-2, 3)
    for dr in range(-2, 3)
    if abs(dl + dr) <= 1 and (dl, dr) != (0, 0)
]
NEVER = np.float32(-1e9)


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


def border_distance(lab: Float, exclude: Bool | None = None) -> Float:
    """Return (H, W) how unlike the frame's border each pixel is, in about CIE76 units.

    Distance in colour and place to the five nearest border pixels: the border may show a wall, a
    bench and a pipe at once, each of which explains only its own neighbourhood. Excluded pixels
    (a card) count as border.
    """
    height, width = lab.shape[:2]
    side = max(height, width)
    y, x = np.mgrid[:height, :width].astype(np.float32) / side
    features = np.dstack([0.7 * lab[..., 0], 1.2 * lab[..., 1:], 12.5 * x, 25.0 * y]).reshape(-1, 5)
    border = np.ones((height, width), bool)
    rim = max(2, round(0.035 * side))
    border[rim:-rim, rim:-rim] = False
    if exclude is not None:
        border |= exclude
    _, distance = nearest(features[border.ravel()], features)
    return np.asarray(distance.mean(axis=1).reshape(height, width), np.float32)


def find_ribbons(rgb: NDArray[np.uint8], exclude: Bool | None = None) -> list[Ribbon]:
    """Return the best ribbon of a picture (H, W, 3), and those of other directions as good."""
    scale = COARSE / max(rgb.shape[:2])
    size = (max(8, round(rgb.shape[1] * scale)), max(8, round(rgb.shape[0] * scale)))
    reduced = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    lab = lab_at_even_exposure(reduced)
    lab = np.asarray(cv2.GaussianBlur(lab, (0, 0), 0.8 * COARSE / ROWS / 2), np.float32)
    half = np.asarray(
        cv2.resize(lab, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.float32
    )
    banned = None if exclude is None else shrink(exclude, (half.shape[1], half.shape[0]))
    distance = np.asarray(cv2.resize(border_distance(half, banned), size), np.float32)
    if banned is not None:
        distance[shrink(exclude, size)] = 0
    soft = np.asarray(cv2.GaussianBlur(lab, (0, 0), 0.8 * COARSE / ROWS / 2), np.float32)
    rough, _ = _searched(soft, distance, ANGLES, ROWS // 2)
    if rough.best.max() <= 0:
        return []
    angles = ANGLES[rough.best >= PROMISING * rough.best.max()]
    search, grids = _searched(lab, distance, angles, ROWS)
    if search.best.max() <= 0:
        return []
    tied = np.flatnonzero(search.best >= TIED * search.best.max())
    traced = [(i, search.trace(int(i))) for i in tied]
    return [
        Ribbon(_polygon(rows, grids[i], size), float(search.best[i]), float(angles[i]))
        for i, rows in traced
        if len(rows) >= LEAST_ROWS
    ]


def _searched(
    lab: Float, distance: Float, angles: NDArray[np.float64], rows: int
) -> "tuple[_Search, list[tuple[Float, Float]]]":
    """Search along some directions on grids of so many rows; return the search and the grids."""
    grids = [_grid(distance.shape, float(angle), rows) for angle in angles]
    level = BACKGROUND_FLOOR + BACKGROUND_TYPICAL * quantile(distance, 0.4)
    layers = [_layers(lab, distance, level, *grid) for grid in grids]
    evidence, across, along = (np.stack(layer) for layer in zip(*layers, strict=True))
    return _Search(evidence, across, along, LEAST_WIDTH * rows // ROWS), grids


def shrink(mask: Bool | None, size: tuple[int, int]) -> Bool:
    """Return ``mask`` resized to ``size`` (width, height): true where any part of it was."""
    if mask is None:
        return np.zeros(size[::-1], bool)
    small = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    return np.asarray(small > 0)


def _grid(shape: tuple[int, ...], angle: float, rows: int) -> tuple[Float, Float]:
    """Return x and y (rows, rows) of a grid whose rows lie across the direction ``angle``."""
    height, width = shape
    cell = max(shape) / rows
    sin, cos = float(np.sin(angle)), float(np.cos(angle))
    v = (np.arange(rows) - (rows - 1) / 2)[:, None] * cell
    u = (np.arange(rows) - (rows - 1) / 2)[None, :] * cell
    x = width / 2 - 0.5 + v * sin + u * cos
    y = height / 2 - 0.5 + v * cos - u * sin
    return x.astype(np.float32), y.astype(np.float32)


def _layers(
    lab: Float, distance: Float, level: float, x: Float, y: Float
) -> tuple[Float, Float, Float]:
    """Return evidence for the part, edges across and edges along on one grid.

    At the distance ``level`` from what the border shows, evidence is even.
    """
    height, width = distance.shape
    inside = (x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1)
    sample = cv2.remap(lab, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    unlike = cv2.remap(distance, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    evidence = np.clip((unlike - level) / level, -1, 1)
    evidence[~inside] = -2
    return (
        np.asarray(evidence, np.float32),
        colour_step(np.asarray(sample, np.float32), inside, 1),
        colour_step(np.asarray(sample, np.float32), inside, 0),
    )


class _Search:
    """Dynamic programming over (left, right) for all directions at once: (n, directions, n).

    A state's value is that of the best ribbon whose last row so far is the present one.
    """

    def __init__(self, evidence: Float, across: Float, along: Float, least_width: int) -> None:
        typical = EDGE_FLOOR + EDGE_TYPICAL * (
            float(median(across[across > 0])) if across.any() else 0.0
        )
        flank = np.asarray(across / (across + typical) - EDGE_PAR, np.float32)
        flank = np.where(flank < 0, MISS * flank, flank).astype(np.float32)
        filled = ALPHA * _sums(evidence)
        cap = _sums(np.asarray(along / (along + typical) - EDGE_PAR, np.float32))
        directions, rows, n = evidence.shape
        column = np.arange(n)
        narrow = np.where(column - column[:, None, None] < least_width, NEVER, np.float32(0))
        value = np.full((n, directions, n), NEVER)
        self.best = np.full(directions, NEVER)
        self._last = [(0, 0)] * directions
        self._rows: list[tuple[Float, Bool]] = []
        to_right, from_left = filled + flank, flank - filled
        for row in range(rows):
            close = _between(cap[:, row])
            self._finish(row - 1, value + close)
            value = _step(value)
            begins = close >= value
            np.maximum(value, close, out=value)
            value += to_right[:, row]
            value += from_left[:, row].T[..., None]
            value += narrow
            self._rows.append((value, begins))

    def _finish(self, row: int, value: Float) -> None:
        """Note the ribbons that would end at ``row`` where they beat the best so far."""
        top = value.max(axis=0).max(axis=1)
        for i in np.flatnonzero(top > self.best):
            self.best[i] = top[i]
            self._last[i] = (row, int(value[:, i].argmax()))

    def trace(self, direction: int) -> NDArray[np.intp]:
        """Return (N, 3) row, left, right of the best ribbon of one direction."""
        row, state = self._last[direction]
        left, right = divmod(state, self._rows[0][0].shape[2])
        found = []
        while True:
            found.append((row, left, right))
            if row == 0 or self._rows[row][1][left, direction, right]:
                return np.array(found[::-1])
            row -= 1
            left, right = _came_from(self._rows[row][0][:, direction], left, right)


def _sums(values: Float) -> Float:
    """Return running sums along the last axis, each excluding its own cell."""
    total = np.cumsum(values, axis=-1, dtype=np.float32)
    return np.asarray(total - values, np.float32)


def _between(sums: Float) -> Float:
    """Return for all (left, direction, right) the sum of the cells left <= i < right."""
    return np.asarray(sums - sums.T[..., None])


def _move_cost(left: int, right: int) -> np.float32:
    far = max(abs(left) - 1, 0) + max(abs(right) - 1, 0)
    cost = MOVE_WIDTH * abs(right - left) + MOVE_AXIS * abs(left + right) + MOVE_FAR * far
    return np.float32(cost)


@cache
def _moves_by_cost() -> list[tuple[np.float32, NDArray[np.uint8]]]:
    """Return each cost with its moves, as the shape over which a dilation takes the maximum."""
    shapes: dict[np.float32, NDArray[np.uint8]] = {}
    for dl, dr in MOVES:
        shape = shapes.setdefault(_move_cost(dl, dr), np.zeros((5, 5), np.uint8))
        shape[2 - dl, 2 - dr] = 1
    return list(shapes.items())


def _step(value: Float) -> Float:
    """Return the best value reachable in each state by one move of both flanks.

    The directions lie side by side in one picture, so far apart that none reaches another.
    """
    n, directions, _ = value.shape
    apart = np.full((n, directions, n + 2), NEVER)
    apart[..., :n] = value
    best = apart.copy()
    for cost, shape in _moves_by_cost():
        moved = np.asarray(cv2.dilate(apart.reshape(n, -1), shape), np.float32) - cost
        np.maximum(best, moved.reshape(apart.shape), out=best)
    return np.ascontiguousarray(best[..., :n])


def _came_from(value: Float, left: int, right: int) -> tuple[int, int]:
    """Return the state from which ``_step`` reached (left, right)."""
    by_left, by_right, cost = _ways()
    before = np.stack([left - by_left, right - by_right])
    offers = value[tuple(np.clip(before, 0, len(value) - 1))] - cost
    offers[((before < 0) | (before >= len(value))).any(0)] = NEVER
    from_left, from_right = before[:, offers.argmax()]
    return int(from_left), int(from_right)


@cache
def _ways() -> tuple[NDArray[np.intp], NDArray[np.intp], Float]:
    """Return all moves, left and right, and their costs; those from farther right come first."""
    moves = sorted([(0, 0), *MOVES])
    left, right = np.array(moves, np.intp).T
    return left, right, np.array([_move_cost(*move) for move in moves], np.float32)


def _polygon(rows: NDArray[np.intp], grid: tuple[Float, Float], size: tuple[int, int]) -> Float:
    """Return a ribbon's outline in fractions of the picture; an edge lies before its cell."""
    x, y = grid
    half = np.array([x[0, 1] - x[0, 0], y[0, 1] - y[0, 0]]) / 2
    row, left, right = rows.T
    flanks = [np.stack([x[row, c], y[row, c]], axis=1) - half for c in (left, right)]
    outline = np.vstack([flanks[0], flanks[1][::-1]]) + 0.5
    return np.asarray(outline / np.array(size), np.float32)
