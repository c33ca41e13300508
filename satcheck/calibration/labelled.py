"""From a table of labelled parts to a calibration: measure every photo, fit, set the bounds."""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from satcheck import __version__
from satcheck.calibration.cue_choice import ScoredZone, choose, cue_note
from satcheck.calibration.evidence import WHOLE
from satcheck.calibration.file import Calibration, FibreBounds, make_calibration
from satcheck.calibration.label_findings import fit_findings, refuse_known, same_photos, torn_parts
from satcheck.calibration.painted_marks import marks_at_cells, read_marks
from satcheck.calibration.part_bounds import HeldOut, settle
from satcheck.calibration.parts_table import LabelledPhoto, read_parts
from satcheck.calibration.zone_calls import where as zone_cells
from satcheck.calibration.zone_calls import zones_of_marks
from satcheck.errors import CalibrationError, PhotoError, TableError
from satcheck.flags import Reason
from satcheck.judgement.mixture import CLASSES, Labelled, Mixture, fit_mixture
from satcheck.judgement.saturation import Saturation, saturation, usable, values
from satcheck.measurement import Hints, measure_photo
from satcheck.model import SCALE, Cells, Label
from satcheck.photo.read import read_photo

F64 = NDArray[np.float64]
Bool = NDArray[np.bool_]
Cues = tuple[str, ...]
Progress = Callable[[int, int, str], None]

DRY_CUES = ("fine", "medium", "crosswise", "order", "light", "red_blue", "red_green")
FULL_CUES = (
    "fine",
    "calm_medium",
    "calm_coarse",
    "crosswise",
    "broad_order",
    "light",
    "red_blue",
    "red_green",
)

COLOUR = ("red_blue", "red_green")
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

# What a label says of a cell's class (starved, good, rich). A zone is labelled as a whole and an
# inspector passes over small spots; marks are painted by hand along soft borders.
ZONE_PRIOR: Mapping[Label, tuple[float, float, float]] = {
    Label.STARVED: (0.92, 0.04, 0.04),
    Label.LEAN: (0.45, 0.50, 0.05),
    Label.GOOD: (0.04, 0.92, 0.04),
    Label.HEAVY: (0.05, 0.50, 0.45),
    Label.RICH: (0.04, 0.04, 0.92),
}
ACCEPTED_PRIOR = (0.05, 0.80, 0.15)  # a whole part passed: mostly good, nothing known of where
UNKNOWN_PRIOR = (1 / 3, 1 / 3, 1 / 3)
SURE = 0.8  # prior from which a cell counts as labelled

FALSE_STARVED, MISSED_STARVED, FALSE_RICH = 0.03, 0.05, 0.05  # shares of labelled cells, by part
# Few parts cannot move a bound farther than this. Even odds of starved lie at -0.4, of rich at 0.5:
# a second look costs less than a starved place passed, so starved begins before even odds. Lean
# ends where it does because up to -0.06 a starved cell that is not called good costs 13 to 25 good
# ones that become lean, and beyond it 60 and more (72 check photos of render.py, seeds 20 and 911
# to 941, and of a second renderer).
STARVED_RANGE, LEAN_RANGE, RICH_RANGE = (-0.22, -0.16), (-0.06, 0.0), (0.5, 0.6)
LIGHT_ENDS = (0.02, 0.98)  # quantiles: a shadowed fold or a glint is not the light of a photo
HEAVY_BAND = 0.15  # of the index below rich
FEWEST_PARTS = 4  # below, leaving one out leaves too little to fit


@dataclass(frozen=True, eq=False)
class Evidence:
    """One labelled photo, measured: its cells, each cell's prior (R, C, 3), the zones' states."""

    photo: LabelledPhoto
    sha256: str
    cells: Cells
    prior: F64
    zones: Mapping[str, Label] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Study:
    """A calibration, what was found about its labels, and the photos that it was made from."""

    calibration: Calibration
    findings: tuple[str, ...]
    evidence: tuple[Evidence, ...]


def calibrate_table(
    table: Path,
    on_progress: Progress,
    is_demo: bool = False,
    created: str = "",
    parent: Calibration | None = None,
) -> Calibration:
    """Return the calibration of ``study_table`` alone."""
    return study_table(table, on_progress, is_demo, created, parent).calibration


def study_table(
    table: Path,
    on_progress: Progress,
    is_demo: bool = False,
    created: str = "",
    parent: Calibration | None = None,
) -> Study:
    """Make a calibration from a table of labelled parts.

    Parameters
    ----------
    table : Path
        PARTS.csv.
    on_progress : callable
        Called with photos done, photos in all and the next photo's name.
    is_demo : bool
        Whether every verdict under it says that it is a demo's.
    created : str
        ISO 8601 date and time, told by the caller.
    parent : Calibration, optional
        Parts are added to it: a fibre that it holds keeps its index, which has not seen the new
        parts, and its bounds are set anew from the old evidence and theirs.

    Raises
    ------
    TableError
        If a row, a photo or a fibre cannot be used; nothing is returned then.
    CalibrationError
        If the parent keeps no evidence that could be added to.
    """
    photos, findings = _checked(table, read_parts(table), parent)
    evidence = []
    for done, photo in enumerate(photos):
        on_progress(done, len(photos), photo.path.name)
        evidence.append(_measure(table, photo))
    on_progress(len(photos), len(photos), "")
    bounds = {} if parent is None else dict(parent.fibres)
    for fibre in sorted({e.photo.fibre for e in evidence}):
        own = [e for e in evidence if e.photo.fibre == fibre]
        bounds[fibre] = _added(bounds[fibre], own) if fibre in bounds else _fit(table, fibre, own)
        findings += fit_findings(fibre, bounds[fibre].evidence)
    known = () if parent is None else parent.photos
    made = make_calibration(
        bounds,
        created,
        __version__,
        is_demo or (parent is not None and parent.is_demo),
        tuple(sorted({*known, *(e.sha256 for e in evidence)})),
        None if parent is None else parent.id,
    )
    return Study(made, findings, tuple(evidence))


def _checked(
    table: Path, photos: tuple[LabelledPhoto, ...], parent: Calibration | None
) -> tuple[tuple[LabelledPhoto, ...], tuple[str, ...]]:
    """Return the photos that count, and what does not fit together among their labels."""
    for photo in photos:  # before the first is measured: it may be minutes until the last
        read_marks(table, photo)
    digests = {p.path: hashlib.sha256(p.path.read_bytes()).hexdigest() for p in photos}
    if parent is not None:
        if not all(fibre.evidence for fibre in parent.fibres.values()):
            raise CalibrationError(
                f"parent {parent.id}", "keeps no evidence (an earlier satcheck made it)",
                "calibrate from one table of all parts",
            )  # fmt: skip
        refuse_known(table, photos, digests, parent)
    once, twice = same_photos(table, photos, digests)
    kept, torn = torn_parts(once)
    return kept, twice + torn


def _measure(table: Path, labelled: LabelledPhoto) -> Evidence:
    try:
        photo = read_photo(labelled.path)
    except PhotoError as error:
        raise TableError(
            str(table), labelled.line, f"a photo cannot be used ({error})", "leave it out"
        ) from error
    measured = measure_photo(photo, Hints(distal=labelled.distal))
    if measured is None:
        raise TableError(
            str(table), labelled.line, f"no part was found in {labelled.path.name}",
            "leave the photo out, or photograph the part before a plainer background",
        )  # fmt: skip
    cells, marks = measured.cells, None
    painted = read_marks(table, labelled)
    if painted is not None:
        marks = marks_at_cells(table, labelled, painted, cells, photo)
    zones = {} if marks is None else zones_of_marks(cells, marks, cells.reasons)
    zones |= labelled.zones
    if not zones and labelled.is_accepted:
        zones = {WHOLE: Label.GOOD}
    return Evidence(labelled, photo.sha256, cells, _prior(labelled, cells, marks), zones)


def _prior(labelled: LabelledPhoto, cells: Cells, marks: NDArray[np.uint8] | None) -> F64:
    """Return what the table says of every cell, (R, C, 3)."""
    whole = ACCEPTED_PRIOR if labelled.is_accepted and not labelled.zones else UNKNOWN_PRIOR
    prior = np.tile(np.array(whole), (*cells.zone.shape, 1))
    for name, state in labelled.zones.items():
        prior[zone_cells(cells, name)] = ZONE_PRIOR[state]
    if marks is not None:
        for state in SCALE:
            prior[marks == state] = ZONE_PRIOR[state]
    return prior


def _fit(table: Path, fibre: str, evidence: Sequence[Evidence]) -> FibreBounds:
    """Return one fibre's bounds; each part's own index comes from the other parts."""
    line = evidence[0].photo.line
    for k, needed in enumerate(CLASSES[:2]):
        if not any(_teaches(e, k).any() for e in evidence):
            raise TableError(
                str(table), line, f"fibre {fibre} has no {needed} zone or part that can be judged",
                f"label at least one {needed} zone, or one accepted part" if k else
                "label at least one starved zone",
            )  # fmt: skip
    chosen, note = _choose_cues(evidence)
    parts = sorted({e.photo.part for e in evidence})
    dry, full = _mixtures(evidence, chosen)
    held_out = _held_out(evidence, chosen, [{part} for part in parts])
    light = _light(evidence)
    settled = settle(_shown(held_out), _bounds(held_out), light, LEAN_RANGE[0])
    return FibreBounds(
        fibre, settled.bounds, dry, full, len(parts), len(evidence), light, _visibility(evidence),
        settled.evidence, settled.promise, note,
    )  # fmt: skip


def _added(fibre: FibreBounds, evidence: Sequence[Evidence]) -> FibreBounds:
    """Return a fibre's bounds with new parts added; its index has not seen them and stays."""
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
    evidence: Sequence[Evidence], cues: tuple[Cues, Cues], folds: Sequence[set[str]]
) -> list[tuple[Evidence, Saturation]]:
    """Return each photo's index from a fit without its fold of parts.

    Where the rest is too little to fit, the index has seen the part; no promise rests on so few.
    """
    held_out = []
    everything = _mixtures(evidence, cues)
    for fold in folds:
        rest = [e for e in evidence if e.photo.part not in fold]
        enough = len({e.photo.part for e in rest}) + 1 >= FEWEST_PARTS and _complete(rest)
        pair = _mixtures(rest, cues) if enough else everything
        own = [e for e in evidence if e.photo.part in fold]
        held_out += [(e, saturation(e.cells, *pair)) for e in own]
    return held_out


def _shown(held_out: Sequence[tuple[Evidence, Saturation]]) -> list[HeldOut]:
    return [
        HeldOut(e.photo.part, e.photo.path.name, e.sha256, e.cells, found, e.zones)
        for e, found in held_out
    ]


def _choose_cues(evidence: Sequence[Evidence]) -> tuple[tuple[Cues, Cues], str]:
    """Return the cues to judge by, and why in one sentence."""
    parts = sorted({e.photo.part for e in evidence})
    folds = [set(parts[k::FOLDS]) for k in range(min(FOLDS, len(parts)))]
    candidates = {
        name: [
            ScoredZone(e.photo.part, label, _middle(e.cells, found.index, zone))
            for e, found in _held_out(evidence, cues, folds)
            for zone, label in e.zones.items()
        ]
        for name, cues in CUE_SETS.items()
    }
    chosen, found = choose(candidates)
    return CUE_SETS[chosen], cue_note(chosen, found)


def _middle(cells: Cells, index: NDArray[np.float32], zone: str) -> float:
    known = index[zone_cells(cells, zone) & np.isfinite(index)]
    return float(np.median(known)) if known.size else float("nan")


def _believed(cells: Cells) -> Bool:
    """Return the cells that teach.

    A part that is rich all over has no weave and teaches so. What dry laminate looks like under a
    veil must be learned too, since it is judged there.
    """
    return np.asarray((cells.reasons & ~np.uint32(Reason.NO_WEAVE | Reason.VEIL)) == 0)


def _teaches(e: Evidence, k: int) -> Bool:
    """Return the cells that are labelled as a class and can be believed, (R, C)."""
    return np.asarray((e.prior[..., k] >= SURE) & e.cells.part & _believed(e.cells))


def _complete(evidence: Sequence[Evidence]) -> bool:
    """Return whether starved and good are both still labelled."""
    return all(any(_teaches(e, k).any() for e in evidence) for k in (0, 1))


def _mixtures(
    evidence: Sequence[Evidence], cues: tuple[Cues, Cues] = (DRY_CUES, FULL_CUES)
) -> tuple[Mixture, Mixture]:
    def fitted(cues: Cues) -> Mixture:
        photos = []
        for e in evidence:
            where = usable(e.cells, cues) & _believed(e.cells)
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
            where = _teaches(e, k) & ~np.isnan(index)
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
    shown = [e.cells.cues["light"][e.cells.part & _believed(e.cells)] for e in evidence]
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
