"""From cells to zones to the part: a zone is named by its worst patch, not by its mean."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.cell_grid import depth, sizes, spots, widened
from satcheck.flags import EXPLANATIONS, largest_first, split
from satcheck.model import (
    SCALE,
    VERDICT_ORDER,
    ZONES,
    Cells,
    Evenness,
    Interval,
    Label,
    Patch,
    ZoneVerdict,
)

Labels = NDArray[np.uint8]
Bool = NDArray[np.bool_]

MATTERS_MM = 10.0  # diameter from which a patch names its zone; a shop's own rule may differ
MATTERS_PITCHES = 4.0  # the smallest spot that the windows measure
# Inscribed diameter from which a patch is called starved or rich, as a share of the size that
# matters: of 69 starved-looking spots on 23 rendered photos, half of the thinner ones are wrinkles
# or edges of reflections, and a tenth of the rest. A thinner one is lean or heavy, unless it is so
# large by its area that it runs along a whole edge, as at a brim that was never reached.
THICK = 2 / 3
LARGE = 2.0
# Share of a zone that must be judged before it is called good, lean or heavy. Of 16 zones called
# lean from less (52 photos, as below) six were good, six rich, and one held 8 % starved or more.
ENOUGH = 0.25
# Share of what is judged of a zone from which lean or heavy names it, and not good; beside a
# starved or rich cell they do whatever their share. Of 191 good zones on 45 sharp check photos
# (render.py, seeds 20 and 931 to 971, and a second renderer's) 71 are called good, with a quarter
# 55, with a half 83; of 156 zones with 8 % starved and more none is with any of them, of 22 with
# less one. Of 599 such zones under veils, coding and noise reduction (tests/sweep_trust.py) one is,
# with a half five.
MILD = 0.4
MOST = 0.5  # share of a part that must be judged before it is called even or uneven: own rule
REACH = 4  # cells that a window of four pitches reaches beyond its own
CELLS_PER_WINDOW = 64  # cells in four pitches squared, whose windows share pixels
BAND: Mapping[Label, tuple[Label, ...]] = {
    Label.STARVED: (Label.STARVED,),
    Label.RICH: (Label.RICH,),
    Label.LEAN: (Label.STARVED, Label.LEAN),
    Label.HEAVY: (Label.HEAVY, Label.RICH),
}
"""A lean patch may hold starved places too small to name it, and so on."""
EVEN_WORDS = ((0.85, "even"), (0.65, "fairly even"), (0.0, "uneven"))


@dataclass(frozen=True)
class PartVerdict:
    """What a part's cells come to."""

    verdict: Label
    zones: tuple[ZoneVerdict, ...]
    flagged: tuple[Patch, ...]
    evenness: Evenness | None
    reasons: Mapping[str, float]
    share_judged: float


def judge(cells: Cells, labels: Labels, reasons: NDArray[np.uint32]) -> PartVerdict:
    """Judge the zones and the part from the labels of the cells.

    Parameters
    ----------
    cells : Cells
    labels, reasons : (R, C) arrays
        From ``labelling.label_cells``.
    """
    patches = {label: _patches(cells, labels, label) for label in (Label.STARVED, Label.RICH)}
    seen_over = _beside(patches[Label.STARVED], labels.shape)
    patches[Label.LEAN] = _patches(cells, np.where(seen_over, 0, labels), Label.LEAN)
    patches[Label.HEAVY] = _patches(cells, labels, Label.HEAVY)
    seen = _judged(labels)
    zones = tuple(_zone(name, cells, labels, seen, reasons, patches) for name in ZONES)
    share = float((labels[cells.part] != Label.NOT_JUDGED).mean()) if cells.part.any() else 0.0
    found = {zone.verdict for zone in zones}
    verdict = next(label for label in VERDICT_ORDER if label in found)
    if share < ENOUGH and verdict not in (Label.STARVED, Label.RICH):
        verdict = Label.NOT_JUDGED
    worst = [p for label in (Label.STARVED, Label.RICH) for p, _ in patches[label]]
    return PartVerdict(
        verdict,
        zones,
        tuple(sorted(worst, key=lambda p: -p.size)),
        _evenness(cells, labels, seen) if share >= MOST else None,
        _shares(reasons, cells.part),
        share,
    )


def zone_mask(cells: Cells, name: str) -> Bool:
    """Return where a zone of ``model.ZONES`` lies, (R, C)."""
    if name == "brim":
        return cells.brim & cells.part
    if name == "lock":
        return cells.lock & cells.part
    return np.asarray(cells.zone == 1 + ZONES.index(name))


def _patches(cells: Cells, labels: Labels, label: Label) -> list[tuple[Patch, Bool]]:
    """Return the connected patches of a label that are large enough to matter, with their cells."""
    names, count = spots(np.isin(labels, BAND[label]))
    found, thin_counts = [], label in (Label.LEAN, Label.HEAVY)
    for k, covered in enumerate(sizes(names, count)[1:], 1):
        size, unit, matters = _size(cells, int(covered))
        if size < matters:
            continue
        here = names == k
        if (
            thin_counts
            or size >= LARGE * matters
            or _thickness(here) * _per_cell(cells) >= THICK * matters
        ):
            row, column = np.argwhere(here).mean(0) + 0.5
            x, y = cells.to_photo @ np.array([column, row, 1.0])
            found.append((Patch(label, float(x), float(y), size, unit), here))
    return found


def _beside(patches: list[tuple[Patch, Bool]], shape: tuple[int, ...]) -> Bool:
    """Return where patches lie or a window may see them: lean there says nothing of its zone."""
    inside = np.zeros(shape, bool)
    for _, here in patches:
        inside |= here
    return widened(inside, REACH)


def _thickness(patch: Bool) -> float:
    """Return the diameter of the largest disc inside a patch, in cells."""
    return float(2 * depth(patch).max() - 1)


def _size(cells: Cells, count: int) -> tuple[float, Literal["mm", "pitches"], float]:
    """Return a patch's equivalent diameter, its unit, and from what size it matters."""
    diameter = float(2 * np.sqrt(count / np.pi) * _per_cell(cells))
    if cells.mm_per_px is not None:
        return diameter, "mm", MATTERS_MM
    return diameter, "pitches", MATTERS_PITCHES


def _per_cell(cells: Cells) -> float:
    """Return the step of the grid, in the unit of ``_size``."""
    if cells.mm_per_px is not None:
        return cells.step * cells.mm_per_px
    # Without a lattice the cells were laid at half of the pitch that the width suggests.
    return cells.step / (cells.pitch or 2 * cells.step)


def _zone(
    name: str,
    cells: Cells,
    labels: Labels,
    seen: Bool,
    reasons: NDArray[np.uint32],
    patches: Mapping[Label, list[tuple[Patch, Bool]]],
) -> ZoneVerdict:
    zone = zone_mask(cells, name)
    here = labels[zone]
    judged = float((here != Label.NOT_JUDGED).mean()) if here.size else 0.0
    verdict, worst = Label.GOOD if judged >= ENOUGH else Label.NOT_JUDGED, None
    for label in (v for v in VERDICT_ORDER if v in BAND):
        inside = [
            (p, (mask & zone).sum()) for p, mask in patches[label] if _names(mask, zone, cells)
        ]
        if inside and _is_enough(label, sum(int(n) for _, n in inside), here):
            verdict, worst = label, max(inside, key=lambda pair: int(pair[1]))[0]
            break
    return ZoneVerdict(
        name, verdict, _visibility(cells, zone & seen), judged,
        _shares(reasons, zone), worst,
    )  # fmt: skip


def _is_enough(label: Label, covered: int, here: Labels) -> bool:
    """Return whether so many cells of a label name a zone that holds these labels."""
    worse = [other for other in BAND[label] if other is not label]
    if not worse:
        return True
    judged = int(_judged(here).sum())
    is_beside_worse = bool(np.isin(here, worse).any())
    return judged >= ENOUGH * here.size and (is_beside_worse or covered >= MILD * judged)


def _names(patch: Bool, zone: Bool, cells: Cells) -> bool:
    """Return whether a patch lies in a zone enough to name it.

    A quarter of either is enough, and so is a piece that would matter by itself. A long patch may
    lie in many zones with less of it in each: it names at least the one where most of it is.
    """
    shared = int((patch & zone).sum())
    if shared == 0:
        return False
    size, _, matters = _size(cells, shared)
    most = int(np.bincount(cells.zone[patch]).max())
    return size >= matters or shared >= min(0.25 * patch.sum(), 0.25 * zone.sum(), most)


def _judged(labels: Labels) -> Bool:
    return np.isin(labels, SCALE)


def _visibility(cells: Cells, where: Bool) -> Interval | None:
    """Return the mean visibility of some cells with its 95 % interval.

    Cells within a window share its pixels, so the mean of n cells has the standard uncertainty of
    n / CELLS_PER_WINDOW independent ones; what all cells share no mean makes smaller.
    """
    where = where & np.isfinite(cells.visibility)
    count = int(where.sum())
    if count == 0:
        return None
    mean = float(cells.visibility[where].mean())
    independent = max(1.0, count / CELLS_PER_WINDOW)
    own = float(np.sqrt(np.mean(cells.uncertainty[where] ** 2) / independent))
    doubt = math.hypot(own, mean * cells.shared_uncertainty)
    return Interval(mean, max(0.0, mean - 1.96 * doubt), mean + 1.96 * doubt)


def _shares(reasons: NDArray[np.uint32], where: Bool) -> dict[str, float]:
    """Return the share of some cells that each reason keeps from judgement, largest first."""
    total = int(where.sum())
    if total == 0:
        return {}
    here = reasons[where]
    shares = {
        EXPLANATIONS[reason].word: float(((here & np.uint32(reason)) > 0).sum() / total)
        for reason in split(int(np.bitwise_or.reduce(here)))
    }
    return largest_first(shares)


def _evenness(cells: Cells, labels: Labels, seen: Bool) -> Evenness | None:
    """Return how alike the nine zones are: 1 less the standard deviation of their mean places.

    A zone's place is its mean on the scale starved -1, lean -0.5, good 0, heavy 0.5, rich 1.
    """
    places = []
    for name in ZONES[:9]:
        here = labels[zone_mask(cells, name) & seen]
        if here.size >= CELLS_PER_WINDOW:
            places.append(float(here.mean() - Label.GOOD) / 2)
    if len(places) < 2:
        return None
    value = float(np.clip(1 - np.std(places), 0, 1))
    return Evenness(value, next(word for low, word in EVEN_WORDS if value >= low))
