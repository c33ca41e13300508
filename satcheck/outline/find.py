"""What in the picture is the laminated part.

Five ways to the same record: found without input, in a box, at a tap, from a drawn outline, or
mended by taps. Texture plays no role in any of them: where a laminate is rich it is smooth, and a
search by texture would drop exactly those places.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.outline.candidate import SHARE, best_shape, is_whole
from satcheck.outline.cover import remove_cover
from satcheck.outline.cut_off import is_cut, may_run_out, outer
from satcheck.outline.edge import FINE, Shape, cut, solid
from satcheck.outline.ribbon import find_ribbons, lab_at_even_exposure

Bool = NDArray[np.bool_]
Rgb = NDArray[np.uint8]
Float = NDArray[np.float32]

FULL_SUPPORT = 0.8  # common practice, no source
# Of a box around a part. Of boxes with a quarter of the length beside it, 162 rendered parts
# (render.py, seeds 20, 911 to 971, and a second renderer's) fill 0.18 and more; a reflection that
# is found in one of them fills 0.07.
LEAST_FILLED = 0.15
FARTHEST = 1e6  # pixels: a corner beyond is as far off any picture
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


def find_part(
    rgb: Rgb,
    exclude: Callable[[], Bool | None] = lambda: None,
    pointed_at: Callable[[Shape], bool] | None = None,
    small: Rgb | None = None,
) -> Part | None:
    """Find the laminated part on a cluttered bench, also one that runs out of the picture.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array, sRGB
    exclude : callable, optional
        Returns the pixels known not to be part, such as a reference card, as an (H, W) bool array,
        or None; called when the picture has been searched without, so that it may be found out
        meanwhile.
    pointed_at : callable, optional
        Returns whether a shape is what somebody pointed at: such a one is taken for a part.
    small : (h, w, 3) uint8 array, optional
        The picture at working size, where it has been made already.

    Returns
    -------
    Part or None
        None where nothing in the picture looks enough like a part.
    """
    small = at_working_size(rgb) if small is None else small
    lab = lab_at_even_exposure(small)
    ribbons, banned = find_ribbons(small), None  # most photos show nothing to leave out
    excluded = exclude()
    if excluded is not None:
        banned = _resized(excluded, small.shape[:2])
        ribbons = find_ribbons(small, banned)
    shape = best_shape(lab, ribbons, banned, pointed_at or is_whole)
    if may_run_out(shape, lab):
        upright = find_ribbons(small, banned, "left and right")
        lying = find_ribbons(small, banned, "top and bottom")
        shape = outer(shape, best_shape(lab, upright + lying, banned, pointed_at or is_cut))
    if shape is None:
        return None
    whole = _upsampled(shape.silhouette, rgb.shape[:2])
    return Part(whole, min(1.0, shape.support / FULL_SUPPORT), lab, shape.silhouette)


def part_in_box(rgb: Rgb, box: tuple[int, int, int, int], small: Rgb | None = None) -> Part | None:
    """Find the part inside a box x0, y0, x1, y1 (pixels, x1 and y1 excluded).

    Whoever draws a box has seen the part: it may have any form that fills much of the box.
    """
    x0, y0, x1, y1 = box
    outside = np.ones(rgb.shape[:2], bool)
    outside[max(y0, 0) : y1, max(x0, 0) : x1] = False
    least = LEAST_FILLED * float(1 - outside.mean())
    return find_part(rgb, lambda: outside, lambda shape: shape.share > least, small)


def part_at(rgb: Rgb, points: NDArray[np.floating]) -> Part | None:
    """Find the part that shows at one at least of some points (N, 2) x, y in pixels.

    Whoever points at a part has seen it: it may have any form.
    """

    def pointed_at(shape: Shape) -> bool:
        at = points * (shape.silhouette.shape[1] / rgb.shape[1])
        return shape.share > SHARE[0] and shows_at(shape.silhouette, at)

    return find_part(rgb, pointed_at=pointed_at)


def shows_at(silhouette: Bool, points: NDArray[np.floating]) -> bool:
    """Return whether one at least of some points (N, 2) x, y in pixels lies on it (H, W)."""
    x, y = np.clip(points, 0, np.array(silhouette.shape[::-1]) - 1).astype(int).T
    return bool(silhouette[y, x].any())


def part_in_outline(rgb: Rgb, polygon: NDArray[np.floating], small: Rgb | None = None) -> Part:
    """Take a drawn outline (N, 2) x, y in pixels as the silhouette; tape is still left out."""
    mask = np.zeros(rgb.shape[:2], np.uint8)
    corners = np.round(np.clip(polygon, -FARTHEST, FARTHEST)).astype(np.int32)
    cv2.fillPoly(mask, [corners], 1)
    small = at_working_size(rgb) if small is None else small
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
    small = at_working_size(rgb)
    scale = small.shape[1] / rgb.shape[1]
    mask = _resized(silhouette, small.shape[:2])
    seeds = np.where(mask, cv2.GC_PR_FGD, cv2.GC_PR_BGD).astype(np.uint8)
    radius = max(2, round(TAP_RADIUS * max(small.shape)))
    for taps, label in ((taps_inside, cv2.GC_FGD), (taps_outside, cv2.GC_BGD)):
        for x, y in np.asarray(taps, float).reshape(-1, 2) * scale:
            cv2.circle(seeds, (round(x), round(y)), radius, label, -1)
    mended = solid(cut(lab_at_even_exposure(small), seeds, 2), 1)
    return _upsampled(mended, rgb.shape[:2])


def at_working_size(rgb: Rgb) -> Rgb:
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
