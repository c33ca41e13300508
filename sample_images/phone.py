"""A phone's camera in NumPy: linear light in, JPEG out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from laminate import Array
from numpy.typing import NDArray
from PIL import Image

ROTATED = {1: 0, 6: 1, 8: 3}  # EXIF orientation -> quarter turns from upright to stored


@dataclass(frozen=True)
class Phone:
    """One exposure's settings: lens blur (px), defocus (px), noise, and how the file is kept."""

    blur_px: float
    defocus_px: float
    photons: float
    stops: float
    quality: int
    orientation: int
    taken: str


def expose(linear: Array, stops: float) -> Array:
    """Meter like a phone: centre-weighted mean to mid grey, highlights held, half balanced."""
    rows, cols = linear.shape[:2]
    weight = np.outer(np.hanning(rows) + 0.2, np.hanning(cols) + 0.2)
    mean = np.average(linear.reshape(-1, 3), axis=0, weights=weight.ravel())
    balanced = linear * (mean.mean() / mean) ** 0.5
    grey = balanced.mean(-1)
    bright = np.percentile(cv2.blur(grey, (9, 9)), 97)
    gain = min(0.17 / np.average(grey, weights=weight), 0.95 / bright)
    return np.asarray(balanced * gain * 2**stops, np.float32)


def develop(rng: np.random.Generator, linear: Array, phone: Phone) -> NDArray[np.uint8]:
    """Upright linear RGB (rows, columns, 3) to 8-bit sRGB."""
    calm = cv2.medianBlur(linear, 3)
    limit = 1.8 * calm.max(-1, keepdims=True) + 0.2 * np.median(linear)
    speck = linear.max(-1, keepdims=True) > limit
    light = expose(np.where(speck, calm, linear), phone.stops)  # stray bright paths removed
    flare = cv2.GaussianBlur(np.minimum(light, 4), (0, 0), 40)
    light = np.minimum(light, 8) * 0.985 + flare * 0.015  # veil of a phone lens (own assumption)
    lens = cv2.GaussianBlur(light, (0, 0), float(np.hypot(phone.blur_px, phone.defocus_px)))
    shot = rng.poisson(np.clip(lens, 0, 4) * phone.photons) / phone.photons
    read = shot + rng.normal(0, 0.0012, shot.shape)
    root = np.sqrt(np.clip(read, 0, 1)).astype(np.float32)  # evens out shot noise
    calm = cv2.bilateralFilter(root, 5, 0.035, 1.2)
    crisp = calm + 0.55 * (calm - cv2.GaussianBlur(calm, (0, 0), 1.3))
    value = np.clip(crisp, 0, 1) ** 2
    curve = np.where(value <= 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055)
    toned = curve + 0.03 * np.sin(2 * np.pi * (curve - 0.5))  # gentle S
    return np.asarray(np.clip(toned * 255 + 0.5, 0, 255), np.uint8)


def save(path: Path, upright: NDArray[np.uint8], phone: Phone) -> None:
    """Write the JPEG, stored turned when its EXIF orientation says so."""
    exif = Image.Exif()
    if phone.orientation != 1:
        exif[0x0112] = phone.orientation
    if phone.taken:
        exif[0x0132] = phone.taken
        exif.get_ifd(0x8769)[0x9003] = phone.taken
    stored = np.rot90(upright, ROTATED[phone.orientation])
    Image.fromarray(np.ascontiguousarray(stored)).save(
        path, quality=phone.quality, subsampling="4:2:0", exif=exif.tobytes()
    )
