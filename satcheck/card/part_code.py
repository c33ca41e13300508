"""The card's QR field: the number of the part beside it."""

import cv2
import numpy as np

from satcheck.card.crops import PlacedCard
from satcheck.card.layout import LAYOUT
from satcheck.card.markers import project

MIN_QR_CONTRAST = 20
"""Range of 8-bit codes in the QR field under which it is blank."""


def read_part(placed: PlacedCard) -> str | None:
    """Read the QR field, straightened to 10 pixels per millimetre."""
    field_mm = LAYOUT.qr.corners(inset=-2.5)
    crop = placed.crop(field_mm)
    if crop is None:
        return None
    side = int(10 * (LAYOUT.qr.width + 5))
    square = np.array([(0, 0), (side, 0), (side, side), (0, side)], np.float32)
    quad = project(placed.homography, field_mm).astype(np.float32)
    warp = cv2.getPerspectiveTransform(quad, square)
    upright = cv2.warpPerspective(placed.rgb, warp, (side, side), flags=cv2.INTER_LINEAR)
    grey = cv2.cvtColor(upright, cv2.COLOR_RGB2GRAY)
    if np.ptp(grey[25:-25, 25:-25]) < MIN_QR_CONTRAST:
        return None
    reader = cv2.QRCodeDetector()
    expected = (square[None] - side / 2) * (LAYOUT.qr.width / (LAYOUT.qr.width + 5)) + side / 2
    text, _ = reader.decode(grey, expected)
    if not text:  # an approximate pose: let the reader find the code's corners itself
        text, _, _ = reader.detectAndDecode(grey)
    return text or None
