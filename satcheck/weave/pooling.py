"""Gaussian means of a picture's layers, worked out only at the places that are asked for.

A mean over ten pixels changes little from pixel to pixel: the cells need one in each direction out
of six, and a blur of the whole layer would throw away the other thirty-five.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]
Bool = NDArray[np.bool_]
Index = NDArray[np.intp]


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
    _kernels: dict[float, tuple[F32, F32]] = field(default_factory=dict, repr=False)
    _spreads: dict[float, F32] = field(default_factory=dict, repr=False)

    @classmethod
    def everywhere(cls, mask: Bool) -> "Pool":
        """Return the pool with a place at every pixel."""
        return cls(mask, np.arange(mask.shape[0]), np.arange(mask.shape[1]))

    def at(self, layer: NDArray[np.generic]) -> NDArray[np.generic]:
        """Return a layer (H, W) at the places, (R, C)."""
        return layer[np.ix_(self.rows, self.columns)]

    def mean(self, layer: F32, sigma: float) -> F32:
        """Return a layer's (H, W) Gaussian mean over the mask, (R, C); sigma in pixels."""
        return self.blurred(layer * self.mask, sigma) / self._spread(sigma)

    def blurred(self, layer: F32, sigma: float) -> F32:
        """Return a layer (H, W) under a Gaussian, (R, C), as cv2.GaussianBlur has it there."""
        down, across = self._kernel(sigma)
        return np.asarray(down @ (layer @ across.T), np.float32)

    def scattered(self, rows: Index, columns: Index, values: F32, sigma: float) -> F32:
        """Return values (n,) at pixels of an otherwise empty layer under a Gaussian, (R, C)."""
        ys, row = np.unique(rows, return_inverse=True)
        xs, column = np.unique(columns, return_inverse=True)
        grid = np.zeros((ys.size, xs.size), np.float32)
        grid[row, column] = values
        down, across = self._kernel(sigma)
        return np.asarray(down[:, ys] @ grid @ across[:, xs].T, np.float32)

    def _kernel(self, sigma: float) -> tuple[F32, F32]:
        """Return the weights (R, H) down and (C, W) across of a Gaussian around the places."""
        if sigma not in self._kernels:
            height, width = self.mask.shape
            down = gaussian_rows(height, self.rows, sigma)
            self._kernels[sigma] = down, gaussian_rows(width, self.columns, sigma)
        return self._kernels[sigma]

    def _spread(self, sigma: float) -> F32:
        """Return how much of a Gaussian lies on the mask, (R, C), at least 0.001."""
        if sigma not in self._spreads:
            spread = self.blurred(self.mask.astype(np.float32), sigma)
            self._spreads[sigma] = np.maximum(spread, np.float32(1e-3))
        return self._spreads[sigma]


def gaussian_rows(size: int, places: Index, sigma: float) -> F32:
    """Return (n, size) weights of a Gaussian around places on a line of ``size`` pixels.

    The taps reach four sigma; beyond either end the line is mirrored, its end pixel not repeated.
    """
    taps = cv2.getGaussianKernel(round(8 * sigma + 1) | 1, sigma, cv2.CV_32F).ravel()
    reach = taps.size // 2
    mirrored = np.pad(np.arange(size), reach, mode="reflect" if size > 1 else "edge")
    hit = mirrored[places[:, None] + np.arange(taps.size)[None, :]]
    weights = np.zeros((places.size, size), np.float32)
    np.add.at(weights, (np.arange(places.size)[:, None], hit), taps[None, :])
    return weights
