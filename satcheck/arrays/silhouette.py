"""A silhouette's rim and its long axis."""

import cv2
import numpy as np
from numpy.typing import NDArray

Bool = NDArray[np.bool_]
Float = NDArray[np.float64]


def rim(mask: Bool) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return rows and columns of the pixels of a mask (H, W) with a neighbour outside it."""
    cross, around = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3)), cv2.BORDER_CONSTANT
    solid = cv2.erode(mask.astype(np.uint8), cross, borderType=around, borderValue=0)
    row, column = np.nonzero(mask & (np.asarray(solid) == 0))
    return row, column


def long_axis(mask: Bool) -> tuple[Float, Float]:
    """Return the centre (2,) of a mask (H, W), x and y, and the unit vector along it.

    The direction in which the pixels' second moment is greatest, either way round.
    """
    moments = cv2.moments(mask.astype(np.uint8), binaryImage=True)
    spread = [[moments["mu20"], moments["mu11"]], [moments["mu11"], moments["mu02"]]]
    centre = np.array([moments["m10"], moments["m01"]]) / moments["m00"]
    return centre, np.asarray(np.linalg.eigh(np.array(spread))[1][:, 1], np.float64)
