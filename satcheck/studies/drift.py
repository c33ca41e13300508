"""Whether a coupon that does not change still measures the same, and if not, why.

The first shifts set each quantity's level; EWMA and CUSUM watch the later ones. What moved names
the likely cause: a soft picture the camera, a colour the light, a pitch in mm the card; another
calibration is read from the records. The visibility decides verdicts, so its chart warns before
they shift.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from satcheck.errors import UsageError
from satcheck.lines import counted
from satcheck.statistics.control import Chart, chart, level_of
from satcheck.studies.shifts import QUANTITIES, Shift

BASELINE, FEWEST = 20, 10
"""Shifts that set the level, by default and at least; what fewer cost: `statistics.control`."""

CLEAR = 2.0
"""Standard deviations from which a move explains any change of visibility; a smaller one only up
to three times its own (our rule: false warnings end near 1)."""

REMEDIES: Mapping[str, tuple[str, str]] = {
    "blur": ("camera", "wipe the lens, tap to focus, hold still, use the same phone"),
    "colour": ("light", "look for a lamp that was changed, moved or dirtied, and for daylight"),
    "pitch": ("card", "lay the card flat and level with the part; measure its ruler"),
    "size": ("camera", "keep the distance and the zoom as they were"),
    "visibility": ("calibration", "camera and light stand still, so look at the coupon "
                                  "itself; if it is clean and whole, calibrate again"),
}  # fmt: skip
"""Likely cause and what to do, by the quantity that moved; visibility only where no other has."""

UNSEEN = (
    "{names} not watched, so it may as well be the {causes}; look there and at the coupon before "
    "you calibrate again"
)
"""Remedy where the visibility moved, and what would tell of camera and light was not watched."""


@dataclass(frozen=True)
class Cause:
    """Why the measurement moved, likeliest first."""

    word: str
    """camera, light, card or calibration."""
    why: str
    remedy: str


@dataclass(frozen=True, eq=False)
class Watched:
    """One quantity: its charts over the later shifts, or why it is not watched."""

    name: str
    chart: Chart | None
    at: tuple[int, ...]
    """Which shifts the chart's values belong to."""
    problem: str = ""

    @property
    def alarm(self) -> int | None:
        """Return the first shift at which either chart warned."""
        if self.chart is None or not self.chart.alarms.any():
            return None
        return self.at[int(np.argmax(self.chart.alarms))]


@dataclass(frozen=True, eq=False)
class DriftStudy:
    """A row of shifts, watched."""

    shifts: tuple[Shift, ...]
    baseline: int
    watched: tuple[Watched, ...]
    causes: tuple[Cause, ...]

    @property
    def is_enough(self) -> bool:
        """Return whether anything is watched at all."""
        return any(watched.chart is not None for watched in self.watched)

    @property
    def alarm(self) -> int | None:
        """Return the first shift at which something moved."""
        found = [watched.alarm for watched in self.watched if watched.alarm is not None]
        traits = ("calibration", "camera")
        seen = [_first_change(self.shifts, self.baseline, trait) for trait in traits]
        changed = [at for at in seen if at is not None]
        return min([*found, *changed], default=None)

    @property
    def verdict_change(self) -> int | None:
        """Return the first shift whose verdict is not the first ones'."""
        return _first_change(self.shifts, self.baseline, "verdict")

    @property
    def sentence(self) -> str:
        """Return what this means for the shop."""
        if not self.is_enough and self.alarm is None:
            return self._too_few
        if self.alarm is None or not self.causes:
            later = len(self.shifts) - self.baseline
            since = f"{counted(later, 'shift')} since the first {self.baseline}"
            return f"Nothing has moved in the {since}."
        first = self.causes[0]
        return (
            f"The measurement has moved since {_named(self.shifts[self.alarm])}, likely the "
            f"{first.word}: {first.remedy}."
        )

    @property
    def _too_few(self) -> str:
        missing = self.baseline + 1 - len(self.shifts)
        if missing <= 0:
            return "Nothing can be watched: the shifts are enough, but no quantity of theirs is."
        there = f"{len(self.shifts)} {'is' if len(self.shifts) == 1 else 'are'} there"
        return (
            f"Nothing can be watched yet: the first {self.baseline} shifts set the level, and "
            f"{there}: {missing} more to go."
        )

    @property
    def verdicts(self) -> str:
        """Return whether verdicts have changed; blank where neither they nor anything else has."""
        if self.verdict_change is None:
            is_told = self.alarm is not None and any(shift.verdict for shift in self.shifts)
            return "No verdict has changed yet." if is_told else ""
        at = self.shifts[self.verdict_change]
        if self.alarm is None:
            return (
                f"The verdict changed to {at.verdict} with {_named(at)}, though nothing that is "
                "watched has moved: look at the coupon."
            )
        return (
            f"The verdict changed to {at.verdict} with {_named(at)}: judge again what was "
            "photographed since then."
        )


def study_drift(shifts: Sequence[Shift], baseline: int = BASELINE) -> DriftStudy:
    """Return the charts of a row of shifts, and the likely causes of what moved.

    Raises
    ------
    UsageError
        If the baseline is shorter than 10 shifts.
    """
    if baseline < FEWEST:
        raise UsageError(f"--baseline {baseline}: {FEWEST} and more shifts are allowed")
    measured = [name for name in QUANTITIES if any(name in shift.values for shift in shifts)]
    watched = tuple(_watch(shifts, name, baseline) for name in measured)
    return DriftStudy(tuple(shifts), baseline, watched, _causes(shifts, baseline, watched))


def _watch(shifts: Sequence[Shift], name: str, baseline: int) -> Watched:
    first = [s.values[name] for s in shifts[:baseline] if name in s.values]
    at = tuple(k for k, s in enumerate(shifts) if k >= baseline and name in s.values)
    if len(first) < FEWEST:
        problem = f"measured in {len(first)} of the first {baseline} shifts; {FEWEST} are needed"
        return Watched(name, None, at, problem)
    if not at:
        return Watched(name, None, at, "no later shift yet")
    level = level_of(first)
    if level.sd <= 1e-9 * max(abs(level.target), 1e-9):
        return Watched(name, None, at, "the first shifts are all alike, so no spread is known")
    return Watched(name, chart([shifts[k].values[name] for k in at], level), at)


def _causes(
    shifts: Sequence[Shift], baseline: int, watched: Sequence[Watched]
) -> tuple[Cause, ...]:
    causes = []
    for trait, remedy in (
        ("calibration", "judge the older records by the new one (satcheck rejudge)"),
        ("camera", "go back to the first phone and setting, or start a new row with this one"),
    ):
        at = _first_change(shifts, baseline, trait)
        if at is not None:
            known = [word for s in shifts[:baseline] if (word := getattr(s, trait))]
            old, new = known[-1], getattr(shifts[at], trait)
            causes.append(Cause(trait, f"{old} before, {new} since", remedy))
    moved = sorted(
        (w for w in watched if w.alarm is not None and w.chart is not None),
        key=lambda w: (w.name != "visibility", -_moved(w)),
    )
    moved = [w for w in moved if w.chart is not None and w.chart.alarms[-1]] or moved
    seen = max((_moved(w) for w in moved if w.name == "visibility"), default=0.0)
    explains = [w for w in moved if w.name != "visibility" and _moved(w) >= min(seen / 3, CLEAR)]
    hints = [w for w in moved if w not in explains]
    for one in [*explains, *([] if explains or causes else hints)]:
        word, remedy = REMEDIES[one.name]
        if one.name == "visibility":
            remedy = _unseen(watched) or remedy
        causes.append(Cause(word, _why(one), remedy))
    return tuple(causes)


def _unseen(watched: Sequence[Watched]) -> str:
    """Return what to do where the visibility's causes were not all watched; blank if they were."""
    seen = {one.name for one in watched if one.chart is not None}
    names = [name for name in ("blur", "colour") if name not in seen]
    if not names:
        return ""
    said = " and ".join(names) + (" is" if len(names) == 1 else " are")
    return UNSEEN.format(names=said, causes=" or the ".join(REMEDIES[n][0] for n in names))


def _moved(one: Watched) -> float:
    return 0.0 if one.chart is None else abs(one.chart.moved)


def _why(one: Watched) -> str:
    """Return how far the average lies off, and how far it did where it has come back since."""
    assert one.chart is not None
    made = one.chart
    way = made.way(int(np.argmax(made.alarms)))
    off = (made.ewma - made.level.target) / made.level.sd * (1 if way == "up" else -1)
    if off[-1] < off.max() / 2:
        return (
            f"{one.name} was {way} by {off.max():.1f} standard deviations, and its average "
            f"lies {abs(off[-1]):.1f} off now"
        )
    return f"{one.name} {way} by {off[-1]:.1f} standard deviations"


def _first_change(shifts: Sequence[Shift], baseline: int, trait: str) -> int | None:
    """Return the first later shift whose word is none of the first ones'; blanks say nothing."""
    known = {getattr(shift, trait) for shift in shifts[:baseline]} - {""}
    if not known:
        return None
    return next(
        (k for k, s in enumerate(shifts)
         if k >= baseline and getattr(s, trait) and getattr(s, trait) not in known),
        None,
    )  # fmt: skip


def _named(shift: Shift) -> str:
    return shift.taken or shift.name
