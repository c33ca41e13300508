"""The nearest of some known points, by colour and place."""

import cv2
import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float32]

Parameters = dict[str, bool | int | float | str]

COUNT = 5
TREE: Parameters = {"algorithm": 4, "leaf_max_size": 10}  # FLANN's single k-d tree: exact


def nearest(known: Float, asked: Float, slack: float = 0.0) -> tuple[NDArray[np.int32], Float]:
    """Return the five known points (M, K) nearest to each asked one (N, K), and their distances.

    Parameters
    ----------
    known, asked : (M, K), (N, K) float32 arrays
        At least five are known.
    slack : float
        By which share of itself a distance may exceed the true one, for speed.

    Returns
    -------
    index : (N, 5) int32 array
    distance : (N, 5) float32 array
    """
    index = cv2.flann.Index(np.ascontiguousarray(known), TREE)
    search: Parameters = {"checks": -1, "eps": slack}
    found, squared = index.knnSearch(np.ascontiguousarray(asked), COUNT, params=search)
    return np.asarray(found, np.int32), np.asarray(np.sqrt(squared), np.float32)
