"""The bound between lean and good from parts that had no say in their own index."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from satcheck.calibration.evidence import NOT_EVEN_LEAN, ZoneEvidence, under, worst_by_part
from satcheck.calibration.zone_calls import Bounds, called, edges, verdicts, where, with_lean
from satcheck.judgement.saturation import Saturation
from satcheck.model import Cells, Label
from satcheck.statistics.promise import FEWEST, STEPS, Promise, fewest_parts, set_bound

LEAN_CEILING = 0.0
"""Index of good by its definition: beyond it a good zone would be lean as often as not."""
WIDE_HEAVY = 0.3
"""Width of the heavy band below rich while a first promise is not within reach (own rule)."""


@dataclass(frozen=True, eq=False)
class HeldOut:
    """One labelled photo: what the shop says of its zones, and a saturation not made from it.

    ``seen`` says that the saturation was made from its part too: see ``ZoneEvidence``.
    """

    part: str
    file: str
    photo: str
    cells: Cells
    saturation: Saturation
    zones: Mapping[str, Label]
    seen: bool = False


@dataclass(frozen=True)
class Settled:
    """A fibre's bounds, what they promise, and the zones that this rests on."""

    bounds: Bounds
    promise: Promise
    evidence: tuple[ZoneEvidence, ...]


def settle(
    photos: Sequence[HeldOut],
    bounds: Bounds,
    light: tuple[float, float],
    floor: float,
    older: Iterable[ZoneEvidence] = (),
) -> Settled:
    """Set the bound between lean and good so that it promises what the parts support.

    With fewer than ``FEWEST`` parts that showed a starved zone the bounds stay as they are. A part
    that its index has seen does not count among them: its score says nothing of other parts.

    Parameters
    ----------
    photos : sequence of HeldOut
    bounds : 4 floats
        To begin with.
    light : (float, float)
        See ``FibreBounds.light``.
    floor : float
        Below which the bound does not go; fixed beforehand.
    older : iterable of ZoneEvidence
        Of parts that a parent calibration has seen.
    """
    older = tuple(older)
    rows = (*older, *(row for photo in photos for row in _rows(photo, bounds, light)))
    scores = [row.edge for row in worst_by_part(rows).values() if not row.seen]
    if len(scores) < FEWEST:
        return Settled(bounds, _as_it_is(rows), rows)
    lean, promise = set_bound(scores, floor, LEAN_CEILING)
    final = with_lean(bounds, lean)
    if len(scores) < fewest_parts(STEPS[0]):
        starved, lean, heavy, rich = final
        final = (starved, lean, max(lean, min(heavy, rich - WIDE_HEAVY)), rich)
    new = [row for photo in photos for row in _called(photo, final, light, rows)]
    return Settled(final, promise, (*(under(row, lean) for row in older), *new))


def _rows(photo: HeldOut, bounds: Bounds, light: tuple[float, float]) -> Iterable[ZoneEvidence]:
    found = verdicts(photo.cells, photo.saturation, bounds, light)
    edge = edges(photo.cells, photo.saturation, bounds, light, photo.zones)
    for zone, label in photo.zones.items():
        here = where(photo.cells, zone)
        yield ZoneEvidence(
            photo.part, photo.file, photo.photo, zone, label, called(found, zone), edge[zone],
            _median(photo.saturation.index[here]), _median(photo.cells.visibility[here]),
            photo.seen,
        )  # fmt: skip


def _called(
    photo: HeldOut, bounds: Bounds, light: tuple[float, float], rows: Iterable[ZoneEvidence]
) -> Iterable[ZoneEvidence]:
    found = verdicts(photo.cells, photo.saturation, bounds, light)
    own = (row for row in rows if row.photo == photo.photo and row.zone in photo.zones)
    return [replace(row, called=called(found, row.zone)) for row in own]


def _as_it_is(rows: Iterable[ZoneEvidence]) -> Promise:
    """Return how many parts had a starved zone called good under the bounds in force."""
    judged = [r for r in rows if r.label is Label.STARVED and r.is_judged and not r.seen]
    missed = {row.part for row in judged if row.called in NOT_EVEN_LEAN}
    return Promise(len({row.part for row in judged}), len(missed))


def _median(values: NDArray[np.float32]) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else float("nan")
