"""The card's faint weaves: what is left of them tells a phone's noise reduction."""

import math

import numpy as np
from numpy.typing import NDArray

from satcheck.card.crops import MIN_PATCH_PIXELS, Crop, PlacedCard, thinned
from satcheck.card.edges import mtf_towards
from satcheck.card.greys import MAX_GREY_ERROR, Exposure
from satcheck.card.layout import LAYOUT, Weave
from satcheck.card.markers import jacobian, project
from satcheck.card.slanted_edge import EdgeMtf
from satcheck.light import luminance

FloatArray = NDArray[np.float64]

MAX_WEAVE_PIXELS = 12000
"""Pixels that are used of a patch: with noise of 3 %, 1 % of modulation is known to 5 %."""
MIN_MTF = 0.3
"""Below, a weave's lost modulation is not put down to the lens with any certainty."""
MAX_WEAVE_FREQUENCY = 0.2
"""Five pixels per pitch: finer weaves alias."""
MAX_NOISE = 0.1
"""Standard error, of the expected modulation, above which a weave does not tell."""
FUNDAMENTAL = 8 / math.pi**2
"""First Fourier coefficient of a diamond check of modulation 1, along either diagonal."""


def read_weaves(
    placed: PlacedCard, exposure: Exposure | None, edges: tuple[EdgeMtf, ...]
) -> dict[float, dict[float, float]]:
    """Return the transfer of each weave that tells: by pitch, then by contrast."""
    transfers: dict[float, dict[float, float]] = {pitch: {} for pitch in LAYOUT.pitches}
    if exposure is None:
        return transfers
    for weave in LAYOUT.weaves:
        transfer = _weave_transfer(placed, weave, exposure, edges)
        if transfer is not None:
            transfers[weave.pitch][weave.contrast] = transfer
    return transfers


def _weave_transfer(
    placed: PlacedCard, weave: Weave, exposure: Exposure, edges: tuple[EdgeMtf, ...]
) -> float | None:
    """Return the measured over the expected modulation of one weave, or None if unfit."""
    crop = placed.crop(weave.rect.corners(inset=1.0))
    if crop is None or np.count_nonzero(crop.inside) < MIN_PATCH_PIXELS:
        return None
    centre = weave.rect.corners().mean(axis=0)
    inverse = np.linalg.inv(jacobian(placed.homography, centre))
    waves = inverse.T / weave.pitch
    expected: list[float] = []
    for wave in waves.T:
        frequency = float(np.hypot(*wave))
        mtf = mtf_towards(edges, frequency, math.atan2(wave[1], wave[0]))
        if mtf is None or mtf < MIN_MTF or frequency > MAX_WEAVE_FREQUENCY:
            return None
        expected.append(mtf)
    level, slope = exposure.local(weave.reflectance)
    mean, modulations, noise = _modulation(placed.homography, crop, weave.pitch)
    target = weave.modulation * FUNDAMENTAL * slope * np.array(expected)
    if abs(math.log(max(mean, 1e-6) / level)) > MAX_GREY_ERROR or noise > MAX_NOISE * target.min():
        return None
    return float(np.mean(modulations / target))


def _modulation(
    homography: FloatArray, crop: Crop, pitch: float
) -> tuple[float, FloatArray, float]:
    """Return the mean, the modulation along the card's two axes, and its standard error.

    Least squares of a plane and the two waves on the pixels inside; what noise adds to the
    square of an amplitude on average, twice its variance, is taken off.
    """
    y, x = thinned(np.argwhere(crop.inside), MAX_WEAVE_PIXELS).T
    values = luminance(crop.linear[y, x][None])[0].astype(np.float64)
    pixels = np.column_stack([x + crop.left, y + crop.top]).astype(np.float64)
    mm = project(np.asarray(np.linalg.inv(homography)), pixels)
    mm -= mm.mean(axis=0)
    phase = 2 * math.pi / pitch * mm
    columns = [np.ones(len(mm)), *mm.T, *np.cos(phase).T, *np.sin(phase).T]
    design = np.column_stack(columns)
    terms = np.linalg.solve(design.T @ design, design.T @ values)
    variance = 2 * float(np.mean((values - design @ terms) ** 2)) / len(values)
    power = np.maximum(terms[3:5] ** 2 + terms[5:7] ** 2 - 2 * variance, 0.0)
    return float(terms[0]), np.sqrt(power) / terms[0], math.sqrt(variance) / float(terms[0])
