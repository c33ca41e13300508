"""Which photo a learner sees next: one that shows what this learner gets wrong most often.

The page repeats these sums in its own script; a test holds both together.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from satcheck.lesson.scoring import Counts

PRESENT = 0.05
"""Share from which a photo counts as showing a state (own rule)."""
Shares = tuple[float, float, float]


@dataclass(frozen=True)
class Exercise:
    """What a photo holds: its fibre and the shares of good, starved and rich, 0 to 1."""

    fibre: str
    shares: Shares


def error_rates(done: Sequence[tuple[str, Counts]]) -> Mapping[str, Shares]:
    """Return by fibre how much of good, starved and rich the learner gets wrong.

    Each photo counts once for what it holds, however large. The rule of succession (Laplace):
    without a photo, even odds.
    """
    wrong: dict[str, np.ndarray[tuple[int], np.dtype[np.float64]]] = {}
    seen: dict[str, np.ndarray[tuple[int], np.dtype[np.float64]]] = {}
    for fibre, counts in done:
        rows = counts.sum(1)
        share = np.where(rows > 0, 1 - np.diag(counts) / np.maximum(rows, 1), 0.0)
        wrong[fibre] = wrong.get(fibre, np.zeros(3)) + share
        seen[fibre] = seen.get(fibre, np.zeros(3)) + (rows > 0)
    rates = {fibre: (wrong[fibre] + 1) / (seen[fibre] + 2) for fibre in wrong}
    return {f: (float(r[0]), float(r[1]), float(r[2])) for f, r in rates.items()}


def next_exercise(exercises: Sequence[Exercise], done: Sequence[tuple[int, Counts]]) -> int | None:
    """Return the number of the next photo, None where all have been done.

    Parameters
    ----------
    exercises : sequence of Exercise
    done : sequence of (number, counts)
        Photos marked so far. Of equally bad classes, the photo with most expected error by area
        is taken, then the first.
    """
    rates = error_rates([(exercises[number].fibre, counts) for number, counts in done])
    left = [k for k in range(len(exercises)) if k not in {number for number, _ in done}]
    if not left:
        return None

    def worth(number: int) -> tuple[float, float, int]:
        exercise = exercises[number]
        rate = rates.get(exercise.fibre, (0.5, 0.5, 0.5))
        held = list(zip(exercise.shares, rate, strict=True))
        worst = max((r for share, r in held if share >= PRESENT), default=0.0)
        return round(worst, 9), round(sum(share * r for share, r in held), 9), -number

    return max(left, key=worth)
