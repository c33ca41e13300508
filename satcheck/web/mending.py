"""An outline mended by taps on the part and beside it, as a drawn outline for the judgement."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.errors import UsageError
from satcheck.outline.find import find_part, mend, part_at, shows_at
from satcheck.photo.read import Photo
from satcheck.web.shot import Tap
from satcheck.web.words import say

NEAR = 0.25
"""Half side of the box that stands for a part that was not found, as a share of the photo's
longer side round the taps on it (own rule: a part fills a good half of a photo)."""


def mended_outline(
    photo: Photo, inside: Sequence[Tap], outside: Sequence[Tap]
) -> NDArray[np.float64] | None:
    """Return the mended outline (N, 2), pixels of the stored upright photo; None without taps.

    Raises
    ------
    UsageError
        If a tap lies beside the photo.
    """
    if not inside and not outside:
        return None
    if not all(0 <= x <= photo.width and 0 <= y <= photo.height for x, y in (*inside, *outside)):
        raise UsageError(say("bad_tap", width=photo.width, height=photo.height))
    taps = [np.array(side, float).reshape(-1, 2) * photo.scale for side in (inside, outside)]
    silhouette = mend(photo.rgb, _before(photo, taps[0]), *taps)
    outlines, _ = cv2.findContours(
        silhouette.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    if not outlines:
        return None
    largest = max(outlines, key=cv2.contourArea)
    return np.asarray(largest.reshape(-1, 2) / photo.scale, np.float64)


def _before(photo: Photo, inside: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return what is mended: what was found, or what shows at the taps where that is elsewhere.

    A tap beside what was found may also only say that more belongs to it.
    """
    found = find_part(photo.rgb)
    if len(inside) and (found is None or not shows_at(found.silhouette, inside)):
        found = part_at(photo.rgb, inside) or found
    return _guess(photo, inside) if found is None else found.silhouette


def _guess(photo: Photo, inside: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return a box round the taps on the part, where no part was found."""
    height, width = photo.rgb.shape[:2]
    mask = np.zeros((height, width), np.bool_)
    taps = inside if len(inside) else np.array([[width / 2, height / 2]])
    reach = NEAR * max(height, width)
    (left, top), (right, bottom) = taps.min(0) - reach, taps.max(0) + reach
    mask[max(0, int(top)) : int(bottom), max(0, int(left)) : int(right)] = True
    return mask
