"""Phone photos to pixels: upright and sRGB-encoded.

A photo is told by its content, never by its file name, and its size is known from the header
before a pixel is decoded. Of all that a phone writes beside the pixels only the orientation, the
colour profile and the time of exposure are read; the place is not.
"""

import hashlib
import math
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from io import BytesIO
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageCms
from PIL.ImageFile import ImageFile
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.WebPImagePlugin import WebPImageFile

from satcheck.errors import PhotoError

DEFAULT_MAX_PIXELS = 3_150_000
"""A 12 megapixel photo (4096 x 3072) is halved once: a part that fills half of its width then has
25 pixels to a pitch, twice what its weave is measured at."""

CLOSE_MAX_PIXELS = 12_600_000
"""A 12 megapixel photo stays whole, and a 50 megapixel one (8192 x 6144) is halved just once."""

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

_KINDS = "a JPEG, HEIC, PNG, WebP or MPO photo is allowed"
_COLOUR = "a colour photo with 8 bits a channel (RGB) is allowed"
_WHOLE = "a whole JPEG, HEIC, PNG, WebP or MPO photo is allowed: copy it from the phone again"

_MODES = {
    "1": "black and white",
    "L": "grey",
    "LA": "grey",
    "P": "a palette picture",
    "PA": "a palette picture",
    "CMYK": "CMYK",
}

# EXIF 2.32, tag 0x0112: orientation -> (swap rows and columns first?, then flip: cv2's code)
_UPRIGHT: dict[int, tuple[bool, int | None]] = {
    1: (False, None),
    2: (False, 1),
    3: (False, -1),
    4: (False, 0),
    5: (True, None),
    6: (True, 1),
    7: (True, -1),
    8: (True, 0),
}

# ITU-T H.273 transfer characteristics of high dynamic range: PQ and HLG
_HDR_TRANSFER = (16, 18)

# ITU-T T.81, B.1.1: a marker that is no stuffed byte and no restart within a scan's data
_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]", re.DOTALL)
_SCAN, _END = 0xDA, 0xD9

_FILLING = "extraneous bytes before marker 0xd9"
"""How libjpeg words that there is something between a whole picture and its end: no harm."""

_STRIP = 64
"""Rows copied out of Pillow at once: a strip stays in the cache, and no second picture is made."""


@dataclass(frozen=True, eq=False)
class Photo:
    """One photo, upright and in sRGB.

    Attributes
    ----------
    name : str
        File name, for messages and tables.
    sha256 : str
        SHA-256 of the file's bytes, 64 hexadecimal digits.
    width, height : int
        Size of the stored photo in pixels, upright; ``rgb`` may be smaller.
    taken : str or None
        EXIF DateTimeOriginal as ISO 8601 local time without zone; None if it is not stored.
    rgb : ndarray of uint8, shape (H, W, 3)
        Upright pixels, row 0 at the top, sRGB-encoded (IEC 61966-2-1).
    data : bytes
        The file's, from which a reduced photo can be looked at more closely; empty where ``rgb``
        came from elsewhere.
    """

    name: str
    sha256: str
    width: int
    height: int
    taken: str | None
    rgb: NDArray[np.uint8]
    data: bytes = field(default=b"", repr=False)

    @property
    def scale(self) -> float:
        """Pixels of ``rgb`` per pixel of the stored photo, at most 1."""
        return float(self.rgb.shape[1] / self.width)


def read_photo(path: Path, max_pixels: int = DEFAULT_MAX_PIXELS) -> Photo:
    """Read one photo from a file.

    Parameters
    ----------
    path : Path
        The file; its extension means nothing.
    max_pixels : int
        As for `decode_photo`.

    Returns
    -------
    Photo
        Named by the last part of the path.

    Raises
    ------
    PhotoError
        If there is no such file, it cannot be opened, or `decode_photo` refuses its content.
    """
    name = path.name or str(path)
    try:
        if path.is_dir():
            raise PhotoError(name, "this is a folder", _KINDS)
        if not path.exists():
            raise PhotoError(name, "there is no such file", _KINDS)
        if not path.is_file():
            raise PhotoError(name, "this is not a file", _KINDS)
        data = path.read_bytes()
    except OSError as error:
        problem = f"the file cannot be opened ({error.strerror})"
        raise PhotoError(name, problem, "a readable file is allowed") from error
    return decode_photo(data, name, max_pixels)


def decode_photo(data: bytes, name: str, max_pixels: int = DEFAULT_MAX_PIXELS) -> Photo:
    """Decode one photo from the bytes of its file.

    Parameters
    ----------
    data : bytes
        The whole file: JPEG, MPO (its first picture), HEIC, PNG or WebP.
    name : str
        What to call the photo in messages.
    max_pixels : int
        A larger photo is reduced by 3/2, 2, 3, 4, 6, 8, ... to about this number of pixels at
        most. Every pixel of such a step averages the same pattern of stored pixels (or its mirror
        image), so the steps keep the contrast of a texture even all over the photo; a step near 1
        would not.

    Returns
    -------
    Photo
        Upright by EXIF (HEIC: by the file's own boxes), converted to sRGB if it carries another
        colour profile.

    Raises
    ------
    PhotoError
        If the bytes are no whole photo of an allowed kind; if it is not 8-bit RGB, has
        see-through pixels or several frames; if the shorter side is under 300 pixels, the longer
        one over 3 times the shorter, or all are over 201 million (JPEG in one pass, a 200 megapixel
        sensor) or 50 million (others); if there is not enough memory for it.

    Notes
    -----
    Reduction averages encoded values, as the JPEG decoder's own scaling does. A JPEG whose data
    were altered without shortening it cannot be told from a sound one.
    """
    kind = _sniff(data, name)
    with _decoding(kind, name):
        image = _open(data, kind)
        width, height = image.size
        _check_size(width, height, _largest(image, data, name), name)
        _check_pixel_format(image, data, kind, name)
        rgb = _pixels(image, data, _reduction(width * height, max_pixels))
        _check_opaque(image, name)
        orientation, taken = _exif(image)
        rgb = _to_srgb(rgb, image.info.get("icc_profile"), name)
    if kind == "HEIC":  # libheif has turned it already by the file's irot and imir boxes
        orientation = 1
    if _UPRIGHT[orientation][0]:
        width, height = height, width
    sha256 = hashlib.sha256(data).hexdigest()
    return Photo(name, sha256, width, height, taken, _turn(rgb, orientation), data)


def closer(photo: Photo) -> Photo | None:
    """Return a photo with more of its pixels; None where there are no more.

    Raises
    ------
    PhotoError
        If there is not enough memory for it.
    """
    if not photo.data or photo.scale >= 1 or photo.rgb.size > 3 * DEFAULT_MAX_PIXELS:
        return None
    return decode_photo(photo.data, photo.name, CLOSE_MAX_PIXELS)


def _sniff(data: bytes, name: str) -> str:
    """Return the kind of photo that the first bytes announce, or say what else it is."""
    if not data:
        raise PhotoError(name, "the file is empty", _KINDS)
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WebP"
    if data[4:8] == b"ftyp":
        return _sniff_boxes(data, name)
    foreign = {b"GIF8": "a GIF", b"II*\0": "a TIFF or raw file", b"MM\0*": "a TIFF or raw file"}
    found = foreign.get(data[:4])
    if data[:2] == b"BM" and data[6:10] == bytes(4):  # the four reserved bytes of a BMP
        found = "a BMP"
    raise PhotoError(name, f"this is {found or 'not a photo'}", _KINDS)


def _sniff_boxes(data: bytes, name: str) -> str:
    """Tell HEIC from its relatives by the brands of its file type box (ISO/IEC 23008-12)."""
    box = data[8 : min(int.from_bytes(data[:4], "big"), 512)]
    brands = {box[i : i + 4] for i in range(0, len(box), 4) if i != 4}  # [4:8] is a version
    if brands & {b"heic", b"heix", b"heim", b"heis"}:
        return "HEIC"
    found = "an AVIF" if brands & {b"avif", b"avis"} else "a film or another kind of picture"
    raise PhotoError(name, f"this is {found}", _KINDS)


@contextmanager
def _decoding(kind: str, name: str) -> Iterator[None]:
    """Turn whatever a decoder raises into a PhotoError, and keep its warnings to itself."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except PhotoError:
        raise
    except Exception as error:
        if isinstance(error, MemoryError) or getattr(error, "code", 0) == cv2.Error.StsNoMem:
            problem = "there is not enough memory to read it"
            raise PhotoError(name, problem, "a smaller photo is allowed") from error
        # Decoders promise no set of exceptions for damaged bytes (struct, zlib, index, ...).
        raise PhotoError(name, f"the {kind} is damaged or cut short", _WHOLE) from error


def _open(data: bytes, kind: str) -> ImageFile:
    """Read the header. Each format's own class is called: it tries no other format on the bytes.

    For JPEG that means the first picture of an MPO too.
    """
    stream = BytesIO(data)
    if kind == "PNG":
        return PngImageFile(stream)
    if kind == "WebP":
        return WebPImageFile(stream)
    if kind == "HEIC":
        from pillow_heif import HeifImageFile  # an import that only this kind needs

        heif: ImageFile = HeifImageFile(stream)  # type: ignore[no-untyped-call]
        return heif
    return JpegImageFile(stream)


def _largest(image: ImageFile, data: bytes, name: str) -> int:
    """Return how many pixels are allowed, from what is in the file and not yet decoded."""
    passes = 1
    if isinstance(image, JpegImageFile):
        assert image.fp is not None, "it is open until it is loaded"
        passes = _passes(data, image.fp.tell())
        if passes > MOST_PASSES:
            problem = f"the JPEG is written in more than {MOST_PASSES} passes"
            raise PhotoError(name, problem, _WHOLE)
    is_reduced = isinstance(image, JpegImageFile) and passes == 1
    return LARGEST_PIXELS if is_reduced else LARGEST_WHOLE


def _passes(data: bytes, at: int) -> int:
    """Count the scans of a JPEG whose first one begins at ``at``, to one beyond `MOST_PASSES`."""
    passes = 1
    while passes <= MOST_PASSES and (found := _MARKER.search(data, at)):
        marker = data[found.end() - 1]
        if marker == _END:
            break
        passes += marker == _SCAN
        at = found.end() + max(2, int.from_bytes(data[found.end() : found.end() + 2], "big"))
    return passes


def _check_size(width: int, height: int, largest: int, name: str) -> None:
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


def _check_pixel_format(image: ImageFile, data: bytes, kind: str, name: str) -> None:
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


def _check_opaque(image: ImageFile, name: str) -> None:
    """Refuse see-through pixels: they have no one colour. `image` is loaded."""
    opaque = image.mode == "RGB" or image.getchannel("A").getextrema() == (255, 255)
    if not opaque or "transparency" in image.info:
        raise PhotoError(name, "the photo has see-through pixels (alpha)", _COLOUR)


def _reduction(pixels: int, max_pixels: int) -> float:
    """Return the smallest of 1, 3/2, 2, 3, 4, 6, 8, ... that brings `pixels` to `max_pixels`."""
    need = math.sqrt(pixels / max_pixels)
    halvings: float = 2 ** max(0, math.ceil(math.log2(need)))
    return 0.75 * halvings if halvings > 1 and 0.75 * halvings >= need else halvings


def _pixels(image: ImageFile, data: bytes, reduction: float) -> NDArray[np.uint8]:
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
    for top in range(0, image.height, _STRIP):
        bottom = min(top + _STRIP, image.height)
        rgb[top:bottom] = np.asarray(image.crop((0, top, image.width, bottom)))[..., :3]
    return rgb


def _exif(image: ImageFile) -> tuple[int, str | None]:
    """Return orientation (1 to 8) and time of exposure; damaged EXIF must not cost the photo."""
    orientation, taken = 1, None
    with suppress(Exception):
        exif = image.getexif()
        found = exif.get(ExifTags.Base.Orientation)
        orientation = found if found in _UPRIGHT else 1
        text = exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal]
        taken = datetime.strptime(text.strip("\0 "), "%Y:%m:%d %H:%M:%S").isoformat()
    return orientation, taken


def _to_srgb(rgb: NDArray[np.uint8], icc: bytes | None, name: str) -> NDArray[np.uint8]:
    """Convert in place from the profile `icc` to sRGB; without a profile it is sRGB by custom."""
    if not icc:
        return rgb
    transform = _srgb_transform(icc, name)

    def converted(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
        return np.asarray(transform.apply(Image.fromarray(pixels)))

    # sRGB goes by many names and sizes of profile: what tells it is that it changes nothing.
    steps = np.arange(0, 256, 51, dtype=np.uint8)
    probe = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(len(steps), -1, 3)
    if np.abs(converted(probe).astype(int) - probe).max() <= 1:
        return rgb
    for top in range(0, len(rgb), _STRIP):
        rgb[top : top + _STRIP] = converted(rgb[top : top + _STRIP])
    return rgb


def _srgb_transform(icc: bytes, name: str) -> ImageCms.ImageCmsTransform:
    """Build the conversion to sRGB, by relative colorimetry: white stays white."""
    try:
        profile = ImageCms.ImageCmsProfile(BytesIO(icc))
        srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
        intent = ImageCms.Intent.RELATIVE_COLORIMETRIC
        return ImageCms.ImageCmsTransform(profile, srgb, "RGB", "RGB", intent)
    except (ImageCms.PyCMSError, OSError, ValueError) as error:
        problem = "the photo's colour profile cannot be used"
        allowed = "an RGB profile such as sRGB or Display P3 is allowed"
        raise PhotoError(name, problem, allowed) from error


def _turn(rgb: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """Turn the stored pixels upright."""
    transposed, flip = _UPRIGHT[orientation]
    turned = cv2.transpose(rgb) if transposed else rgb
    return np.asarray(turned if flip is None else cv2.flip(turned, flip), np.uint8)
