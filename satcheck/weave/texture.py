"""Local contrast cues: how strong the texture is, at which size, in how many directions.

All contrasts are natural logs of amplitudes of log luminance, so that a cue's differences mean
ratios whatever the exposure.
"""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.area_mean import area_mean
from satcheck.arrays.quantile import quantile
from satcheck.weave.pooling import Pool
from satcheck.weave.spectrum import DARK_FLOOR, blur, masked_blur

F32 = NDArray[np.float32]
Bool = NDArray[np.bool_]

# Differences of Gaussians, sigma in pitches: tow edges, tows, interlacing.
BANDS: dict[str, tuple[float, float]] = {
    "fine": (0.09, 0.18),
    "medium": (0.18, 0.36),
    "coarse": (0.36, 0.72),
}
POOL = 0.8  # pitches (sigma): below two, so that a spot of four pitches keeps its own value
# Pitches (sigma). With 0.8 and 2, over the draws of ``calibration.fitting.FULL_CUES``, no share of
# labels moves by more than 1.2 points.
TINT_POOL = 1.2
WHOLE = 0.99  # of a pixel that is on the laminate: what lies beside it has other colours
NORMAL_MEAN = 1.2533  # sqrt(pi / 2): standard deviation over mean magnitude of a normal variable
FLOOR = 1e-4
FAINTEST = 0.35  # px (sigma): a narrower Gaussian is a single pixel
NOISE_BINS = 8
FEWEST_PLACES = 6  # of a brightness, for a quantile of their noise: one and a half pitches square
CALMEST = 0.1  # quantile of local noise that is taken for the sensor's own


def bands(flat: F32, mask: Bool, pitch: float) -> dict[str, F32]:
    """Return the bands of a flattened contrast by name, (H, W) each, zero outside the mask."""
    smooth, before = {0.0: flat}, 0.0
    for share in sorted({s for pair in BANDS.values() for s in pair}):
        sigma = share * pitch if share * pitch > FAINTEST else 0.0
        # One Gaussian after another is one whose variance is the sum of theirs.
        further = math.sqrt(sigma**2 - before**2)
        last = smooth[max(smooth)]
        smooth[share] = blur(last, further) if further > 0 else last
        before = sigma
    return {name: (smooth[a] - smooth[b]) * mask for name, (a, b) in BANDS.items()}


def amplitude(part: F32, pool: Pool, pitch: float) -> F32:
    """Return the local standard deviation of a band at a pool's places, from its magnitude."""
    return pool.mean(np.abs(part), POOL * pitch) * np.float32(NORMAL_MEAN)


def two_way(part: F32, pool: Pool, pitch: float, name: str) -> tuple[F32, F32]:
    """Return the texture across its main direction, and how one-directional it is.

    A weave has two tow families; a wrinkle, a seam or the edge of a reflection has one direction.
    The structure tensor's smaller eigenvalue is what a single direction cannot feign.

    Returns
    -------
    crosswise : (R, C) float32 array
        Natural log of the root of the smaller eigenvalue of the smoothed structure tensor.
    coherence : (R, C) float32 array
        (largest - smallest) / (largest + smallest), 0 to 1.
    """
    unit = np.float32(BANDS[name][0] * pitch / 8)
    dx = cv2.Sobel(part, cv2.CV_32F, 1, 0) * unit
    dy = cv2.Sobel(part, cv2.CV_32F, 0, 1) * unit
    xx, xy, yy = (pool.mean(np.asarray(p, np.float32), 0.9 * pitch)
                  for p in (dx * dx, dx * dy, dy * dy))  # fmt: skip
    trace = xx + yy
    gap = np.sqrt((xx - yy) ** 2 + 4 * xy**2)
    smaller = np.maximum((trace - gap) / 2, 0)
    crosswise = 0.5 * np.log(smaller + FLOOR**2)
    return np.asarray(crosswise, np.float32), np.asarray(gap / (trace + 1e-7), np.float32)


def tint(linear: F32, coarse: F32, pool: Pool, pitch: float) -> F32:
    """Return how much of the interlacing's texture is colour, not light, at a pool's places.

    Relief shades one colour, and light that the film throws back hides colours and relief alike.
    What a lamp does to the one contrast it does to the other, so their ratio tells more of the
    laminate than either: it rises as resin levels the relief and the tows' own colours stay.

    Parameters
    ----------
    linear : (H, W, 3) float32 array
        Linear light, 0 to 1.
    coarse : (H, W) float32 array
        That band of the contrast of light, from ``bands``.
    pitch : float
        Tow pitch in pixels.

    Returns
    -------
    (R, C) float32 array
        Natural log of the root mean square, over ``TINT_POOL`` pitches, of the band of log red over
        blue and of log red over green, together, over that of the band of log luminance. Noise
        counts on either side.
    """
    height, width = coarse.shape
    few = area_mean(linear, width // 2, height // 2)  # plenty for this band
    whole = area_mean(pool.mask.astype(np.float32), width // 2, height // 2) > WHOLE
    red, green, blue = cv2.split(np.log(few + np.float32(DARK_FLOOR)))
    finer, coarser = (share * pitch / 2 for share in BANDS["coarse"])
    weight = whole.astype(np.float32)
    hues = cv2.merge([red - blue, red - green])
    colour = masked_blur(hues, weight, finer) - masked_blur(hues, weight, coarser)
    first, second = cv2.split(colour)
    power = np.asarray(cv2.resize(first * first + second * second, (width, height)), np.float32)
    ratio = pool.mean(power, TINT_POOL * pitch) + np.float32(FLOOR**2)
    ratio /= pool.mean(coarse * coarse, TINT_POOL * pitch) + np.float32(FLOOR**2)
    return np.asarray(0.5 * np.log(ratio), np.float32)


def noise_level(flat: F32, pool: Pool, log_light: F32, pitch: float) -> F32:
    """Return the standard deviation of the pixel noise at each place's brightness, (R, C).

    The finest diagonal detail of the calmest places of each brightness is taken for noise. What a
    phone has smoothed away is not seen: the level is a floor, not a ceiling. ``log_light`` is the
    places' brightness, (R, C).
    """
    detail = np.zeros_like(flat)
    detail[:-1, :-1] = (flat[:-1, :-1] - flat[1:, :-1] - flat[:-1, 1:] + flat[1:, 1:]) / 2
    local = amplitude(detail, pool, pitch)
    size = max(1, round(pitch)) | 1
    eroded = cv2.erode(pool.mask.astype(np.uint8), np.ones((size, size), np.uint8)) > 0
    inner = np.asarray(pool.at(np.asarray(eroded)), bool)
    if not inner.any():
        return np.full_like(local, FLOOR)
    seen, light = local[inner], log_light[inner]
    edges = np.linspace(light.min(), light.max() + 1e-6, NOISE_BINS + 1)
    place = np.digitize(light, edges)
    known = [k for k in range(1, NOISE_BINS + 1) if (place == k).sum() >= FEWEST_PLACES]
    if not known:
        return np.full_like(local, quantile(seen, CALMEST))
    calm = [quantile(seen[place == k], CALMEST) for k in known]
    middles = [(edges[k - 1] + edges[k]) / 2 for k in known]
    return np.interp(log_light, middles, calm).astype(np.float32)


def noise_gain(pitch: float, name: str) -> float:
    """Return what a band passes of white noise: the L2 norm of a difference of Gaussians.

    For sigmas a, b: sqrt(1 / (4 pi a^2) + 1 / (4 pi b^2) - 1 / (pi (a^2 + b^2))), by Parseval.
    """
    a, b = (max(s * pitch, FAINTEST) for s in BANDS[name])
    square = 1 / (4 * np.pi * a * a) + 1 / (4 * np.pi * b * b) - 1 / (np.pi * (a * a + b * b))
    return float(np.sqrt(max(square, 0.0)))


def without_noise(measured: F32, noise: F32) -> F32:
    """Return an amplitude less its noise, in quadrature; never below a fifth of the noise."""
    square = np.maximum(measured**2 - noise**2, 0.05 * noise**2)
    return np.asarray(np.sqrt(square + FLOOR**2), np.float32)


def low_quantile(values: F32, usable: Bool, reach: int, share: float) -> F32:
    """Return a quantile of the usable neighbours within a square of (2 * reach + 1) cells.

    Parameters
    ----------
    values : (R, C) float32 array
    usable : (R, C) bool array
    share : float
        0 to 1. Where no neighbour is usable the value is infinite.
    """
    side = 2 * reach + 1
    padded = np.pad(np.where(usable, values, np.inf), reach, constant_values=np.inf)
    views = np.lib.stride_tricks.sliding_window_view(padded, (side, side))
    count = np.rint(cv2.boxFilter(
        usable.astype(np.float32), -1, (side, side), normalize=False,
        borderType=cv2.BORDER_CONSTANT,
    )).astype(np.intp)  # fmt: skip
    here = count > 0
    near = np.sort(views[here].reshape(-1, side * side), 1)
    result = np.full(values.shape, np.inf, np.float32)
    result[here] = near[np.arange(len(near)), ((count[here] - 1) * share).astype(np.intp)]
    return result
