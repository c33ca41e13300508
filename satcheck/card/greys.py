"""The card's grey patches: exposure and white balance."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satcheck.card.crops import MAX_CLIPPED, MIN_PATCH_PIXELS, PlacedCard, thinned
from satcheck.card.layout import LAYOUT
from satcheck.card.slanted_edge import CLIPPED_LIGHT
from satcheck.light import luminance

FloatArray = NDArray[np.float64]

MAX_GREY_PIXELS = 1500
MIN_GREYS = 3
"""Different greys that the exposure needs."""
MAX_GREY_ERROR = 0.3
"""Distance from the fit, ln units, from which a patch counts as covered or in glare."""
GREY_SLOPES = (0.5, 2.0)
"""Log-log slopes that tone curves, dot gain and veil explain."""


@dataclass(frozen=True, eq=False)
class Exposure:
    """How the photo renders the card's greys.

    ln measured = ln white + slope * ln nominal, over the patches that are neither covered nor
    clipped.

    Attributes
    ----------
    nominal, measured : (n,) float64
        Reflectance relative to paper, and luminance in the photo (0 to 1), of each patch kept.
    white : float
        Luminance of the paper by the fit; above 1, the paper is blown out.
    slope : float
        1 for a camera without tone curve and a printer without dot gain.
    residual : float
        Standard deviation about the fit in ln units: uneven light, glare, tone curve.
    """

    nominal: FloatArray
    measured: FloatArray
    white: float
    slope: float
    residual: float

    def local(self, nominal: float) -> tuple[float, float]:
        """Return the luminance and the log-log slope at a nominal reflectance."""
        x, y = np.log(self.nominal / nominal), np.log(self.measured)
        slope, level = np.polyfit(x, y, 1, w=np.exp(-0.5 * (x / 0.5) ** 2))
        return float(np.exp(level)), float(slope)


def read_greys(placed: PlacedCard) -> tuple[Exposure | None, FloatArray | None]:
    """Fit the exposure and the white gains over the patches neither covered nor clipped."""
    nominal, colours = [], []
    for grey in (*LAYOUT.greys, LAYOUT.white):
        crop = placed.crop(grey.rect.corners(inset=1.5))
        if crop is None or np.count_nonzero(crop.inside) < MIN_PATCH_PIXELS:
            continue
        pixels = thinned(crop.linear[crop.inside], MAX_GREY_PIXELS)
        colour = np.median(pixels, axis=0).astype(np.float64)
        if colour.min() > 0 and np.mean(pixels.max(axis=1) >= CLIPPED_LIGHT) <= MAX_CLIPPED:
            nominal.append(grey.reflectance)
            colours.append(colour)
    return _fit_greys(np.array(nominal), np.array(colours).reshape(-1, 3))


def _fit_greys(
    nominal: FloatArray, colours: FloatArray
) -> tuple[Exposure | None, FloatArray | None]:
    """Fit ln luminance over ln nominal to the largest set of patches that lie on one line.

    Each pair of patches proposes a line. Patches under one and the same cover agree too, but on
    a line far flatter than any camera's.
    """
    if len(np.unique(nominal)) < MIN_GREYS:
        return None, None
    x = np.log(nominal)
    y = np.log(luminance(colours.astype(np.float32)[None])[0].astype(np.float64))
    first, second = np.nonzero(x[:, None] - x > 0)
    slopes = (y[first] - y[second]) / (x[first] - x[second])
    errors = np.abs(y - y[first, None] - slopes[:, None] * (x - x[first, None]))
    agree = (errors <= MAX_GREY_ERROR) & (slopes > GREY_SLOPES[0])[:, None]
    agree &= (slopes < GREY_SLOPES[1])[:, None]
    cost = np.sum(np.where(agree, errors / MAX_GREY_ERROR, 1.0), axis=1)
    kept = agree[np.argmin(cost)]
    if len(np.unique(nominal[kept])) < MIN_GREYS:
        return None, None
    slope, level = np.polyfit(x[kept], y[kept], 1)
    spread = float(np.std(y[kept] - level - slope * x[kept]))
    exposure = Exposure(nominal[kept], np.exp(y[kept]), math.exp(level), float(slope), spread)
    return exposure, np.median(colours[kept, 1:2] / colours[kept], axis=0)
