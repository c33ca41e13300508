"""What in the picture is the laminated part.

Four ways to the same record: found without input, from a box, from a drawn outline, or mended by
taps. Texture plays no role in any of them: where a laminate is rich it is smooth, and a search by
texture would drop exactly those places.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.outline.cover import remove_cover
from satcheck.outline.edge import FINE, Shape, cut, refine, solid
from satcheck.outline.ribbon import Ribbon, find_ribbons, lab_at_even_exposure

Bool = NDArray[np.bool_]
Rgb = NDArray[np.uint8]
Float = NDArray[np.float32]

# Bounds on what can be a part: common practice, no source; a socket is some 1.5 to 3 times as long
# as wide, tapers, and fills between a twentieth and two thirds of a useful picture.
SHARE = (0.035, 0.8)
LEAST_ASPECT, LEAST_SOLIDITY, MOST_RECTANGLE = 1.15, 0.82, 0.96
LEAST_SUPPORT, FULL_SUPPORT = 0.35, 0.8
# Of a part that runs out of the picture: it fills much of it. Of 114 rendered photos of parts
# (render.py, seeds 20, 931 and 951, and a second renderer's), a quarter of the length cut off
# either end and 2 % of the width left beside, 20 show no part with these, and 104 without; of 103
# pictures beside parts and of bare benches 11 show "a part" with and without.
CUT_SHARE, CUT_SUPPORT, CUT_ASPECT = 0.2, 0.5, 1.0
# A small and partly white shape may be a lamp's reflection on a part that runs out of the picture.
# Of those crops six showed less than 0.15 of it, white (above L* 92) on 0.14 to 0.55 of itself and
# within the part: overlap 0.08 to 0.28 with it alone, 0.81 to 0.98 so. Whole parts so small are
# white on up to 0.12 of themselves, and none lay in another shape.
SMALL, WHITE, WHITE_SHARE, WITHIN = 0.15, 92, 0.1, 0.9
TAP_RADIUS = 0.012  # of the long side: a fingertip's precision on a phone screen


@dataclass(frozen=True, eq=False)
class Part:
    """The part in one picture.

    Attributes
    ----------
    silhouette : (H, W) bool array
        The part with the tape and cord that lie on it.
    confidence : float
        0 to 1: how far the outline is borne out by the picture; 1 where a person drew it.
    lab : (h, w, 3) float32 array
        L*a*b* of the picture at working size.
    coarse : (h, w) bool array
        The silhouette at that size.
    """

    silhouette: Bool
    confidence: float
    lab: Float
    coarse: Bool

    def at(self, shape: tuple[int, int]) -> "Part":
        """Return the same part in a picture of other size, (height, width)."""
        return replace(self, silhouette=_upsampled(self.coarse, shape))

    def laminate(self) -> Bool:
        """Return what is to be judged, (H, W): the silhouette without tape and cord.

        They are looked for now, which takes a quarter of the search for the part.
        """
        bare = remove_cover(self.lab, self.coarse)
        if bare is self.coarse:
            return self.silhouette
        return np.asarray(_upsampled(bare, self.silhouette.shape) & self.silhouette)


def find_part(rgb: Rgb, exclude: Callable[[], Bool | None] = lambda: None) -> Part | None:
    """Find the laminated part on a cluttered bench, also one that runs out of the picture.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array, sRGB
    exclude : callable, optional
        Returns the pixels known not to be part, such as a reference card, as an (H, W) bool array,
        or None; called when the picture has been searched without, so that it may be found out
        meanwhile.

    Returns
    -------
    Part or None
        None where nothing in the picture looks enough like a part.
    """
    small = _reduced(rgb)
    lab = lab_at_even_exposure(small)
    ribbons, banned = find_ribbons(small), None  # most photos show nothing to leave out
    excluded = exclude()
    if excluded is not None:
        banned = _resized(excluded, small.shape[:2])
        ribbons = find_ribbons(small, banned)
    shape = _best(lab, ribbons, banned, _is_whole)
    if shape is None or _may_be_reflection(shape, lab):
        cut_off = _best(lab, find_ribbons(small, banned, runs_out=True), banned, _is_cut)
        shape = _outer(shape, cut_off)
    if shape is None:
        return None
    whole = _upsampled(shape.silhouette, rgb.shape[:2])
    return Part(whole, min(1.0, shape.support / FULL_SUPPORT), lab, shape.silhouette)


def part_in_box(rgb: Rgb, box: tuple[int, int, int, int]) -> Part | None:
    """Find the part inside a box x0, y0, x1, y1 (pixels, x1 and y1 excluded)."""
    x0, y0, x1, y1 = box
    outside = np.ones(rgb.shape[:2], bool)
    outside[max(y0, 0) : y1, max(x0, 0) : x1] = False
    return find_part(rgb, lambda: outside)


def part_in_outline(rgb: Rgb, polygon: NDArray[np.floating]) -> Part:
    """Take a drawn outline (N, 2) x, y in pixels as the silhouette; tape is still left out."""
    mask = np.zeros(rgb.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(polygon).astype(np.int32)], 1)
    small = _reduced(rgb)
    drawn = mask > 0
    return Part(drawn, 1.0, lab_at_even_exposure(small), _resized(drawn, small.shape[:2]))


def mend(
    rgb: Rgb,
    silhouette: Bool,
    taps_inside: NDArray[np.floating],
    taps_outside: NDArray[np.floating],
) -> Bool:
    """Return a silhouette (H, W) corrected by taps on the part (N, 2) and off it (M, 2).

    Taps are x, y in pixels.
    """
    small = _reduced(rgb)
    scale = small.shape[1] / rgb.shape[1]
    mask = _resized(silhouette, small.shape[:2])
    seeds = np.where(mask, cv2.GC_PR_FGD, cv2.GC_PR_BGD).astype(np.uint8)
    radius = max(2, round(TAP_RADIUS * max(small.shape)))
    for taps, label in ((taps_inside, cv2.GC_FGD), (taps_outside, cv2.GC_BGD)):
        for x, y in np.asarray(taps, float).reshape(-1, 2) * scale:
            cv2.circle(seeds, (round(x), round(y)), radius, label, -1)
    mended = solid(cut(lab_at_even_exposure(small), seeds, 2), 1)
    return _upsampled(mended, rgb.shape[:2])


def _best(
    lab: Float, ribbons: list[Ribbon], banned: Bool | None, is_part: Callable[[Shape], bool]
) -> Shape | None:
    """Return the best of the shapes at some ribbons, if it could be a part."""
    shapes = [refine(lab, ribbon, banned) for ribbon in ribbons]
    # A box beside it dents an outline.
    best = max(shapes, key=lambda s: s.support + s.solidity, default=None)
    return best if best is not None and is_part(best) else None


def _may_be_reflection(shape: Shape, lab: Float) -> bool:
    if shape.share >= SMALL:
        return False
    return float((lab[..., 0][shape.silhouette] > WHITE).mean()) > WHITE_SHARE


def _outer(whole: Shape | None, cut_off: Shape | None) -> Shape | None:
    """Return the shape that runs out of the picture where there is no other, or one within it."""
    if whole is None or cut_off is None:
        return whole or cut_off
    within = np.count_nonzero(whole.silhouette & cut_off.silhouette)
    return cut_off if within > WITHIN * np.count_nonzero(whole.silhouette) else whole


def _is_whole(shape: Shape) -> bool:
    """Return whether a shape could be a part: of fair size, longish, compact, no card."""
    if shape.support < LEAST_SUPPORT or not SHARE[0] < shape.share < SHARE[1]:
        return False
    return _is_compact(shape.silhouette, LEAST_ASPECT)


def _is_cut(shape: Shape) -> bool:
    """Return whether a shape could be a part that runs out of the picture."""
    if shape.support < CUT_SUPPORT or shape.share < CUT_SHARE:
        return False
    return _is_compact(shape.silhouette, CUT_ASPECT)


def _is_compact(silhouette: Bool, least_aspect: float) -> bool:
    contours, _ = cv2.findContours(
        silhouette.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    contour = max(contours, key=cv2.contourArea)
    area = cv2.contourArea(contour)
    sides = sorted(cv2.minAreaRect(contour)[1])
    hull = cv2.contourArea(cv2.convexHull(contour))
    return (
        sides[1] > least_aspect * sides[0]
        and area > LEAST_SOLIDITY * hull
        and area < MOST_RECTANGLE * sides[0] * sides[1]
    )


def _reduced(rgb: Rgb) -> Rgb:
    """Return the picture with its long side at most ``FINE``."""
    scale = min(1.0, FINE / max(rgb.shape[:2]))
    size = (max(8, round(rgb.shape[1] * scale)), max(8, round(rgb.shape[0] * scale)))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)


def _resized(mask: Bool, shape: tuple[int, ...]) -> Bool:
    small = cv2.resize(mask.astype(np.uint8) * 255, shape[1::-1], interpolation=cv2.INTER_AREA)
    return np.asarray(small > 127)


def _upsampled(mask: Bool, shape: tuple[int, ...]) -> Bool:
    """Return ``mask`` at another size with a smooth, not a stepped, rim."""
    soft = cv2.GaussianBlur(mask.astype(np.uint8) * 255, (0, 0), 1.0)
    return np.asarray(cv2.resize(soft, shape[1::-1], interpolation=cv2.INTER_LINEAR) > 127)
