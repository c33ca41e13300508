"""Which of the outlines in a picture could be a laminated part."""

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.outline.edge import Shape, refine
from satcheck.outline.ribbon import Ribbon

Bool = NDArray[np.bool_]
Float = NDArray[np.float32]

# Bounds on what can be a part: common practice, no source; a socket is some 1.5 to 3 times as long
# as wide, tapers, and fills between a twentieth and two thirds of a useful picture.
SHARE = (0.035, 0.8)
LEAST_ASPECT, LEAST_SOLIDITY, MOST_RECTANGLE = 1.15, 0.82, 0.96
LEAST_SUPPORT = 0.35


def best_shape(
    lab: Float, ribbons: list[Ribbon], banned: Bool | None, is_part: Callable[[Shape], bool]
) -> Shape | None:
    """Return the best of the shapes at some ribbons, if it could be a part."""
    shapes = [refine(lab, ribbon, banned) for ribbon in ribbons]
    # A box beside it dents an outline.
    best = max(shapes, key=lambda s: s.support + s.solidity, default=None)
    return best if best is not None and is_part(best) else None


def is_whole(shape: Shape) -> bool:
    """Return whether a shape could be a part: of fair size, longish, compact, no card."""
    if shape.support < LEAST_SUPPORT or not SHARE[0] < shape.share < SHARE[1]:
        return False
    return is_compact(shape.silhouette, LEAST_ASPECT)


def is_compact(silhouette: Bool, least_aspect: float) -> bool:
    """Return whether a silhouette (H, W) has few dents, is no rectangle, and is long enough."""
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
