"""Agreement of inspectors with each other and with the tool, from a table of ratings."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import numpy as np

from satcheck.errors import UsageError
from satcheck.model import Interval
from satcheck.statistics.agreement import GOOD, POOR, Kappa, cohen, fleiss
from satcheck.statistics.intervals import share_of_parts, upper_bound
from satcheck.studies.ratings import (
    NOT_JUDGED,
    OUTCOMES,
    SCALE,
    TOOL,
    Item,
    Ratings,
    both_judged,
    read_ratings,
)

FEWEST_PARTS = 30
"""Parts below which a kappa's interval is too wide to rank inspectors (half-width 0.2 and more at
20 parts: our simulation)."""


@dataclass(frozen=True)
class Pair:
    """Two raters on what both judged; ``weighted`` counts near misses in part (the scale only)."""

    first: str
    second: str
    kappa: Kappa
    weighted: Kappa | None


@dataclass(frozen=True)
class Misses:
    """Parts with a zone that most inspectors call starved and the tool calls good or heavier."""

    missed: int
    parts: int

    @property
    def bound(self) -> float:
        """Return the share that is not exceeded with 95 % confidence (Clopper & Pearson)."""
        return upper_bound(self.missed, self.parts) if self.parts else 1.0


@dataclass(frozen=True)
class Held:
    """One rater, or all together, held against another, item by item and rating by rating."""

    rater: str
    items: int
    """Items that both have judged."""
    steady: int
    """Items that got one state in all ratings."""
    same: int
    """Items whose every rating is that of the rater held against."""
    share_same: Interval | None
    """Share of the items that are the same; its interval counts parts. None without an item."""
    starved: int
    """Ratings of what the other calls starved (rejected)."""
    missed: int
    """Of these, those that say otherwise."""
    others: int
    """Ratings of what the other calls anything else."""
    false: int
    """Of these, those that say starved (rejected)."""


@dataclass(frozen=True)
class AgreementStudy:
    """What a table of ratings tells."""

    parts: int
    items: int
    raters: tuple[str, ...]
    against: str | None
    """The rater that the others are held against, the tool or a standard."""
    words: tuple[str, ...]
    pairs: tuple[Pair, ...]
    """Those with ``against`` first, then the others among themselves."""
    pooled: Pair | None
    """``against`` and all the others together."""
    between: Kappa | None
    """All but ``against`` together (Fleiss)."""
    within: Mapping[str, Kappa]
    """A rater with his own repeats (Fleiss)."""
    misses: Misses | None
    held: tuple[Held, ...]
    """Each other rater, where there is an ``against``; last, where several, all together."""
    not_judged: Mapping[str, int]

    @property
    def strangers(self) -> tuple[tuple[str, str], ...]:
        """Return the pairs of raters that have judged nothing in common; none where no pair has."""
        met = {frozenset((pair.first, pair.second)) for pair in self.pairs}
        every = combinations(self.raters, 2)
        return tuple(pair for pair in every if frozenset(pair) not in met) if met else ()

    @property
    def sentence(self) -> str:
        """Return what this means for the shop."""
        told = [*self.pairs, *([self.pooled] if self.pooled else [])]
        kappas = [pair.kappa for pair in told] or list(self.within.values())
        if any(kappa.value is None for kappa in kappas):
            return (
                "Kappa is undefined where every rating is the same word: it shows no agreement "
                "beyond chance, nor the lack of it; add parts of other states."
            )
        return _meaning(self, [k.value for k in kappas if k.value is not None],
                        [k.low for k in kappas if k.low is not None])  # fmt: skip


def study_agreement(table: Path, against: str | None = None) -> AgreementStudy:
    """Return the agreement of a table of ratings.

    Parameters
    ----------
    table : Path
        CSV with part, zone, rater and state, and trial where a rater rated an item again.
    against : str or None
        A rater to hold the others against; None takes satcheck where it stands in the table.

    Raises
    ------
    TableError
        Where a row cannot be used, naming the line.
    UsageError
        If ``against`` is no rater of the table.
    """
    ratings, words = read_ratings(table)
    raters = tuple(ratings)
    if against is not None and against not in raters:
        raise UsageError(f"--against {against}: no such rater; allowed are {', '.join(raters)}")
    held = against or (TOOL if TOOL in raters else None)
    others = [rater for rater in raters if rater != held]
    pairs = [(held, other) for other in others] if held else []
    items = {item for by_item in ratings.values() for item in by_item}
    return AgreementStudy(
        parts=len({part for part, _ in items}),
        items=len(items),
        raters=raters,
        against=held,
        words=words,
        pairs=_pairs(ratings, [*pairs, *combinations(others, 2)], words),
        pooled=_pooled(ratings, held, others, words) if held and len(others) > 1 else None,
        between=_between(ratings, others, words),
        within=_within(ratings, words),
        misses=_misses(ratings, held, others) if held == TOOL else None,
        held=_held(ratings, held, others) if held else (),
        not_judged=_not_judged(ratings),
    )


def _pairs(
    ratings: Ratings, wanted: Sequence[tuple[str, str]], words: tuple[str, ...]
) -> tuple[Pair, ...]:
    made = []
    for first, second in wanted:
        rows = both_judged(ratings[first], ratings[second])
        if rows:
            made.append(_pair(first, second, rows, words))
    return tuple(made)


def _pooled(
    ratings: Ratings, held: str, others: Sequence[str], words: tuple[str, ...]
) -> Pair | None:
    matched = [row for other in others for row in both_judged(ratings[held], ratings[other])]
    return _pair(held, "all others together", matched, words) if matched else None


def _pair(
    first: str, second: str, matched: Sequence[tuple[str, str, str]], words: tuple[str, ...]
) -> Pair:
    part = np.unique([row[0] for row in matched], return_inverse=True)[1]
    codes = [np.array([words.index(row[k]) for row in matched]) for k in (1, 2)]
    plain = cohen(codes[0], codes[1], part, len(words))
    ordered = words is SCALE
    weighted = cohen(codes[0], codes[1], part, len(words), ordered=True) if ordered else None
    return Pair(first, second, plain, weighted)


def _between(ratings: Ratings, raters: Sequence[str], words: tuple[str, ...]) -> Kappa | None:
    """Return Fleiss' kappa of all raters, on the items that all have rated; see `_fleiss`."""
    if len(raters) < 2:
        return None
    items = set.intersection(*(set(ratings[rater]) for rater in raters))
    return _fleiss(
        {i: [s for r in raters for s in ratings[r][i].values()] for i in sorted(items)}, words
    )


def _within(ratings: Ratings, words: tuple[str, ...]) -> Mapping[str, Kappa]:
    found = {
        rater: _fleiss({item: list(t.values()) for item, t in sorted(items.items())}, words)
        for rater, items in ratings.items()
    }
    return {rater: kappa for rater, kappa in found.items() if kappa is not None}


def _fleiss(states: Mapping[Item, Sequence[str]], words: tuple[str, ...]) -> Kappa | None:
    """Return Fleiss' kappa of the items that have as many ratings as most, two and more."""
    whole = {i: row for i, row in states.items() if NOT_JUDGED not in row and len(row) > 1}
    lengths = Counter(map(len, whole.values()))
    if not lengths:
        return None
    # Not as many as any: one item with one rating more would leave all the others out.
    count = max(lengths, key=lambda length: (lengths[length], length))
    full = {item: row for item, row in whole.items() if len(row) == count}
    codes = np.array([[words.index(state) for state in row] for row in full.values()])
    part = np.unique([part for part, _ in full], return_inverse=True)[1]
    return fleiss(codes, part, len(words))


def _misses(ratings: Ratings, tool: str, others: Sequence[str]) -> Misses:
    """Count by the part where most who judged say starved (rejected) and the tool does not."""
    missed: dict[str, bool] = {}
    for item, told in sorted(ratings[tool].items()):
        every = [state for rater in others for state in ratings[rater].get(item, {}).values()]
        said = [state for state in every if state != NOT_JUDGED]
        bad = sum(state in (SCALE[0], OUTCOMES[0]) for state in said)
        judged = any(state != NOT_JUDGED for state in told.values())
        if judged and 2 * bad > len(said):
            wrong = any(state in (*SCALE[2:], OUTCOMES[1]) for state in told.values())
            missed[item[0]] = missed.get(item[0], False) or wrong
    return Misses(sum(missed.values()), len(missed))


def _held(ratings: Ratings, held: str, others: Sequence[str]) -> tuple[Held, ...]:
    """Hold each rater against one of them, and where there are several, all of them together."""
    by_rater = {other: _by_item(ratings[other], ratings[held]) for other in others}
    told = [_told(other, rows) for other, rows in by_rater.items()]
    if len(others) > 1:
        shared = set.intersection(*(set(rows) for rows in by_rater.values()))
        together = {i: [pair for rows in by_rater.values() for pair in rows[i]] for i in shared}
        told.append(_told("all together", together))
    return tuple(told)


def _by_item(
    own: Mapping[Item, Mapping[str, str]], other: Mapping[Item, Mapping[str, str]]
) -> dict[Item, list[tuple[str, str]]]:
    """Return (said, held against) by item, of the items that both have judged."""
    rows = {i: both_judged({i: own[i]}, {i: other[i]}) for i in own if i in other}
    return {i: [(said, truth) for _, said, truth in row] for i, row in rows.items() if row}


def _told(rater: str, rows: Mapping[Item, Sequence[tuple[str, str]]]) -> Held:
    flat = [pair for pairs in rows.values() for pair in pairs]
    bad = (SCALE[0], OUTCOMES[0])
    starved = [said for said, truth in flat if truth in bad]
    others = [said for said, truth in flat if truth not in bad]
    items, same = Counter(part for part, _ in rows), Counter[str]()
    for (part, _), pairs in rows.items():
        same[part] += all(said == truth for said, truth in pairs)
    return Held(
        rater=rater,
        items=len(rows),
        steady=sum(len({said for said, _ in pairs}) == 1 for pairs in rows.values()),
        same=same.total(),
        share_same=share_of_parts([same[p] for p in items], list(items.values())) if rows else None,
        starved=len(starved),
        missed=sum(said not in bad for said in starved),
        others=len(others),
        false=sum(said in bad for said in others),
    )


def _not_judged(ratings: Ratings) -> Mapping[str, int]:
    counted = {
        rater: sum(state == NOT_JUDGED for trials in items.values() for state in trials.values())
        for rater, items in ratings.items()
    }
    return {rater: count for rater, count in counted.items() if count}


def _meaning(study: AgreementStudy, values: Sequence[float], lows: Sequence[float]) -> str:
    if not values:
        return "No two ratings are of the same part and zone: let two people rate the same parts."
    worst, surest = min(values), min(lows)
    few = f"; {study.parts} parts are few, {FEWEST_PARTS} would say more"
    more = few if study.parts < FEWEST_PARTS else ""
    if surest >= GOOD:
        return f"Agreement is good everywhere (lowest kappa {worst:.2f}): one rater can stand in."
    if worst >= GOOD:
        return (
            f"Agreement looks good (lowest kappa {worst:.2f}) but may be as low as {surest:.2f}: "
            f"rate more parts before one rater stands in for another{more}."
        )
    if worst >= POOR:
        return (
            f"Agreement is fair (lowest kappa {worst:.2f}): look at the parts that differ "
            f"together, agree on pictures of each state, and rate again{more}."
        )
    return (
        f"Agreement is poor (lowest kappa {worst:.2f}): until the raters agree on what each state "
        f"looks like, no threshold from their labels holds{more}."
    )
