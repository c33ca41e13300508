"""A strict table of ratings: who called what by which word, and what two raters both judged."""

from collections.abc import Mapping
from pathlib import Path

from satcheck.errors import TableError
from satcheck.model import STATES
from satcheck.tables import read_rows

COLUMNS, OPTIONAL = ("part", "zone", "rater", "state"), ("trial",)
SCALE = tuple(STATES)
OUTCOMES = ("rejected", "accepted")
NOT_JUDGED = "not judged"
TOOL = "satcheck"
"""The rater as whom the tool's own verdicts stand in a table."""

Item = tuple[str, str]
"""Part and zone; the zone is blank where the whole part was rated."""
Ratings = Mapping[str, Mapping[Item, Mapping[str, str]]]
"""State by rater, item and trial."""


def read_ratings(table: Path) -> tuple[Ratings, tuple[str, ...]]:
    """Return the ratings of a table, and the words they use: the scale, or the two outcomes."""
    ratings: dict[str, dict[Item, dict[str, str]]] = {}
    spelled: dict[tuple[str, str], str] = {}
    words: tuple[str, ...] = ()
    row = None
    for row in read_rows(table, COLUMNS, OPTIONAL):
        part, rater = (row.name(column, spelled) for column in ("part", "rater"))
        zone = row.name("zone", spelled, may_be_blank=True)
        if rater != TOOL and rater.casefold() == TOOL:
            raise row.refuse(f"rater {rater!r} is not {TOOL!r}", "write the tool's name so")
        state = row.word("state", (*SCALE, *OUTCOMES, NOT_JUDGED))
        if state != NOT_JUDGED:
            own = SCALE if state in SCALE else OUTCOMES
            if words and own is not words:
                raise row.refuse(
                    f"state {state!r} stands beside one of {', '.join(words)}",
                    "one study rates either by the scale or as accepted and rejected",
                )
            words = own
        trials = ratings.setdefault(rater, {}).setdefault((part, zone), {})
        if row.cells["trial"] in trials:
            raise row.refuse(
                f"{rater} has rated this part and zone before",
                "one row each is allowed; number repeats in a column trial",
            )
        trials[row.cells["trial"]] = state
    if row is None:
        raise TableError(str(table), 1, "there is no rating", "give a row a rating")
    if len(ratings) < 2 and not any(len(t) > 1 for t in next(iter(ratings.values())).values()):
        raise row.refuse("all rows are of one rater, without repeats", "two and more are allowed")
    return ratings, words or SCALE


def both_judged(
    one: Mapping[Item, Mapping[str, str]], other: Mapping[Item, Mapping[str, str]]
) -> list[tuple[str, str, str]]:
    """Return (part, state, state): trial by trial, a single rating beside each of the repeats."""
    rows = []
    for item in sorted(set(one) & set(other)):
        a, b = one[item], other[item]
        if len(a) == 1 or len(b) == 1:
            states = [(x, y) for x in a.values() for y in b.values()]
        else:
            states = [(a[trial], b[trial]) for trial in sorted(set(a) & set(b))]
        rows += [(item[0], x, y) for x, y in states if NOT_JUDGED not in (x, y)]
    return rows
