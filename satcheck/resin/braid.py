"""A braided sleeve as it opens over a part: angle, length, areal mass and cover.

The yarns do not stretch, so that a yarn's helix keeps its length. With the angle a between yarn and
axis, diameter goes with sin a, length with cos a, and areal mass with 1 / sin 2a (closed form). A
sleeve is named by its diameter at 45 degrees.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from satcheck.errors import UsageError

LIMIT = math.sqrt(2)
"""Largest diameter over the nominal one: there the yarns run round the part (90 degrees)."""


@dataclass(frozen=True)
class Sleeve:
    """A braided tube at its nominal diameter, where its yarns run at 45 degrees."""

    diameter: float
    """mm."""
    areal_mass: float
    """Of the tube's one wall, g/m²."""
    tows: int | None = None
    """All yarns, both directions; with ``tow_width`` it gives the cover."""
    tow_width: float | None = None
    """mm."""


@dataclass(frozen=True)
class Opened:
    """A sleeve drawn over one diameter."""

    diameter: float
    """mm."""
    angle: float
    """Degrees between yarn and axis."""
    length_ratio: float
    """Length over the length at 45 degrees."""
    areal_mass: float
    """g/m²."""
    cover: float | None
    """Share of the surface under yarn, 0 to 1; None where tows are not given."""


def open_sleeve(sleeve: Sleeve, diameter: float) -> Opened:
    """Return a sleeve as it lies on a diameter, mm.

    Raises
    ------
    UsageError
        If the sleeve cannot open so far, or not close so far without its tows piling up.
    """
    sine = _sine(sleeve, diameter)
    angle = math.asin(sine)
    return Opened(
        diameter,
        math.degrees(angle),
        math.cos(angle) * math.sqrt(2),
        sleeve.areal_mass / math.sin(2 * angle),
        _cover(sleeve, diameter, math.cos(angle)),
    )


def sleeve_mass(sleeve: Sleeve, length: float, circumferences: Sequence[float]) -> float:
    """Return the mass of a sleeve on a part, g.

    Parameters
    ----------
    sleeve : Sleeve
    length : float
        Of the part along its axis, mm.
    circumferences : sequence of float
        mm, evenly spaced from the proximal end to the distal one; straight between them.
    """
    drawn = length_at_nominal(sleeve, length, circumferences)
    return sleeve.areal_mass * math.pi * sleeve.diameter * drawn * 1e-6


def length_at_nominal(sleeve: Sleeve, length: float, circumferences: Sequence[float]) -> float:
    """Return the sleeve, mm measured at 45 degrees, that a part takes up; no allowance for ends.

    The arguments are those of `sleeve_mass`. Each piece of the part is a cone; over a cone the mean
    of 1 / cos a is (a2 - a1) / (sin a2 - sin a1), since the diameter runs straight (closed form).
    """
    diameters = [each / math.pi for each in circumferences]
    axial = length / max(len(diameters) - 1, 1)
    pieces = zip(diameters, diameters[1:] or diameters, strict=False)
    return sum(
        math.hypot(axial, (second - first) / 2)
        * _mean_secant(_sine(sleeve, first), _sine(sleeve, second))
        / math.sqrt(2)
        for first, second in pieces
    )


def surface(length: float, circumferences: Sequence[float]) -> float:
    """Return the part's surface, m², as cones between its circumferences (mm), ends left open."""
    axial = length / max(len(circumferences) - 1, 1)
    pieces = zip(circumferences, circumferences[1:] or circumferences, strict=False)
    return 1e-6 * sum(
        (first + second) / 2 * math.hypot(axial, (second - first) / (2 * math.pi))
        for first, second in pieces
    )


def _sine(sleeve: Sleeve, diameter: float) -> float:
    widest = LIMIT * sleeve.diameter
    if not 0 < diameter < widest:
        raise UsageError(
            f"a sleeve of {sleeve.diameter:g} mm cannot lie on {diameter:.1f} mm "
            f"({math.pi * diameter:.0f} mm round): it opens to less than {widest:.1f} mm "
            f"({math.pi * widest:.0f} mm round), where its yarns would run straight round; "
            "take a wider sleeve"
        )
    return diameter / widest


def _mean_secant(first: float, second: float) -> float:
    """Return the mean of 1 / cos a where sin a runs straight from ``first`` to ``second``."""
    if math.isclose(first, second, rel_tol=1e-6):
        return 1 / math.sqrt(1 - first * second)
    return (math.asin(second) - math.asin(first)) / (second - first)


def _cover(sleeve: Sleeve, diameter: float, cosine: float) -> float | None:
    """Return 2F - F² with F = N w / (2 pi D cos a): cable-shield coverage by tow width."""
    if sleeve.tows is None or sleeve.tow_width is None:
        return None
    fill = sleeve.tows * sleeve.tow_width / (2 * math.pi * diameter * cosine)
    if fill > 1:
        raise UsageError(
            f"{sleeve.tows} tows of {sleeve.tow_width:g} mm do not fit side by side on "
            f"{diameter:.1f} mm (fill {fill:.2f}; at most 1 is allowed): "
            "the sleeve is jammed there, or the tows are narrower"
        )
    return 2 * fill - fill**2
