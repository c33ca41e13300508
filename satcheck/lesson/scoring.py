"""How well a learner marked a photo: area found, false marks, and agreement beyond chance.

Only what is starved, good or rich counts. Lean and heavy are workable: marking them is neither
right nor wrong. The page repeats these sums in its own script; a test holds both together.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from satcheck.model import Label
from satcheck.statistics.agreement import cohen

Counts = NDArray[np.int64]

CLASSES: tuple[Label, ...] = (Label.GOOD, Label.STARVED, Label.RICH)
"""Rows and columns of the counts. A learner leaves good unmarked."""


@dataclass(frozen=True)
class Score:
    """One learner's marks against the truth; shares 0 to 1, None where there was nothing to do."""

    starved_found: float | None
    rich_found: float | None
    false_marks: float | None
    """Share of the marked area that is not what it was marked as; None without a mark."""
    kappa: float | None
    """Cohen's: 1 all right, 0 as by chance. None where everything is and was called one thing."""
    cells: int


def count(marks: ArrayLike, truth: ArrayLike) -> Counts:
    """Return how many cells of each class (rows) were called what (columns), (3, 3).

    Parameters
    ----------
    marks, truth : arrays of one shape
        Label codes. Marks: starved, rich, anything else is unmarked. Cells whose truth is not
        starved, good or rich do not count.
    """
    called, true = np.asarray(marks), np.asarray(truth)
    if called.shape != true.shape:
        raise ValueError(f"marks of shape {called.shape} on a truth of shape {true.shape}")
    found = np.zeros((3, 3), np.int64)
    for row, label in enumerate(CLASSES):
        here = called[true == label]
        for column, mark in ((1, Label.STARVED), (2, Label.RICH)):
            found[row, column] = int((here == mark).sum())
        found[row, 0] = here.size - found[row].sum()
    return found


def score(counts: Counts) -> Score:
    """Return the score of some counts; those of several photos may be summed before."""
    rows, columns = counts.sum(1), counts.sum(0)
    marked = int(columns[1:].sum())
    right = int(counts[1, 1] + counts[2, 2])
    return Score(
        float(counts[1, 1] / rows[1]) if rows[1] else None,
        float(counts[2, 2] / rows[2]) if rows[2] else None,
        1 - right / marked if marked else None,
        _kappa(counts),
        int(counts.sum()),
    )


def _kappa(counts: Counts) -> float | None:
    if not counts.any():
        return None
    rows, columns = (np.repeat(index.ravel(), counts.ravel()) for index in np.indices((3, 3)))
    return cohen(rows, columns, np.zeros(rows.size, np.int64), 3).value
