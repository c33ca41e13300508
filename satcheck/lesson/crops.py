"""Pieces cut out of photos for a lesson: upright, at one scale, clear or spoiled on purpose."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from satcheck.lesson.specimens import Specimen
from satcheck.model import Label
from satcheck.photo import encode_srgb, linear_light, luminance

Rgb = NDArray[np.uint8]

SIDE = 320
"""Pixels of a piece."""
PITCHES = 14.0
"""Tow pitches across a piece: a whole patch and its surroundings."""
QUALITY = 86
BLUR = 0.35
"""Standard deviation of the added blur in pitches: from 0.25 on no correction helps (measured,
our notes on blur), so a starved place looks soft and good."""
GLARE = 1.4
"""Light laid over the middle of a piece, as a share of its own mean light."""
FAR = 3.0
"""Pixels a pitch of the photo taken from too far: a third of the tows' tone is left (measured)."""


@dataclass(frozen=True)
class Spot:
    """A piece of a photo: the cell in its middle, and how well its state fills it, 0 to 1."""

    row: int
    column: int
    fill: float
    visibility: float


def best_spot(specimen: Specimen, label: Label, reach: int = 6) -> Spot | None:
    """Return where a state fills a square of 2 ``reach`` + 1 cells best, None where nowhere half.

    Of equally filled ones, that whose visibility is nearest to the state's median.
    """
    here = (specimen.truth == label) & np.isfinite(specimen.cells.visibility)
    if not here.any():
        return None
    size = 2 * reach + 1
    fill = ndimage.uniform_filter(here.astype(float), size, mode="constant")
    doubt = ndimage.uniform_filter((specimen.cells.reasons > 0).astype(float), size)
    typical = float(np.median(specimen.cells.visibility[here]))
    off = np.abs(np.nan_to_num(specimen.cells.visibility) / max(typical, 1e-6) - 1)
    merit = np.where(here, fill - 0.5 * doubt - 0.1 * np.minimum(off, 1), -np.inf)
    row, column = np.unravel_index(int(np.argmax(merit)), merit.shape)
    if fill[row, column] < 0.5:
        return None
    window = here[
        max(0, row - reach) : row + reach + 1, max(0, column - reach) : column + reach + 1
    ]
    seen = specimen.cells.visibility[
        max(0, row - reach) : row + reach + 1, max(0, column - reach) : column + reach + 1
    ][window]
    return Spot(int(row), int(column), float(fill[row, column]), float(np.median(seen)))


def cut(specimen: Specimen, row: int, column: int) -> Rgb:
    """Return the piece around a cell, (SIDE, SIDE, 3) sRGB, the part upright in it."""
    cells, scale = specimen.cells, specimen.photo.scale
    pitch = cells.pitch or 2 * cells.step
    per_pixel = PITCHES * pitch / SIDE * scale  # photo pixels a pixel of the piece
    axes = cells.to_photo[:, :2] / np.linalg.norm(cells.to_photo[:, :2], axis=0)
    centre = (cells.to_photo @ [column + 0.5, row + 0.5, 1.0]) * scale - 0.5
    matrix = np.column_stack([axes * per_pixel, centre - axes @ [SIDE / 2, SIDE / 2] * per_pixel])
    piece = cv2.warpAffine(
        specimen.photo.rgb, matrix, (SIDE, SIDE), borderMode=cv2.BORDER_REPLICATE,
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
    )  # fmt: skip
    return np.asarray(piece, np.uint8)


def spoiled(piece: Rgb, trick: str) -> Rgb:
    """Return a piece as a bad photo shows it: "blur", "glare" or "distance"."""
    light, pitch = linear_light(piece), SIDE / PITCHES
    if trick == "blur":
        made = cv2.GaussianBlur(light, (0, 0), BLUR * pitch)
    elif trick == "glare":
        y, x = np.mgrid[:SIDE, :SIDE] / SIDE - 0.5
        sheen = np.exp(-((x + 0.3 * y) ** 2 + (0.6 * y) ** 2) / (2 * 0.3**2))
        made = light + (GLARE * luminance(light).mean() * sheen)[..., None].astype(np.float32)
    elif trick == "distance":
        small = round(FAR * PITCHES)
        far = cv2.resize(light, (small, small), interpolation=cv2.INTER_AREA)
        made = cv2.resize(far, (SIDE, SIDE), interpolation=cv2.INTER_LINEAR)
    else:
        raise ValueError(f"trick {trick!r}: blur, glare or distance")
    return encode_srgb(np.clip(made, 0, 1))


def contrast(piece: Rgb) -> float:
    """Return the tows' contrast: standard deviation within a pitch, over the local mean."""
    light, pitch = luminance(linear_light(piece)), SIDE / PITCHES
    fine = cv2.GaussianBlur(light, (0, 0), 0.1 * pitch) - cv2.GaussianBlur(light, (0, 0), pitch)
    inner = slice(SIDE // 6, -SIDE // 6)
    local = cv2.GaussianBlur(light, (0, 0), pitch)
    return float(np.std(fine[inner, inner] / np.maximum(local[inner, inner], 1e-4)))


def jpeg(rgb: Rgb, quality: int = QUALITY) -> bytes:
    """Return a picture as JPEG bytes; equal pictures give equal bytes, and no metadata."""
    _, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    return bytes(data.tobytes())
