"""From which size on starved patches are found: a detection study from a table."""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from satcheck.errors import TableError
from satcheck.statistics.detection import Detection, Scale, detect
from satcheck.statistics.intervals import lower_bound, percent_down
from satcheck.tables import LARGEST, Row, read_rows

COLUMNS, OPTIONAL = ("size", "found"), ("part",)
WORDS = ("0", "1")
SMALLEST = 1e-9
"""No patch is smaller in any unit, and the squares of far smaller sizes are 0."""


@dataclass(frozen=True, eq=False)
class DetectionStudy:
    """The trials and what they tell."""

    sizes: NDArray[np.float64]
    """(n,) in ``unit``."""
    found: NDArray[np.bool_]
    unit: str
    result: Detection

    @property
    def sentence(self) -> str:
        """Return what this means for the shop."""
        told, unit = self.result, self.unit
        if told.trouble == "no misses" and told.parts in (None, told.trials):
            share = percent_down(lower_bound(told.hits, told.trials))
            all_of_them = (
                "The one patch was" if told.trials == 1 else f"All {told.trials} patches were"
            )
            return (
                f"{all_of_them} found: of patches like these at least "
                f"{share} % are, with 95 % confidence, but not from which size on. "
                f"{told.missing[0]}"
            )
        if told.trouble == "falls":
            return told.missing[0]
        if told.a90_95 is None or told.a90_95 > told.largest:
            return f"No size can be promised to be found 90 times in 100. {told.missing[0]}"
        size = round_up(max(told.a90_95, told.smallest))
        return (
            f"A starved patch of {size:g} {unit} and more is found at least 90 times in "
            f"100, with 95 % confidence; for smaller ones go closer, and look for yourself."
        )


def round_up(size: float, digits: int = 3) -> float:
    """Return a positive size rounded up to some significant digits, as a bound must be."""
    step = 10.0 ** (math.floor(math.log10(size)) - digits + 1)
    return float(f"{math.ceil(size / step - 1e-9) * step:.{digits}g}")


def study_detection(table: Path, scale: Scale = "linear", unit: str = "mm") -> DetectionStudy:
    """Return the detection study of a table.

    Parameters
    ----------
    table : Path
        CSV with size (above 0) and found (1 or 0), a row a patch; part where several patches are
        on one part.
    scale : {"linear", "log"}
        Whether the odds follow the size, or its logarithm.
    unit : str
        Of the sizes, for the words only.

    Raises
    ------
    TableError
        Where a row cannot be used, naming the line.
    """
    sizes, found, parts = [], [], []
    spelled: dict[tuple[str, str], str] = {}
    row = None
    for row in read_rows(table, COLUMNS, OPTIONAL):
        sizes.append(_size(row))
        found.append(row.word("found", WORDS) == "1")
        parts.append(row.name("part", spelled, may_be_blank=True))
        if bool(parts[0]) != bool(parts[-1]):
            raise row.refuse("part is given in some rows only", "all rows or none are allowed")
    if row is None:
        raise TableError(str(table), 1, "there is no patch", "give a row a patch")
    result = detect(sizes, found, parts if parts[0] else None, scale)
    return DetectionStudy(np.array(sizes), np.array(found), unit, result)


def _size(row: Row) -> float:
    """Return a patch's size; raise TableError where it is none, or next to nothing."""
    size = row.number("size", low=0.0)
    if size < SMALLEST:
        raise row.refuse(
            f"size {row.cells['size']!r} is out of range",
            f"{SMALLEST:g} to {LARGEST:g} is allowed",
        )
    return size
