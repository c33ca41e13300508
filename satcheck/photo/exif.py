"""What a phone writes beside the pixels: of all that only the turn and the time are read.

The place is not.
"""

from contextlib import suppress
from datetime import datetime

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags
from PIL.ImageFile import ImageFile

# EXIF 2.32, tag 0x0112: orientation -> (swap rows and columns first?, then flip: cv2's code)
UPRIGHT: dict[int, tuple[bool, int | None]] = {
    1: (False, None),
    2: (False, 1),
    3: (False, -1),
    4: (False, 0),
    5: (True, None),
    6: (True, 1),
    7: (True, -1),
    8: (True, 0),
}


def read_exif(image: ImageFile) -> tuple[int, str | None]:
    """Return orientation (1 to 8) and time of exposure; damaged EXIF must not cost the photo."""
    orientation, taken = 1, None
    with suppress(Exception):
        exif = image.getexif()
        found = exif.get(ExifTags.Base.Orientation)
        orientation = found if found in UPRIGHT else 1
        text = exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal]
        taken = datetime.strptime(text.strip("\0 "), "%Y:%m:%d %H:%M:%S").isoformat()
    return orientation, taken


def turned_upright(rgb: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """Turn the stored pixels upright."""
    transposed, flip = UPRIGHT[orientation]
    turned = cv2.transpose(rgb) if transposed else rgb
    return np.asarray(turned if flip is None else cv2.flip(turned, flip), np.uint8)
