"""Where a photo can be believed: for every cell, whether the weave could have shown there."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.flags import Reason
from satcheck.weave import Weave

Bool = NDArray[np.bool_]

RIM = 0.6  # pitches along the silhouette: windows there see the background, and the body turns away
LANE = 0.94  # of the half width: beyond, a round body is seen at more than 70 degrees
FEWEST_PIXELS = 5.0  # a pitch: below, sampling takes a third of the tow's contrast (MTF of a pixel
# and a lens of half a pixel; see the closed forms in the tests)
BLOWN, BLOWN_SHARE = 0.97, 0.3  # linear light in the strongest channel, and share of the place
BLACK = 0.004  # linear: about one step of eight-bit sRGB


@dataclass(frozen=True, eq=False)
class Trust:
    """Bits of ``flags.Reason`` for every cell (R, C), uint32; 0 where the photo can be believed."""

    reasons: NDArray[np.uint32]


def doubt(weave: Weave) -> Trust:
    """Return where and why the weave could not have shown in a photo."""
    frame, pitch = weave.frame, weave.pitch
    reasons = np.zeros(weave.visibility.shape, np.uint32)

    def flag(where: NDArray[np.bool_], reason: Reason) -> None:
        reasons[where] |= np.uint32(reason)

    flag(_near_border(frame.laminate | frame.covered, RIM * pitch, weave), Reason.EDGE)
    flag(_near_border(~frame.covered, 0.5 * pitch, weave), Reason.TAPE)
    flag(_oblique(weave), Reason.OBLIQUE)
    flag(_mostly(frame.linear.max(2) > BLOWN, pitch, weave) > BLOWN_SHARE, Reason.CLIPPED)
    flag(_mostly(frame.linear.max(2) < BLACK, pitch, weave) > BLOWN_SHARE, Reason.DARK)
    if pitch < FEWEST_PIXELS:
        flag(np.ones_like(reasons, bool), Reason.PIXELS)
    reasons[~np.asarray(weave.at_cells(frame.laminate), bool)] = 0
    return Trust(reasons)


def _near_border(mask: Bool, distance: float, weave: Weave) -> Bool:
    """Return the cells that are nearer than a distance (px) to where a mask ends."""
    inside = cv2.distanceTransform(
        np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE
    )[1:-1, 1:-1]
    return np.asarray(weave.at_cells(np.asarray(inside)), np.float32) < distance


def _oblique(weave: Weave) -> Bool:
    centre, half = weave.frame.span
    rows, columns = weave.rows, weave.columns
    lane = np.abs(columns[None, :] - centre[rows][:, None]) / half[rows][:, None]
    return np.asarray(np.nan_to_num(lane) > LANE)


def _mostly(mask: Bool, pitch: float, weave: Weave) -> NDArray[np.float64]:
    """Return the share of a place, half a pitch around, where a mask holds."""
    share = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.4 * pitch)
    return np.asarray(weave.at_cells(np.asarray(share)), np.float64)
