"""From a table of labelled parts to a calibration: measure every photo, fit, set the bounds."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from satcheck import __version__
from satcheck.calibration.file import Calibration, make_calibration
from satcheck.calibration.fitting import added_to, fit_fibre
from satcheck.calibration.label_findings import (
    cut_findings,
    fit_findings,
    refuse_known,
    same_photos,
    torn_parts,
)
from satcheck.calibration.measured import Evidence, measured_photo
from satcheck.calibration.painted_marks import read_marks
from satcheck.calibration.parts_table import LabelledPhoto, read_parts
from satcheck.errors import CalibrationError

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, eq=False)
class Study:
    """A calibration, what was found about its labels, and the photos that it was made from."""

    calibration: Calibration
    findings: tuple[str, ...]
    evidence: tuple[Evidence, ...]


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
        evidence.append(measured_photo(table, photo))
    on_progress(len(photos), len(photos), "")
    findings += cut_findings((e.photo, e.cut) for e in evidence)
    bounds = {} if parent is None else dict(parent.fibres)
    for fibre in sorted({e.photo.fibre for e in evidence}):
        own = [e for e in evidence if e.photo.fibre == fibre]
        bounds[fibre] = (
            added_to(table, bounds[fibre], own) if fibre in bounds else fit_fibre(table, fibre, own)
        )
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
