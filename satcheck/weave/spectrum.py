"""Flattened contrast of a picture and the power spectra of its windows."""

import math
from functools import lru_cache

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from satcheck.arrays.area_mean import area_mean, whole_step

CHUNK = 16  # windows: their spectra stay in a core's cache

F32 = NDArray[np.float32]
Bool = NDArray[np.bool_]

DARK_FLOOR = 0.002  # linear; keeps the logarithm of a black pixel within the sensor's own floor
WIDE = 3.0  # coarse pixels to a sigma: a wave's blur errs by less than 0.8 % (tests)
CLIP = 1.0  # natural log units; a glint or a scratch must not outweigh a whole window


def blur(values: F32, sigma: float) -> F32:
    """Return ``values`` (H, W) or (H, W, C) under a Gaussian, sigma in pixels.

    A wide one is worked out on fewer pixels: the variance of the pixels that are averaged and of
    the linear interpolation between them, 1/12 and 1/6 of a coarse pixel, is taken from its own.
    """
    step = whole_step(sigma / WIDE)
    if step < 2:
        return np.asarray(cv2.GaussianBlur(values, (0, 0), sigma), np.float32)
    height, width = values.shape[:2]
    size = (math.ceil(width / step), math.ceil(height / step))
    small = area_mean(values, *size)
    across, down = (
        math.sqrt((sigma * few / many) ** 2 - 1 / 12 - 1 / 6)
        for few, many in zip(size, (width, height), strict=True)
    )
    soft = cv2.GaussianBlur(small, (0, 0), across, sigmaY=down)
    return np.asarray(cv2.resize(soft, (width, height)), np.float32)


def masked_blur(values: F32, weight: F32, sigma: float) -> F32:
    """Return the Gaussian mean of ``values`` over where ``weight`` (H, W) is, sigma in pixels.

    ``values`` are (H, W), or (H, W, C) of several channels.
    """
    spread = np.maximum(blur(weight, sigma), np.float32(1e-3))
    if values.ndim == 3:
        weight, spread = weight[..., None], spread[..., None]
    return np.asarray(blur(values * weight, sigma) / spread, np.float32)


def contrast(luminance: F32, mask: Bool, pitch: float) -> F32:
    """Return the natural log of luminance over its local mean; 0 outside the mask.

    Division by the local mean makes the value independent of exposure and of slow shading
    (homomorphic flattening); the mean is taken over 1.2 pitches, on the logarithm.

    Parameters
    ----------
    luminance : (H, W) float32 array, linear, 0 to 1
    mask : (H, W) bool array
    pitch : float
        Tow pitch in pixels.
    """
    weight = mask.astype(np.float32)
    log = np.log(np.maximum(luminance, 0) + np.float32(DARK_FLOOR))
    flat = (log - masked_blur(log, weight, 1.2 * pitch)) * weight
    return np.asarray(np.clip(flat, -CLIP, CLIP), np.float32)


def hann(size: int) -> F32:
    """Return the (size, size) Hann window without its zero rim."""
    edge = np.hanning(size + 2)[1:-1]
    return np.outer(edge, edge).astype(np.float32)


def power(
    picture: F32, rows: NDArray[np.intp], columns: NDArray[np.intp], size: int, padded: int
) -> F32:
    """Return the one-sided power spectra of Hann windows of a picture.

    Parameters
    ----------
    picture : (H, W) float32 array
    rows, columns : (n,) int arrays
        Upper left corners of the windows.
    size : int
        Side of a window in pixels.
    padded : int
        Side of the transform; zeros are added to reach it.

    Returns
    -------
    (n, padded, padded // 2 + 1) float32 array
        Rows are fftfreq(padded), columns rfftfreq(padded), in cycles per pixel. Scaled as a
        density: white noise of variance v has the mean v (the scaling of scipy.signal's
        periodogram with scaling='density', but for its doubling of the one-sided half).
    """
    every = sliding_window_view(picture, (size, size))
    across = _waves(size, padded)
    down = np.ascontiguousarray(across.T) / np.linalg.norm(hann(size))
    density = np.empty((len(rows), padded, padded // 2 + 1), np.float32)

    for start in range(0, len(rows), CHUNK):
        chosen = slice(start, start + CHUNK)
        tiles = every[rows[chosen], columns[chosen]]
        tiles -= tiles.mean((1, 2), keepdims=True)
        turned = (tiles.reshape(-1, size) @ across).reshape(len(tiles), size, -1)
        _squared(down @ turned, density[chosen])
    return density


@lru_cache(8)
def _waves(size: int, padded: int) -> F32:
    """Return (size, 2 * (padded // 2 + 1)) cosines, then sines, of rfftfreq under a Hann window.

    So few pixels are transformed by a product of matrices in half of the time that the fast
    transform takes (DEVELOPERS, Speed).
    """
    phase = 2 * np.pi * np.outer(np.arange(size), np.fft.rfftfreq(padded))
    edge = np.hanning(size + 2)[1:-1, None]
    waves = np.concatenate([np.cos(phase) * edge, np.sin(phase) * edge], 1).astype(np.float32)
    waves.flags.writeable = False
    return waves


def _squared(products: F32, power: F32) -> None:
    """Fill ``power`` (n, N, K) from what cosines and sines, down and across, made of n windows.

    A wave that falls from left to right and one that rises share the four ``products``
    (n, 2 K, 2 K): the real part of either is cos cos -+ sin sin, the other cos sin +- sin cos.
    """
    half = power.shape[2]
    (even, right), (down, odd) = (
        (rows[..., :half], rows[..., half:]) for rows in (products[:, :half], products[:, half:])
    )
    np.add((even - odd) ** 2, (right + down) ** 2, out=power[:, :half])
    mirrored = np.s_[:, (power.shape[1] - 1) // 2 : 0 : -1]
    even, odd, right, down = (each[mirrored] for each in (even, odd, right, down))
    np.add((even + odd) ** 2, (right - down) ** 2, out=power[:, half:])
