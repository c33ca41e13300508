"""The weave's size carried from an earlier, clearer photo to a later, smoother one.

As resin comes the weave fades, and a photo in which it has faded cannot tell its own pitch. The
braid on the cast does not change: between two aligned photos its pitch goes with the scale.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from satcheck.flags import Reason
from satcheck.model import Inspection
from satcheck.series.align import Alignment, align

CLEAR = 3.0
"""Visibility over its standard uncertainty from which a photo's own pitch is believed (own rule:
three standard uncertainties)."""
DIFFERS = 0.15
"""Share by which a found pitch may differ from a carried one (own rule). A pitch taken a third too
small lets every fifth starved place pass for good (measured on rendered photos)."""


@dataclass(frozen=True)
class Carried:
    """A pitch for the later photo; ``pitch`` is None where none can or need be carried."""

    pitch: float | None
    """Pixels of the later upright photo, for ``inspection.Settings.pitch``."""
    sentence: str
    """Why, or why not."""


def clarity(inspection: Inspection) -> float:
    """Return how clearly a photo shows the weave: median visibility over its uncertainty.

    0 where no lattice was found, or one that does not tell the weave's size.
    """
    cells = inspection.cells
    if cells is None or cells.pitch is None or (cells.reasons & np.uint32(Reason.NO_WEAVE)).any():
        return 0.0
    known = cells.part & np.isfinite(cells.visibility) & (cells.uncertainty > 0)
    if not known.any():
        return 0.0
    return float(np.median(cells.visibility[known] / cells.uncertainty[known]))


def clearest(series: Sequence[Inspection]) -> Inspection | None:
    """Return the photo of a series that shows the weave most clearly, None where none does."""
    best = max(series, key=clarity, default=None)
    return None if best is None or clarity(best) < CLEAR else best


def carry(series: Sequence[Inspection], later: Inspection) -> Carried:
    """Return the pitch that a later photo should be judged with.

    Parameters
    ----------
    series : sequence of Inspection
        Earlier photos of the same part and view.
    later : Inspection
        Judged without a told pitch. If a pitch is returned, judge it again with that.
    """
    best = clearest(series)
    if best is None:
        return Carried(None, "No earlier photo shows the weave clearly enough to measure by it.")
    return carry_aligned(best, later, align(best, later))


def carry_aligned(best: Inspection, later: Inspection, alignment: Alignment) -> Carried:
    """Return the pitch carried from one photo to another that has been aligned with it."""
    if alignment.problem is not None or best.cells is None or later.cells is None:
        return Carried(None, alignment.problem or "One of the two photos shows no part.")
    if best.cells.pitch is None:
        return Carried(None, "The earlier photo does not tell the weave's size.")
    pitch = best.cells.pitch / alignment.scale
    own = later.cells.pitch
    if own is None:
        return Carried(pitch, f"The weave's size was carried from {best.photo.name}.")
    if clarity(later) >= clarity(best) or abs(np.log(own / pitch)) <= np.log1p(DIFFERS):
        return Carried(None, "The photo tells the weave's size by itself.")
    return Carried(
        pitch,
        f"The weave's size was carried from {best.photo.name}: the photo by itself gave "
        f"{own:.1f} px, where {pitch:.1f} px are expected.",
    )
