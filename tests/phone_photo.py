"""A photo of the demo as a phone would have written it, for what measures speed."""

from pathlib import Path

import numpy as np
from PIL import Image

SAMPLE = Path(__file__).parents[1] / "sample_images" / "basalt_01.jpg"
GRAIN = 2.0  # sRGB codes (sigma): a phone's own in good light; common practice, no source
QUALITY = 95  # as phones write; common practice, no source
QUARTER_TURN = 6  # EXIF 2.32, tag 0x0112: of a phone held upright the sensor lies on its side
SIZES = {12: (3024, 4032), 48: (6048, 8064)}  # megapixels: width, height, upright


def phone_photo(folder: Path, megapixels: int, is_turned: bool = False) -> Path:
    """Write a photo with the grain that enlarging takes away, turned by its EXIF alone or not.

    Of 12 megapixels it is 2.3 MB; without grain it would be less than half of that, and decoded in
    three quarters of the time.
    """
    size = SIZES[megapixels]
    enlarged = np.asarray(Image.open(SAMPLE).resize(size, Image.Resampling.LANCZOS))
    noise = np.random.default_rng(12).standard_normal(enlarged.shape, np.float32)
    pixels = np.clip(enlarged + GRAIN * noise, 0, 255).astype(np.uint8)
    exif = Image.Exif()
    if is_turned:
        exif[0x0112] = QUARTER_TURN
        pixels = np.ascontiguousarray(np.rot90(pixels))  # a quarter turn clockwise rights it
    path = folder / f"{megapixels}{'_turned' * is_turned}.jpg"
    Image.fromarray(pixels).save(path, quality=QUALITY, exif=exif)
    return path
