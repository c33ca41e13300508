"""What the verdict looks like: colours, letters and type.

Each label has a letter and a pattern of its own (``patterns``); colours only help.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray
from PIL import ImageFont

from satcheck.model import Label

Rgb = NDArray[np.uint8]
Colour = tuple[int, int, int]

COLUMNS = 30
"""Width of the picture in text heights: 12 pixels on a phone screen 360 pixels wide."""

# Own palette: warm for dry, cool for wet; the urgent labels deeper than the mild ones.
COLOURS: dict[Label, Colour] = {
    Label.STARVED: (255, 122, 26),
    Label.LEAN: (255, 214, 110),
    Label.GOOD: (240, 240, 232),
    Label.HEAVY: (140, 214, 232),
    Label.RICH: (92, 124, 255),
    Label.NOT_JUDGED: (168, 168, 168),
}
LETTERS: dict[Label, str] = {
    Label.STARVED: "S",
    Label.LEAN: "L",
    Label.GOOD: "G",
    Label.HEAVY: "H",
    Label.RICH: "R",
    Label.NOT_JUDGED: "?",
}
URGENT = (Label.STARVED, Label.RICH)
PAPER: Colour = (250, 249, 245)
INK: Colour = (22, 22, 22)
GREY: Colour = (120, 120, 120)


@cache
def font_of(size: float) -> ImageFont.FreeTypeFont:
    """Return Pillow's own plain font at a size in pixels."""
    font = ImageFont.load_default(max(6.0, size))
    assert isinstance(font, ImageFont.FreeTypeFont), "Pillow's wheels are built with FreeType"
    return font
