"""Pieces cut out of photos for a lesson: upright, at one scale, clear or spoiled on purpose."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from satcheck.lesson.specimens import Specimen
from satcheck.light import encode_srgb, linear_light, luminance
from satcheck.model import Label

Rgb = NDArray[np.uint8]

SIDE = 320
"""Pixels of a piece."""
PITCHES = 14.0
"""Tow pitches across a piece: a whole patch and its surroundings."""
REACH, WHOLE = 6, 14
"""Cells of half a pitch from the middle: the part that must show the state, and the whole piece."""
QUALITY = 86
GREY, MOST_GAIN = 0.18, 3.0
"""Linear luminance of middle grey (photographic convention), and how far a piece is brightened."""
BLUR = 0.35
"""Standard deviation of the added blur in pitches: from 0.25 on no correction helps (measured,
our notes on blur), so a starved place looks soft and good."""
GLARE = 1.4
"""Light laid over the middle of a piece, as a share of its own mean light."""
FAR = 3.0
"""Pixels a pitch of the photo taken from too far: a third of the tows' tone is left (measured)."""


@dataclass(frozen=True)
class Spot:
    """A piece of a photo: the cell in its middle, and how well it shows its state, at most 1."""

    row: int
    column: int
    merit: float
    visibility: float


def best_spot(specimen: Specimen, label: Label) -> Spot | None:
    """Return where a piece shows a state best, of those it fills half; None where there is none.

    What counts: how far the state fills the piece's middle, then little doubt, no shade or
    mirrored lamp, no background in the whole piece, and a visibility typical of the state.
    """
    cells = specimen.cells
    here = (specimen.truth == label) & np.isfinite(cells.visibility)
    fill = _mean(here, 2 * REACH + 1)
    allowed = here & (fill >= 0.5)
    if not allowed.any():
        return None
    around = 2 * WHOLE + 1
    typical = float(np.median(cells.visibility[here]))
    odd = np.abs(np.nan_to_num(cells.visibility) / max(typical, 1e-6) - 1)
    merit = (
        fill
        - 0.5 * _mean(~cells.part | (cells.reasons > 0), around)
        - 0.5 * _mean(_unlike(cells.cues["light"], here), around)
        - 0.1 * np.minimum(odd, 1)
    )
    row, column = np.unravel_index(int(np.argmax(np.where(allowed, merit, -np.inf))), here.shape)
    near = np.zeros_like(here)
    near[max(0, row - REACH) : row + REACH + 1, max(0, column - REACH) : column + REACH + 1] = True
    seen = float(np.median(cells.visibility[near & here]))
    return Spot(int(row), int(column), float(merit[row, column]), seen)


def _mean(layer: NDArray[np.generic], size: int) -> NDArray[np.float64]:
    """Return the mean over a square of cells; beyond the grid nothing fills it."""
    filled = ndimage.uniform_filter(layer.astype(np.float64), size, mode="constant")
    return np.asarray(filled)


def _unlike(light: NDArray[np.float32], here: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return how far a cell's light is from the state's usual one, 0 to 1; log units."""
    usual = light[here & np.isfinite(light)]
    middle = float(np.median(usual)) if usual.size else 0.0
    return np.asarray(np.minimum(np.nan_to_num(np.abs(light - middle), nan=1.0), 1.0), np.float64)


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


def exposed(pieces: Sequence[Rgb]) -> list[Rgb]:
    """Return pieces under one exposure: together brought to middle grey, 18 %, never darkened.

    One factor for all, so that what is paler than its neighbour stays paler.
    """
    light = [linear_light(piece) for piece in pieces]
    mean = float(np.median([luminance(each).mean() for each in light]))
    gain = float(np.clip(GREY / max(mean, 1e-4), 1.0, MOST_GAIN))
    return [encode_srgb(np.clip(gain * each, 0, 1)) for each in light]


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
