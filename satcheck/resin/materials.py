"""Named fibres and resins with their densities. A data sheet's own figure is better than any here.

The typical values are those of the trade; where a published page was seen it is named, and the
ranges are from memory. A range counts as uncertainty: anywhere in it is equally likely.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from satcheck.errors import UsageError
from satcheck.resin.uncertainty import Measured, between
from satcheck.resin.units import DENSITY, parse_range


@dataclass(frozen=True)
class Material:
    """A fibre or a cured resin."""

    name: str
    density: Measured
    """g/cm³, with its standard uncertainty."""
    low: float
    high: float
    origin: str
    """Where the density comes from."""


def _typical(name: str, density: float, low: float, high: float, origin: str) -> Material:
    return Material(name, Measured(density, between(low, high).u), low, high, origin)


_SEEN = "published page of typical densities; range from memory"
_MEMORY = "typical, from memory"

FIBRES: Mapping[str, Material] = {
    each.name: each
    for each in (
        _typical("carbon", 1.78, 1.75, 1.80, _SEEN),
        _typical("glass", 2.54, 2.50, 2.60, _SEEN),
        _typical("s-glass", 2.47, 2.46, 2.49, _MEMORY),
        _typical("basalt", 2.67, 2.60, 2.80, _MEMORY),
        _typical("aramid", 1.44, 1.44, 1.45, _SEEN),
        _typical("nylon", 1.14, 1.13, 1.15, _MEMORY),
        _typical("polyester", 1.38, 1.36, 1.40, _MEMORY),
        _typical("polyethylene", 0.97, 0.96, 0.98, _MEMORY),
    )
}
RESINS: Mapping[str, Material] = {
    each.name: each
    for each in (
        _typical("acrylic", 1.18, 1.15, 1.20, _MEMORY),
        _typical("epoxy", 1.15, 1.10, 1.25, "a published page says 1.1; range from memory"),
        _typical("polyester", 1.20, 1.10, 1.40, _MEMORY),
    )
}


def pick_material(table: Mapping[str, Material], text: str, option: str) -> Material:
    """Return a named material, or one made from a density "1.18" or a range "1.15..1.20", g/cm³.

    Raises
    ------
    UsageError
        If it is neither; the message lists the names.
    """
    wanted = text.strip().casefold()
    if wanted in table:
        return table[wanted]
    if not any(sign.isdigit() for sign in wanted):
        raise UsageError(
            f"{option} {text}: unknown; allowed are {', '.join(table)}, or a density in g/cm3 "
            'from the data sheet ("1.18", or "1.15..1.20")'
        )
    low, high = parse_range(text, DENSITY, option)
    origin = "as given" if high > low else "as given, taken as exact"
    name = text.strip()
    if any(sign.isalpha() for sign in name):  # in another unit, or with its own
        name = f"{low:g}..{high:g}" if high > low else f"{low:g}"
    return Material(f"{name} g/cm3", between(low, high), low, high, origin)
