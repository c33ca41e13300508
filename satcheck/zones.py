"""Which place on the part is which zone.

The zones lie along the part's own axis, not the picture's: thirds of its length, thirds of its
local width, the strip along the brim and the lock end. Left and right are those of the picture
turned so that the part's proximal end is up, as the part is worn; for a part that lies with its
distal end to the right, "right" is thus the upper side of the picture.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.quantile import median
from satcheck.arrays.silhouette import long_axis, rim
from satcheck.errors import UsageError
from satcheck.model import Side

Bool = NDArray[np.bool_]
Float = NDArray[np.float64]

# Shares of the axis length. Common practice, no source: a brim roll is one or two fingers wide.
BRIM = 0.06
BRIM_REACH = 0.25  # an ear or the dip between two ears ends within this share
LOCK = 0.10

WORKING = 400  # long side at which zones are laid out, px
BINS = 256  # steps along and across the axis
# Working px from the picture's border within which a part counts as running out of it, and the
# least width there, of the root of its area. Of 108 crops of rendered parts (of the photos named in
# outline/cut_off.py), 15 % of the length off either end, 97 in 100 such ends are told so, and no
# side that shows background is.
AT_BORDER, LEAST_CUT = 4, 0.2
AROUND = 2  # working px around the silhouette that get a zone too: its rim is finer than they are

NUMBER, ON_BRIM, ON_LOCK = 15, 64, 128  # a code's bits: which ninth of the part, and on which end

DIRECTIONS: dict[Side, tuple[float, float]] = {
    "up": (0.0, -1.0),
    "down": (0.0, 1.0),
    "left": (-1.0, 0.0),
    "right": (1.0, 0.0),
}


@dataclass(frozen=True, eq=False)
class ZoneMap:
    """The zones of one part in one picture.

    Attributes
    ----------
    axis : (float, float)
        Unit vector x, y (y down) along the part, proximal to distal.
    codes : (H, W) uint8 array
        0 off the silhouette, else 1 + 3 * third + side (``NUMBER``), with the bits
        ``ON_BRIM`` along the proximal edge, following its curve, and ``ON_LOCK`` at the distal
        end. Thirds, 0 to 2, are equal lengths of the silhouette's extent along the axis, from the
        proximal end; sides are thirds of the local width, from the left, with the picture turned
        so that the proximal end is up.
    distal : {"up", "down", "left", "right"}
        Where in the picture the distal end lies.
    guessed : bool
        True where nobody said which end is distal and the narrower one was taken.
    cut : tuple of {"up", "down", "left", "right"}
        Sides of the picture at which the part runs out of it. The zones are those of what shows;
        an end that is cut has no brim and no lock.
    """

    axis: tuple[float, float]
    codes: NDArray[np.uint8]
    distal: Side
    guessed: bool
    cut: tuple[Side, ...] = ()


def split_zones(silhouette: Bool, distal: Side | None = None) -> ZoneMap:
    """Lay the zones on a part.

    Parameters
    ----------
    silhouette : (H, W) bool array
        Gives the axis, the extent and the widths: tape and cord on the part belong to it.
    distal : {"up", "down", "left", "right"}, optional
        Where in the picture the distal end lies. None: the narrower end is taken for distal.

    Raises
    ------
    UsageError
        If ``distal`` is another word.
    ValueError
        If the silhouette is empty.
    """
    if distal is not None and distal not in DIRECTIONS:
        raise UsageError(f"distal end {distal!r}: allowed are {', '.join(DIRECTIONS)}")
    if not silhouette.any():
        raise ValueError("the silhouette is empty; at least one pixel is needed")
    small = _reduced(silhouette)
    axis = _directed(small, _nearest_axis(small, distal), distal)
    cut = _cut(small)
    codes = _codes(small, axis) & ~_missing(axis, cut)
    laid = cv2.resize(codes, silhouette.shape[::-1], interpolation=cv2.INTER_NEAREST)
    return ZoneMap(
        axis=(float(axis[0]), float(axis[1])),
        codes=np.asarray(laid * silhouette, np.uint8),
        distal=distal or _side_towards(axis),
        guessed=distal is None,
        cut=cut,
    )


def _cut(mask: Bool) -> tuple[Side, ...]:
    """Return the sides of the picture at which the part runs out of it."""
    least = LEAST_CUT * np.sqrt(np.count_nonzero(mask))
    turned = {"up": mask, "down": mask[::-1], "left": mask.T, "right": mask.T[::-1]}
    shows = {side: np.count_nonzero(rows[:AT_BORDER].any(0)) for side, rows in turned.items()}
    return tuple(side for side in DIRECTIONS if shows[side] > least)


def _missing(axis: Float, cut: tuple[Side, ...]) -> np.uint8:
    """Return the code bits of the ends that lie beyond the picture."""
    brim = ON_BRIM if _side_towards(-axis) in cut else 0
    return np.uint8(brim | (ON_LOCK if _side_towards(axis) in cut else 0))


def _side_towards(axis: Float) -> Side:
    """Return the side of the picture that the axis points to most nearly."""
    return max(DIRECTIONS, key=lambda name: float(axis @ np.array(DIRECTIONS[name])))


def _reduced(mask: Bool) -> Bool:
    """Return the mask with its long side at most ``WORKING``."""
    scale = min(1.0, WORKING / max(mask.shape))
    if scale == 1.0:
        return mask
    size = (max(1, round(mask.shape[1] * scale)), max(1, round(mask.shape[0] * scale)))
    small = cv2.resize(mask.view(np.uint8) * 255, size, interpolation=cv2.INTER_AREA) > 127
    return np.asarray(small) if small.any() else mask


def _nearest_axis(mask: Bool, distal: Side | None) -> Float:
    """Return the part's long axis, or its short one where that is nearer to the stated end."""
    middle, long = long_axis(mask)
    if distal is not None and abs(long @ DIRECTIONS[distal]) < np.sqrt(0.5):
        return np.array([-long[1], long[0]])
    y, x = rim(mask)
    return _midline(np.stack([x, y], axis=1) - middle, long)


def _midline(points: Float, axis: Float) -> Float:
    """Return the direction of the line through the middles of the widths.

    The outer sixth at either end is left out: a brim flares to one side, and a slanting brim
    shifts the middle. Second moments alone would follow both.
    """
    for _ in range(3):
        along, across = points @ axis, points @ np.array([axis[1], -axis[0]])
        low, high, _, length = _extents(along, across)
        t = (np.arange(BINS) + 0.5) / BINS
        core = (t > 1 / 6) & (t < 5 / 6)
        slope = np.polyfit(t[core] * length, (low[core] + high[core]) / 2, 1)[0]
        axis = axis + slope * np.array([axis[1], -axis[0]])
        axis /= np.linalg.norm(axis)
    return axis


def _extents(along: Float, across: Float) -> tuple[Float, Float, float, float]:
    """Return least and greatest ``across`` in each bin of ``along``, its start and its length.

    They are gathered in bins of three pixels and more, so that none holds but a piece of a row.
    """
    start, length = float(along.min()) - 0.5, float(np.ptp(along)) + 1
    count = int(np.clip(length // 3, 1, BINS))
    index = np.minimum(((along - start) / length * count).astype(int), count - 1)
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, index, across)
    np.maximum.at(high, index, across)
    return _spread(low), _spread(high), start, length


def _spread(values: Float) -> Float:
    """Return the values at ``BINS`` steps, empty bins bridged."""
    known = np.flatnonzero(np.isfinite(values))
    steps = (np.arange(BINS) + 0.5) / BINS * len(values) - 0.5
    return np.interp(steps, known, values[known])


def _directed(mask: Bool, axis: Float, distal: Side | None) -> Float:
    """Return the axis pointing to the distal end: as stated, else to the narrower end."""
    if distal is not None:
        return axis if axis @ DIRECTIONS[distal] >= 0 else -axis
    y, x = rim(mask)
    low, high, _, _ = _extents(x * axis[0] + y * axis[1], x * axis[1] - y * axis[0])
    width = high - low
    end = BINS // 3
    return axis if median(width[:end]) >= median(width[-end:]) else -axis


def _codes(mask: Bool, axis: Float) -> NDArray[np.uint8]:
    """Return the code of every pixel of the part and ``AROUND`` it; 0 elsewhere."""
    y, x = rim(mask)
    along, across = x * axis[0] + y * axis[1], x * axis[1] - y * axis[0]
    low, high, start, length = _extents(along, across)
    left, _, foot, breadth = _extents(across, along)
    top, before = max(0, int(y.min()) - AROUND), max(0, int(x.min()) - AROUND)
    near = np.s_[top : y.max() + AROUND + 1, before : x.max() + AROUND + 1]
    rows, columns = (line.astype(np.float32) for line in np.ogrid[: mask.shape[0], : mask.shape[1]])
    rows, columns = rows[near[0]], columns[:, near[1]]
    t = (columns * axis[0] + rows * axis[1] - start) / length
    u = columns * axis[1] - rows * axis[0]
    begin, end = (_at(values, t * BINS - 0.5) for values in (low, high))
    third = 1 + np.clip(np.floor(t * 3), 0, 2)
    side = 1 + np.clip(np.floor((u - begin + 0.5) / (end - begin + 1) * 3), 0, 2)
    edge = _at(left, (u - foot) / breadth * BINS - 0.5)
    brim = t < np.minimum((edge - start) / length + BRIM, BRIM_REACH)
    codes = np.zeros(mask.shape, np.uint8)
    codes[near] = 3 * third + side - 3 + ON_BRIM * brim + ON_LOCK * (t > 1 - LOCK)
    return codes


def _at(values: Float, place: Float) -> Float:
    """Return ``values`` (BINS,) at places between them, linear; beyond the ends as at the ends."""
    place = np.clip(place, 0, BINS - 1)
    before = np.minimum(place.astype(np.intp), BINS - 2)
    return np.asarray(values[before] + (place - before) * np.diff(values)[before])
