"""Fibre and resin by mass and by volume, thickness, and voids.

Densities are in g/cm³, fractions 0 to 1. The formulas are closed forms; ASTM D3171 (method II) and
ASTM D2734 give them for laminates in general, and neither is written for sockets.
"""

import math
from typing import NamedTuple

from satcheck.errors import UsageError

HEXAGONAL = math.pi / (2 * math.sqrt(3))
"""0.9069: the densest packing of parallel round fibres (closed form). Nothing is above it."""

SQUARE = math.pi / 4
"""0.7854: square packing (closed form). A shop's weighing above it is an error in the data."""

DOUBTFUL = 0.65
"""Above it a hand laminate is doubtful: handbook values for autoclave end there (from memory)."""

ALLOWED = f"up to {DOUBTFUL:g} without doubt, {SQUARE:.3f} at the very most"


class Constituents(NamedTuple):
    """Shares of the volume of a laminate whose density was measured; they add up to 1."""

    fibre: float
    resin: float
    voids: float


def volume_fraction(mass_fraction: float, fibre_density: float, resin_density: float) -> float:
    """Return the fibre's share of the volume from its share of the mass, without voids."""
    fibre = mass_fraction / fibre_density
    return fibre / (fibre + (1 - mass_fraction) / resin_density)


def mass_fraction(volume_fraction: float, fibre_density: float, resin_density: float) -> float:
    """Return the fibre's share of the mass from its share of the volume, without voids."""
    fibre = volume_fraction * fibre_density
    return fibre / (fibre + (1 - volume_fraction) * resin_density)


def theoretical_density(mass_fraction: float, fibre_density: float, resin_density: float) -> float:
    """Return the density without voids, g/cm³: T = 100 / (R/D + r/d) of ASTM D2734."""
    return 1 / (mass_fraction / fibre_density + (1 - mass_fraction) / resin_density)


def void_content(theoretical: float, measured: float) -> float:
    """Return the voids' share of the volume: V = (T - M) / T of ASTM D2734.

    The sign is kept: a little below 0 means that the densities are no better known than that.
    """
    return (theoretical - measured) / theoretical


def constituents(
    mass_fraction: float, fibre_density: float, resin_density: float, measured: float
) -> Constituents:
    """Return the shares of fibre, resin and voids where the laminate's density was measured."""
    fibre = mass_fraction * measured / fibre_density
    resin = (1 - mass_fraction) * measured / resin_density
    theoretical = theoretical_density(mass_fraction, fibre_density, resin_density)
    return Constituents(fibre, resin, void_content(theoretical, measured))


def resin_for(fibre_volume: float, volume_fraction: float, resin_density: float) -> float:
    """Return the resin, g, that a volume of fibre, cm³, takes up at a fibre volume fraction."""
    return fibre_volume * (1 - volume_fraction) / volume_fraction * resin_density


def volume_fraction_of_wall(areal_mass: float, fibre_density: float, thickness: float) -> float:
    """Return the fibre volume fraction of a wall (ASTM D3171 method II, which assumes no voids).

    Parameters
    ----------
    areal_mass : float
        Of all layers together, g/m².
    fibre_density : float
        g/cm³.
    thickness : float
        mm.
    """
    return 1e-3 * areal_mass / (fibre_density * thickness)


def thickness_of_wall(areal_mass: float, fibre_density: float, volume_fraction: float) -> float:
    """Return the thickness of a wall, mm: `volume_fraction_of_wall` turned round."""
    return 1e-3 * areal_mass / (fibre_density * volume_fraction)


def check_packing(volume_fraction: float, what: str) -> str | None:
    """Return a warning on a fibre volume fraction, or None where there is nothing to say.

    Raises
    ------
    UsageError
        Where it cannot be: not above 0, or above square packing.
    """
    said = f"{what}: a fibre volume fraction of {volume_fraction:.3f}"
    if not volume_fraction > 0:
        raise UsageError(f"{said} leaves no fibre; allowed is {ALLOWED}")
    if volume_fraction > HEXAGONAL:
        raise UsageError(
            f"{said} is impossible: round fibres fill {HEXAGONAL:.3f} at most; allowed is {ALLOWED}"
        )
    if volume_fraction > SQUARE:
        raise UsageError(
            f"{said} is above square packing ({SQUARE:.3f}), so a weighing or a density is wrong; "
            f"allowed is {ALLOWED}"
        )
    if volume_fraction > DOUBTFUL:
        return f"{said} is doubtful for a hand laminate (above {DOUBTFUL:g}): check the weighings"
    return None
