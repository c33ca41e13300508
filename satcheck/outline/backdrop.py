"""How unlike the background each place is, as the picture's border shows it."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from satcheck.outline.nearest import nearest

Float = NDArray[np.float32]
Bool = NDArray[np.bool_]
Sides = Literal["all", "left and right", "top and bottom"]

RIM = 0.035  # of the long side: how deep the border is


def border_distance(lab: Float, exclude: Bool | None = None, sides: Sides = "all") -> Float:
    """Return (H, W) how unlike the frame's border each pixel is, in about CIE76 units.

    Distance in colour and place to the five nearest border pixels: the border may show a wall, a
    bench and a pipe at once, each of which explains only its own neighbourhood. Excluded pixels
    (a card) count as border, and only those ``sides`` of the picture do.
    """
    height, width = lab.shape[:2]
    side = max(height, width)
    y, x = np.mgrid[:height, :width].astype(np.float32) / side
    features = np.dstack([0.7 * lab[..., 0], 1.2 * lab[..., 1:], 12.5 * x, 25.0 * y]).reshape(-1, 5)
    rim = max(2, round(RIM * side))
    border = np.zeros((height, width), bool)
    if sides != "left and right":
        border[:rim] = border[-rim:] = True
    if sides != "top and bottom":
        border[:, :rim] = border[:, -rim:] = True
    if exclude is not None:
        border |= exclude
    _, distance = nearest(features[border.ravel()], features)
    return np.asarray(distance.mean(axis=1).reshape(height, width), np.float32)
