"""Local contrast cues: how strong the texture is, at which size, in how many directions.

All contrasts are natural logs of amplitudes of log luminance, so that a cue's differences mean
ratios whatever the exposure.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.weave.spectrum import masked_blur

F32 = NDArray[np.float32]
Bool = NDArray[np.bool_]

# Differences of Gaussians, sigma in pitches: tow edges, tows, interlacing.
BANDS: dict[str, tuple[float, float]] = {
    "fine": (0.09, 0.18),
    "medium": (0.18, 0.36),
    "coarse": (0.36, 0.72),
}
POOL = 0.8  # pitches (sigma): below two, so that a spot of four pitches keeps its own value
NORMAL_MEAN = 1.2533  # sqrt(pi / 2): standard deviation over mean magnitude of a normal variable
FLOOR = 1e-4
NOISE_BINS = 8
CALMEST = 0.1  # quantile of local noise that is taken for the sensor's own


def band(flat: F32, mask: Bool, pitch: float, name: str) -> F32:
    """Return one band of a flattened contrast, (H, W), zero outside the mask."""
    narrow, wide = (s * pitch for s in BANDS[name])
    sharp = cv2.GaussianBlur(flat, (0, 0), narrow) if narrow > 0.35 else flat
    return np.asarray((sharp - cv2.GaussianBlur(flat, (0, 0), wide)) * mask, np.float32)


def amplitude(part: F32, weight: F32, pitch: float) -> F32:
    """Return the local standard deviation of a band, from its mean magnitude."""
    return masked_blur(np.abs(part), weight, POOL * pitch) * np.float32(NORMAL_MEAN)


def two_way(part: F32, weight: F32, pitch: float, name: str) -> tuple[F32, F32]:
    """Return the texture across its main direction, and how one-directional it is.

    A weave has two tow families; a wrinkle, a seam or the edge of a reflection has one direction.
    The structure tensor's smaller eigenvalue is what a single direction cannot feign.

    Returns
    -------
    crosswise : (H, W) float32 array
        Natural log of the root of the smaller eigenvalue of the smoothed structure tensor.
    coherence : (H, W) float32 array
        (largest - smallest) / (largest + smallest), 0 to 1.
    """
    unit = np.float32(BANDS[name][0] * pitch / 8)
    dx = cv2.Sobel(part, cv2.CV_32F, 1, 0) * unit
    dy = cv2.Sobel(part, cv2.CV_32F, 0, 1) * unit
    sigma = 0.9 * pitch
    xx, xy, yy = (masked_blur(np.asarray(p, np.float32), weight, sigma)
                  for p in (dx * dx, dx * dy, dy * dy))  # fmt: skip
    trace = xx + yy
    gap = np.sqrt((xx - yy) ** 2 + 4 * xy**2)
    smaller = np.maximum((trace - gap) / 2, 0)
    crosswise = 0.5 * np.log(smaller + FLOOR**2)
    return np.asarray(crosswise, np.float32), np.asarray(gap / (trace + 1e-7), np.float32)


def noise_level(flat: F32, mask: Bool, log_light: F32, pitch: float) -> F32:
    """Return the standard deviation of the pixel noise at each place's brightness, (H, W).

    The finest diagonal detail of the calmest places of each brightness is taken for noise. What a
    phone has smoothed away is not seen: the level is a floor, not a ceiling.
    """
    detail = np.zeros_like(flat)
    detail[:-1, :-1] = (flat[:-1, :-1] - flat[1:, :-1] - flat[:-1, 1:] + flat[1:, 1:]) / 2
    local = amplitude(detail, mask.astype(np.float32), pitch)
    size = max(1, round(pitch)) | 1
    inner = cv2.erode(mask.astype(np.uint8), np.ones((size, size), np.uint8)) > 0
    if not inner.any():
        return np.full_like(flat, FLOOR)
    edges = np.linspace(log_light[inner].min(), log_light[inner].max() + 1e-6, NOISE_BINS + 1)
    place = np.digitize(log_light[inner], edges)
    known = [k for k in range(1, NOISE_BINS + 1) if (place == k).sum() > 200]
    if not known:
        return np.full_like(flat, float(np.quantile(local[inner], CALMEST)))
    calm = [float(np.quantile(local[inner][place == k], CALMEST)) for k in known]
    middles = [(edges[k - 1] + edges[k]) / 2 for k in known]
    return np.interp(log_light, middles, calm).astype(np.float32)


def noise_gain(pitch: float, name: str) -> float:
    """Return what a band passes of white noise: the L2 norm of a difference of Gaussians.

    For sigmas a, b: sqrt(1 / (4 pi a^2) + 1 / (4 pi b^2) - 1 / (pi (a^2 + b^2))), by Parseval.
    """
    a, b = (max(s * pitch, 0.35) for s in BANDS[name])
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
    ordered = np.sort(views.reshape(-1, side * side), axis=1)
    count = np.isfinite(ordered).sum(1)
    index = np.clip(((count - 1) * share).astype(int), 0, side * side - 1)
    return np.asarray(
        ordered[np.arange(len(ordered)), index].reshape(values.shape).astype(np.float32)
    )
