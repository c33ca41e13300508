"""Photos read from files and bytes."""

import hashlib
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.errors import PhotoError
from satcheck.photo.colour import to_srgb
from satcheck.photo.exif import UPRIGHT, read_exif, turned_upright
from satcheck.photo.kinds import KINDS, WHOLE, kind_of, open_header
from satcheck.photo.limits import check_opaque, check_pixel_format, check_size, largest_allowed
from satcheck.photo.pixels import decoded, reduction_to

DEFAULT_MAX_PIXELS = 3_150_000
"""A 12 megapixel photo (4096 x 3072) is halved once: a part that fills half of its width then has
25 pixels to a pitch, twice what its weave is measured at."""
CLOSE_MAX_PIXELS = 12_600_000
"""A 12 megapixel photo stays whole, and a 50 megapixel one (8192 x 6144) is halved just once."""


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
            raise PhotoError(name, "this is a folder", KINDS)
        if not path.exists():
            raise PhotoError(name, "there is no such file", KINDS)
        if not path.is_file():
            raise PhotoError(name, "this is no regular file", KINDS)
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
    kind = kind_of(data, name)
    with decoding(kind, name):
        image = open_header(data, kind)
        width, height = image.size
        check_size(width, height, largest_allowed(image, data, name), name)
        check_pixel_format(image, data, kind, name)
        rgb = decoded(image, data, reduction_to(width * height, max_pixels))
        check_opaque(image, name)
        orientation, taken = read_exif(image)
        rgb = to_srgb(rgb, image.info.get("icc_profile"), name)
    if kind == "HEIC":  # libheif has turned it already by the file's irot and imir boxes
        orientation = 1
    if UPRIGHT[orientation][0]:
        width, height = height, width
    sha256 = hashlib.sha256(data).hexdigest()
    return Photo(name, sha256, width, height, taken, turned_upright(rgb, orientation), data)


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


@contextmanager
def decoding(kind: str, name: str) -> Iterator[None]:
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
        raise PhotoError(name, f"the {kind} is damaged or cut short", WHOLE) from error
