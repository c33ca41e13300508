"""Tape and cord on the part.

Tape and cord run right round a part: in the picture they are bands across the silhouette whose
two borders cut clean from flank to flank, of a colour that the laminate beside them and the body
of the part do not have. A dry or wet patch has a ragged border, a wrinkle no second colour, a
glare streak runs along the part, not across.

Steps, in the straightened frame: 1 lines that cross the silhouette along strong edges; 2 the bands
between neighbouring lines; 3 of these the ones whose colour is foreign to both neighbours and to
the body.
"""

from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.quantile import median, quantile
from satcheck.arrays.silhouette import long_axis, rim
from satcheck.outline.frame import Frame, straighten
from satcheck.outline.path import smooth_path
from satcheck.outline.ribbon import Ribbon
from satcheck.outline.strength import edges

Float = NDArray[np.float32]
Bool = NDArray[np.bool_]

# Set by eye on rendered and drawn scenes: common practice, no source.
MOST_LINES = 5  # searched for in either end
END = 0.33  # share of the length in which tape is looked for, at either end
CLEAN = 0.35  # least edge strength over three quarters of a line
THINNEST, THICKEST = 0.008, 0.17  # of the length
FOREIGN, VERY_FOREIGN = 11.0, 22.0  # CIE76 from the laminate on either side, on one of them
COMMON = 0.08  # of the body may have a band's colour, within
ALIKE = 7.0  # CIE76
BESIDE = 0.3  # of a band's area must lie on a side for it to have a colour
APART = 4  # rows between two lines
SOFT = 4  # rows by which a border's own step reaches into a band
BROAD, TAPE_ROUGHNESS = 0.06, 1.2  # of the length; CIE L*
LINE_BEND = 0.1
WANDER = 0.04  # rms off a parabola, of the width


def remove_cover(lab: Float, silhouette: Bool) -> Bool:
    """Return the silhouette (H, W) of a L*a*b* picture (H, W, 3) without tape and cord."""
    if silhouette.sum() < 400:
        return silhouette
    frame = straighten(_ribbon_of(silhouette), (lab.shape[0], lab.shape[1]))
    image = frame.sample(np.asarray(cv2.GaussianBlur(lab, (0, 0), 0.8), np.float32))
    part = frame.sample(silhouette.astype(np.float32)) > 0.5
    covered = _bands(image, part, frame)
    if not covered.any():
        return silhouette
    return np.asarray(silhouette & ~frame.restore(covered))


def _ribbon_of(mask: Bool) -> Ribbon:
    """Return the ribbon that a silhouette fills."""
    height, width = mask.shape
    y, x = rim(mask)
    points = np.stack([x, y], axis=1).astype(float)
    centre, along = long_axis(mask)
    along = along if along[1] >= 0 else -along
    across = np.array([along[1], -along[0]])
    t, u = (points - centre) @ along, (points - centre) @ across
    count = int(np.clip(np.ptp(t) / 4, 8, 64))
    index = np.minimum(((t - t.min()) / np.ptp(t) * count).astype(int), count - 1)
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, index, u)
    np.maximum.at(high, index, u)
    known = np.isfinite(low)
    rows = (t.min() + (np.arange(count) + 0.5) / count * np.ptp(t))[known, None]
    flanks = [centre + rows * along + side[known, None] * across for side in (low, high)]
    outline = (np.vstack([flanks[0], flanks[1][::-1]]) + 0.5) / [width, height]
    return Ribbon(outline.astype(np.float32), 0.0, float(np.arctan2(along[0], along[1])))


def _bands(image: Float, part: Bool, frame: Frame) -> Bool:
    """Return (N, K) the cells that tape or cord covers."""
    occupied = np.flatnonzero(part.any(axis=1))
    first, last = int(occupied[0]), int(occupied[-1]) + 1
    reach = int(END * (last - first))
    strength = edges(image, frame.inside, 0, 3, frame.half_width, 3.0)
    body = image[first + reach : last - reach][part[first + reach : last - reach]]
    # The flanks are edges too, and slant: lines are sought inside them.
    core = cv2.erode(part.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    covered = np.zeros(part.shape, bool)
    for start, stop in ((first, first + reach), (last - reach, last)):
        lines = _cross_lines(strength, core, start, stop)
        if start == first:
            lines.insert(0, np.full(part.shape[1], first - 1.0))
        else:
            lines.append(np.full(part.shape[1], float(last)))
        beside = int(THICKEST * (last - first)) + 2  # as far as a band's neighbours reach
        near = slice(max(0, start - beside), stop + beside)
        moved = [line - near.start for line in lines]
        covered[near] |= _foreign(image[near], part[near], body, moved, last - first)
    return covered


def _cross_lines(strength: Float, part: Bool, start: int, stop: int) -> list[NDArray[np.float64]]:
    """Return the clean lines across the part between two rows: each its row at every column."""
    score = np.where(part, strength, 0)[start:stop]
    columns = np.arange(part.shape[1])
    found = []
    for _ in range(MOST_LINES):
        at = np.flatnonzero((score > 0).any(axis=0))[::2]
        if len(at) < 4 or stop - start < 6:
            break
        path = smooth_path(np.ascontiguousarray(score[:, at].T), 3, LINE_BEND)
        on = part[start:stop][path, at]
        if on.sum() < 4 or quantile(score[path, at][on], 0.25) < CLEAN:
            break
        line = np.interp(columns, at[on], path[on].astype(float))
        if _arched(at[on], path[on]):
            found.append(line + start)
        rows = np.arange(stop - start)[:, None]
        score = np.where(np.abs(rows - line[None, :]) < APART, 0, score)
    return sorted(found, key=lambda line: float(line.mean()))


def _arched(column: NDArray[np.intp], row: NDArray[np.intp]) -> bool:
    """Return whether a line is a shallow arc, as what is wound round a part shows.

    The border of a dry patch wanders, and is clean only in a blurred photo: to take it for tape
    would hide starved laminate.
    """
    off = row - np.polyval(np.polyfit(column, row, 2), column)
    return float(np.sqrt(np.mean(off**2))) < WANDER * float(np.ptp(column) + 1)


def _foreign(
    image: Float, part: Bool, body: Float, lines: list[NDArray[np.float64]], length: int
) -> Bool:
    """Return the bands between neighbouring lines whose colour is not the laminate's."""
    core = cv2.erode(part.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    bands = []
    for upper, lower in pairwise(lines):
        thick = float(median(lower - upper))
        if not THINNEST * length < thick < THICKEST * length:
            continue
        band = _rows_between(part, upper, lower)
        above = _rows_between(core, upper - thick, upper - 1)
        below = _rows_between(core, lower + 1, lower + thick)
        sides = [side for side in (above, below) if side.sum() > max(8, BESIDE * band.sum())]
        if (band & core).sum() < 5 or not sides:
            continue
        # A broad band must be as even as tape is: a dry end can have clean borders too.
        amid = _rows_between(core & band, upper + SOFT, lower - SOFT)
        if thick < BROAD * length or _is_even(image, amid):
            bands.append((band, sides))
    covered = np.zeros(part.shape, bool)
    # The ends last: what ends beside tape is laminate that merely differs from the tape.
    for band, sides in sorted(bands, key=lambda found: -len(found[1])):
        if len(sides) == 1 and covered[sides[0]].mean() > BESIDE:
            continue
        colour = median(image[band & core], axis=0)
        apart = [float(np.linalg.norm(colour - median(image[s], axis=0))) for s in sides]
        foreign = min(apart) > FOREIGN and (len(apart) == 1 or max(apart) > VERY_FOREIGN)
        if foreign and float((np.linalg.norm(body - colour, axis=1) < ALIKE).mean()) < COMMON:
            covered |= band
    return covered


def _is_even(image: Float, where: Bool) -> bool:
    """Return whether a place (N, K) is as even as tape is."""
    lightness = np.ascontiguousarray(image[..., 0])
    rough = np.abs(lightness - cv2.GaussianBlur(lightness, (0, 0), 2.0))
    return bool(where.any()) and float(median(rough[where])) < TAPE_ROUGHNESS


def _rows_between(part: Bool, upper: NDArray[np.float64], lower: NDArray[np.float64]) -> Bool:
    row = np.arange(len(part))[:, None]
    return np.asarray(part & (row >= upper[None, :]) & (row < lower[None, :]))
