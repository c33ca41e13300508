"""A value with its standard uncertainty, and how it passes through a calculation."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

Values = Mapping[str, float]


@dataclass(frozen=True)
class Measured:
    """A value and its standard uncertainty (coverage factor 1), both in one unit."""

    value: float
    u: float = 0.0


def rounded(value: float, resolution: float) -> Measured:
    """Return a reading that a scale has rounded: u = d / sqrt(12) (GUM, JCGM 100:2008, F.2.2.1)."""
    return Measured(value, resolution / math.sqrt(12))


def between(low: float, high: float) -> Measured:
    """Return what may lie anywhere between two values: u = (high - low) / sqrt(12) (GUM 4.3.7)."""
    return Measured((low + high) / 2, (high - low) / math.sqrt(12))


def doubt_text(doubt: float, digits: int) -> str:
    """Return a doubt with as many digits behind the point as its value, and never as none at all.

    Where there is one it is at least a step of the last digit: a value shown as 224.0 +/- 0.0 would
    be known exactly.
    """
    return f"{max(doubt, 10.0**-digits) if doubt > 0 else 0.0:.{digits}f}"


def propagate(
    model: Callable[[Values], Values], inputs: Mapping[str, Measured]
) -> dict[str, Measured]:
    """Return all results of a calculation, each with its standard uncertainty.

    The law of propagation for independent inputs (GUM 5.1.2), each sensitivity taken from the
    model itself by stepping one input up and down by its uncertainty (GUM 5.1.3, note 2). An input
    that enters a result twice is so counted once, with its sign.

    Parameters
    ----------
    model : callable
        From the inputs' values to named results; called 2 n + 1 times.
    inputs : mapping of str to Measured
    """
    centre = {name: each.value for name, each in inputs.items()}
    results = model(centre)
    squares = dict.fromkeys(results, 0.0)
    for name, each in inputs.items():
        if each.u:
            up = model(centre | {name: each.value + each.u})
            down = model(centre | {name: each.value - each.u})
            for key in squares:
                squares[key] += ((up[key] - down[key]) / 2) ** 2
    return {key: Measured(value, math.sqrt(squares[key])) for key, value in results.items()}
