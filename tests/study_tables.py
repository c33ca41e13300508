"""The published sets as the tables that a shop would write, for the tests of studies."""

from collections.abc import Iterable
from pathlib import Path

from published import KAPPA, KAPPA_STANDARD, gauge_readings


def written(folder: Path, *lines: str) -> Path:
    """Write a table and return it."""
    path = folder / "table.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def kappa_lines() -> Iterable[str]:
    """Yield JASP's attribute set, the standard rated once and each operator three times."""
    words = {"Y": "accepted", "N": "rejected"}
    yield "part,zone,rater,state,trial"
    for part, mark in enumerate(KAPPA_STANDARD, 1):
        yield f"{part},,standard,{words[mark]},"
    for rater, text in KAPPA.items():
        for part, marks in enumerate(text.split(), 1):
            yield from (f"{part},,{rater},{words[m]},{k}" for k, m in enumerate(marks, 1))


def gauge_lines() -> Iterable[str]:
    """Yield AIAG's gauge study."""
    yield "part,person,photo,value"
    for part, by_person in enumerate(gauge_readings(), 1):
        for person, values in zip("ABC", by_person, strict=True):
            yield from (f"{part},{person},{k},{value}" for k, value in enumerate(values, 1))
