"""How much of a reading comes from the photo and the person: a gauge study from a table."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from satcheck.errors import TableError
from satcheck.statistics.gauge import (
    FEWEST_CATEGORIES,
    GOOD,
    POOR,
    Anova,
    Gauge,
    anova,
    average_and_range,
)
from satcheck.statistics.tolerance import one_sided_factor, two_sided_factor
from satcheck.tables import Row, read_rows

COLUMNS, TRIALS = ("part", "person", "value"), ("photo", "trial")
SHARE = 0.95
"""Of photos, that the stated width holds."""
FEWEST_PARTS = 10
"""Parts that a gauge study should have (AIAG's own study; common practice)."""

Line = Mapping[tuple[str, str], Mapping[str, float]]


@dataclass(frozen=True)
class RepeatabilityStudy:
    """Both methods on one crossed table; all lengths in the unit of its values."""

    parts: int
    persons: tuple[str, ...]
    trials: int
    by_range: Gauge
    anova: Anova

    @property
    def within(self) -> float:
        """Return how far 95 % of photos read off at most, either way, with 95 % confidence.

        By anyone, around what all of them read of the part on average (Howe 1969).
        """
        return self._times(two_sided_factor(SHARE, self._worth, df=self.anova.reading_df))

    @property
    def below(self) -> float:
        """Return how far 95 % of photos read too low at most, with 95 % confidence."""
        return self._times(one_sided_factor(SHARE, self._worth, df=self.anova.reading_df))

    @property
    def sentence(self) -> str:
        """Return what this means for the shop."""
        gauge = self.anova.gauge
        if gauge.share is None:
            return "Nothing varied: the study shows nothing; photograph parts that differ."
        told = f"Photo and person make {100 * gauge.share:.0f} % of the spread"
        if gauge.categories is not None:
            told += f" and leave {_groups(gauge.categories)}"
        return f"{told}: {self._advice(gauge)}"

    @property
    def caution(self) -> str:
        """Return what limits the study; blank where nothing does."""
        said = []
        a, b = self.by_range.categories, self.anova.gauge.categories
        if a != b:
            said.append(
                f"The two methods differ: {_ndc(a)} by average and range, {_ndc(b)} by analysis "
                "of variance; the latter uses more of the data."
            )
        if self.parts < FEWEST_PARTS:
            said.append(
                f"{self.parts} parts are few; {FEWEST_PARTS} that run from starved to rich are "
                "common practice."
            )
        return " ".join(said)

    @property
    def _worth(self) -> float:
        """Return how many independent readings a part's average is worth."""
        gauge, persons = self.anova.gauge, len(self.persons)
        mean = gauge.reproducibility**2 / persons + gauge.repeatability**2 / (persons * self.trials)
        return gauge.gauge**2 / mean if mean else float(persons)

    def _times(self, factor: float) -> float:
        return factor * self.anova.reading_sd

    def _advice(self, gauge: Gauge) -> str:
        share = gauge.share or 0.0
        cause = (
            "one person's photos differ: steady the phone, and keep light and distance"
            if gauge.repeatability >= gauge.reproducibility
            else "the persons differ: agree on distance, light and view"
        )
        if share < GOOD:
            return "one photo by anyone will do."
        enough = gauge.categories is None or gauge.categories >= FEWEST_CATEGORIES
        if share <= POOR and enough:
            return f"usable; most of it is that {cause}."
        if share <= POOR:
            return f"usable with care, near a bound take a second photo; {cause}."
        return f"too much to judge single photos by; {cause}."


def study_repeatability(table: Path) -> RepeatabilityStudy:
    """Return the gauge study of a table.

    Parameters
    ----------
    table : Path
        CSV with part, person, value, and photo or trial: each person photographs each part
        equally often, twice and more.

    Raises
    ------
    TableError
        Where a row cannot be used, or one is missing, naming the line.
    """
    parts, persons, readings = read_readings(table)
    return RepeatabilityStudy(
        parts=len(parts),
        persons=persons,
        trials=readings.shape[2],
        by_range=average_and_range(readings),
        anova=anova(readings),
    )


def read_readings(
    table: Path,
) -> tuple[
    tuple[str, ...], tuple[str, ...], np.ndarray[tuple[int, int, int], np.dtype[np.float64]]
]:
    """Return parts, persons, and their readings (P, O, R); trials in the table's order."""
    cells: dict[tuple[str, str], dict[str, float]] = {}
    last: dict[tuple[str, str], Row] = {}
    spelled: dict[tuple[str, str], str] = {}
    for row in read_rows(table, COLUMNS, TRIALS):
        at, name = (row.name("part", spelled), row.name("person", spelled)), _trial(row)
        own = cells.setdefault(at, {})
        if name in own:
            raise row.refuse(
                f"photo {name!r} of part {at[0]} by {at[1]} stands there before",
                "each photo once is allowed; number them in a column photo or trial",
            )
        own[name] = row.number("value")
        last[at] = row
    parts = tuple(dict.fromkeys(part for part, _ in cells))
    persons = tuple(dict.fromkeys(person for _, person in cells))
    _check_whole(table, cells, last, parts, persons)
    rows = [[list(cells[part, person].values()) for person in persons] for part in parts]
    return parts, persons, np.array(rows, np.float64)


def _trial(row: Row) -> str:
    name = row.cells["photo"] or row.cells["trial"]
    if not name:
        raise row.refuse(
            "photo and trial are blank", "a number or a name in one of them is allowed"
        )
    return name


def _check_whole(
    table: Path,
    cells: Line,
    last: Mapping[tuple[str, str], Row],
    parts: tuple[str, ...],
    persons: tuple[str, ...],
) -> None:
    """Refuse a table that is not crossed: every person, every part, equally often."""
    for names, word in ((parts, "parts"), (persons, "persons")):
        if len(names) < 2:
            end = max((row.line for row in last.values()), default=1)
            raise TableError(
                str(table), end, f"there are fewer than two {word}", "two and more are allowed"
            )
    count = max(len(trials) for trials in cells.values())
    if count < 2:
        end = max(row.line for row in last.values())
        raise TableError(
            str(table), end, "each part has one photo a person", "two and more are allowed"
        )
    for part in parts:
        seen = max(row.line for at, row in last.items() if at[0] == part)
        for person in persons:
            found = len(cells.get((part, person), {}))
            if found < count:
                raise TableError(
                    str(table), last[part, person].line if found else seen,
                    f"part {part} by {person}: {found} of {count} photos",
                    "equally many are allowed: add the photo, or leave the part or person out",
                )  # fmt: skip


def _ndc(categories: int | None) -> str:
    return "no limit of ndc" if categories is None else f"ndc {categories}"


def _groups(categories: int) -> str:
    if categories < 2:
        return f"no groups of parts to tell apart (ndc {categories})"
    return f"{categories} groups of parts to tell apart (ndc {categories})"
