"""Which cues to judge by: the richer set only where it wins by more than its error.

Every part is judged by an index fitted without it. A candidate's loss on a part is the mean square
of its zones' distance from where their label stands on the index. Losses are compared part by part
(paired), and the richer set is kept where it is better by more than one standard error of the
difference (the one-standard-error rule; Breiman, Friedman, Olshen & Stone 1984).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from satcheck.model import Label

PLACE: Mapping[Label, float] = {Label.STARVED: -1.0, Label.GOOD: 0.0, Label.RICH: 1.0}
"""Where the labels stand on the saturation index; lean and heavy lie between and are left out."""

FEWEST = 10
"""Parts below which the cues stay as delivered: fewer cannot tell sets of cues apart (own rule)."""


@dataclass(frozen=True)
class ScoredZone:
    """One labelled zone and its index, from a fit without its part."""

    part: str
    label: Label
    index: float


@dataclass(frozen=True)
class Comparison:
    """A richer set of cues against a simpler one; losses are mean squares of the index."""

    rich_loss: float
    simple_loss: float
    gain: float
    """Loss that the richer set saves, mean over parts."""
    error: float
    """Standard error of the gain; infinite with fewer than two parts."""
    parts: int

    @property
    def is_worth_it(self) -> bool:
        """Return whether the richer set wins by more than its error."""
        return self.gain > self.error


def part_losses(zones: Sequence[ScoredZone]) -> dict[str, float]:
    """Return each part's loss; zones of no use and without an index are left out."""
    squares: dict[str, list[float]] = {}
    for zone in zones:
        if zone.label in PLACE and math.isfinite(zone.index):
            squares.setdefault(zone.part, []).append((zone.index - PLACE[zone.label]) ** 2)
    return {part: float(np.mean(found)) for part, found in squares.items()}


def compare(rich: Sequence[ScoredZone], simple: Sequence[ScoredZone]) -> Comparison:
    """Compare two sets of cues on the parts that both could score."""
    ours, theirs = part_losses(rich), part_losses(simple)
    parts = sorted(ours.keys() & theirs.keys())
    a, b = np.array([ours[p] for p in parts]), np.array([theirs[p] for p in parts])
    if len(parts) < 2:
        return Comparison(math.nan, math.nan, math.nan, math.inf, len(parts))
    gain = b - a
    error = float(gain.std(ddof=1) / math.sqrt(len(parts)))
    return Comparison(float(a.mean()), float(b.mean()), float(gain.mean()), error, len(parts))


def choose(candidates: Mapping[str, Sequence[ScoredZone]]) -> tuple[str, dict[str, Comparison]]:
    """Return the name of the set to judge by, and how the richest compares with each simpler one.

    Parameters
    ----------
    candidates : mapping
        Sets of cues by name, the richest first, the simplest last. The simplest is taken that the
        richest does not beat by more than its error; with fewer than ``FEWEST`` parts the richest.
    """
    names = list(candidates)
    richest = names[0]
    found = {name: compare(candidates[richest], candidates[name]) for name in names[1:]}
    for name in reversed(names[1:]):
        if found[name].parts >= FEWEST and not found[name].is_worth_it:
            return name, found
    return richest, found


def cue_note(chosen: str, found: Mapping[str, Comparison]) -> str:
    """Return in one sentence how the choice was made."""
    told = [
        f"{name} {c.simple_loss:.3f} (difference {c.gain:+.3f} ± {c.error:.3f})"
        for name, c in found.items()
    ]
    if not told:
        return f"Cues: {chosen}."
    first = next(iter(found.values()))
    why = "" if first.parts >= FEWEST else f"; {first.parts} parts are too few to choose by"
    if first.parts < 2:  # no loss to tell
        return f"Cues: {chosen}{why}."
    return (
        f"Cues: {chosen}. Loss by leave-one-part-out: all cues {first.rich_loss:.3f}, "
        f"{', '.join(told)}{why}."
    )
