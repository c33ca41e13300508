"""What changed in each zone since the last photo, from records alone.

Only what was judged in both photos is compared. A patch's border is known to about half a pitch
(the reach over which the measure pools) and to what the alignment leaves; the area is uncertain by
that strip along the border. So a spot as small as its own strip never counts as a change.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from satcheck.judgement.verdict import ENOUGH, zone_mask
from satcheck.model import ZONES, Inspection, Interval, Label
from satcheck.series.align import Alignment
from satcheck.series.grid import Bool, cell_area, cell_labels, centres, judged

Word = Literal["shrinking", "growing", "unchanged", "unclear", "not seen in both"]

BORDER = 1.0
"""Standard uncertainty of a patch's border in cells: half a pitch, the pooling's own reach."""
SAME = 0.05
"""A change that surely is smaller than this share of a zone counts as none (own rule)."""
_CROSS = ndimage.generate_binary_structure(2, 1)


@dataclass(frozen=True)
class ZoneChange:
    """How much of one zone has one label, in both photos.

    ``before``, ``after`` and ``share`` are shares of what both photos judged of the zone, 0 to 1;
    ``area`` is the change in ``unit``. All are None where too little was judged in both.
    """

    zone: str
    label: Label
    before: float | None
    after: float | None
    share: Interval | None
    area: Interval | None
    unit: str
    word: Word

    @property
    def sentence(self) -> str:
        """Return the change in words."""
        if self.before is None or self.after is None or self.area is None:
            return f"The {self.zone} was not seen in both photos."
        most = max(self.before, self.after)
        if self.word == "unchanged" and most < SAME:
            nothing = "next to nothing" if most else "nothing"
            return f"The {self.zone} shows {nothing} {self.label.word}, as before."
        head = f"The {self.label.word} share of the {self.zone} went from {100 * self.before:.0f} %"
        doubt = (self.area.high - self.area.low) / 2
        return (
            f"{head} to {100 * self.after:.0f} %: {self.word} "
            f"({self.area.value:+.0f} ± {doubt:.0f} {self.unit})."
        )


@dataclass(frozen=True)
class Change:
    """What changed between two photos; no zones where they cannot be compared."""

    zones: tuple[ZoneChange, ...]
    problem: str | None = None

    def of(self, zone: str, label: Label = Label.STARVED) -> ZoneChange | None:
        """Return one zone's change, None where the photos could not be compared."""
        return next((z for z in self.zones if (z.zone, z.label) == (zone, label)), None)


def change(
    earlier: Inspection,
    later: Inspection,
    alignment: Alignment,
    labels: Sequence[Label] = (Label.STARVED, Label.RICH),
) -> Change:
    """Compare two photos of one part and view, zone by zone.

    Parameters
    ----------
    earlier, later : Inspection
    alignment : Alignment
        From ``align.align(earlier, later)``.
    labels : sequence of Label
        Whose areas to compare.
    """
    if alignment.problem is not None or later.cells is None or earlier.cells is None:
        return Change((), alignment.problem or "One of the two photos shows no part.")
    fibres = {earlier.calibration.fibre, later.calibration.fibre}
    if len(fibres) > 1:
        return Change((), f"The photos were judged as {' and '.join(sorted(fibres))}.")
    after = cell_labels(later)
    before = labels_on_later(earlier, later, alignment)
    both = judged(before) & judged(after)
    # One cell of the later grid, in pixels of the earlier photo.
    slip = alignment.residual / (later.cells.step * alignment.scale)
    strip = math.hypot(BORDER, slip)
    found = tuple(
        _zone(name, label, zone_mask(later.cells, name), (before, after), both, strip, later)
        for label in labels
        for name in ZONES
    )
    return Change(found)


def labels_on_later(
    earlier: Inspection, later: Inspection, alignment: Alignment
) -> NDArray[np.uint8]:
    """Return the earlier photo's cell labels on the later's grid (R, C), by nearest cell."""
    assert earlier.cells is not None
    assert later.cells is not None
    labels, matrix = cell_labels(earlier), earlier.cells.to_photo
    points = centres(later.cells).reshape(2, -1)
    moved = alignment.to_earlier[:, :2] @ points + alignment.to_earlier[:, 2:]
    column, row = np.floor(np.linalg.solve(matrix[:, :2], moved - matrix[:, 2:])).astype(int)
    inside = (row >= 0) & (row < labels.shape[0]) & (column >= 0) & (column < labels.shape[1])
    found = np.zeros(row.shape, np.uint8)
    found[inside] = labels[row[inside], column[inside]]
    return np.asarray(found.reshape(later.cells.zone.shape))


def summary(changes: Change, most: int = 2) -> tuple[str, ...]:
    """Return the clearest changes in words, growing starved areas first, at most ``most``."""
    if changes.problem is not None:
        return (changes.problem,)
    clear = [z for z in changes.zones if z.word in ("growing", "shrinking")]
    ranked = sorted(clear, key=lambda z: (z.word != "growing", z.label, -abs(_value(z))))
    if ranked:
        return tuple(z.sentence for z in ranked[:most])
    if all(z.word == "not seen in both" for z in changes.zones):
        return ("No zone was seen in both photos.",)
    if any(z.word == "unclear" for z in changes.zones):
        return ("No clear change since the last photo.",)
    return ("Nothing has changed since the last photo.",)


def _value(zone: ZoneChange) -> float:
    return 0.0 if zone.share is None else zone.share.value


def _zone(
    name: str,
    label: Label,
    zone: Bool,
    labels: tuple[NDArray[np.uint8], NDArray[np.uint8]],
    both: Bool,
    strip: float,
    later: Inspection,
) -> ZoneChange:
    assert later.cells is not None
    size, unit = cell_area(later.cells)
    count = int((zone & both).sum())
    if count == 0 or count < ENOUGH * int(zone.sum()):
        return ZoneChange(name, label, None, None, None, None, unit, "not seen in both")
    patches = [np.asarray(each == label) for each in labels]
    before, after = (int((patch & zone & both).sum()) for patch in patches)
    doubt = strip * math.hypot(*(_border(patch, zone & both) for patch in patches))
    if before == after == 0:
        doubt = 0.0
    reach = 1.96 * doubt
    cells = Interval(float(after - before), after - before - reach, after - before + reach)
    share, area = _times(cells, 1 / count), _times(cells, size)
    return ZoneChange(name, label, before / count, after / count, share, area, unit, _word(share))


def _border(patch: Bool, where: Bool) -> float:
    """Return by how many cells a patch's area changes as its border moves by one cell."""
    wider = ndimage.binary_dilation(patch, _CROSS) & where
    narrower = ndimage.binary_erosion(patch, _CROSS, border_value=1) & where
    return (int(wider.sum()) - int(narrower.sum())) / 2


def _times(interval: Interval, factor: float) -> Interval:
    return Interval(interval.value * factor, interval.low * factor, interval.high * factor)


def _word(share: Interval) -> Word:
    if share.low >= -SAME and share.high <= SAME:
        return "unchanged"
    if share.high < 0:
        return "shrinking"
    if share.low > 0:
        return "growing"
    return "unclear"
