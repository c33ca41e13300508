"""A stored inspection judged again under other bounds, without its photo.

Everything measured is in the record's cells, so labels, zones and advice are made anew. The label
map is drawn within the old one's outline, cell by nearest cell, as it was at first.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from satcheck import __version__
from satcheck.calibration.file import Calibration
from satcheck.errors import UsageError
from satcheck.judgement.advice import advise
from satcheck.judgement.labelling import LABEL_CUES, label_cells
from satcheck.judgement.verdict import judge
from satcheck.lines import counted
from satcheck.model import MEASURE, Inspection, Label

WHOLE = "part"
_NAME = 32  # characters of a photo's name in the table


@dataclass(frozen=True)
class Difference:
    """A zone, or the part, whose verdict is another under the new bounds."""

    photo: str
    zone: str
    before: Label
    after: Label
    sha256: str
    """Of the photo: phones give many photos one name."""


def rejudge(inspection: Inspection, calibration: Calibration) -> Inspection:
    """Return the inspection under another calibration.

    Raises
    ------
    UsageError
        If the calibration does not hold the fibre, or the record keeps no cells though a part was
        found, or they were measured another way or lack a cue.
    """
    fibre = inspection.calibration.fibre
    try:
        facts = calibration.facts(fibre)
    except UsageError as error:
        raise UsageError(f"{inspection.photo.name}: {error}") from error
    cells = inspection.cells
    if cells is None:
        if inspection.zones:
            raise UsageError(
                f"{inspection.photo.name}: the record keeps no measurements; "
                "the STEM.json that satcheck check writes is allowed"
            )
        return replace(inspection, calibration=facts)  # no part was found, whatever the bounds
    if cells.measure != MEASURE:
        raise UsageError(
            f"{inspection.photo.name}: the record was measured another way (measure "
            f"{cells.measure}, this version's is {MEASURE}); check the photo again"
        )
    bounds = calibration.bounds_for(fibre)
    needed = (*LABEL_CUES, *bounds.dry.cues, *bounds.full.cues)
    if lacking := [cue for cue in needed if cue not in cells.cues]:
        raise UsageError(
            f"{inspection.photo.name}: the record lacks the cue {lacking[0]!r}, by which these "
            "bounds judge; check the photo again"
        )
    labels, reasons = label_cells(cells, bounds)
    part = judge(cells, labels, reasons)
    scale = inspection.labels.shape[1] / inspection.photo.width if inspection.labels.size else 0.0
    return replace(
        inspection,
        calibration=facts,
        verdict=part.verdict,
        evenness=part.evenness,
        zones=part.zones,
        flagged=part.flagged,
        reasons=part.reasons,
        advice=advise(part.zones, part.reasons, part.share_judged, part.verdict),
        share_judged=part.share_judged,
        labels=redrawn(labels, cells.to_photo * scale, inspection.labels),
        version=__version__,
    )


def redrawn(
    labels: NDArray[np.uint8], to_map: NDArray[np.float64], old: NDArray[np.uint8]
) -> NDArray[np.uint8]:
    """Return cell labels as a label map within the outline of an older one.

    Parameters
    ----------
    labels : (R, C) uint8 array
    to_map : (2, 3) array
        From (column + 0.5, row + 0.5) to pixel corners (x, y) of the map.
    old : (H, W) uint8 array
        0 outside the part.
    """
    result = np.zeros_like(old)
    y, x = np.nonzero(old)
    if not x.size:
        return result
    centres = np.stack([x + 0.5, y + 0.5]) - to_map[:, 2:]
    column, row = np.floor(np.linalg.solve(to_map[:, :2], centres)).astype(int)
    inside = (row >= 0) & (row < labels.shape[0]) & (column >= 0) & (column < labels.shape[1])
    found = np.full(x.size, Label.NOT_JUDGED, np.uint8)
    found[inside] = labels[row[inside], column[inside]]
    result[y, x] = np.where(found == Label.OUTSIDE, Label.NOT_JUDGED, found)
    return result


def differences(before: Inspection, after: Inspection) -> tuple[Difference, ...]:
    """Return what is called otherwise: the part first, then its zones in their order."""
    photo = before.photo
    changed = []
    if before.verdict is not after.verdict:
        changed.append(Difference(photo.name, WHOLE, before.verdict, after.verdict, photo.sha256))
    known = {zone.name: zone.verdict for zone in before.zones}
    for zone in after.zones:
        old = known.get(zone.name, Label.NOT_JUDGED)
        if old is not zone.verdict:
            changed.append(Difference(photo.name, zone.name, old, zone.verdict, photo.sha256))
    return tuple(changed)


def difference_table(found: Sequence[Difference], judged: int) -> str:
    """Return the differences as plain ASCII text, 80 columns."""
    again = f"{counted(judged, 'inspection')} judged again"
    if not found:
        return f"{again}: every verdict stays."
    row = "{:<32} {:<17} {:<11} {}"
    names = _names(found)
    lines = [row.format("photo", "zone", "was", "is now")]
    lines += [row.format(names[d.sha256], d.zone, d.before.word, d.after.word) for d in found]
    differ = "differs" if len(found) == 1 else "differ"
    said = f"{counted(len(found), 'verdict')} of {counted(len(names), 'photo')} {differ}."
    return "\n".join([*lines, "", f"{again}: {said}"])


def _names(found: Sequence[Difference]) -> dict[str, str]:
    """Return each photo's name by its sha256, and with its start where two would read alike."""
    names = {d.sha256: d.photo[:_NAME] for d in found}
    twice = repeated(names.values())
    return {
        sha256: f"{name[: _NAME - 9]} {sha256[:8]}" if name in twice else name
        for sha256, name in names.items()
    }


def repeated(names: Iterable[str]) -> frozenset[str]:
    """Return the names that occur more than once, looking at each once."""
    return frozenset(name for name, times in Counter(names).items() if times > 1)
