"""What a user types, turned into plain values; standard library only."""

import json
import math
import re
from collections.abc import Sequence
from pathlib import Path

from satcheck.errors import UsageError


def pick_fibre(fibres: Sequence[str], wanted: str | None) -> str:
    """Return the fibre to judge by: the one that is wanted, else the only one.

    Raises
    ------
    UsageError
        If it is not among the fibres, or none is wanted and there are several.
    """
    allowed = f"allowed are {', '.join(fibres)}"
    if wanted is None:
        if len(fibres) == 1:
            return fibres[0]
        raise UsageError(f"--fibre is missing; {allowed}")
    for fibre in fibres:
        if fibre.casefold() == wanted.strip().casefold():
            return fibre
    raise UsageError(f"--fibre {wanted}: this calibration does not know it; {allowed}")


def parse_box(text: str) -> tuple[int, int, int, int]:
    """Return x0, y0, x1, y1 from "X0,Y0,X1,Y1"; raise UsageError where it is no box."""
    found = re.fullmatch(r"\s*(\d+)\s*,\s*(\d+)\s*,\s*(\d+)\s*,\s*(\d+)\s*", text)
    if found:
        x0, y0, x1, y1 = (int(group) for group in found.groups())
        if x0 < x1 and y0 < y1:
            return x0, y0, x1, y1
    raise UsageError(
        f"--box {text}: allowed is X0,Y0,X1,Y1 in whole pixels, with X0 < X1 and Y0 < Y1"
    )


def parse_outline(text: str) -> list[tuple[float, float]]:
    """Return the points of an outline, from "x,y x,y x,y ..." or from a JSON file of [x, y].

    Raises
    ------
    UsageError
        If the file cannot be read, or there are not three points and more.
    """
    try:
        if text.lower().endswith(".json"):
            pairs = json.loads(Path(text).read_text(encoding="utf-8"))
        else:
            pairs = [pair.split(",") for pair in text.split()]
        points = [(float(x), float(y)) for x, y in pairs]
    except OSError as error:
        raise UsageError(
            f"--outline {text}: this file cannot be read ({error.strerror})"
        ) from error
    except (ValueError, TypeError, RecursionError):  # brackets without end are too deep
        points = []
    if len(points) < 3 or not all(math.isfinite(v) for point in points for v in point):
        raise UsageError(
            f'--outline {text}: allowed are three and more points, "x,y x,y x,y ..." '
            "or a JSON file [[x, y], [x, y], [x, y], ...]"
        )
    return points


def positive(value: float | None, option: str) -> float | None:
    """Return the value of an option; raise UsageError where it is not above 0."""
    if value is not None and not 0 < value < math.inf:
        raise UsageError(f"{option} {value:g}: a number above 0 is allowed")
    return value
