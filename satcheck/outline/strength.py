"""How strong the edge at each place is, on a scale that does not depend on the light."""

import cv2
import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float32]
Bool = NDArray[np.bool_]

CHANNELS = np.array([0.8, 1.3, 1.3], np.float32)  # of L*, a*, b*; common practice, no source
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
    edge = colour_step(image, usable, axis)
    typical = cv2.blur(edge, (int(around) | 1, int(around) | 1))
    return np.asarray(edge / (edge + floor + LOCAL * typical), np.float32)


def colour_step(image: Float, usable: Bool, axis: int) -> Float:
    """Return the step in L*a*b* (..., H, W, 3) between each cell and the one before it.

    Or half of it over three cells, where that is more; 0 beside what is not usable (..., H, W).
    Before a cell is the one above it (``axis`` 0) or to its left (1).
    """
    step = np.zeros(usable.shape, np.float32)
    lines, inside = np.moveaxis(image, axis - 3, 0), np.moveaxis(usable, axis - 2, 0)
    near = (lines[2:-1] - lines[1:-2]) ** 2
    wide = (lines[3:] - lines[:-3]) ** 2
    size = np.sqrt(np.maximum(wide / 4, near) @ CHANNELS**2)
    size[~(inside[2:-1] & inside[1:-2])] = 0
    np.moveaxis(step, axis - 2, 0)[2:-1] = size
    return step


def at_border(inside: Bool, reach: int) -> Bool:
    """Return the cells (N, K) from which a column leaves the picture within ``reach`` rows.

    Those off the picture among them.
    """
    deeper = cv2.erode(
        inside.astype(np.uint8),
        np.ones((2 * reach + 1, 1), np.uint8),
        borderType=cv2.BORDER_CONSTANT,
        borderValue=0,
    )
    return np.asarray(deeper == 0)
