"""Which photos are read: most is known from the header, before a pixel is decoded."""

import re
from typing import Any

from PIL import Image
from PIL.ImageFile import ImageFile
from PIL.JpegImagePlugin import JpegImageFile

from satcheck.errors import PhotoError
from satcheck.photo.kinds import WHOLE

LARGEST_PIXELS = 16384 * 12288
"""The largest photo read: what a phone sensor sold as 200 megapixels writes, as JPEG."""
LARGEST_WHOLE = 8192 * 6144
"""The largest that cannot be reduced while it is decoded (PNG, WebP, HEIC, a JPEG in passes): a 50
megapixel sensor's. As WebP it takes 0.9 GB at once, measured; of 200 megapixels a file of 0.6 MB
took 1.5 GB as PNG and 3 GB as WebP, and 15 s."""
MOST_PASSES = 50
"""Of a JPEG: encoders write about ten; each costs time over all pixels, however short it is."""
SMALLEST_SIDE = 300
LARGEST_ASPECT = 3

# Our own limit is checked on the header, before decoding. Pillow's is set so that it never refuses
# earlier: it raises beyond twice this number.
Image.MAX_IMAGE_PIXELS = LARGEST_PIXELS

_COLOUR = "a colour photo with 8 bits a channel (RGB) is allowed"
_MODES = {
    "1": "black and white",
    "L": "grey",
    "LA": "grey",
    "P": "a palette picture",
    "PA": "a palette picture",
    "CMYK": "CMYK",
}

# ITU-T H.273 transfer characteristics of high dynamic range: PQ and HLG
_HDR_TRANSFER = (16, 18)

# ITU-T T.81, B.1.1: a marker that is no stuffed byte and no restart within a scan's data
_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]", re.DOTALL)
_SCAN, _END = 0xDA, 0xD9


def largest_allowed(image: ImageFile, data: bytes, name: str) -> int:
    """Return how many pixels are allowed, from what is in the file and not yet decoded."""
    passes = 1
    if isinstance(image, JpegImageFile):
        assert image.fp is not None, "it is open until it is loaded"
        passes = count_passes(data, image.fp.tell())
        if passes > MOST_PASSES:
            problem = f"the JPEG is written in more than {MOST_PASSES} passes"
            raise PhotoError(name, problem, WHOLE)
    is_reduced = isinstance(image, JpegImageFile) and passes == 1
    return LARGEST_PIXELS if is_reduced else LARGEST_WHOLE


def count_passes(data: bytes, at: int) -> int:
    """Count the scans of a JPEG whose first one begins at ``at``, to one beyond `MOST_PASSES`."""
    passes = 1
    while passes <= MOST_PASSES and (found := _MARKER.search(data, at)):
        marker = data[found.end() - 1]
        if marker == _END:
            break
        passes += marker == _SCAN
        at = found.end() + max(2, int.from_bytes(data[found.end() : found.end() + 2], "big"))
    return passes


def check_size(width: int, height: int, largest: int, name: str) -> None:
    """Refuse a picture (pixels, upright or not) that is too large, too small or a panorama."""
    size = f"the photo is {width} x {height} pixels"
    if width * height > largest:
        size += f" ({width * height / 1e6:.0f} megapixels)"
        allowed = f"at most {largest // 10**6 // 10 * 10} megapixels are allowed"
        if largest == LARGEST_WHOLE:
            allowed += ", and 200 as a JPEG that is not progressive"
        raise PhotoError(name, size, allowed)
    if min(width, height) < SMALLEST_SIDE:
        raise PhotoError(name, size, f"at least {SMALLEST_SIDE} on the shorter side are allowed")
    if max(width, height) > LARGEST_ASPECT * min(width, height):
        allowed = f"a longer side of at most {LARGEST_ASPECT} times the shorter is allowed"
        raise PhotoError(name, f"{size}, a panorama", allowed)


def check_pixel_format(image: ImageFile, data: bytes, kind: str, name: str) -> None:
    """Refuse, still by the header, what is not one frame of 8-bit RGB or RGBA."""
    # A HEIC may hold several still pictures: its primary one is read.
    if kind != "HEIC" and getattr(image, "is_animated", False):
        raise PhotoError(name, "the picture is animated", "a still photo is allowed")
    if kind == "PNG" and data[24] > 8:  # IHDR: Pillow would drop the lower half silently
        raise PhotoError(name, f"the photo has {data[24]} bits a channel", _COLOUR)
    nclx: dict[str, Any] = image.info.get("nclx_profile") or {}
    if nclx.get("transfer_characteristics") in _HDR_TRANSFER:
        raise PhotoError(name, "the photo has high dynamic range (HDR)", _COLOUR)
    if image.mode not in ("RGB", "RGBA"):
        problem = f"the photo is {_MODES.get(image.mode, 'of mode ' + image.mode)}"
        raise PhotoError(name, problem, _COLOUR)


def check_opaque(image: ImageFile, name: str) -> None:
    """Refuse see-through pixels: they have no one colour. `image` is loaded."""
    opaque = image.mode == "RGB" or image.getchannel("A").getextrema() == (255, 255)
    if not opaque or "transparency" in image.info:
        raise PhotoError(name, "the photo has see-through pixels (alpha)", _COLOUR)
