"""What labelled zones are called under any bounds, and from which bound on a zone is not good."""

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from satcheck.calibration.evidence import EDGES, NOT_EVEN_LEAN, WHOLE
from satcheck.judgement.labelling import label_saturation
from satcheck.judgement.saturation import Saturation
from satcheck.judgement.verdict import judge, zone_mask
from satcheck.model import SCALE, THIRDS, VERDICT_ORDER, ZONES, Cells, Label, ZoneVerdict

Bounds = tuple[float, float, float, float]


def zones_of_marks(
    cells: Cells, marks: NDArray[np.uint8], reasons: NDArray[np.uint32]
) -> dict[str, Label]:
    """Return what painted cells (R, C) say of the zones, by the rule that verdicts follow."""
    painted = np.where(np.isin(marks, SCALE), marks, Label.NOT_JUDGED)
    labels = np.where(cells.part, painted, Label.OUTSIDE).astype(np.uint8)
    found = judge(cells, labels, reasons).zones
    return {z.name: z.verdict for z in found if z.verdict in SCALE}


def called(zones: Sequence[ZoneVerdict], name: str) -> Label:
    """Return what a zone, a third or the whole part was called: the worst of its zones."""
    names = ZONES if name == WHOLE else [z for z in ZONES if z == name or z.split()[0] == name]
    found = {zone.verdict for zone in zones if zone.name in names}
    return next(label for label in VERDICT_ORDER if label in found)


def where(cells: Cells, name: str) -> NDArray[np.bool_]:
    """Return the cells of a zone, a third or the whole part, (R, C)."""
    if name == WHOLE:
        return cells.part
    if name in THIRDS:
        third = THIRDS.index(name)
        return np.asarray((cells.zone > 3 * third) & (cells.zone <= 3 * third + 3))
    return zone_mask(cells, name)


def verdicts(
    cells: Cells, found: Saturation, bounds: Bounds, light: tuple[float, float]
) -> tuple[ZoneVerdict, ...]:
    """Return the zones' verdicts under some bounds."""
    labels, reasons = label_saturation(found, cells, bounds, light)
    return judge(cells, labels, reasons).zones


def edges(
    cells: Cells,
    found: Saturation,
    bounds: Bounds,
    light: tuple[float, float],
    names: Iterable[str],
) -> dict[str, float]:
    """Return for each named zone the smallest of ``EDGES`` from which on it is not called good.

    Only the bound between lean and good moves, and those above it where it pushes them.
    """
    result = dict.fromkeys(names, EDGES[0])
    still = set(result)  # from the top down: where all are found, what lies below does not matter
    for tried, following in zip(EDGES[::-1], (np.inf, *EDGES[:0:-1]), strict=True):
        if not still:
            break
        zones = verdicts(cells, found, with_lean(bounds, tried), light)
        passed = {name for name in still if called(zones, name) in NOT_EVEN_LEAN}
        result |= dict.fromkeys(passed, following)
        still -= passed
    return result


def with_lean(bounds: Bounds, lean: float) -> Bounds:
    """Return bounds with another one between lean and good; the others give way."""
    starved, _, heavy, rich = bounds
    return min(starved, lean), lean, max(heavy, lean), max(rich, lean)
