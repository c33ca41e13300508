"""How sharp the photo is, from edges that are not weave: the silhouette, glints and wrinkles.

The weave itself cannot tell: resin fades it as blur does. The edge of the part before its
background is a step whatever the resin, and so is the rim of a lamp's reflection.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.quantile import median, quantile
from satcheck.light import linear_light, luminance

F32 = NDArray[np.float32]
Bool = NDArray[np.bool_]
Index = NDArray[np.intp]

REACH = 0.012  # of the long side: an outline may lie that far from the true edge
SCALES = ((1.0, 2.0), (2.0, 4.0), (4.0, 8.0))  # px; gradients are compared at pairs of smoothings
# Of the finer smoothing, up to which a blur is told by it: 46 rendered photos shaken by 14 px
# (s 4 px), each in three directions, read 1.4 to 2.9 px at the finest and 2.2 to 4.5 at the next, a
# 47th 1.1 and 2.5; of 138 unshaken ones 135 read less than 0.9, the others 1.0 to 1.7.
SURELY = 1.0
WEAKEST = 0.25  # of the strongest edges' gradient: what is fainter may be shading or noise; an edge
# across a shake of 3 px has 0.4 of the gradient of one along it
STRONGEST = 0.03  # share of the rim's ridge points that are surely its edge; noise has most of them
CONSIDERED = 0.15  # share of a direction's ridge points that are edges of consequence
SHARPEST = 0.25  # quantile of their widths: a rim that turns away or is shaded is softer
DIRECTIONS = 6  # of the edge normal, over 180 degrees
ROOMY = 420  # px across the part that are enough: a pitch of about 14
FEWEST = 40  # edge points in a direction
OPTICS = 1 / 12 + 1 / 3  # px^2: variance of a pixel's area and of the central difference
FAINT = 0.02  # gradient of log luminance (Sobel, 8 a px); an edge of one 8-bit code has twice this


@dataclass(frozen=True)
class Blur:
    """How soft a photo is.

    Attributes
    ----------
    most : float
        Standard deviation of the blur in its softest direction, in pixels.
    roundness : float
        The blur across that direction over that along it, 0 to 1: a shake has one direction. The
        median over all smoothings that were looked at; 1 where no edge shows it.
    """

    most: float
    roundness: float


def photo_blur(rgb: NDArray[np.uint8], silhouette: Bool) -> Blur | None:
    """Estimate a photo's blur from the edges around a part.

    At a step blurred by s, the gradient after further Gaussian smoothing by a is proportional to
    1 / sqrt(s^2 + a^2); the ratio at two smoothings a, b gives s whatever the step's height
    (re-blur ratio, Zhuo & Sim 2011, with a smoothed first gradient):
    s^2 = (b^2 - R^2 a^2) / (R^2 - 1). The pixel and the difference itself add 1/12 + 1/3 to it.
    Only the rim is decoded, and a part that is large in the photo is looked at with fewer pixels,
    as its weave is.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array
        sRGB-encoded.
    silhouette : (H, W) bool array

    Returns
    -------
    Blur or None
        In the photo's own pixels; None where too few edges were found to tell.
    """
    found = _band(silhouette)
    if found is None:
        return None
    crop, band = rgb[found[0]], found[1]
    step = max(1, min(band.shape) // ROOMY)
    if step > 1:
        height, width = (side // step for side in band.shape)
        whole = np.s_[: height * step, : width * step]  # whole blocks only: quick to average
        small = cv2.resize(crop[whole], (width, height), interpolation=cv2.INTER_AREA)
        crop, band = np.asarray(small, np.uint8), band[whole][::step, ::step]
    seen = _within(luminance(linear_light(crop)), band)
    return None if seen is None else Blur(step * seen.most, seen.roundness)


def _band(silhouette: Bool) -> tuple[tuple[slice, slice], Bool] | None:
    """Return the rectangle that holds the rim, and the rim in it; None where there is none."""
    reach = max(3, round(REACH * max(silhouette.shape)))
    near = _box(silhouette, reach)
    if near is None:
        return None
    band = _rim(silhouette[near], reach)
    found = _box(band, 0)
    if found is None:
        return None
    rows, columns = (
        slice(start.start + part.start, start.start + part.stop)
        for start, part in zip(near, found, strict=True)
    )
    return (rows, columns), band[found]


def _box(mask: Bool, margin: int) -> tuple[slice, slice] | None:
    """Return the rectangle that holds a mask and as much around it; None where it is empty."""
    rows, columns = (np.flatnonzero(mask.any(axis)) for axis in (1, 0))
    if rows.size == 0:
        return None
    row, column = (slice(max(0, k[0] - margin), k[-1] + 1 + margin) for k in (rows, columns))
    return row, column


def _within(light: F32, band: Bool) -> Blur | None:
    """Return the blur that the band's edges show, at the smoothing that it calls for.

    The sensor's noise is sharp, and at a fine smoothing it is taken for edges of a shake: a blur
    that is not well below a smoothing is looked at with the next one, and the largest counts.
    """
    picture = np.asarray(cv2.log(light + np.float32(0.01)), np.float32)
    found: list[Blur] = []
    for narrow, wide in SCALES:
        seen = _by_direction(picture, band, narrow, wide)
        if seen is None:
            break
        found.append(seen)
        if seen.most < SURELY * narrow:
            break
    if not found:
        return None
    return Blur(max(b.most for b in found), float(median(np.array([b.roundness for b in found]))))


def _rim(silhouette: Bool, reach: int) -> Bool:
    """Return the band around the silhouette's border, to either side of it."""
    kernel = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
    solid = silhouette.astype(np.uint8)
    return np.asarray(cv2.dilate(solid, kernel) > cv2.erode(solid, kernel))


def _gradient(picture: F32, sigma: float) -> tuple[F32, F32]:
    smooth = cv2.GaussianBlur(picture, (0, 0), sigma)
    dx, dy = cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    return np.asarray(dx), np.asarray(dy)


def _by_direction(picture: F32, band: Bool, narrow: float, wide: float) -> Blur | None:
    """Return the blur in the softest direction that has enough edges, and how round it is."""
    dx, dy = _gradient(picture, narrow)
    ridge = _ridge(dx, dy, band)
    if ridge[0].size < FEWEST / CONSIDERED:
        return None
    dx, dy = dx[ridge], dy[ridge]
    fine = np.sqrt(_square(dx, dy))
    coarse = np.sqrt(_square(*(g[ridge] for g in _gradient(picture, wide))))
    ratio = np.maximum(fine / np.maximum(coarse, 1e-9), 1 + 1e-3) ** 2
    square = np.maximum((wide**2 - ratio * narrow**2) / (ratio - 1) - OPTICS, 0)
    angle = np.mod(np.arctan2(dy, dx), np.pi)
    turn = (angle / np.pi * DIRECTIONS).astype(int) % DIRECTIONS
    least = max(FAINT, WEAKEST * quantile(fine, 1 - STRONGEST))
    widths = {}
    for k in range(DIRECTIONS):
        # A shake's own edges are its softest: each direction is asked for its strongest.
        own = fine[turn == k]
        strong = own >= max(least, quantile(own, 1 - CONSIDERED) if own.size else least)
        if strong.sum() >= FEWEST:
            widths[k] = float(np.sqrt(quantile(square[turn == k][strong], SHARPEST)))
    if not widths:
        return None
    softest = max(widths, key=widths.__getitem__)
    return Blur(widths[softest], _roundness(widths, softest))


def _roundness(widths: Mapping[int, float], softest: int) -> float:
    """Return the blur at right angles to the softest direction, or next to that, over the most."""
    across = [(softest + DIRECTIONS // 2 + turn) % DIRECTIONS for turn in (0, -1, 1)]
    seen = [widths[k] for k in across if k in widths]
    return seen[0] / widths[softest] if seen and widths[softest] > 0 else 1.0


def _ridge(dx: F32, dy: F32, band: Bool) -> tuple[Index, Index]:
    """Return rows and columns in the band where the gradient is largest across its own edge.

    "Across" is to the nearest axis. Beyond a border of the picture lies its other one.
    """
    row, column = np.nonzero(band)
    along_x = np.abs(dx[row, column]) >= np.abs(dy[row, column])
    square = _square(dx, dy)
    at = square[row, column]
    height, width = band.shape
    for step in (-1, 1):
        r = np.where(along_x, row, (row + step) % height)
        c = np.where(along_x, (column + step) % width, column)
        higher = at >= square[r, c]
        row, column, along_x, at = row[higher], column[higher], along_x[higher], at[higher]
    return row, column


def _square(dx: F32, dy: F32) -> F32:
    """Return a gradient's squared length."""
    return dx * dx + dy * dy
