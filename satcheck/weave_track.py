"""How much of the texture follows the lattice, place by place.

The lattice found at the middle of the part is carried everywhere by the braid's own geometry (the
number of tows round the part is fixed, a sleeve that opens shortens), by the foreshortening of a
round body, and by a slow correction fitted along the part. Nothing is searched cell by cell: a
search would find a "weave" in any noise.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from satcheck.frame import Frame
from satcheck.photo import luminance
from satcheck.weave_lattice import NODES, Lattice
from satcheck.weave_spectrum import contrast, power

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

WINDOW = 4.0  # pitches: the smallest spot that is reported
STEP = 0.75  # pitches between windows
NODE_WIDTH = 0.22  # standard deviation of a node, in lattice steps: a window's own resolution
ANNULUS = (0.25, 1.6)  # cycles per pitch between which texture counts as weave
STRETCH = np.array([0.80, 0.87, 0.93, 1.0, 1.07, 1.15, 1.25])
STRETCH_SPREAD = 0.25  # natural log; what a braid pushed by hand departs from its geometry
SMOOTH = 4.0  # windows along the part over which the correction is fitted


@dataclass(frozen=True, eq=False)
class Windows:
    """Texture windows of one part, one row per window.

    Attributes
    ----------
    x, y : (n,) float arrays
        Centres, in pixels of the frame.
    at_nodes, between : (n,) float arrays
        Mean power density of log luminance at the lattice's nodes, and between them within the
        weave's annulus (cycles per pixel squared units of ``weave_spectrum.power``).
    variance : (n,) float array
        Variance of log luminance carried by the nodes, what lies between them subtracted; may be
        negative where there is no weave.
    """

    x: F64
    y: F64
    at_nodes: F64
    between: F64
    variance: F64


def track(frame: Frame, lattice: Lattice) -> Windows:
    """Measure the lattice's share of the texture in windows over the whole part.

    Parameters
    ----------
    frame : Frame
    lattice : Lattice
        In pixels of this frame.
    """
    size = round(WINDOW * lattice.pitch / 2) * 2
    flat = contrast(luminance(frame.linear), frame.laminate, lattice.pitch)
    row, x, y, lane, width = _places(frame, size, max(2, round(STEP * lattice.pitch)))
    if len(x) == 0:
        nothing = np.zeros(0)
        return Windows(nothing, nothing, nothing, nothing, nothing)
    spectra = power(flat, y - size // 2, x - size // 2, size, size)
    across, along = _carried(lattice, lane, width)
    stretch = _stretch(spectra, row, lane, across, along, lattice)
    across, along = across * stretch[0][row], along * stretch[1][row]
    at_nodes, between, variance = _shares(spectra, across, along, lattice)
    return Windows(x.astype(float), y.astype(float), at_nodes, between, variance)


def _places(frame: Frame, size: int, step: int) -> tuple[NDArray[np.intp], ...]:
    """Return row index, centre x and y, lane (-1 to 1) and half width (over its median)."""
    centre, half = frame.span
    height, width = frame.laminate.shape
    ys = np.arange(size // 2, height - size // 2, step)
    xs = np.arange(size // 2, width - size // 2, step)
    row, column = np.nonzero(frame.laminate[np.ix_(ys, xs)])
    y, x = ys[row], xs[column]
    relative = half / np.nanmedian(half)
    lane = np.clip((x - centre[y]) / half[y], -0.95, 0.95)
    return row, x, y, lane, relative[y]


def _carried(lattice: Lattice, lane: F64, width: F64) -> tuple[F64, F64]:
    """Return the lattice's repeats at each window, from trellis geometry and the cosine law.

    The number of tows is fixed, so the repeat across grows with the diameter, sin(angle) with it
    (inextensible tows), and the repeat along shrinks as cos(angle).
    """
    across, along = lattice.repeat
    middle = np.deg2rad(lattice.angle)
    sine = np.clip(np.sin(middle) * width, 0.2, 0.95)
    foreshortened = np.sqrt(1 - lane**2)
    return across * width * foreshortened, along * np.sqrt(1 - sine**2) / np.cos(middle)


def _node_weights(shape: tuple[int, int], across: F64, along: F64, lattice: Lattice) -> F32:
    """Return how far each frequency belongs to a node, (n, *shape), 0 to 1."""
    fx = np.fft.rfftfreq(shape[0]).astype(np.float32)[None, None, :]
    fy = np.abs(np.fft.fftfreq(shape[0])).astype(np.float32)[None, :, None]
    u = fx * across.astype(np.float32)[:, None, None]
    v = fy * along.astype(np.float32)[:, None, None]
    weight = np.zeros((len(across), *shape), np.float32)
    for i, j, _ in NODES[lattice.over][:4]:
        ring = ((u - i) ** 2 + (v - j) ** 2) / (2 * NODE_WIDTH**2)
        np.maximum(weight, np.exp(-ring), out=weight)
    return weight


def _annulus(shape: tuple[int, int], pitch: float) -> F32:
    """Return 1 where a frequency lies within the weave's annulus, (N, N // 2 + 1)."""
    radius = pitch * np.hypot(np.fft.fftfreq(shape[0])[:, None], np.fft.rfftfreq(shape[0])[None])
    return ((radius > ANNULUS[0]) & (radius < ANNULUS[1])).astype(np.float32)


def _shares(spectra: F32, across: F64, along: F64, lattice: Lattice) -> tuple[F64, F64, F64]:
    """Return power density at the nodes and between them, and the nodes' variance."""
    shape = (spectra.shape[1], spectra.shape[2])
    weight = _node_weights(shape, across, along, lattice)
    off = (weight < 0.1) * _annulus(shape, lattice.pitch)
    between = (spectra * off).sum((1, 2)) / np.maximum(off.sum((1, 2)), 1)
    total = weight.sum((1, 2))
    at_nodes = (spectra * weight).sum((1, 2)) / total
    # One half plane is stored; the other mirrors it.
    variance = 2 * (at_nodes - between) * total / shape[0] ** 2
    return at_nodes.astype(float), between.astype(float), variance.astype(float)


def _stretch(
    spectra: F32,
    row: NDArray[np.intp],
    lane: F64,
    across: F64,
    along: F64,
    lattice: Lattice,
) -> tuple[F64, F64]:
    """Fit by how much the lattice departs from its geometry, for each row of windows.

    Windows of a row see the same braid, so their spectra, each brought to unit power, are judged
    together and with their neighbours; the fit is held back by a prior and smoothed.
    """
    rows = int(row.max()) + 1
    middle = np.abs(lane) < 0.6
    scores = np.zeros((rows, len(STRETCH), len(STRETCH)))
    counts = np.bincount(row[middle], minlength=rows).astype(float)
    chosen = spectra[middle]
    for i, wide in enumerate(STRETCH):
        for j, long in enumerate(STRETCH):
            on, off, _ = _shares(chosen, across[middle] * wide, along[middle] * long, lattice)
            ratio = np.clip(np.log((on + 1e-12) / (off + 1e-12)), -0.5, 2.0)
            scores[:, i, j] = np.bincount(row[middle], ratio, rows)
    mean = gaussian_filter1d(scores, SMOOTH, axis=0, mode="nearest")
    mean /= np.maximum(gaussian_filter1d(counts, SMOOTH, mode="nearest"), 1e-3)[:, None, None]
    prior = -0.5 * (np.log(STRETCH) / STRETCH_SPREAD) ** 2
    value = (mean + 0.12 * (prior[:, None] + prior[None, :])).reshape(rows, -1)
    i, j = np.unravel_index(value.argmax(1), (len(STRETCH), len(STRETCH)))
    smooth = [gaussian_filter1d(np.log(STRETCH[k]), 3.0, mode="nearest") for k in (i, j)]
    return np.exp(smooth[0]), np.exp(smooth[1])
