"""How sharp the weave itself is, from its own spectrum: an upper bound that knows its noise.

Resin fades all of the weave's harmonics alike; blur takes the high ones first. The power of
log luminance at r cycles per pitch is taken for A r^-q exp(-4 pi^2 s^2 r^2) + N: a relief whose
power falls as a power of frequency, a Gaussian blur of s pitches, and white noise. All of s, q, A
and N are unknown, so a weave whose harmonics sink into the noise is not called sharp: the bound on
s stays wide. It says nothing of which places are faint, and no fading changes it.
"""

from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.quantile import median
from satcheck.weave.measure import Weave
from satcheck.weave.spectrum import power
from satcheck.weave.track import WINDOW

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

EDGES = np.array([0.35, 0.5, 0.7, 0.9, 1.15, 1.4, 1.7, 2.0, 2.4, 2.8, 3.2])  # cycles per pitch
MOST_WINDOWS = 250
# Slope of relief, sharp: 1.0 to 3.3 on 98 rendered photos of ours and of a second renderer.
SLOPE, SLOPE_SPREAD = 3.0, 0.8
SCATTER = 0.35  # natural log: lattice nodes above and below the power law, on the same photos
CONFIDENCE = 0.95
BLURS, SLOPES = np.linspace(0, 0.5, 26), np.linspace(1, 6, 11)
NOISES = np.linspace(-10.5, 0, 22)  # natural log, over the mean of the lowest bands
HEIGHTS = np.linspace(-2, 2, 9)  # the same, of A


def weave_blur(weave: Weave) -> float | None:
    """Return the blur, in pitches, that a part's weave stays below with 95 % confidence.

    None where no lattice is known, no whole window lies within the part, or the pitch is below
    6.4 px: the highest ring would lie beyond what pixels can show. Blur that the camera always has,
    and the pixels', is included.
    """
    density = _radial(weave)
    return None if density is None else upper_blur(density)


def upper_blur(density: F64) -> float:
    """Return the 95 % upper bound of the blur, in pitches.

    Parameters
    ----------
    density : (len(EDGES) - 1,) float array
        Power density in the rings between ``EDGES``.
    """
    seen = np.log(np.maximum(density, 1e-12)).astype(np.float32)
    seen -= seen[:4].mean()
    misfit = (((_models() - seen) / np.float32(SCATTER)) ** 2).sum(-1)
    best = -0.5 * misfit.min((2, 3)) - 0.5 * ((SLOPES - SLOPE) / SLOPE_SPREAD) ** 2
    share = np.append(0.0, np.cumsum(np.exp(best - best.max()).sum(1)))
    limits = np.append(0.0, BLURS + BLURS[1] / 2)
    return float(np.interp(CONFIDENCE, share / share[-1], limits))


@cache
def _models() -> F32:
    """Return the log power of every blur, slope, height and noise in the rings, five axes."""
    radius = np.sqrt(EDGES[1:] * EDGES[:-1])
    blur = BLURS[:, None, None, None, None]
    slope = SLOPES[:, None, None, None]
    height, noise = HEIGHTS[:, None, None], NOISES[:, None]
    falling = height - slope * np.log(radius) - (2 * np.pi * blur * radius) ** 2
    power = np.exp(falling).astype(np.float32) + np.exp(noise).astype(np.float32)
    return np.asarray(np.log(power), np.float32)


def _radial(weave: Weave) -> F64 | None:
    """Return the power density in rings, the median over windows that lie within the part."""
    if weave.lattice is None:
        return None
    frame, pitch = weave.frame, weave.pitch
    size = round(WINDOW * pitch / 2) * 2
    row, column = np.nonzero(np.asarray(weave.at_cells(frame.depth)) > 0.7 * size)
    if row.size == 0 or 2 * EDGES[-1] > pitch:
        return None
    step = max(1, row.size // MOST_WINDOWS)
    y, x = weave.rows[row[::step]] - size // 2, weave.columns[column[::step]] - size // 2
    spectra = power(weave.flat, y, x, size, size)
    fx, fy = np.meshgrid(np.fft.rfftfreq(size), np.fft.fftfreq(size))
    radius = pitch * np.hypot(fx, fy)
    rings = [(radius >= a) & (radius < b) for a, b in pairwise(EDGES)]
    means = np.stack([spectra[:, ring].mean(1) for ring in rings], 1)
    return np.asarray(median(means, 0), np.float64)
