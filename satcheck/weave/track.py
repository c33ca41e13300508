"""How much of the texture follows the lattice, place by place.

The lattice found at the middle of the part is carried everywhere by the braid's own geometry (the
number of tows round the part is fixed, a sleeve that opens shortens), by the foreshortening of a
round body, and by a slow correction fitted along the part. Nothing is searched cell by cell: a
search would find a "weave" in any noise.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.cell_grid import smoothing
from satcheck.arrays.quantile import median
from satcheck.frame import Frame
from satcheck.weave.lattice import NODES, Lattice
from satcheck.weave.spectrum import power

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Index = NDArray[np.intp]

WINDOW = 4.0  # pitches: the smallest spot that is reported
STEP = 1.5  # pitches between windows: a mean over 0.8 (``measure.POOLED``) then ripples by 0.7 %
NODE_WIDTH = 0.22  # standard deviation of a node, in lattice steps: a window's own resolution
ANNULUS = (0.25, 1.6)  # cycles per pitch between which texture counts as weave
QUIET = 2.2  # cycles per pitch above which what is left is noise: two tow harmonics and blur
OFF_NODES = 0.1  # weight below which a frequency of the annulus lies between nodes
NEGLIGIBLE = 1e-3  # weight below which a frequency is no part of any node
GRID = 0.04  # natural log steps in which repeats are tabulated; a tenth of a node's width
STRETCH = np.arange(-6, 7, 2)  # grid steps by which the lattice may depart from its geometry
STRETCH_SPREAD = 0.25  # natural log; what a braid pushed by hand departs from its geometry
SMOOTH = 4.0  # windows along the part over which the correction is fitted
FIT_WINDOWS = 1500  # enough to fit a dozen numbers


@dataclass(frozen=True, eq=False)
class Windows:
    """Texture windows of one part, one row per window; densities as in ``spectrum.power``.

    Attributes
    ----------
    x, y : (n,) int arrays
        Centres, in pixels of the frame.
    at_nodes, between : (n,) float arrays
        Mean power density of log luminance at the lattice's nodes, and between them within the
        weave's annulus.
    variance : (n,) float array
        Variance of log luminance within the annulus, noise included.
    noise : (n,) float array
        What of ``variance`` is noise, if the noise is as strong there as above the weave's band.
    """

    x: Index
    y: Index
    at_nodes: F64
    between: F64
    variance: F64
    noise: F64


def track(frame: Frame, flat: F32, lattice: Lattice) -> Windows:
    """Measure the lattice's share of the texture in windows over the whole part.

    Parameters
    ----------
    frame : Frame
    flat : (H, W) float32 array
        Its flattened contrast, from ``spectrum.contrast``.
    lattice : Lattice
        In pixels of this frame.
    """
    size = round(WINDOW * lattice.pitch / 2) * 2
    row, x, y, lane, width = _places(frame, size, max(2, round(STEP * lattice.pitch)))
    if len(x) == 0:
        nothing = np.zeros(0)
        return Windows(x, y, nothing, nothing, nothing, nothing)
    share = _filled(frame, x, y, size)
    spectra = power(flat, y - size // 2, x - size // 2, size, size)
    variance, noise = _totals(spectra, lattice.pitch)
    table = _Table.around(_carried(lattice, lane, width), size, lattice)
    seen = table.seen(spectra) / share[:, None]
    table = table.stretched(*_stretch(seen, row, lane, table))
    at_nodes, between = table.means(seen)
    return Windows(x, y, at_nodes, between, variance / share, noise / share)


def _places(frame: Frame, size: int, step: int) -> tuple[Index, Index, Index, F64, F64]:
    """Return row index, centre x and y, lane (-1 to 1) and half width (over its median)."""
    centre, half = frame.span
    height, width = frame.laminate.shape
    ys = np.arange(size // 2, height - size // 2, step)
    xs = np.arange(size // 2, width - size // 2, step)
    row, column = np.nonzero(frame.laminate[np.ix_(ys, xs)])
    y, x = ys[row].astype(np.intp), xs[column].astype(np.intp)
    lane = np.clip((x - centre[y]) / half[y], -0.95, 0.95)
    return row, x, y, lane, half[y] / frame.half_width


def _filled(frame: Frame, x: Index, y: Index, size: int) -> F32:
    """Return the share of each window's weight that lies on the laminate, at least 0.2."""
    squared = np.hanning(size + 2)[1:-1] ** 2
    squared = (squared / squared.sum()).astype(np.float32)
    weights, places = [], []
    for centres, length in zip((y, x), frame.laminate.shape, strict=True):
        each, place = np.unique(centres, return_inverse=True)
        weight = np.zeros((each.size, length), np.float32)
        seen = each[:, None] - size // 2 + np.arange(size)
        np.put_along_axis(weight, seen, squared[None], 1)
        weights.append(weight)
        places.append(place)
    share = weights[0] @ frame.laminate.astype(np.float32) @ weights[1].T
    return np.asarray(np.maximum(share[places[0], places[1]], 0.2), np.float32)


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


@dataclass(frozen=True, eq=False)
class _Table:
    """Node weights for a grid of repeats, and which of them each window needs.

    Only frequencies that some node or the annulus reaches are kept, those below the axis folded
    on those above it: both weigh the same.
    """

    weights: F32
    """(across * along, frequencies): how far each frequency belongs to a node, 0 to 1."""
    ring: NDArray[np.bool_]
    """(frequencies,): the weave's annulus."""
    twice: F32
    """(frequencies,): 2 where a frequency and its mirror are folded into one, else 1."""
    rows: Index
    columns: Index
    """(frequencies,): their places in the upper half of the spectrum."""
    along: int
    """Repeats along in the grid."""
    pair: Index
    """(n,): each window's row of ``weights``."""

    @classmethod
    def around(cls, repeats: tuple[F64, F64], size: int, lattice: Lattice) -> "_Table":
        """Return the table that holds every repeat and its stretches."""
        reach = int(np.abs(STRETCH).max())
        steps = [np.rint(np.log(r / median(r)) / GRID).astype(np.intp) for r in repeats]
        lows = [int(s.min()) - reach for s in steps]
        grids = [
            float(median(r)) * np.exp(GRID * np.arange(low, s.max() + reach + 1))
            for r, s, low in zip(repeats, steps, lows, strict=True)
        ]
        fx = np.fft.rfftfreq(size).astype(np.float32)
        fy = fx[: size // 2 + 1]
        nodes = _nodes(fx, fy, grids[0], grids[1], lattice.over)
        ring = _between(fx[None, :], fy[:, None], lattice.pitch, *ANNULUS)
        # Neither factor is negative: the largest product is that of the largest factors.
        most = np.max([np.outer(v.max(0), u.max(0)) for u, v in nodes], 0)
        rows, columns = np.nonzero(ring | (most > NEGLIGIBLE))
        kept = _weights([(u[:, columns], v[:, rows]) for u, v in nodes])
        twice = np.where((rows == 0) | (2 * rows == size), 1, 2).astype(np.float32)
        along = grids[1].size
        pair = (steps[0] - lows[0]) * along + steps[1] - lows[1]
        return cls(kept, ring[rows, columns], twice, rows, columns, along, pair)

    def seen(self, spectra: F32) -> F32:
        """Return the power of spectra (n, N, N // 2 + 1) at the table's frequencies, folded."""
        size = spectra.shape[1]
        above = spectra[:, self.rows, self.columns]
        below = spectra[:, -self.rows % size, self.columns]
        return np.where(self.twice > 1, above + below, above)

    def stretched(self, across: Index, along: Index) -> "_Table":
        """Return the table with every window's repeats moved by grid steps."""
        return replace(self, pair=self.pair + across * self.along + along)

    @cached_property
    def off(self) -> F32:
        """Return how far each frequency lies between nodes, (across * along, frequencies)."""
        return ((self.weights < OFF_NODES) & self.ring).astype(np.float32)

    @cached_property
    def sums(self) -> tuple[F32, F32]:
        """Return the sums of ``weights`` and of ``off`` over both halves, (across * along,)."""
        on, off = (np.maximum(w @ self.twice, np.float32(1e-6)) for w in (self.weights, self.off))
        return on, off

    def means(self, seen: F32) -> tuple[F64, F64]:
        """Return mean power density at the nodes and between them, (n,) each."""
        at_nodes, between = (
            np.einsum("nf,nf->n", seen, w[self.pair]) / total[self.pair]
            for w, total in zip((self.weights, self.off), self.sums, strict=True)
        )
        return at_nodes.astype(np.float64), between.astype(np.float64)

    def stretched_means(self, seen: F32, moves: Index) -> tuple[F64, F64]:
        """Return the means after each of some moves (m,) within the table, (n, m) each."""
        at_nodes, between = np.zeros((2, len(seen), moves.size))
        order = np.argsort(self.pair, kind="stable")
        pairs, starts = np.unique(self.pair[order], return_index=True)
        for pair, chosen in zip(pairs, np.split(order, starts[1:]), strict=True):
            there, here = pair + moves, seen[chosen]
            at_nodes[chosen] = here @ self.weights[there].T / self.sums[0][there]
            between[chosen] = here @ self.off[there].T / self.sums[1][there]
        return at_nodes, between


def _nodes(fx: F32, fy: F32, across: F64, along: F64, over: int) -> list[tuple[F32, F32]]:
    """Return how far frequencies belong to each node, by column and by row, 0 to 1.

    (len(across), len(fx)) and (len(along), len(fy)): the product is the weight of a node.
    """
    return [
        (_near(fx * across[:, None] - i), _near(fy * along[:, None] - j))
        for i, j, _ in NODES[over][:4]
    ]


def _weights(nodes: list[tuple[F32, F32]]) -> F32:
    """Return how far each frequency belongs to the node nearest to it, (across * along, F).

    ``nodes`` hold the factors across (across, F) and along (along, F) of each.
    """
    across, along = nodes[0]
    nearest = np.zeros((len(across), *along.shape), np.float32)
    for across, along in nodes:
        np.maximum(nearest, across[:, None, :] * along, out=nearest)
    return nearest.reshape(-1, nearest.shape[2])


def _near(steps: F64) -> F32:
    """Return how far frequencies belong to a node that is so many lattice steps away, 0 to 1."""
    # Held to 1e-13: of the still smaller numbers that arithmetic is slow with, none is of use.
    return np.exp(np.maximum(-(steps**2) / (2 * NODE_WIDTH**2), -30)).astype(np.float32)


def _between(fx: F32, fy: F32, pitch: float, low: float, high: float) -> NDArray[np.bool_]:
    """Return where a frequency lies between two limits in cycles per pitch."""
    radius = pitch * np.hypot(fx, fy)
    return np.asarray((radius > low) & (radius < high))


def _totals(spectra: F32, pitch: float) -> tuple[F64, F64]:
    """Return each window's variance within the annulus, and the noise in it, (n,) each."""
    size = spectra.shape[1]
    fx = np.fft.rfftfreq(size).astype(np.float32)[None, :]
    fy = np.fft.fftfreq(size).astype(np.float32)[:, None]
    # One half plane is stored, the other mirrors it; the columns 0 and N/2 are their own mirror.
    count = np.where((np.arange(fx.size) == 0) | (np.arange(fx.size) == size // 2), 1.0, 2.0)
    weight = _between(fx, fy, pitch, *ANNULUS) * count / size**2
    quiet = _between(fx, fy, pitch, QUIET, 0.5 * pitch)
    quiet[1::2], quiet[:, 1::2] = False, False  # Hann's neighbours tell nearly the same
    flat = spectra.reshape(len(spectra), -1)
    variance = flat @ weight.ravel().astype(np.float32)
    if not quiet.any():  # too few pixels a pitch to see above the weave
        return variance.astype(float), np.zeros(len(flat))
    density = median(flat[:, quiet.ravel()], 1) / np.log(2)  # of an exponential distribution
    return variance.astype(float), density.astype(float) * float(weight.sum())


def _stretch(seen: F32, row: Index, lane: F64, table: _Table) -> tuple[Index, Index]:
    """Fit by how many grid steps the lattice departs from its geometry, for each window.

    Windows of a row see the same braid, so their spectra are judged together and with their
    neighbours; the fit is held back by a prior and smoothed along the part.
    """
    chosen = np.nonzero(np.abs(lane) < 0.6)[0]
    if chosen.size == 0:
        return np.zeros_like(row), np.zeros_like(row)
    chosen = chosen[:: max(1, len(chosen) // FIT_WINDOWS)]
    rows = int(row.max()) + 1
    along = smoothing(rows, SMOOTH)
    counts = along @ np.bincount(row[chosen], minlength=rows)
    moves = STRETCH[:, None] * table.along + STRETCH
    part = replace(table, pair=table.pair[chosen])
    on, off = part.stretched_means(seen[chosen], moves.ravel())
    ratio = np.clip(np.log((on + 1e-12) / (off + 1e-12)), -0.5, 2.0)
    sums = np.zeros((rows, moves.size))
    np.add.at(sums, row[chosen], ratio)
    mean = along @ sums / np.maximum(counts, 1e-3)[:, None]
    prior = -0.06 * (GRID * STRETCH / STRETCH_SPREAD) ** 2
    value = mean + (prior[:, None] + prior).ravel()
    best = np.unravel_index(value.argmax(1), moves.shape)
    smooth = [smoothing(rows, 3.0) @ STRETCH[k] for k in best]
    return np.rint(smooth[0]).astype(np.intp)[row], np.rint(smooth[1]).astype(np.intp)[row]
