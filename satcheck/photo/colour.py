"""A photo's colours, from its own profile to sRGB."""

from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from satcheck.errors import PhotoError
from satcheck.photo.pixels import STRIP


def to_srgb(rgb: NDArray[np.uint8], icc: bytes | None, name: str) -> NDArray[np.uint8]:
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
    for top in range(0, len(rgb), STRIP):
        rgb[top : top + STRIP] = converted(rgb[top : top + STRIP])
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
