"""Labelled photos as a lesson uses them: measured, judged, and with their labels as grids."""

import os
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from satcheck.calibration.file import Calibration
from satcheck.calibration.painted_marks import marks_at_cells, read_marks
from satcheck.calibration.parts_table import LabelledPhoto, read_parts
from satcheck.calibration.zone_calls import where
from satcheck.errors import TableError
from satcheck.inspection import Settings, inspect
from satcheck.lines import counted
from satcheck.model import SCALE, Cells, Inspection, Label
from satcheck.photo.read import Photo, read_photo
from satcheck.series.grid import cell_labels

Labels = NDArray[np.uint8]
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, eq=False)
class Specimen:
    """One labelled photo.

    Attributes
    ----------
    name : str
        The photo's file name; with its folders where the table has two of this name.
    truth, shop, tool : (R, C) uint8 arrays
        Labels of the cells: as painted place by place (or as ``shop``), as the shop's table
        names the zones (9 elsewhere), as satcheck judged.
    """

    name: str
    photo: Photo
    labelled: LabelledPhoto
    inspection: Inspection
    cells: Cells
    truth: Labels
    shop: Labels
    tool: Labels


def read_specimens(
    table: Path, calibration: Calibration, progress: Progress
) -> tuple[Specimen, ...]:
    """Read, measure and judge the photos of a table of labelled parts.

    Photos whose part is not found, and fibres that the calibration does not hold, are left out.

    Raises
    ------
    TableError
        If the table or a photo cannot be read, or no photo is left.
    """
    rows = [p for p in read_parts(table) if p.fibre in calibration.fibres]
    names = _names(table, rows)
    found = []
    for done, labelled in enumerate(rows):
        progress(done, len(rows), labelled.path.name)
        specimen = read_specimen(table, names[labelled.path], labelled, calibration)
        if specimen is not None:
            found.append(specimen)
    progress(len(rows), len(rows), "")
    if not found:
        raise TableError(
            str(table), 1, "holds no photo to teach by",
            f"photos of {', '.join(calibration.fibres)} with a part in them are allowed",
        )  # fmt: skip
    return tuple(found)


def left_out(table: Path, calibration: Calibration, found: Sequence[Specimen]) -> tuple[str, ...]:
    """Return how many photos of a table are not among its specimens: a sentence for each reason."""
    rows, kept = read_parts(table), {specimen.labelled.path for specimen in found}
    foreign = [row for row in rows if row.fibre not in calibration.fibres]
    partless = [row for row in rows if row.fibre in calibration.fibres and row.path not in kept]
    told = []
    if foreign:
        fibres = ", ".join(sorted({row.fibre for row in foreign}))
        held = ", ".join(calibration.fibres)
        told.append(f"{counted(len(foreign), 'photo')} of {fibres}: the calibration holds {held}")
    if partless:
        names = ", ".join(row.path.name for row in partless)
        told.append(f"{counted(len(partless), 'photo')} in which no part was found: {names}")
    return tuple(f"Left out: {sentence}" for sentence in told)


def _names(table: Path, rows: Sequence[LabelledPhoto]) -> dict[Path, str]:
    """Return what tells each photo from the others: phones give many photos one name."""
    of_name = Counter(row.path.name for row in rows)
    folder = table.parent.resolve()
    return {
        row.path: row.path.name
        if of_name[row.path.name] == 1
        else Path(os.path.relpath(row.path, folder)).as_posix()
        for row in rows
    }


def read_specimen(
    table: Path, name: str, labelled: LabelledPhoto, calibration: Calibration
) -> Specimen | None:
    """Return one labelled photo, None where no part is found in it.

    Raises
    ------
    PhotoError
        If the photo cannot be read.
    TableError
        If its painted map cannot be used; as when it is calibrated from.
    """
    photo = read_photo(labelled.path)
    found = inspect(photo, calibration, Settings(labelled.fibre, distal=labelled.distal))
    if found.cells is None:
        return None
    shop = _by_zones(found.cells, labelled.zones)
    truth = _as_painted(table, labelled, found.cells, photo)
    truth = shop if truth is None else truth
    return Specimen(name, photo, labelled, found, found.cells, truth, shop, cell_labels(found))


def _as_painted(table: Path, labelled: LabelledPhoto, cells: Cells, photo: Photo) -> Labels | None:
    """Return what the table's marks, else STEM.truth.png beside the photo, say of the cells.

    9 where they say nothing; None where there are none.
    """
    beside = labelled.path.with_name(f"{labelled.path.stem}.truth.png")
    marked = replace(labelled, marks=labelled.marks or (beside if beside.is_file() else None))
    painted = read_marks(table, marked)
    if painted is None:
        return None
    labels = marks_at_cells(table, marked, painted, cells, photo)
    labels = np.where(np.isin(labels, SCALE), labels, Label.NOT_JUDGED)
    return np.where(cells.part, labels, Label.OUTSIDE).astype(np.uint8)


def _by_zones(cells: Cells, zones: Mapping[str, Label]) -> Labels:
    labels = np.where(cells.part, Label.NOT_JUDGED, Label.OUTSIDE).astype(np.uint8)
    for name, label in zones.items():
        labels[where(cells, name)] = label
    return labels
