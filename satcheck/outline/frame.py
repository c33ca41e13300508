"""The part straightened: a picture of it whose rows run across its axis."""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.quantile import quantile
from satcheck.outline.ribbon import Ribbon

Float = NDArray[np.float32]
Bool = NDArray[np.bool_]

END_MARGIN = 0.16  # of the ribbon's length, beyond either end
SIDE_MARGIN = 2.0  # half widths either side of the midline
MIDLINE_BLUR = 0.12  # of the length: a bent part bends slowly


@dataclass(frozen=True, eq=False)
class Frame:
    """A straightened view at the picture's own scale.

    Attributes
    ----------
    x, y : (N, K) float32 arrays
        Where each cell lies in the picture, px. Rows run along the axis, columns across; the
        midline is column ``K // 2``.
    inside : (N, K) bool array
        Cells that lie in the picture.
    ribbon : (N, K) bool array
        The ribbon that the frame was laid along.
    length, half_width : float
        Of the ribbon, px.
    """

    x: Float
    y: Float
    inside: Bool
    ribbon: Bool
    length: float
    half_width: float
    shape: tuple[int, int]
    _origin: NDArray[np.float64]
    _along: NDArray[np.float64]
    _midline: Float
    _start: float

    def sample(self, image: Float) -> Float:
        """Return a picture (H, W[, C]) as seen in the frame."""
        seen = cv2.remap(image, self.x, self.y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(seen, np.float32)

    def restore(self, mask: Bool) -> Bool:
        """Return a mask (N, K) of the frame as a mask (H, W) of the picture."""
        back = cv2.remap(
            mask.astype(np.uint8) * 255,
            *self._places,
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=0,
        )
        return np.asarray(back > 127)

    @cached_property
    def _places(self) -> tuple[Float, Float]:
        """Return where in the frame each pixel (H, W) lies: its column and its row."""
        row, column = (np.arange(side, dtype=np.float32) for side in self.shape)
        dx, dy = column[None, :] - self._origin[0], row[:, None] - self._origin[1]
        along = dx * self._along[0] + dy * self._along[1] - self._start
        across = dx * self._along[1] - dy * self._along[0]
        across = across - np.interp(along, np.arange(len(self._midline)), self._midline)
        return (across + self.x.shape[1] // 2).astype(np.float32), along.astype(np.float32)


def straighten(ribbon: Ribbon, shape: tuple[int, int]) -> Frame:
    """Lay a frame along a ribbon in a picture of ``shape`` (height, width)."""
    height, width = shape
    points = ribbon.polygon.astype(float) * [width, height]
    count = len(points) // 2
    origin = np.array([width / 2, height / 2])
    along = np.array([np.sin(ribbon.angle), np.cos(ribbon.angle)])
    across = np.array([along[1], -along[0]])
    flanks = [points[:count] - origin, points[: count - 1 : -1] - origin]
    t = (flanks[0] @ along + flanks[1] @ along) / 2
    low, high = flanks[0] @ across, flanks[1] @ across
    length, half_width = float(np.ptp(t)), quantile(high - low, 0.8) / 2
    start = float(t[0] - END_MARGIN * length)
    rows = np.arange(start, t[-1] + END_MARGIN * length)
    middle = _midline(rows, t, (low + high) / 2)
    half = int(SIDE_MARGIN * half_width) + 2
    u = np.arange(-half, half + 1)[None, :] + middle[:, None]
    x = origin[0] + rows[:, None] * along[0] + u * across[0]
    y = origin[1] + rows[:, None] * along[1] + u * across[1]
    within = (rows >= t[0]) & (rows <= t[-1])
    left, right = np.interp(rows, t, low)[:, None], np.interp(rows, t, high)[:, None]
    return Frame(
        x=x.astype(np.float32),
        y=y.astype(np.float32),
        inside=(x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1),
        ribbon=within[:, None] & (u >= left) & (u < right),
        length=length,
        half_width=half_width,
        shape=shape,
        _origin=origin,
        _along=along,
        _midline=middle,
        _start=start,
    )


def _midline(
    rows: NDArray[np.float64], t: NDArray[np.float64], middle: NDArray[np.float64]
) -> Float:
    """Return the middle at each row: a straight line, and a slow bend off it."""
    core = slice(len(t) // 6, max(len(t) - len(t) // 6, len(t) // 6 + 2))
    line = np.polyval(np.polyfit(t[core], middle[core], 1), rows)
    bend = np.interp(rows, t, middle) - line
    bend[(rows < t[0]) | (rows > t[-1])] = 0
    return np.asarray(line + blur(bend, MIDLINE_BLUR * float(np.ptp(t))), np.float32)


def blur(values: NDArray[np.floating], sigma: float) -> Float:
    """Return a sequence (N,) under a Gaussian of ``sigma`` steps, its ends held."""
    row = values.reshape(1, -1).astype(np.float32)
    smooth = cv2.GaussianBlur(row, (0, 0), max(sigma, 0.3), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(smooth, np.float32).ravel()
