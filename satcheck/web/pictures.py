"""The pictures that the page shows of a photo: plain, and with the verdict drawn on it.

Both have the same size, so that a tap can change one for the other. The page says the verdict and
the legend itself, so the strips of ``overlay.draw.overlay_jpeg`` are left out.
"""

from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from satcheck.arrays.area_mean import to_show

LONG_SIDE = 1280  # a phone screen's own pixels across are about 1080
QUALITY = 85

Rgb = NDArray[np.uint8]


def shown(rgb: Rgb) -> Rgb:
    """Return the upright photo (H, W, 3) with its long side at most 1280 px."""
    scale = min(1.0, LONG_SIDE / max(rgb.shape[:2]))
    return to_show(rgb, round(rgb.shape[1] * scale), round(rgb.shape[0] * scale))


def jpeg(rgb: Rgb) -> bytes:
    """Return a picture (h, w, 3) as the bytes of a JPEG."""
    stream = BytesIO()
    Image.fromarray(rgb).save(stream, "JPEG", quality=QUALITY)
    return stream.getvalue()
