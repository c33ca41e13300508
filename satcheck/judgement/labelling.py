"""From saturation index to labels, cell by cell: bounds, doubts, holes and rims."""

import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.cell_grid import holes, sizes, spots, widened
from satcheck.arrays.quantile import quantile
from satcheck.calibration.file import FibreBounds
from satcheck.flags import Reason
from satcheck.judgement.mixture import CAMERA_FREEDOM
from satcheck.judgement.saturation import Saturation, saturation
from satcheck.judgement.spots import (
    SPECK,
    folds,
    with_contrast,
    with_core,
    with_evidence,
    with_weave,
)
from satcheck.model import SCALE, Cells, Label

Labels = NDArray[np.uint8]
Bool = NDArray[np.bool_]

# How much darker than any that was labelled a cell may be, natural log units: as far as automatic
# exposure alone moves a photo.
DIMMER = CAMERA_FREEDOM["light"]
# By how much drier than it looks such a cell is taken, of the saturation index: noise and coding
# weigh more in the dark. On rendered photos two stops under-exposed, not our own renderer's, 2.3 %
# of the starved places were called good or better without it, 0.7 % with it (3.2 and 1.7 % where
# hand marks calibrate), and 48 % of the rich were found instead of 63 %.
DIM_CAUTION = np.float32(0.15)
# Share of a part that is darker still, from which nothing good is believed of the rest: up to 0.07
# on 61 rendered photos as taken or two stops under-exposed, 0.64 and 0.87 on two at three stops.
MOSTLY_DARK = 0.3
# Natural log units, 3.6 stops: how much darker than the brightest tenth of a part what seems good
# may be. Of the starved cells of 29 check photos of five fibres (render.py, seeds 20, 911 to 913)
# those beyond were called good, heavy or rich in 23 %, those between 2.1 and 2.5 in 2 %, the others
# in 1 to 3 %.
SHADOW = 2.5
BRIGHT = 0.9  # quantile of light over a part
HOLE = 64  # cells: up to four pitches across, what starved laminate surrounds is starved
# Cells, ten pitches square: a starved spot of that size speaks though nothing tells the weave's
# size. On 20 rendered photos without a weave reference (render.py, seeds 20, 911 to 913, 931) three
# spots of 1,700 cells and more are starved; of 15 smaller ones, up to 250, two are.
BROAD = 400
RIM = 2  # cells: one pitch, half of what a window of four pitches reaches beyond its cell


LABEL_CUES = ("light", "coherence", "order")
"""Cues that labels need beside those of the mixtures."""


def label_cells(cells: Cells, fibre: FibreBounds) -> tuple[Labels, NDArray[np.uint32]]:
    """Judge every cell of a part.

    Returns
    -------
    labels : (R, C) uint8 array
        Codes of ``model.Label``; 0 outside the part.
    reasons : (R, C) uint32 array
        Why a cell is not judged: those of ``cells`` and those that only the judgement shows.
    """
    found = saturation(cells, fibre.dry, fibre.full)
    return label_saturation(found, cells, fibre.bounds, fibre.light)


def label_saturation(
    found: Saturation,
    cells: Cells,
    bounds: tuple[float, float, float, float],
    light: tuple[float, float],
) -> tuple[Labels, NDArray[np.uint32]]:
    """Judge every cell from its saturation; see ``label_cells``."""
    brightness = cells.cues["light"]
    index = np.where(brightness < light[0], found.index - DIM_CAUTION, found.index)
    raw = _by_bounds(index, bounds)
    dark = brightness < light[0] - DIMMER
    reasons = _reasons(index, raw, cells, dark)
    judged = cells.part & unspoiled(reasons)
    labels = _by_spots(np.where(judged, raw, 0).astype(np.uint8), index, cells)
    labels = with_weave(labels, found.weave)
    hiding = _hiding(dark, cells.part, found.is_usual) | reasons
    hiding[_shadows(brightness, judged)] |= np.uint32(Reason.DARK)
    seen = judged & _believed(labels, hiding)
    reasons = np.where(seen, 0, np.where(judged, hiding, reasons)).astype(np.uint32)
    labels = np.where(seen, labels, Label.NOT_JUDGED)
    return np.where(cells.part, labels, Label.OUTSIDE).astype(np.uint8), reasons


def unspoiled(reasons: NDArray[np.uint32]) -> Bool:
    """Return where nothing speaks against a cell but what may hide weave, and makes none.

    What is dry there shows so. The same cells teach what the classes look like: a part that is rich
    all over has no weave, and what dry laminate looks like under a veil must be learned too.
    """
    return np.asarray((reasons & ~np.uint32(Reason.VEIL | Reason.NO_WEAVE)) == 0)


def _reasons(
    index: NDArray[np.float32], raw: Labels, cells: Cells, dark: Bool
) -> NDArray[np.uint32]:
    """Return why cells are not judged, those that only the judgement shows among them."""
    reasons = cells.reasons.copy()
    reasons[cells.part & np.isnan(index) & unspoiled(reasons)] |= np.uint32(Reason.EDGE)
    reasons[cells.part & dark] |= np.uint32(Reason.DARK)
    dry = np.where(cells.part & unspoiled(reasons), raw, 0)
    folded = folds(dry, cells.cues["coherence"], cells.cues["order"])
    reasons[folded] |= np.uint32(Reason.WRINKLE)
    return reasons


def _by_spots(labels: Labels, index: NDArray[np.float32], cells: Cells) -> Labels:
    """Return labels after what their spots show as a whole, and what stands around them."""
    rimmed = _rimmed(with_core(_solid(labels), index))  # also beside what is softened next
    labels = with_evidence(rimmed, index, cells.cues["coherence"])
    return with_contrast(labels, cells.cues.get("crosswise"))


def _believed(labels: Labels, hiding: NDArray[np.uint32]) -> Bool:
    """Return which labels stand though something may hide weave.

    What shows can be believed; where nothing shows, nothing is known. Without a weave reference
    lean and good are too near to each other, and so are small spots and what else has texture.
    """
    dry = np.isin(labels, (Label.STARVED, Label.LEAN))
    is_scaled = (hiding & np.uint32(Reason.NO_WEAVE)) == 0
    return np.asarray((hiding == 0) | (dry & is_scaled) | _broadly_starved(labels))


def _broadly_starved(labels: Labels) -> Bool:
    """Return the starved spots that are so large that the weave's size hardly matters."""
    names, count = spots(labels == Label.STARVED)
    return np.asarray((names > 0) & (sizes(names, count)[names] >= BROAD))


def _hiding(dark: Bool, part: Bool, is_usual: bool) -> NDArray[np.uint32]:
    """Return why a photo as a whole may hide starved places, (R, C); 0 where it does not."""
    hiding = Reason.NONE if is_usual else Reason.UNUSUAL
    if part.any() and float(dark[part].mean()) > MOSTLY_DARK:
        hiding |= Reason.DARK
    return np.full(part.shape, hiding, np.uint32)


def _shadows(brightness: NDArray[np.float32], judged: Bool) -> Bool:
    """Return the cells that lie deep in shadow beside the brightest of what is judged."""
    if not judged.any():
        return np.zeros_like(judged)
    return np.asarray(brightness < quantile(brightness[judged], BRIGHT) - SHADOW)


def _by_bounds(index: NDArray[np.float32], bounds: tuple[float, ...]) -> Labels:
    """Return the scale's code for each index; a bound belongs to the drier side."""
    codes = np.array([*SCALE, Label.NOT_JUDGED], np.uint8)
    place = np.searchsorted(np.array(bounds), np.nan_to_num(index), side="left")
    return codes[np.where(np.isnan(index), len(SCALE), place)]


def _filled(labels: Labels, around: tuple[Label, ...], by: Label) -> Labels:
    """Relabel the small holes of a region."""
    region = np.isin(labels, around)
    names, count = spots(holes(region))
    small = sizes(names, count)[names] <= HOLE
    return np.where((names > 0) & small & (labels > 0), by, labels).astype(np.uint8)


def _rimmed(labels: Labels) -> Labels:
    """Turn good cells that touch starved ones to lean: a window there sees both."""
    touching = widened(labels == Label.STARVED, RIM)
    doubtful = touching & np.isin(labels, (Label.GOOD, Label.HEAVY, Label.RICH))
    return np.where(doubtful, Label.LEAN, labels).astype(np.uint8)


def _solid(labels: Labels) -> Labels:
    """Fill what starved or lean laminate surrounds, and soften starved specks to lean."""
    result = _filled(labels, (Label.STARVED, Label.LEAN), Label.LEAN)
    result = _filled(result, (Label.STARVED,), Label.STARVED)
    names, count = spots(result == Label.STARVED)
    small = sizes(names, count)[names] < SPECK
    return np.where((names > 0) & small, Label.LEAN, result).astype(np.uint8)
