"""A fibre's bounds from its labelled photos: cues chosen, classes fitted, each part held out."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from satcheck.calibration.cue_choice import ScoredZone, choose, cue_note
from satcheck.calibration.file import FibreBounds
from satcheck.calibration.measured import SURE, Evidence, teaches
from satcheck.calibration.mixture_fit import fit_mixture
from satcheck.calibration.part_bounds import HeldOut, settle
from satcheck.calibration.zone_calls import where as zone_cells
from satcheck.errors import TableError
from satcheck.judgement.labelling import unspoiled
from satcheck.judgement.mixture import CLASSES, Labelled, Mixture
from satcheck.judgement.saturation import Saturation, saturation, usable, values
from satcheck.model import Cells

F64 = NDArray[np.float64]
Cues = tuple[str, ...]

DRY_CUES = ("fine", "medium", "crosswise", "order", "light", "red_blue", "red_green")
# With the tint, 28 draws of which photos calibrate (render.py, seeds 20, 931 and 961, and a second
# renderer's; five fibres) call starved or good rich in 2.0 %, without in 3.9, and starved good or
# richer in 1.0, not 1.4 %; rich is found in 40 %, not 41.
FULL_CUES = (
    "fine",
    "calm_medium",
    "calm_coarse",
    "crosswise",
    "broad_order",
    "tint",
    "light",
    "red_blue",
    "red_green",
)

COLOUR = ("red_blue", "red_green", "tint")
CUE_SETS: Mapping[str, tuple[Cues, Cues]] = {
    "all cues": (DRY_CUES, FULL_CUES),
    "without colour": (
        tuple(c for c in DRY_CUES if c not in COLOUR),
        tuple(c for c in FULL_CUES if c not in COLOUR),
    ),
    "weave visibility alone": (("medium",), ("calm_medium",)),
}
"""What may be judged by, the richest first: each must earn its place (``cue_choice``)."""

FOLDS = 10  # of parts, when sets of cues are compared
FALSE_STARVED, MISSED_STARVED, FALSE_RICH = 0.03, 0.05, 0.05  # shares of labelled cells, by part
# Few parts cannot move a bound farther than this. Even odds of starved lie at -0.4, of rich at 0.5:
# a second look costs less than a starved place passed, so starved begins before even odds. Lean
# ends where it does because up to -0.06 a starved cell that is not called good costs 13 to 25 good
# ones that become lean, and beyond it 60 and more (72 check photos of render.py, seeds 20 and 911
# to 941, and of a second renderer).
STARVED_RANGE, LEAN_RANGE, RICH_RANGE = (-0.22, -0.16), (-0.06, 0.0), (0.5, 0.6)
LIGHT_ENDS = (0.02, 0.98)  # quantiles: a shadowed fold or a glint is not the light of a photo
# Of the index below rich. On 36 sharp check photos (render.py, seeds 931 to 971, and a second
# renderer's) heavy laminate lies 0.08 to 0.15 below it hardly more often than good does (4 to 7 %
# against 3 to 5 %). Of 155 good zones 60 are called good with 0.08, 55 with 0.15, and of 67 rich
# ones no more; with 0.06 three of those are.
HEAVY_BAND = 0.08
FEWEST_PARTS = 4  # below, leaving one out leaves too little to fit


def fit_fibre(table: Path, fibre: str, evidence: Sequence[Evidence]) -> FibreBounds:
    """Return one fibre's bounds; each part's own index comes from the other parts.

    Raises
    ------
    TableError
        If nothing starved, or nothing good, is labelled that can be judged.
    """
    for k, needed in enumerate(("starved zone", "good zone, or one accepted part,")):
        if not _shows(evidence, k):
            raise TableError(
                str(table), evidence[0].photo.line,
                f"fibre {fibre} has no {CLASSES[k]} zone or part that can be judged",
                f"label at least one {needed} in a sharp photo that shows the weave",
            )  # fmt: skip
    chosen, note = _choose_cues(evidence)
    parts = sorted({e.photo.part for e in evidence})
    dry, full = _mixtures(evidence, chosen)
    folds = [{part} for part in parts]
    seen = _seen(evidence, folds)
    held_out = _held_out(evidence, chosen, folds, seen)
    light = _light(evidence)
    settled = settle(_shown(held_out, seen), _bounds(held_out), light, LEAN_RANGE[0])
    return FibreBounds(
        fibre, settled.bounds, dry, full, len(parts), len(evidence), light, _visibility(evidence),
        settled.evidence, settled.promise, note,
    )  # fmt: skip


def added_to(table: Path, fibre: FibreBounds, evidence: Sequence[Evidence]) -> FibreBounds:
    """Return a fibre's bounds with new parts added; its index has not seen them and stays.

    Raises
    ------
    TableError
        If no new photo can be judged: nothing would be added but the number of parts.
    """
    if not any((e.cells.part & unspoiled(e.cells.reasons)).any() for e in evidence):
        raise TableError(
            str(table), evidence[0].photo.line,
            f"fibre {fibre.fibre} has no new photo that can be judged",
            "leave its photos out, or take them again: sharp, and without reflections",
        )  # fmt: skip
    held_out = [(e, saturation(e.cells, fibre.dry, fibre.full)) for e in evidence]
    light = _light(evidence)
    light = min(light[0], fibre.light[0]), max(light[1], fibre.light[1])
    settled = settle(_shown(held_out), fibre.bounds, light, LEAN_RANGE[0], fibre.evidence)
    return replace(
        fibre, bounds=settled.bounds, light=light, evidence=settled.evidence,
        promise=settled.promise, photos=fibre.photos + len(evidence),
        parts=fibre.parts + len({e.photo.part for e in evidence}),
    )  # fmt: skip


def _held_out(
    evidence: Sequence[Evidence],
    cues: tuple[Cues, Cues],
    folds: Sequence[set[str]],
    seen: set[str],
) -> list[tuple[Evidence, Saturation]]:
    """Return each photo's index from a fit without its fold of parts; those of ``_seen`` with."""
    held_out = []
    for fold in folds:
        pair = _mixtures(evidence if fold & seen else _without(evidence, fold), cues)
        own = [e for e in evidence if e.photo.part in fold]
        held_out += [(e, saturation(e.cells, *pair)) for e in own]
    return held_out


def _seen(evidence: Sequence[Evidence], folds: Sequence[set[str]]) -> set[str]:
    """Return the parts that their index has seen: without their fold too little is left to fit."""
    seen: set[str] = set()
    for fold in folds:
        rest = _without(evidence, fold)
        if len({e.photo.part for e in rest}) + 1 < FEWEST_PARTS or not _complete(rest):
            seen |= fold
    return seen


def _without(evidence: Sequence[Evidence], fold: set[str]) -> list[Evidence]:
    return [e for e in evidence if e.photo.part not in fold]


def _shown(
    held_out: Sequence[tuple[Evidence, Saturation]], seen: Collection[str] = ()
) -> list[HeldOut]:
    return [
        HeldOut(
            e.photo.part, e.photo.path.name, e.sha256, e.cells, found, e.zones,
            e.photo.part in seen,
        )
        for e, found in held_out
    ]  # fmt: skip


def _choose_cues(evidence: Sequence[Evidence]) -> tuple[tuple[Cues, Cues], str]:
    """Return the cues to judge by, and why in one sentence."""
    parts = sorted({e.photo.part for e in evidence})
    folds = [set(parts[k::FOLDS]) for k in range(min(FOLDS, len(parts)))]
    seen = _seen(evidence, folds)
    candidates = {
        name: [
            ScoredZone(e.photo.part, label, _middle(e.cells, found.index, zone))
            for e, found in _held_out(evidence, cues, folds, seen)
            for zone, label in e.zones.items()
            if e.photo.part not in seen
        ]
        for name, cues in CUE_SETS.items()
    }
    chosen, found = choose(candidates)
    return CUE_SETS[chosen], cue_note(chosen, found)


def _middle(cells: Cells, index: NDArray[np.float32], zone: str) -> float:
    known = index[zone_cells(cells, zone) & np.isfinite(index)]
    return float(np.median(known)) if known.size else float("nan")


def _complete(evidence: Sequence[Evidence]) -> bool:
    """Return whether starved and good are both still labelled."""
    return all(_shows(evidence, k) for k in (0, 1))


def _shows(evidence: Sequence[Evidence], k: int) -> bool:
    """Return whether any cell that is labelled as a class has all cues that may be judged by."""
    cues = (*DRY_CUES, *FULL_CUES)
    return any((teaches(e, k) & usable(e.cells, cues)).any() for e in evidence)


def _mixtures(
    evidence: Sequence[Evidence], cues: tuple[Cues, Cues] = (DRY_CUES, FULL_CUES)
) -> tuple[Mixture, Mixture]:
    def fitted(cues: Cues) -> Mixture:
        photos = []
        for e in evidence:
            where = usable(e.cells, cues) & unspoiled(e.cells.reasons)
            if where.any():
                photos.append(Labelled(values(e.cells, cues, where), e.prior[where]))
        return fit_mixture(cues, photos)

    return fitted(cues[0]), fitted(cues[1])


def _bounds(
    held_out: Sequence[tuple[Evidence, Saturation]],
) -> tuple[float, float, float, float]:
    """Return the bounds from indices that each part got without its own help.

    Every part counts alike, whatever its size in the photos.
    """
    classes: list[list[tuple[F64, F64]]] = [[], [], []]
    accepted: list[tuple[F64, F64]] = []
    for e, saturated in held_out:
        index = saturated.index
        for k in range(3):
            where = teaches(e, k) & ~np.isnan(index)
            if where.any():
                found = index[where].astype(np.float64)
                classes[k].append((found, np.full(len(found), 1 / len(found))))
                if k == 1 and e.photo.is_accepted:
                    accepted.append(classes[k][-1])
    good = accepted or classes[1]  # a good zone of a rejected part may hold starved spots

    def quantile(chosen: list[tuple[F64, F64]], share: float) -> float:
        if not chosen:  # labelled, and no index anywhere: a bound goes to its cautious end
            return np.inf
        found = np.concatenate([v for v, _ in chosen])
        weight = np.concatenate([w for _, w in chosen])
        order = np.argsort(found)
        total = np.cumsum(weight[order])
        return float(found[order][np.searchsorted(total, share * total[-1])])

    starved = _within(quantile(good, FALSE_STARVED), STARVED_RANGE)
    lean = _within(quantile(classes[0], 1 - MISSED_STARVED), LEAN_RANGE)
    if not classes[2]:
        return starved, lean, 1.0, 1.0
    rich = _within(quantile(good, 1 - FALSE_RICH), RICH_RANGE)
    return starved, lean, rich - HEAVY_BAND, rich


def _within(value: float, limits: tuple[float, float]) -> float:
    return min(max(value, limits[0]), limits[1])


def _light(evidence: Sequence[Evidence]) -> tuple[float, float]:
    """Return the range of log luminance in which the labelled photos were judged."""
    shown = [e.cells.cues["light"][e.cells.part & unspoiled(e.cells.reasons)] for e in evidence]
    ends = [np.quantile(found, LIGHT_ENDS) for found in shown if found.size]
    return float(min(low for low, _ in ends)), float(max(high for _, high in ends))


def _visibility(evidence: Sequence[Evidence]) -> dict[str, tuple[float, float, float]]:
    """Return quartiles of weave visibility per class."""
    shown = {}
    for k, name in enumerate(CLASSES):
        seen = [e.cells.visibility[(e.prior[..., k] >= SURE) & e.cells.part] for e in evidence]
        found = np.concatenate(seen)
        found = found[np.isfinite(found)]
        if found.size:
            low, middle, high = (float(q) for q in np.quantile(found, (0.25, 0.5, 0.75)))
            shown[name] = (low, middle, high)
    return shown
