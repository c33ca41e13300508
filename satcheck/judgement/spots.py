"""What a whole spot of cells looks like: a fold, a doubtful dry spot, a rich one that is none.

A cell is judged by itself and its nearest; a wrinkle, a shadow or a photo's own offset lifts many
of them at once. What a spot shows as a whole tells such from resin.
"""

import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.cell_grid import means, medians, sizes, smoothed, spots, widened
from satcheck.model import SCALE, Label

Labels = NDArray[np.uint8]
Bool = NDArray[np.bool_]
F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

ONE_WAY = 0.8  # median coherence from which a spot is a fold, a seam or a reflection's edge
TWO_WAY = 0.6  # coherence up to which a cell is weave even where a fold runs into it
SURELY_ONE_WAY = 0.95  # coherence from which a single cell is, within a spot that is not
# Median of ln(lattice's share of the texture over the rest's) below which a spot is no weave: truly
# starved spots of 23 rendered photos reach down to -0.48, a third of the false lie below -0.75.
OFF_LATTICE = -0.75
ON_LATTICE = -0.48  # from which a cell of such a spot, if two-way, is weave beside a fold
CORE = -0.75  # index that some cells of a starved spot must reach; -0.4 is even odds
# Log odds of starved by the weave alone, averaged over the cells of like labels within some two
# pitches: below the first only light and colour call a cell starved (a lit flank, a sheen), above
# the second only they call it good. Without this, 33 check photos (render.py, seeds 20, 931 to 971)
# are called starved in 7.8 % of what is not, good, heavy or rich in 0.6 % of what is starved, and
# good in 38.1 % of what is; with it in 6.6, 0.4 and 37.8 %. 75 % of the starved are found by both.
STARVED_FROM, GOOD_TO, NEARBY = -1.5, -1.0, 4.0
LIT = 40  # cells, ten pitches square: a tenth of what this wins lies in smaller places
SPECK = 5  # cells: smaller than one and a half pitches, a lone starved place is only lean
# Mean index of a starved spot, plus ``ONE_WAY_COST`` times by how much its texture is more
# one-directional than the part's, up to which it is called starved. On 68 rendered photos of three
# fibres, each judged without its own part, it took 13 of 17 good thirds of the demo that were
# called starved, for 1 of 19 starved ones, which became lean.
EVIDENCE, ONE_WAY_COST = -0.6, 0.5
# A rich spot's contrast across its main direction (natural log) under that of the cells around it:
# of 22 true spots of two and a half pitches and more 18 reach it, of 33 false ones 9 (same photos).
SMOOTHER = -0.5
AROUND = (2, 6)  # cells: from one pitch to three beyond a spot; nearer, a window sees both
FEWEST_AROUND = 10  # cells, for their mean
MOST_OF_PART = 0.5  # share of what is judged beyond which a spot has no surroundings to be held to


def folds(
    labels: NDArray[np.generic], coherence: NDArray[np.float32], order: NDArray[np.float32]
) -> Bool:
    """Return the starved-looking spots that are folds, seams or reflections.

    Their texture runs one way, or it does not follow the braid.
    """
    names, count = spots(labels == Label.STARVED)
    if count == 0:
        return np.zeros(labels.shape, bool)
    coherence, order = np.nan_to_num(coherence), np.nan_to_num(order)
    here = names > 0
    one_way = medians(coherence[here], names[here], count)[names] > ONE_WAY
    off = medians(order[here], names[here], count)[names] < OFF_LATTICE
    # A fold may run into a dry spot: what is clearly two-way there stays.
    fold = one_way & (coherence > TWO_WAY)
    fold |= off & ((order < ON_LATTICE) | (coherence > TWO_WAY))
    return np.asarray(here & (fold | (coherence > SURELY_ONE_WAY)))


def with_core(labels: Labels, index: F32) -> Labels:
    """Soften to lean the starved spots that nowhere are certain (hysteresis, after Canny 1986)."""
    certain = np.nan_to_num(index) <= CORE
    names, count = spots(labels == Label.STARVED)
    cores = np.bincount(names[certain], minlength=count + 1)
    return np.where((names > 0) & (cores[names] < SPECK), Label.LEAN, labels).astype(np.uint8)


def with_evidence(labels: Labels, index: F32, coherence: F32) -> Labels:
    """Soften to lean the starved spots that as a whole are too near to even odds.

    Parameters
    ----------
    labels : (R, C) uint8 array
    index : (R, C) float32 array
        Saturation index, -1 to 1.
    coherence : (R, C) float32 array
        How one-directional the texture is, 0 to 1.
    """
    names, count = spots(labels == Label.STARVED)
    rest = np.isin(labels, SCALE) & (names == 0)
    if count == 0:
        return labels
    coherence = np.nan_to_num(coherence)
    one_way = means(coherence, names, count)
    usual = float(coherence[rest].mean()) if rest.any() else one_way
    score = means(np.nan_to_num(index), names, count)
    weak = (score + ONE_WAY_COST * (one_way - usual) > EVIDENCE)[names]
    return np.where((names > 0) & weak, Label.LEAN, labels).astype(np.uint8)


def with_weave(labels: Labels, weave: F32) -> Labels:
    """Soften to lean what the weave contradicts, without light and colour.

    Parameters
    ----------
    labels : (R, C) uint8 array
    weave : (R, C) float32 array
        Log odds of starved by the weave alone; NaN if unmeasured.
    """
    starved = (labels == Label.STARVED) & np.isfinite(weave)
    enough = np.isin(labels, (Label.GOOD, Label.HEAVY, Label.RICH)) & np.isfinite(weave)
    names, count = spots(starved & (_nearby(weave, starved) < STARVED_FROM))
    contradicted = (names > 0) & (sizes(names, count)[names] >= LIT)
    contradicted |= enough & (_nearby(weave, enough) > GOOD_TO)
    return np.where(contradicted, Label.LEAN, labels).astype(np.uint8)


def _nearby(weave: F32, where: Bool) -> F64:
    """Return the mean (R, C) over those nearby of some cells."""
    total = smoothed(np.where(where, weave, 0.0).astype(np.float64), NEARBY)
    return np.asarray(total / np.maximum(smoothed(where, NEARBY), 1e-3), np.float64)


def with_contrast(labels: Labels, crosswise: F32 | None) -> Labels:
    """Soften to heavy the rich spots that are hardly smoother than what lies around them.

    Parameters
    ----------
    labels : (R, C) uint8 array
    crosswise : (R, C) float32 array or None
        Texture across its main direction, natural log; without it nothing is softened.
    """
    if crosswise is None:
        return labels
    names, count = spots(labels == Label.RICH)
    judged = np.isin(labels, SCALE)
    result = labels.copy()
    for k in range(1, count + 1):
        here = names == k
        if here.sum() > MOST_OF_PART * judged.sum():
            continue
        near, far = (widened(here, reach) for reach in AROUND)
        around = far & ~near & judged
        if around.sum() < FEWEST_AROUND or not _is_smoother(crosswise, here, around):
            result[here] = Label.HEAVY
    return result


def _is_smoother(crosswise: F32, here: Bool, around: Bool) -> bool:
    return bool(np.nanmean(crosswise[here]) - np.nanmean(crosswise[around]) <= SMOOTHER)
