"""The two pictures that the page shows of a photo: plain, and with the verdict drawn on it.

Both have the same size, so that a tap can change one for the other. The page says the verdict and
the legend itself, so the strips of ``overlay.overlay_jpeg`` are left out.
"""

from dataclasses import dataclass
from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from satcheck.area_mean import to_show
from satcheck.model import Inspection
from satcheck.overlay import draw_marks

LONG_SIDE = 1280  # a phone screen's own pixels across are about 1080
QUALITY = 85

Rgb = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Plain:
    """The upright photo as the page shows it: (h, w, 3) pixels, and the same as a JPEG."""

    rgb: Rgb
    jpeg: bytes


def plain_picture(rgb: Rgb) -> Plain:
    """Return the upright photo (H, W, 3) with its long side at most 1280 px."""
    scale = min(1.0, LONG_SIDE / max(rgb.shape[:2]))
    small = to_show(rgb, round(rgb.shape[1] * scale), round(rgb.shape[0] * scale))
    return Plain(small, _jpeg(small))


def marked_picture(plain: Plain, inspection: Inspection) -> bytes:
    """Return the JPEG of the same picture with the verdict drawn on it."""
    return _jpeg(draw_marks(plain.rgb, inspection))


def _jpeg(rgb: Rgb) -> bytes:
    stream = BytesIO()
    Image.fromarray(rgb).save(stream, "JPEG", quality=QUALITY)
    return stream.getvalue()
