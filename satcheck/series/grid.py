"""An inspection's labels on its grid of cells, and where each cell lies on the part's surface."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satcheck.judgement.verdict import zone_mask
from satcheck.model import SCALE, ZONES, Cells, Inspection, Label

F64 = NDArray[np.float64]
Bool = NDArray[np.bool_]

WIDEST = 0.98
"""Share of the half width from which the surface turns away: beyond it an arc grows past use."""


@dataclass(frozen=True, eq=False)
class Surface:
    """Where cells lie on the part, unrolled; all (R, C), NaN off the part.

    ``along`` and ``round`` are in cells: from the grid's top towards the distal end, and from the
    part's middle line round its surface, left negative.
    """

    along: F64
    round: F64


def cell_labels(inspection: Inspection) -> NDArray[np.uint8]:
    """Return the label of every cell (R, C), read from the label map at the cells' centres.

    Cells that the map leaves out (tape, cord) are 0; an inspection without a part has shape (0, 0).
    """
    cells, labels = inspection.cells, inspection.labels
    if cells is None or not labels.size:
        return np.zeros((0, 0), np.uint8)
    scale = labels.shape[1] / inspection.photo.width
    x, y = centres(cells) * scale
    column, row = np.floor(x).astype(int), np.floor(y).astype(int)
    inside = (row >= 0) & (row < labels.shape[0]) & (column >= 0) & (column < labels.shape[1])
    found = np.zeros(cells.zone.shape, np.uint8)
    found[inside] = labels[row[inside], column[inside]]
    return np.where(cells.part, found, Label.OUTSIDE).astype(np.uint8)


def judged(labels: NDArray[np.uint8]) -> Bool:
    """Return where labels are words of the scale."""
    return np.isin(labels, SCALE)


def centres(cells: Cells) -> F64:
    """Return the cells' centres (2, R, C) as x, y in pixels of the upright photo."""
    rows, columns = np.indices(cells.zone.shape) + 0.5
    flat = np.stack([columns.ravel(), rows.ravel()])
    found = cells.to_photo[:, :2] @ flat + cells.to_photo[:, 2:]
    return np.asarray(found.reshape(2, *cells.zone.shape))


def surface(cells: Cells) -> Surface:
    """Return where the cells lie on a round part seen from afar.

    A cell at the share s of the local half width h lies at h asin(s) round the part: geometry of a
    circle in parallel projection. The other half of the part is not seen.
    """
    part = cells.part
    rows, columns = np.indices(part.shape) + 0.5
    left = np.argmax(part, 1).astype(float)
    right = part.shape[1] - np.argmax(part[:, ::-1], 1).astype(float)
    middle, half = ((left + right) / 2)[:, None], np.maximum((right - left) / 2, 0.5)[:, None]
    share = np.clip((columns - middle) / half, -WIDEST, WIDEST)
    off = np.where(part, 0.0, np.nan)
    return Surface(rows + off, half * np.arcsin(share) + off)


def cell_area(cells: Cells) -> tuple[float, str]:
    """Return the area of one cell and its unit: "mm²" where a scale is known, else "pitches²"."""
    if cells.mm_per_px is not None:
        return float((cells.step * cells.mm_per_px) ** 2), "mm²"
    # Without a lattice the cells were laid at half of the pitch that the width suggests.
    pitch = cells.pitch or 2 * cells.step
    return float((cells.step / pitch) ** 2), "pitches²"


def disjoint_zones(cells: Cells) -> dict[str, Bool]:
    """Return the zones' masks (R, C), each cell in one: brim and lock go before thirds."""
    ends = (cells.brim | cells.lock) & cells.part
    masks = {name: zone_mask(cells, name) & ~ends for name in ZONES[:9]}
    brim = cells.brim & cells.part
    return {**masks, "brim": brim, "lock": cells.lock & cells.part & ~brim}
