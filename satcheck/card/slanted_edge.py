"""Spatial frequency response from one straight edge: the edge-based method (e-SFR) of ISO 12233.

The steps are those of the standard: linear light, the edge found in each row as the centroid of
its derivative, a straight line through the centroids, all pixels projected along that line onto a
four times oversampled edge spread function, its derivative under a Hamming window, and the
modulus of the Fourier transform, corrected for the response of the derivative and of the bins.

Distances are taken along the edge's normal, so that the cosine correction of a slanted edge is
built in. An edge nearer to horizontal than to vertical is transposed first.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

OVERSAMPLING = 4
"""Bins per pixel of the edge spread function (ISO 12233)."""
MIN_ROWS = 16
"""Fewer rows than this leave bins of the fourfold oversampling empty at slants of 4 degrees."""
MIN_CONTRAST = 0.1
"""Michelson contrast below which noise, not the edge, decides the centroids (our choice)."""
CLIPPED_LIGHT = 0.98
"""Linear light from which a pixel counts as clipped: sRGB code 253 of 255."""
MAX_CLIPPED = 0.02
"""Share of clipped pixels from which the edge's bright side is taken as cut off."""
WINDOW_IN_RISES = 8.0
"""Half window in 10-90 % rises. A Hamming window that wide narrows a Gaussian by 0.6 %."""
MIN_WINDOW_IN_RISES = 3.0
"""A narrower window than this would make a blurred edge look sharp (4 % on a Gaussian)."""
MIN_HALF_WINDOW = 8.0
"""Least half window in pixels."""


@dataclass(frozen=True)
class EdgeMtf:
    """Spatial frequency response along an edge's normal.

    Attributes
    ----------
    frequency : (n,) float64
        Cycles per pixel, from 0 to 1.
    mtf : (n,) float64
        Modulation transfer, 1 at zero frequency; above 1 where the picture was sharpened.
    mtf50 : float or None
        Lowest frequency at which the transfer is one half, cycles per pixel.
    angle : float
        Direction of the edge's normal in the picture (x right, y down), radians in [0, pi).
    rise : float
        Distance from 10 to 90 % of the edge, pixels.
    """

    frequency: FloatArray
    mtf: FloatArray
    mtf50: float | None
    angle: float
    rise: float

    def at(self, frequency: float) -> float:
        """Return the transfer at a frequency in cycles per pixel, linearly interpolated."""
        return float(np.interp(frequency, self.frequency, self.mtf))


@dataclass(frozen=True)
class NotMeasured:
    """The edge could not be measured. Falsy, and of no use as a number."""

    reason: str

    def __bool__(self) -> bool:
        return False


@dataclass(frozen=True)
class _Line:
    """The edge as x = offset + slope * y, in a region where it is nearer to vertical."""

    offset: float
    slope: float

    def distance(self, x: FloatArray, y: FloatArray) -> FloatArray:
        return (x - self.offset - self.slope * y) / math.hypot(1.0, self.slope)


def edge_mtf(linear: NDArray[np.floating], mask: BoolArray | None = None) -> EdgeMtf | NotMeasured:
    """Measure the spatial frequency response of the one straight edge in a region.

    Parameters
    ----------
    linear : (h, w) float
        Linear light, 0 to 1, with one straight edge of any direction.
    mask : (h, w) bool, optional
        Pixels that belong to the region; all by default. For an oblique edge: the rectangle
        along it, so that each row sees the edge with as much of either side.

    Returns
    -------
    EdgeMtf or NotMeasured
        NotMeasured, with the reason, where the edge has too little contrast, is too short,
        clipped, too blurred for the region, or lies so that the pixels repeat along it.

    Notes
    -----
    After ISO 12233 (e-SFR). The derivative is the central difference over two bins, whose
    response sinc(2f/4) and that of the bins, sinc(f/4), are divided out.
    """
    region = np.asarray(linear, np.float64)
    inside = np.ones(region.shape, bool) if mask is None else mask
    if problem := _problem(region, inside):
        return NotMeasured(problem)
    is_flat = _is_nearer_horizontal(region, inside)
    if is_flat:
        region, inside = region.T, inside.T
    line = _fit_line(region, inside)
    if line is None:
        return NotMeasured("the edge is too short or not straight")
    y, x = np.nonzero(inside)
    distance = line.distance(x.astype(np.float64), y.astype(np.float64))
    result = _response(distance, region[y, x])
    if isinstance(result, NotMeasured):
        return result
    frequency, mtf, rise = result
    normal = math.atan2(-line.slope, 1.0)
    angle = (math.pi / 2 - normal if is_flat else normal) % math.pi
    return EdgeMtf(frequency, mtf, _first_crossing(frequency, mtf, 0.5), angle, rise)


def _problem(region: FloatArray, inside: BoolArray) -> str | None:
    """Return why the region is unfit, or None."""
    if min(region.shape) < MIN_ROWS or np.count_nonzero(inside) < MIN_ROWS**2:
        return "the edge is too short"
    values = region[inside]
    if np.mean(values >= CLIPPED_LIGHT) > MAX_CLIPPED:
        return "the bright side is clipped"
    dark, bright = np.percentile(values, (10, 90))
    if bright - dark < MIN_CONTRAST * (bright + dark) or bright <= 0:
        return "too little contrast"
    return None


def _is_nearer_horizontal(region: FloatArray, inside: BoolArray) -> bool:
    # Signed differences add up to the step times the rows (columns) that the edge crosses.
    dx, dy = np.diff(region, axis=1), np.diff(region, axis=0)
    both_x, both_y = inside[:, 1:] & inside[:, :-1], inside[1:] & inside[:-1]
    dx, dy = np.where(both_x, dx, 0.0), np.where(both_y, dy, 0.0)
    return bool(abs(dy.sum()) > abs(dx.sum()))


def _fit_line(region: FloatArray, inside: BoolArray) -> _Line | None:
    """Fit a line through the rows' derivative centroids, again in a narrow window about it."""
    step = np.where(inside[:, 2:] & inside[:, :-2], region[:, 2:] - region[:, :-2], 0.0)
    step *= np.sign(step.sum()) or 1.0
    x = np.arange(1.0, region.shape[1] - 1.0)
    y = np.arange(region.shape[0], dtype=np.float64)
    width = np.count_nonzero(inside, axis=1)
    rows = width >= 0.8 * width.max()
    line: _Line | None = None
    for half_window in (np.inf, width.max() / 6):
        weight = step if line is None else step * _hamming(line, x, y, max(half_window, 6.0))
        total = weight.sum(axis=1)
        rows &= total > 0.2 * np.median(total[rows])
        if np.count_nonzero(rows) < MIN_ROWS:
            return None
        centroid = (weight[rows] @ x) / total[rows]
        line = _robust_line(y[rows], centroid)
        if line is None:
            return None
    return line


def _hamming(line: _Line, x: FloatArray, y: FloatArray, half: float) -> FloatArray:
    """Return the rows' Hamming windows centred on the line, shape (len(y), len(x))."""
    shift = (x[None, :] - line.offset - line.slope * y[:, None]) / half
    return np.where(np.abs(shift) < 1, 0.54 + 0.46 * np.cos(np.pi * shift), 0.0)


def _robust_line(y: FloatArray, x: FloatArray) -> _Line | None:
    """Fit x over y by least squares, once more without the rows beyond three spreads."""
    line = _least_squares(y, x)
    residual = np.abs(x - line.offset - line.slope * y)
    kept = residual <= max(3.0 * 1.4826 * float(np.median(residual)), 0.05)
    if np.count_nonzero(kept) < MIN_ROWS:
        return None
    return _least_squares(y[kept], x[kept])


def _least_squares(y: FloatArray, x: FloatArray) -> _Line:
    centred = y - y.mean()
    slope = float(centred @ x / (centred @ centred))
    return _Line(float(x.mean()) - slope * float(y.mean()), slope)


def _response(
    distance: FloatArray, values: FloatArray
) -> tuple[FloatArray, FloatArray, float] | NotMeasured:
    """Return frequency, transfer and rise of the edge seen at signed distances in pixels."""
    available = min(-float(distance.min()), float(distance.max())) - 0.5
    rise = _rise(distance, values, available)
    if rise is None or available < max(MIN_WINDOW_IN_RISES * rise, MIN_HALF_WINDOW):
        return NotMeasured("the edge is too blurred for its field")
    half = min(available, max(WINDOW_IN_RISES * rise, 2 * MIN_HALF_WINDOW))
    spread = _spread_function(distance, values, half)
    if spread is None:
        return NotMeasured("the edge lies along the pixels")
    line_spread = (spread[2:] - spread[:-2]) / 2
    line_spread *= np.hamming(line_spread.size)
    n_fft = 1 << max(9, (line_spread.size - 1).bit_length())
    modulus = np.abs(np.fft.rfft(line_spread, n_fft))
    frequency = np.asarray(np.fft.rfftfreq(n_fft, 1 / OVERSAMPLING), np.float64)
    kept = frequency <= 1.0
    frequency, modulus = frequency[kept], modulus[kept]
    # Both responses stay above 0.57 up to one cycle per pixel: the standard's cap of 10 is moot.
    response = np.sinc(2 * frequency / OVERSAMPLING) * np.sinc(frequency / OVERSAMPLING)
    return frequency, np.asarray(modulus / modulus[0] / response), rise


def _rise(distance: FloatArray, values: FloatArray, half: float) -> float | None:
    """Return the 10-90 % rise in pixels from a spread function with bins of one pixel."""
    if half < MIN_HALF_WINDOW:
        return None
    spread = _spread_function(distance, values, half, bins_per_px=1)
    if spread is None:
        return None
    side = max(2, spread.size // 6)
    low, high = float(np.mean(spread[:side])), float(np.mean(spread[-side:]))
    level = (spread - low) / (high - low)
    position = np.arange(spread.size, dtype=np.float64)
    below, above = (
        _first_crossing(position, 1 - level, 0.9),
        _first_crossing(position, 1 - level, 0.1),
    )
    if below is None or above is None:
        return None
    return max(above - below, 1.0)


def _spread_function(
    distance: FloatArray, values: FloatArray, half: float, bins_per_px: int = OVERSAMPLING
) -> FloatArray | None:
    """Return the mean of the values in bins of distance within the half window.

    Single empty bins are interpolated; None where more than one in ten is empty.
    """
    n_half = int(half * bins_per_px)
    index = np.rint(distance * bins_per_px).astype(np.intp) + n_half
    kept = (index >= 0) & (index <= 2 * n_half)
    count = np.bincount(index[kept], minlength=2 * n_half + 1)
    total = np.bincount(index[kept], values[kept], minlength=2 * n_half + 1)
    filled = count > 0
    if np.mean(filled) < 0.9 or np.any(~filled[1:] & ~filled[:-1]):
        return None
    # At some slants the pixels of a bin lie off its centre: place each mean where they lie.
    offset = np.bincount(index[kept], distance[kept], minlength=2 * n_half + 1)
    centres = np.arange(-n_half, n_half + 1) / bins_per_px
    return np.interp(centres, offset[filled] / count[filled], total[filled] / count[filled])


def _first_crossing(x: FloatArray, falling: FloatArray, level: float) -> float | None:
    """Return where a falling curve first passes a level, linearly interpolated."""
    below = np.flatnonzero(falling < level)
    if below.size == 0 or below[0] == 0:
        return None
    i = int(below[0])
    share = (falling[i - 1] - level) / (falling[i - 1] - falling[i])
    return float(x[i - 1] + share * (x[i] - x[i - 1]))
