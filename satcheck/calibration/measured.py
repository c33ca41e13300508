"""A labelled photo, measured: its cells, and what its labels say of each."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from satcheck.calibration.evidence import WHOLE
from satcheck.calibration.painted_marks import marks_at_cells, read_marks
from satcheck.calibration.parts_table import LabelledPhoto
from satcheck.calibration.zone_calls import where as zone_cells
from satcheck.calibration.zone_calls import zones_of_marks
from satcheck.errors import PhotoError, TableError
from satcheck.judgement.labelling import unspoiled
from satcheck.measurement import Hints, Measurement, measure_photo
from satcheck.model import SCALE, Cells, Label, Side
from satcheck.photo.read import Photo, read_photo

F64 = NDArray[np.float64]
Bool = NDArray[np.bool_]

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


@dataclass(frozen=True, eq=False)
class Evidence:
    """One labelled photo, measured: its cells, each cell's prior (R, C, 3), the zones' states.

    ``cut`` names the sides of the picture at which the part runs out of it.
    """

    photo: LabelledPhoto
    sha256: str
    cells: Cells
    prior: F64
    zones: Mapping[str, Label] = field(default_factory=dict)
    cut: tuple[Side, ...] = ()


def measured_photo(table: Path, labelled: LabelledPhoto) -> Evidence:
    """Measure one photo of a table, and join what the table and its marks say of it.

    Raises
    ------
    TableError
        If the photo or its marks cannot be used, or it shows no part.
    """
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
    return evidence_of(table, labelled, photo, measured)


def evidence_of(
    table: Path, labelled: LabelledPhoto, photo: Photo, measured: Measurement
) -> Evidence:
    """Join what was measured of a photo and what the table and its marks say of it.

    Raises
    ------
    TableError
        If the marks cannot be used.
    """
    cells, marks = measured.cells, None
    painted = read_marks(table, labelled)
    if painted is not None:
        marks = marks_at_cells(table, labelled, painted, cells, photo)
    zones = {} if marks is None else zones_of_marks(cells, marks, cells.reasons)
    zones |= labelled.zones
    if not zones and labelled.is_accepted:
        zones = {WHOLE: Label.GOOD}
    prior = _prior(labelled, cells, marks)
    return Evidence(labelled, photo.sha256, cells, prior, zones, measured.cut)


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


def teaches(e: Evidence, k: int) -> Bool:
    """Return the cells that are labelled as a class and can be believed, (R, C)."""
    return np.asarray((e.prior[..., k] >= SURE) & e.cells.part & unspoiled(e.cells.reasons))
