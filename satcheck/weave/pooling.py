"""Gaussian means of a picture's layers, worked out only at the places that are asked for.

A mean over ten pixels changes little from pixel to pixel: the cells need one in each direction out
of six, and a blur of the whole layer would throw away the other thirty-five.
"""

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.area_mean import area_mean, whole_step

F32 = NDArray[np.float32]
Bool = NDArray[np.bool_]
Index = NDArray[np.intp]

WIDE = 1.5  # coarse pixels to a sigma: a wave's blur errs by less than 0.4 % (tests)


@dataclass(frozen=True, eq=False)
class Pool:
    """Places on a picture, a grid of rows and columns, at which layers are averaged.

    Attributes
    ----------
    mask : (H, W) bool array
        What counts.
    rows, columns : (R,), (C,) int arrays
        In pixels of the picture.
    """

    mask: Bool
    rows: Index
    columns: Index
    _kernels: dict[tuple[float, int], tuple[F32, F32]] = field(default_factory=dict, repr=False)
    _spreads: dict[float, F32] = field(default_factory=dict, repr=False)

    def at(self, layer: NDArray[np.generic]) -> NDArray[np.generic]:
        """Return a layer (H, W) at the places, (R, C)."""
        return layer[np.ix_(self.rows, self.columns)]

    def mean(self, layer: F32, sigma: float) -> F32:
        """Return a layer's (H, W) Gaussian mean over the mask, (R, C); sigma in pixels."""
        return self.blurred(layer * self._weight, sigma) / self._spread(sigma)

    def blurred(self, layer: F32, sigma: float) -> F32:
        """Return a layer (H, W) under a Gaussian, (R, C), as cv2.GaussianBlur has it there.

        A wide one is worked out on fewer pixels, less the variance of those that are averaged.
        """
        down, across = self._kernel(sigma, whole_step(sigma / WIDE))
        small = area_mean(layer, across.shape[1], down.shape[1])
        return np.asarray(down @ (small @ across.T), np.float32)

    def scattered(self, rows: Index, columns: Index, values: F32, sigma: float) -> F32:
        """Return values (n,) at pixels of an otherwise empty layer under a Gaussian, (R, C)."""
        ys, row = np.unique(rows, return_inverse=True)
        xs, column = np.unique(columns, return_inverse=True)
        grid = np.zeros((ys.size, xs.size), np.float32)
        grid[row, column] = values
        down, across = self._kernel(sigma, 1)
        return np.asarray(down[:, ys] @ grid @ across[:, xs].T, np.float32)

    def _kernel(self, sigma: float, step: int) -> tuple[F32, F32]:
        """Return the weights (R, H) down and (C, W) across, of a picture reduced by ``step``."""
        key = (sigma, step)
        if key not in self._kernels:
            down, across = (
                gaussian_rows(size, places, sigma, step)
                for size, places in zip(self.mask.shape, (self.rows, self.columns), strict=True)
            )
            self._kernels[key] = down, across
        return self._kernels[key]

    @cached_property
    def _weight(self) -> F32:
        return self.mask.astype(np.float32)

    def _spread(self, sigma: float) -> F32:
        """Return how much of a Gaussian lies on the mask, (R, C), at least 0.001."""
        if sigma not in self._spreads:
            spread = self.blurred(self._weight, sigma)
            self._spreads[sigma] = np.maximum(spread, np.float32(1e-3))
        return self._spreads[sigma]


def gaussian_rows(size: int, places: Index, sigma: float, step: int = 1) -> F32:
    """Return (n, ceil(size / step)) weights of a Gaussian around places on a line of pixels.

    The line is ``size`` pixels long, of which each ``step`` are averaged to one. The taps reach
    four sigma; beyond either end the line is mirrored, its end pixel not repeated.
    """
    count = math.ceil(size / step)
    scale = count / size
    centres = (places + 0.5) * scale - 0.5
    spread = math.sqrt((sigma * scale) ** 2 - (1 / 12 if step > 1 else 0))
    reach = (round(8 * spread + 1) | 1) // 2  # as OpenCV has it
    taps = np.rint(centres).astype(np.intp)[:, None] + np.arange(-reach, reach + 1)
    values = np.exp(-0.5 * ((taps - centres[:, None]) / spread) ** 2)
    values /= values.sum(1, keepdims=True)
    last = max(count - 1, 1)
    mirrored = np.minimum(last - np.abs(taps % (2 * last) - last), count - 1)
    line = np.arange(places.size)[:, None] * count + mirrored
    weights = np.bincount(line.ravel(), values.ravel(), places.size * count)
    return weights.reshape(places.size, count).astype(np.float32)
