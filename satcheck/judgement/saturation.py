"""From a part's cells to how each stands between starved, good and rich, by two mixtures."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.cell_grid import smoothed
from satcheck.beside import beside
from satcheck.judgement.mixture import Mixture, densities, log_sum, marginal
from satcheck.judgement.offset import understood
from satcheck.model import Cells

F64 = NDArray[np.float64]

CAUTION = 2.0  # cues of one cell are not independent: their joint odds are overstated
# Cells (sigma) over which evidence is shared: a dry patch may be two pitches across, a pool of
# resin spreads over many. Four for rich took a quarter of the false rich cells away and one in
# forty of the true ones, over rendered photos of five fibres, each judged without its own part.
SHARED_DRY, SHARED_FULL = 0.8, 4.0
LIGHT = ("light", "red_blue", "red_green")  # cues that a lamp moves by itself


@dataclass(frozen=True, eq=False)
class Saturation:
    """How the cells of one photo stand, and whether the shop's photos lead to expect such a photo.

    Attributes
    ----------
    index : (R, C) float32 array
        From starved (-1) by good (0) to rich (+1); NaN if unmeasured.
    weave : (R, C) float32 array
        Log odds of starved against good and rich by the weave alone, without light and colour; NaN
        if unmeasured.
    is_usual : bool
        False where the photo's offset lies farther out than the labelled photos' do: its lamp,
        distance or camera is another, and what sets starved from good may be missing.
    """

    index: NDArray[np.float32]
    weave: NDArray[np.float32]
    is_usual: bool


def saturation(cells: Cells, dry: Mixture, full: Mixture) -> Saturation:
    """Return how each cell of a photo stands between starved (-1), good (0) and rich (+1).

    With d the log odds of starved and r those of rich against good, each divided by ``CAUTION``,
    u and v their logistic functions, the index is v (1 - u) - u: doubt about starved counts first.
    One mixture tells starved from the rest by local cues, the other rich from good by cues over a
    wider area; all classes are equally likely beforehand. Whether the photo is usual, the first
    one says.
    """
    where = usable(cells, dry.cues) & usable(cells, full.cues)
    index = np.full(where.shape, np.nan, np.float32)
    if not where.any():
        return Saturation(index, index, is_usual=True)
    with beside() as second:
        widely = second.submit(_evidence, cells, full, where, SHARED_FULL)
        raw = values(cells, dry.cues, where)
        found = understood(dry, raw)
        local = _shared(found.log, where, SHARED_DRY)
        weave = index.copy()
        weave[where] = _dry_odds(_by_weave(dry, raw, found.offset))
    wide = widely.result()
    starved = _share(_dry_odds(local) / CAUTION)
    rich = _share((wide[:, 2] - wide[:, 1]) / CAUTION)
    index[where] = rich * (1 - starved) - starved
    return Saturation(index, weave, found.is_usual)


def usable(cells: Cells, cues: Sequence[str]) -> NDArray[np.bool_]:
    """Return where a part's cells have all the named cues, (R, C)."""
    known = cells.part.copy()
    for cue in cues:
        known &= np.isfinite(cells.cues[cue])
    return known


def values(cells: Cells, cues: Sequence[str], where: NDArray[np.bool_]) -> F64:
    """Return the named cues of some cells, (n, K)."""
    return np.stack([cells.cues[cue][where] for cue in cues], 1).astype(np.float64)


def _evidence(cells: Cells, mixture: Mixture, where: NDArray[np.bool_], sigma: float) -> F64:
    """Return the log densities (n, 3) of some cells and their neighbours."""
    return _shared(understood(mixture, values(cells, mixture.cues, where)).log, where, sigma)


def _by_weave(mixture: Mixture, raw: F64, offset: F64) -> F64:
    """Return the log densities (n, 3) of a photo's cells (n, K) by the weave alone."""
    kept = [k for k, cue in enumerate(mixture.cues) if cue not in LIGHT]
    return densities(marginal(mixture, kept), raw[:, kept], offset[kept])


def _dry_odds(log: F64) -> F64:
    """Return the log odds (n,) of starved against good and rich, from log densities (n, 3)."""
    return np.asarray(log[:, 0] - log_sum(log[:, 1:], 1), np.float64)


def _shared(evidence: F64, where: NDArray[np.bool_], sigma: float) -> F64:
    """Return log densities averaged over the nearest cells."""
    weight = np.maximum(smoothed(where, sigma), 1e-3)
    result = np.empty_like(evidence)
    for k in range(evidence.shape[1]):
        layer = np.zeros(where.shape)
        layer[where] = evidence[:, k]
        result[:, k] = (smoothed(layer, sigma) / weight)[where]
    return result


def _share(odds: F64) -> F64:
    """Return the logistic function of log odds, 0 to 1."""
    return np.asarray(0.5 + 0.5 * np.tanh(0.5 * odds), np.float64)
