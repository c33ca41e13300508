"""From a coarse ribbon to the part's true edge.

In the straightened frame: 1 colours decide roughly what is part (GrabCut, seeded by the ribbon);
2 the rows over which the part extends, pipe and foot cut off where the width drops suddenly;
3 each flank as the smoothest path along strong edges; 4 each end as such a path across. Then the
flanks once more, along edges beyond which background begins, now that background can be learned
close by; a box beside the part would be taken in by that, so it counts only if the outline gains
in compactness. Colour weighs little beside edges: glass on a grey wall has hardly one of its own.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.quantile import median, quantile
from satcheck.beside import beside
from satcheck.outline.frame import Frame, blur, straighten
from satcheck.outline.likeness import Likeness, likeness
from satcheck.outline.path import smooth_path
from satcheck.outline.ribbon import Ribbon
from satcheck.outline.strength import at_border, edges

Float = NDArray[np.float32]
Bool = NDArray[np.bool_]
Bytes = NDArray[np.uint8]

FINE = 400  # long side of the working picture, px
# The weights below were set by a random search over rendered and drawn scenes: common practice,
# no source.
BAND, CORE = 0.35, 0.35  # half widths: what GrabCut may add; share of the width surely part
COARSER = 0.7  # on half of the cells GrabCut overlaps as well (146 photos, .9326 against .9329)
AROUND = 0.5  # half widths beyond, from which it learns the background
OPEN = 0.05  # half widths
EDGE_FLOOR = 2.0
CAP_FLOOR = 6.0
ROW_STEP = 0.08  # half widths between rows of a flank
ROUGH, FLANK_COLOUR, CAP_COLOUR, NECK_COLOUR = 0.006, 0.012, 0.003, 0.02
FOREIGN_SHARE = 0.5  # beside the ratio
MORE_SOLID = 0.015  # by which the second round must be more solid than the first to be believed
FARTHEST = 0.35  # half widths by which the second round may widen the first
BESIDE, NOT_CLEAR = 0.1, 0.3  # half widths; how much an edge loses if no background lies beyond
FLANK_BEND, CAP_BEND = 0.2, 0.08
BEYOND = 0.6  # score of an end off the flanks: neither for nor against
# Score of the picture's border as an end: a part that runs out of the picture at one end is mostly
# found as a whole one. Of 117 rendered photos of parts (those named in cut_off.py and three of seed
# 961), 5 % of the length cut off one end, overlap is .922 to .924 with it and .915 to .919 without,
# off both .922 and .911; none that shows the whole part is worse. At 0.45 one is: its flanks go on
# into the shadow below it.
AT_BORDER = 0.4
GAP, BRIDGE, FLANK_GOES_ON = 0.45, 0.2, 0.5
DROP, DROP_REACH, NECK = 0.45, 0.10, 0.6


@dataclass(frozen=True, eq=False)
class Shape:
    """A silhouette (H, W) and what speaks for it: edge support of its flanks, 0 to 1."""

    silhouette: Bool
    support: float

    @cached_property
    def share(self) -> float:
        """The silhouette's share of the picture."""
        return float(self.silhouette.mean())

    @cached_property
    def solidity(self) -> float:
        """The silhouette's share of its convex hull: boxes beside a part dent its outline."""
        solid = self.silhouette.astype(np.uint8)
        rims, _ = cv2.findContours(solid, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        if not rims:
            return 0.0
        hull = cv2.contourArea(cv2.convexHull(np.concatenate(rims)))
        return float(np.count_nonzero(solid)) / max(1.0, hull)


@dataclass(frozen=True, eq=False)
class _Pull:
    """What draws the flanks besides edges.

    ``colour`` (N, K) is what each cell gains inside; ``left`` and ``right`` (N, K) are the factors
    by which an edge counts as either flank.
    """

    colour: Float
    left: Float | float = 1.0
    right: Float | float = 1.0


@dataclass(frozen=True, eq=False)
class _Edges:
    """Edge strengths (N, K), 0 to 1, as flanks show them and as ends do."""

    across: Float
    along: Float

    @classmethod
    def of(cls, image: Float, frame: Frame) -> "_Edges":
        """Return the edges of a straightened L*a*b* picture (N, K, 3).

        The picture's border may be an end.
        """
        step, around = ROW_STEP * frame.half_width, frame.half_width
        across = edges(image, frame.inside, 1, step, around, EDGE_FLOOR)
        along = edges(image, frame.inside, 0, step, around, CAP_FLOOR)
        along[frame.inside & at_border(frame.inside, 1)] = AT_BORDER
        return cls(across, along)


def refine(lab: Float, ribbon: Ribbon, exclude: Bool | None) -> Shape:
    """Return the silhouette near a ribbon in a L*a*b* picture (H, W, 3)."""
    frame = straighten(ribbon, (lab.shape[0], lab.shape[1]))
    image = frame.sample(np.asarray(cv2.GaussianBlur(lab, (0, 0), 1.0), np.float32))
    barred = ~frame.inside
    if exclude is not None:
        barred |= frame.sample(exclude.astype(np.float32)) > 0.5
    with beside() as second:
        colour = second.submit(_by_colour, image, frame, barred)
        strength = _Edges.of(image, frame)
    found = _bridged(colour.result(), frame, strength.across)
    inner = solid(found, max(1, int(OPEN * frame.half_width)))
    plain = np.asarray((2.0 * inner - 1 + 2.0 * frame.ribbon - 1) / 2, np.float32)
    plain[barred] = -1
    first = _shape(frame, inner, _Pull(ROUGH * plain), barred, strength)
    if not first.silhouette.any():
        return first
    believed = frame.sample(first.silhouette.astype(np.float32)) > 0.5
    pull = _pull(likeness(image, frame, believed, barred), believed, frame.half_width)
    again = _shape(frame, inner, pull, barred, strength)
    return again if again.solidity > first.solidity + MORE_SOLID else first


def _pull(like: Likeness, believed: Bool, half_width: float) -> "_Pull":
    """Return what draws the flanks when part and background are known from a first outline."""
    off = cv2.distanceTransform(1 - believed.astype(np.uint8), cv2.DIST_L2, 5)
    foreign = np.where(off < FARTHEST * half_width, like.foreign, -1).astype(np.float32)
    colour = FOREIGN_SHARE * foreign + (1 - FOREIGN_SHARE) * like.ratio
    return _Pull(np.asarray(FLANK_COLOUR * colour, np.float32), *_clear(foreign, half_width))


def _bridged(found: Bool, frame: Frame, across: Float) -> Bool:
    """Return the mask with the ribbon's rows filled in where its flanks run on without colour.

    Colour loses a band of tape, which parts the brim from the body, and a pale or wet end.
    """
    width = frame.ribbon.sum(axis=1)
    rows = np.flatnonzero((found & frame.ribbon).sum(axis=1) > GAP * width)
    strong = _flank_strength(frame, across)
    filled = found.copy()
    if not len(rows):
        return filled
    for before, after in pairwise(rows):
        gap = slice(before + 1, after)
        length = after - before - 1
        if 0 < length < BRIDGE * frame.length and median(strong[gap]) > FLANK_GOES_ON:
            filled[gap] |= frame.ribbon[gap]
    held = blur(strong, 0.015 * frame.length) > FLANK_GOES_ON
    for row, step in ((rows[0], -1), (rows[-1], 1)):
        following = row + step
        while 0 <= following < len(width) and width[following] and held[following]:
            filled[following] |= frame.ribbon[following]
            following += step
    return filled


def _flank_strength(frame: Frame, across: Float) -> Float:
    """Return for each row (N,) the weaker of the two edges at the ribbon's flanks."""
    reach = max(2, int(0.15 * frame.half_width))
    left = frame.ribbon.argmax(axis=1)
    window = np.arange(-reach, reach + 1)
    strengths = []
    for flank in (left, left + frame.ribbon.sum(axis=1)):
        near = np.clip(flank[:, None] + window, 0, across.shape[1] - 1)
        strengths.append(np.take_along_axis(across, near, axis=1).max(axis=1))
    return np.asarray(np.minimum(strengths[0], strengths[1]), np.float32)


def _by_colour(image: Float, frame: Frame, barred: Bool) -> Bool:
    """Return roughly what is part, (N, K), by GrabCut from the ribbon."""
    rows, columns = frame.ribbon.shape
    away = cv2.distanceTransform(1 - frame.ribbon.astype(np.uint8), cv2.DIST_L2, 5)
    along = (np.arange(rows)[:, None] - frame.ribbon.any(axis=1).argmax()) / frame.length
    width = frame.ribbon.sum(axis=1)[:, None]
    across = np.arange(columns)[None, :] - frame.ribbon.argmax(axis=1)[:, None] - width / 2
    seeds = np.full((rows, columns), cv2.GC_BGD, np.uint8)
    seeds[away < BAND * frame.half_width] = cv2.GC_PR_BGD
    seeds[frame.ribbon] = cv2.GC_PR_FGD
    seeds[(along > 0.25) & (along < 0.75) & (np.abs(across) < CORE * width)] = cv2.GC_FGD
    seeds[barred] = cv2.GC_BGD
    if not (seeds == cv2.GC_FGD).any():
        return frame.ribbon & ~barred
    near = away < (BAND + AROUND) * frame.half_width
    row, column = (np.flatnonzero(near.any(axis)) for axis in (1, 0))
    box = np.s_[row[0] : row[-1] + 1, column[0] : column[-1] + 1]
    found = np.zeros_like(near)
    found[box] = _coarsely_cut(image[box], seeds[box])
    return found


def _coarsely_cut(image: Float, seeds: Bytes) -> Bool:
    """Return what GrabCut takes for part, on ``COARSER`` as many rows and columns."""
    size = (round(COARSER * seeds.shape[1]), round(COARSER * seeds.shape[0]))
    few = np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.float32)
    sown = np.asarray(cv2.resize(seeds, size, interpolation=cv2.INTER_NEAREST), np.uint8)
    # Edges decide where the part ends: two rounds overlap no better.
    rough = cut(few, sown, rounds=1).astype(np.float32)
    return np.asarray(cv2.resize(rough, seeds.shape[::-1]) > 0.5)


def cut(lab: Float, seeds: Bytes, rounds: int) -> Bool:
    """Return what GrabCut takes for part in a L*a*b* picture (H, W, 3) from its seeds (H, W).

    Seeds that name nothing but part, or none, are what is returned.
    """
    scaled = np.clip(lab * [2.2, 2, 2] + [0, 128, 128], 0, 255).astype(np.uint8)
    cv2.setRNGSeed(0)  # GrabCut's colour clusters start at random
    models, nowhere = (np.zeros((1, 65)), np.zeros((1, 65))), (0, 0, 1, 1)
    few, fewer = (np.ascontiguousarray(layer[::2, ::2]) for layer in (scaled, seeds))
    if not 0 < np.count_nonzero(_is_part(fewer)) < fewer.size:
        return _is_part(seeds)
    # A quarter of the cells is enough to start the colours from.
    cv2.grabCut(few, fewer, nowhere, *models, 0, cv2.GC_INIT_WITH_MASK)
    labels, _, _ = cv2.grabCut(scaled, seeds, nowhere, *models, rounds, cv2.GC_EVAL)
    return _is_part(np.asarray(labels, np.uint8))


def _is_part(seeds: Bytes) -> Bool:
    return np.isin(seeds, (cv2.GC_FGD, cv2.GC_PR_FGD))


def solid(mask: Bool, radius: int) -> Bool:
    """Return the largest piece of a mask after an opening by ``radius``, its holes filled."""
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    opened = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, kernel)
    contours, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros(mask.shape, np.uint8)
    if contours:
        cv2.drawContours(filled, [max(contours, key=cv2.contourArea)], -1, 1, -1)
    return filled > 0


def _extent(frame: Frame, inner: Bool) -> tuple[int, int, bool, bool]:
    """Return first row, last row + 1, and whether either end is a neck.

    Where the width falls to under ``DROP`` within ``DROP_REACH`` of the length, a pipe leaves the
    brim. A neck tapers into the lock; colour may lose it, so there the ribbon has its say.
    """
    width = inner.sum(axis=1).astype(float)
    body = quantile(width[width > 0], 0.8) if (width > 0).any() else 0.0
    ribbon = frame.ribbon.sum(axis=1)
    width = np.where((ribbon < NECK * body) & (ribbon > width), ribbon, width)
    window = max(3, int(frame.length / 5))
    middle = int(np.argmax(np.convolve(width, np.ones(window), "same")))
    smooth = np.convolve(width, np.ones(5) / 5, "same")
    first = _end(smooth[: middle + 1][::-1], frame.length)
    last = _end(smooth[middle:], frame.length)
    start, stop = max(0, middle - first), middle + last
    near = max(2, int(0.06 * frame.length))
    necks = [
        w.size > 0 and bool(median(w) < NECK * body)
        for w in (width[start : start + near], width[max(0, stop - near) : stop])
    ]
    return start, stop, necks[0], necks[1]


def _end(width: NDArray[np.float64], length: float) -> int:
    """Return how many rows a part goes on from its middle, given the widths from there."""
    reach = max(3, int(DROP_REACH * length))
    for row in range(len(width)):
        if width[row] < 1:
            return row
        if row > reach // 2 and width[row] < DROP * width[max(0, row - reach)]:
            return row - reach // 3
    return len(width)


def _shape(frame: Frame, inner: Bool, pull: _Pull, barred: Bool, strength: _Edges) -> Shape:
    """Return the silhouette between the best flanks and the best ends."""
    step = ROW_STEP * frame.half_width
    start, stop, *necks = _extent(frame, inner)
    if stop - start < 16:
        return Shape(np.zeros(frame.shape, bool), 0.0)
    first = max(0, start - int(0.04 * frame.length))
    height, width = inner.shape
    rows = np.arange(first, min(height, stop + int(0.04 * frame.length)), max(1, round(step)))
    left, right, support = _flanks(strength.across, pull, rows, frame.half_width)
    column = np.arange(width)[None, :]
    body = (column >= left[:, None] - 0.5) & (column < right[:, None] - 0.5)
    along = strength.along
    signed = np.where(barred, -1.0, 2.0 * inner - 1)
    keep = _from_end(along, signed, body, start, necks[0], frame)
    keep &= _from_end(along[::-1], signed[::-1], body[::-1], height - stop, necks[1], frame)[::-1]
    return Shape(solid(frame.restore(body & keep), 1), support)


def _flanks(
    across: Float, pull: _Pull, rows: NDArray[np.int_], half_width: float
) -> tuple[Float, Float, float]:
    """Return the left and right flank at every row and their mean edge strength."""
    middle, least = across.shape[1] // 2, int(0.12 * half_width)
    sums = np.pad(np.cumsum(pull.colour[rows], axis=1), ((0, 0), (1, 0)))
    gain = across[rows]
    to_left, to_right = ((across * clear)[rows] for clear in (pull.left, pull.right))
    outward = to_right[:, middle + least :] + sums[:, middle + least : -1] - sums[:, [middle]]
    inward = to_left[:, : middle - least + 1] + sums[:, [middle]] - sums[:, : middle - least + 1]
    right = middle + least + smooth_path(np.asarray(outward, np.float32), 4, FLANK_BEND)
    left = middle - least - smooth_path(np.asarray(inward[:, ::-1], np.float32), 4, FLANK_BEND)
    index = np.arange(len(rows))
    support = float(np.minimum(gain[index, left], gain[index, right]).mean())
    every = np.arange(len(across))
    smooth = [blur(np.interp(every, rows, p), ROW_STEP * half_width / 2) for p in (left, right)]
    return smooth[0], smooth[1], support


def _clear(foreign: Float, half_width: float) -> tuple[Float, Float]:
    """Return (N, K), to 1, how far background begins left and right of each cell.

    The inner rim of a glare streak is the stronger edge, but what lies beyond it is still foreign.
    """
    size = max(3, int(BESIDE * half_width))
    mean = cv2.blur(np.maximum(foreign, 0), (size, 1 + 2 * int(ROW_STEP * half_width)))
    column, away = np.arange(foreign.shape[1]), size // 2 + 2
    left, right = (
        np.asarray(1 - NOT_CLEAR * mean[:, np.clip(column + by, 0, len(column) - 1)], np.float32)
        for by in (-away, away)
    )
    return left, right


def _from_end(
    along: Float, signed: NDArray[np.float64], body: Bool, start: int, neck: bool, frame: Frame
) -> Bool:
    """Return (N, K) what lies on the part's side of its end near row ``start``."""
    rows, columns = body.shape
    outer = 0.08 if neck else 0.10
    inner = 0.15 if neck else 0.25
    near = np.arange(
        max(2, start - int(outer * frame.length)),
        min(start + int(inner * frame.length), rows - 2),
    )
    spanned = np.flatnonzero(body[near].any(axis=0))
    step = max(1, round(ROW_STEP * frame.half_width / 2))
    at = np.arange(spanned.min(), spanned.max() + 1, step) if len(spanned) else spanned
    if len(near) < 8 or len(at) < 4:
        return np.ones_like(body)
    shown = body[near][:, at]
    # Down to the last of the near rows, which is not counted.
    sums = np.pad(np.cumsum(signed[near[:-1]][:, at] * shown[:-1], axis=0), ((1, 0), (0, 0)))
    filled = sums[-1] - sums
    gain = np.where(shown, along[near][:, at], BEYOND)
    score = gain + (NECK_COLOUR if neck else CAP_COLOUR) * filled
    path = near[smooth_path(np.ascontiguousarray(score.T, np.float32), 4, CAP_BEND)]
    end = np.interp(np.arange(columns), at, path)
    return np.arange(rows)[:, None] >= end[None, :] - 0.5
