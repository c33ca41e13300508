"""Whether a card was photographed from a screen: its pixels show in the white field."""

import math

import numpy as np

from satcheck.card.crops import MAX_CLIPPED, PlacedCard
from satcheck.card.layout import LAYOUT
from satcheck.card.slanted_edge import CLIPPED_LIGHT
from satcheck.light import luminance

MIN_SPECTRUM_SIDE = 48
SCREEN_PEAK = 9.0
"""Amplitude over the ring's median: in noise, the highest of 10 000 reaches 3.7."""
SCREEN_MODULATION = 0.002


def shows_pixel_grid(placed: PlacedCard) -> bool | None:
    """Look for a sharp peak in the white field's spectrum; None where there is none to look at.

    Paper and sensor noise have a smooth spectrum; a screen's grid, or its moire with the
    sensor, stands out as single frequencies. JPEG's blocks lie at multiples of 1/8 cycle on the
    axes and are left out, as are the lowest frequencies and the neighbourhood of Nyquist.
    """
    crop = placed.crop(LAYOUT.white.rect.corners(inset=1.0))
    if crop is None:
        return None
    rows, columns = np.nonzero(crop.inside)
    side = int(0.6 * math.sqrt(rows.size))
    top, left = int(rows.mean() - side / 2), int(columns.mean() - side / 2)
    field_ = luminance(crop.linear)[top : top + side, left : left + side].astype(np.float64)
    if side < MIN_SPECTRUM_SIDE or np.mean(field_ >= CLIPPED_LIGHT) > 10 * MAX_CLIPPED:
        return None
    window = np.outer(np.hanning(side), np.hanning(side))
    amplitude = np.abs(np.fft.fft2((field_ / field_.mean() - 1) * window)) * 2 / window.sum()
    f = np.abs(np.fft.fftfreq(side))
    fy, fx = np.meshgrid(f, f, indexing="ij")
    radius = np.hypot(fx, fy)
    on_axis = np.minimum(fx, fy) < 2.5 / side
    is_block = on_axis & (np.abs(8 * np.maximum(fx, fy) % 1 - 0.5) > 0.5 - 20 / side)
    is_looked_at = (radius > 0.06) & (np.maximum(fx, fy) < 0.45) & ~is_block
    ring = (radius * 20).astype(int)
    for number in np.unique(ring[is_looked_at]):
        values = amplitude[is_looked_at & (ring == number)]
        if values.max() > max(SCREEN_PEAK * float(np.median(values)), SCREEN_MODULATION):
            return True
    return False
