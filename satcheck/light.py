"""Between sRGB codes and light: linear, its luminance, lightness and L*a*b*.

References
----------
IEC 61966-2-1:1999, sRGB: transfer function and primaries (those of ITU-R BT.709).
CIE 15:2004, Colorimetry: lightness L*.
"""

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray


def _decoded(encoded: NDArray[np.float64]) -> NDArray[np.float64]:
    """IEC 61966-2-1, from 0..1 encoded to 0..1 linear."""
    power = ((encoded + 0.055) / 1.055) ** 2.4
    return np.where(encoded <= 0.04045, encoded / 12.92, power)


_LINEAR = _decoded(np.arange(256) / 255).astype(np.float32)
_CODES = np.rint(65535 * _LINEAR).astype(np.uint16)
_WEIGHTS = np.array([0.2126, 0.7152, 0.0722], np.float32)  # IEC 61966-2-1, BT.709: red to blue

# IEC 61966-2-1: linear red, green, blue to X, Y, Z, each over the white's
_TO_XYZ = (
    np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    / np.array([[0.9505], [1.0], [1.0890]])
).astype(np.float32)

_TO_LAB = np.array([[0, 116, 0, -16], [500, -500, 0, 0], [0, 200, -200, 0]], np.float32)


def linear_light(rgb: NDArray[np.uint8], gain: float = 1.0) -> NDArray[np.float32]:
    """Decode sRGB codes to linear light (IEC 61966-2-1).

    Parameters
    ----------
    rgb : ndarray of uint8, any shape
        sRGB codes.
    gain : float
        By which the codes are multiplied beforehand; what exceeds white is white.

    Returns
    -------
    ndarray of float32, same shape
        Linear light, 0 to 1.
    """
    if rgb.size == 0:
        return np.zeros(rgb.shape, np.float32)
    table = _LINEAR
    if gain != 1:
        table = _decoded(np.minimum(gain * np.arange(256) / 255, 1)).astype(np.float32)
    return np.asarray(cv2.LUT(rgb, table), np.float32).reshape(rgb.shape)


def linear_codes(rgb: NDArray[np.uint8]) -> NDArray[np.uint16]:
    """Decode sRGB codes to linear light in 65,535 steps, of which the darkest code spans 20.

    In half of the bytes of `linear_light`, for pictures that are averaged next.
    """
    if rgb.size == 0:
        return np.zeros(rgb.shape, np.uint16)
    return np.asarray(cv2.LUT(rgb, _CODES), np.uint16).reshape(rgb.shape)


def encode_srgb(linear: ArrayLike) -> NDArray[np.uint8]:
    """Encode linear light to sRGB codes (IEC 61966-2-1), the inverse of `linear_light`.

    Parameters
    ----------
    linear : array_like of float, any shape
        Linear light; what lies outside 0 to 1 is clipped.

    Returns
    -------
    ndarray of uint8, same shape
        The nearest sRGB codes.
    """
    light = np.clip(np.asarray(linear), 0, 1)
    encoded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    codes: NDArray[np.uint8] = np.rint(255 * encoded).astype(np.uint8)
    return codes


def luminance(linear: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return relative luminance Y, with the weights of IEC 61966-2-1 (ITU-R BT.709).

    Parameters
    ----------
    linear : ndarray of float32, shape (H, W, 3)
        Linear light, red, green, blue.

    Returns
    -------
    ndarray of float32, shape (H, W)
        Luminance relative to the photo's white, 0 to 1 for input in 0 to 1.
    """
    return linear.astype(np.float32, copy=False) @ _WEIGHTS


def lightness(y: ArrayLike) -> NDArray[np.float32]:
    """Return CIE 1976 lightness L* (CIE 15:2004, 8.2.1.1).

    Parameters
    ----------
    y : array_like of float, any shape
        Luminance relative to white, not negative.

    Returns
    -------
    ndarray of float32, same shape
        L*, 0 for black to 100 for white.
    """
    relative = np.asarray(y, np.float32)
    dark = (29 / 3) ** 3 * relative  # 903.3, the exact form of CIE 15:2004
    return np.where(relative > (6 / 29) ** 3, 116 * np.cbrt(relative) - 16, dark).astype(np.float32)


def cielab(linear: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return CIE 1976 L*a*b* for the white D65 (CIE 15:2004, 8.2.1).

    OpenCV has this too, but builds tables for a tenth of a second before its first pixel.

    Parameters
    ----------
    linear : ndarray of float32, shape (H, W, 3)
        Linear light of sRGB's primaries, 0 to 1.

    Returns
    -------
    ndarray of float32, shape (H, W, 3)
        L*, 0 for black to 100 for white, a* (green to red) and b* (blue to yellow).
    """
    ratio = np.asarray(cv2.transform(linear, _TO_XYZ), np.float32)
    root = np.asarray(cv2.pow(ratio, 1 / 3), np.float32)
    dark = ratio <= (6 / 29) ** 3
    root[dark] = np.float32(841 / 108) * ratio[dark] + np.float32(4 / 29)
    return np.asarray(cv2.transform(root, _TO_LAB), np.float32)
