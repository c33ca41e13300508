"""A photo's pixels, decoded at the size that is asked for."""

import math
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL.ImageFile import ImageFile
from PIL.JpegImagePlugin import JpegImageFile

STRIP = 64
"""Rows copied out of Pillow at once: a strip stays in the cache, and no second picture is made."""
_FILLING = "extraneous bytes before marker 0xd9"
"""How libjpeg words that there is something between a whole picture and its end: no harm."""


def reduction_to(pixels: int, max_pixels: int) -> float:
    """Return the smallest of 1, 3/2, 2, 3, 4, 6, 8, ... that brings `pixels` to `max_pixels`."""
    need = math.sqrt(pixels / max_pixels)
    halvings: float = 2 ** max(0, math.ceil(math.log2(need)))
    return 0.75 * halvings if halvings > 1 and 0.75 * halvings >= need else halvings


def decoded(image: ImageFile, data: bytes, reduction: float) -> NDArray[np.uint8]:
    """Decode to (H, W, 3), reduced; the larger part within the JPEG decoder, to save memory."""
    width, height = image.size
    if isinstance(image, JpegImageFile):
        rgb = _from_jpeg(data, min(8, 2 ** int(math.log2(reduction))), width, height)
    else:
        rgb = _from_pillow(image)
    rest = reduction * rgb.shape[1] / width
    if rest < 1.25:  # the decoder's own rounding up to whole pixels is not a reduction
        return rgb
    size = (int(width / reduction), int(height / reduction))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)


def _from_jpeg(data: bytes, step: int, width: int, height: int) -> NDArray[np.uint8]:
    """Decode a JPEG, reduced by 1, 2, 4 or 8; raises where its data end early."""
    import simplejpeg  # an import that only this kind needs

    least = {"min_height": height // step, "min_width": width // step}
    decode = partial(simplejpeg.decode_jpeg, data, "RGB", **least, min_factor=step)
    try:
        return np.asarray(decode(), np.uint8)
    except ValueError as error:
        if _FILLING not in str(error):
            raise
        return np.asarray(decode(strict=False), np.uint8)


def _from_pillow(image: ImageFile) -> NDArray[np.uint8]:
    """Decode what Pillow has opened; raises where its data end early."""
    image.load()
    rgb = np.empty((image.height, image.width, 3), np.uint8)
    for top in range(0, image.height, STRIP):
        bottom = min(top + STRIP, image.height)
        rgb[top:bottom] = np.asarray(image.crop((0, top, image.width, bottom)))[..., :3]
    return rgb
