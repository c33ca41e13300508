"""What labelled parts can promise: how often a starved zone would be called good, at most.

The unit is the part. Zones of one part share its cloth, its lamp and its inspector, so each part
gives one score: that of its least starved-looking starved zone. A part is an error when this score
lies beyond the bound, which is when any of its starved zones would be called good or heavier.

Parts are taken to be drawn alike and independently, and the score not to have been made from them:
then the promise holds whatever the scores' distribution. Two facts carry it. For a bound that was
fixed beforehand, the errors among n parts are binomial, and Clopper & Pearson (1934) bound their
share. For a bound at the k-th smallest score, the share beyond it exceeds a with the probability
P(Bin(n, 1 - a) >= k) (order statistics; Tong, Feng & Li, Science Advances 2018, proposition 1).
Both say the same: with n - k errors the second is the first. So the bound may be set at a score
whose rank depends on n alone and kept within limits that were fixed beforehand, the errors being
counted where a limit holds it. Proof: let the share beyond the lower limit be v0, beyond the upper
v1. Where v0 is no more than the second fact's a, only a count at a limit can state too little;
where v1 is more, only the count at the upper one can; between, only the rank can. One event each
time, and each has a probability of no more than 5 %.

The scores come from an index that is fitted without the part (leave one part out), the index in
use with it: alike but not the same, so the promise is as good as the index is stable. The tests
measure that on drawn shops.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from satcheck.lines import counted

CONFIDENCE = 0.95
FEWEST = 10
"""Parts with a starved zone below which nothing is promised (own rule; 0 errors of 9: 28 %)."""
STEPS = (0.10, 0.05)
"""Shares that a shop works towards; 29 and 59 parts without an error reach them."""


@cache
def upper_share(errors: int, parts: int, confidence: float = CONFIDENCE) -> float:
    """Return the share of errors that is not exceeded, with a confidence (one-sided).

    Clopper & Pearson, Biometrika 26 (1934): exact, whatever the true share. 1 for no parts.
    """
    if not 0 <= errors <= parts:
        raise ValueError(f"{errors} errors of {parts} parts; 0 to all of them is allowed")
    if errors == parts:
        return 1.0
    if errors == 0:
        return 1.0 - math.pow(1 - confidence, 1 / parts)
    from scipy.special import betaincinv  # a fifth of a second, spent only where it is needed

    return float(betaincinv(errors + 1, parts - errors, confidence))


def fewest_parts(share: float, errors: int = 0, confidence: float = CONFIDENCE) -> int:
    """Return from how many parts some errors among them are no more than a share."""
    parts = errors + 1
    while upper_share(errors, parts, confidence) > share:
        parts += 1
    return parts


def errors_allowed(parts: int) -> int:
    """Return how many parts the bound may leave beyond it, from their number alone.

    None below the parts that the first step needs: the bound then covers the worst of them. From
    there on as many as the smallest step within reach allows.
    """
    reached = [share for share in STEPS if upper_share(0, parts) <= share]
    if not reached:
        return 0
    errors = 0
    while upper_share(errors + 1, parts) <= reached[-1]:
        errors += 1
    return errors


def count_errors(scores: Sequence[float], bound: float) -> int:
    """Return how many parts have a starved zone that would be called good."""
    return sum(score > bound for score in scores)


@dataclass(frozen=True)
class Promise:
    """What a fibre's labelled parts promise.

    Attributes
    ----------
    parts : int
        With a starved zone that could be judged by an index that has not seen the part.
    errors : int
        Of these, with a starved zone that would be called good or heavier.
    """

    parts: int
    errors: int

    @property
    def share(self) -> float | None:
        """Return the share that is promised, 0 to 1; None where nothing is."""
        return upper_share(self.errors, self.parts) if self.parts >= FEWEST else None

    @property
    def percent(self) -> int | None:
        """Return the promised share in whole percent, rounded up."""
        return None if self.share is None else math.ceil(100 * self.share - 1e-9)

    @property
    def sentence(self) -> str:
        """Return the promise in one sentence."""
        if self.percent is None:
            shown = f"{counted(self.parts, 'part')} with a judged starved zone"
            if self.parts == 0:  # it may be judged, by bounds that its own part helped to make
                shown = "no part with a starved zone judged without its help"
            return f"Provisional: {shown}; no promise about errors is made."
        return (
            f"Of parts like these, at most {self.percent} % of starved zones will be called good, "
            f"with {100 * CONFIDENCE:.0f} % confidence."
        )

    @property
    def basis(self) -> str:
        """Return what the promise rests on, and how it counts; blank where it rests on no part."""
        if self.parts == 0:
            return ""
        found = "none" if self.errors == 0 else f"no more than {self.errors}"
        return (
            f"Of {counted(self.parts, 'part')} with a judged starved zone, {found} would have had "
            "a starved zone called good. A part counts once, however many zones or photos it has."
        )

    @property
    def missing(self) -> str:
        """Return in one sentence how many parts the next promise needs; blank at the last step."""
        if self.percent is None:
            more = FEWEST - self.parts
            missing = f"{counted(more, 'more part')} with a starved zone"
            return f"{missing} {_be(more)} needed for a promise."
        for step in STEPS:
            if self.percent > round(100 * step):
                return (
                    f"{self._more(step)} needed, none of them called good, to promise at most "
                    f"{100 * step:.0f} %."
                )
        return ""

    def _more(self, step: float) -> str:
        """Return how many more parts a step needs; a range where the errors may go with them.

        Errors that the bound was free to leave are covered again where the step leaves none, but
        for those that no bound within the limits covers.
        """
        most = fewest_parts(step, self.errors) - self.parts
        is_free = 0 < self.errors <= errors_allowed(self.parts)
        least = fewest_parts(step) - self.parts if is_free else most
        reach = "" if least == most else f"{least} to "
        return f"{reach}{counted(most, 'more part')} with a starved zone {_be(most)}"


def set_bound(scores: Sequence[float], floor: float, ceiling: float) -> tuple[float, Promise]:
    """Return the bound between lean and good, and what it promises.

    Parameters
    ----------
    scores : sequence of float
        One a part: the smallest bound at which none of its starved zones is called good. Infinite
        where no bound helps.
    floor, ceiling : float
        Between which the bound is kept; not made from these parts.
    """
    parts = len(scores)
    if not parts:
        return floor, Promise(0, 0)
    allowed = min(errors_allowed(parts), parts - 1)
    wanted = sorted(scores)[parts - 1 - allowed]
    if floor < wanted < ceiling:
        # Equal scores may leave fewer beyond the bound: a rank chosen by what is seen is not free.
        return wanted, Promise(parts, allowed)
    bound = min(max(wanted, floor), ceiling)
    return bound, Promise(parts, count_errors(scores, bound))


def _be(parts: int) -> str:
    return "is" if parts == 1 else "are"
