"""How strong the edge at each place is, on a scale that does not depend on the light."""

import cv2
import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float32]
Bool = NDArray[np.bool_]

LOCAL = 0.3  # how much the edges around count against one; common practice, no source


def edges(
    image: Float, usable: Bool, axis: int, along: float, around: float, floor: float
) -> Float:
    """Return edge strength 0 to 1 between each cell and the one before it along ``axis``.

    The picture is averaged over ``along`` cells in the edge's own direction, so that the weave
    cancels, and its colour step is set against the typical step within ``around`` cells.
    """
    size = int(along) | 1
    image = np.asarray(cv2.blur(image, (1, size) if axis == 1 else (size, 1)), np.float32)
    near = image - np.roll(image, 1, axis)
    wide = (np.roll(image, -1, axis) - np.roll(image, 2, axis)) / 2
    step = np.where(np.abs(wide) > np.abs(near), wide, near)
    edge = np.linalg.norm(step * np.array([0.8, 1.3, 1.3], np.float32), axis=2)
    edge[~(usable & np.roll(usable, 1, axis))] = 0
    lines = np.moveaxis(edge, axis, 0)
    lines[:2] = 0
    lines[-1] = 0
    typical = cv2.blur(edge, (int(around) | 1, int(around) | 1))
    return np.asarray(edge / (edge + floor + LOCAL * typical), np.float32)
