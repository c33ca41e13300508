"""Where the resin went: weighings to what is in the part, each result with its uncertainty.

Masses are in g. The uncertainty comes from the scale's resolution and from the range of each
density. It is the least there is: a scale's drift, spilt drops and a wet bag come on top.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields

from satcheck.errors import UsageError
from satcheck.resin.fractions import (
    check_packing,
    constituents,
    theoretical_density,
    thickness_of_wall,
    volume_fraction,
    volume_fraction_of_wall,
)
from satcheck.resin.materials import Material
from satcheck.resin.uncertainty import Measured, Values, doubt_text, propagate, rounded

MUCH_LOST = 0.1
"""Of what was mixed: a larger loss is no vapour, drops or smears (own rule)."""
DOUBT = 2.0
"""Standard uncertainties around a value that hold it with about 95 % (GUM 6.3.3)."""


@dataclass(frozen=True)
class Weighings:
    """What the scale showed, g. Either ``part`` or ``mixed`` is needed; both check each other."""

    fabric: float
    """Dry, before the layup."""
    mixed: float | None = None
    """Resin with hardener and promoter."""
    cup: float | None = None
    """Left in the cup; None where nobody weighed it."""
    bag: float | None = None
    """Bag and overflow together; None where nobody weighed them."""
    part: float | None = None
    """Demoulded."""
    trimmings: float = 0.0
    """Laminate cut off before the part was weighed."""
    hardware: float = 0.0
    """Lock, core and whatever else was weighed with the part and is no laminate."""
    film: float = 0.0
    """Clean film and bag that were weighed with bag and overflow."""
    evaporation: float = 0.0
    """Vapour, where it is known."""


@dataclass(frozen=True)
class Wall:
    """What else was measured, each with its standard uncertainty; None where it was not."""

    density: Measured | None = None
    """Of the laminate, by displacement, g/cm³."""
    areal_mass: float | None = None
    """Dry fibre of all layers at one place, g/m²."""
    thickness: Measured | None = None
    """At the same place, mm."""


@dataclass(frozen=True)
class Line:
    """How one result is called and written."""

    words: str
    unit: str
    digits: int
    factor: float = 1.0


LINES: Mapping[str, Line] = {
    "resin": Line("resin in the part", "g", 1),
    "resin_by_mix": Line("resin that left the cup for the part", "g", 1),
    "unaccounted": Line("not accounted for", "g", 1),
    "laminate": Line("laminate", "g", 1),
    "ratio": Line("resin to fibre by mass", "", 3),
    "mass_fraction": Line("fibre by mass", "%", 1, 100),
    "volume_fraction": Line("fibre by volume, no voids", "%", 1, 100),
    "theoretical_density": Line("density without voids", "g/cm3", 3),
    "thickness": Line("thickness to expect", "mm", 2),
    "wall_volume_fraction": Line("fibre by volume, from thickness", "%", 1, 100),
    "voids": Line("voids", "%", 1, 100),
    "fibre_with_voids": Line("fibre by volume, with voids", "%", 1, 100),
}
"""Every result, in the order in which it is shown. Values are kept before ``factor``."""


@dataclass(frozen=True)
class Balance:
    """The mass balance of one part."""

    weighings: Weighings
    resolution: float
    """Of the scale, g."""
    fibre: Material
    resin: Material
    results: Mapping[str, Measured]
    """By the keys of `LINES`; only those that could be worked out."""
    warnings: tuple[str, ...]


def balance(
    weighings: Weighings,
    fibre: Material,
    resin: Material,
    *,
    resolution: float = 1.0,
    wall: Wall | None = None,
) -> Balance:
    """Return where the resin went.

    Parameters
    ----------
    weighings : Weighings
    fibre, resin : Material
    resolution : float
        Smallest step of the scale, g. Each figure counts as one reading.
    wall : Wall, optional
        Density, areal mass and thickness, where measured.

    Raises
    ------
    UsageError
        If weighings cannot be together; the message says which were probably swapped or left out.
    """
    wall = wall or Wall()
    _check(weighings)
    inputs = {
        each.name: rounded(value, resolution if value else 0.0)
        for each in fields(weighings)
        if (value := getattr(weighings, each.name)) is not None
    }
    inputs |= {"fibre": fibre.density, "resin": resin.density}
    measured = {"density": wall.density, "thickness": wall.thickness}
    inputs |= {f"wall_{name}": each for name, each in measured.items() if each is not None}
    if wall.areal_mass is not None:
        inputs["areal_mass"] = Measured(wall.areal_mass)
    results = propagate(_model, inputs)
    warnings = _warnings(results, weighings)
    ordered = {key: results[key] for key in LINES if key in results}
    return Balance(weighings, resolution, fibre, resin, ordered, warnings)


def _model(x: Values) -> dict[str, float]:
    """Return all results from the inputs' values."""
    left = x.get("cup", 0.0) + x.get("bag", 0.0) - x["film"] + x["evaporation"]
    by_mix = x["mixed"] - left if "mixed" in x else 0.0
    if "part" in x:
        laminate = x["part"] + x["trimmings"] - x["hardware"]
        resin = laminate - x["fabric"]
    else:
        resin = by_mix
        laminate = x["fabric"] + resin
    share = x["fabric"] / laminate
    fraction = volume_fraction(share, x["fibre"], x["resin"])
    results = {
        "resin": resin,
        "laminate": laminate,
        "ratio": resin / x["fabric"],
        "mass_fraction": share,
        "volume_fraction": fraction,
        "theoretical_density": theoretical_density(share, x["fibre"], x["resin"]),
    }
    if {"part", "mixed", "cup", "bag"} <= set(x):
        results |= {"resin_by_mix": by_mix, "unaccounted": by_mix - resin}
    if "areal_mass" in x:
        results["thickness"] = thickness_of_wall(x["areal_mass"], x["fibre"], fraction)
        if "wall_thickness" in x:
            results["wall_volume_fraction"] = volume_fraction_of_wall(
                x["areal_mass"], x["fibre"], x["wall_thickness"]
            )
    if "wall_density" in x:
        shares = constituents(share, x["fibre"], x["resin"], x["wall_density"])
        results |= {"voids": shares.voids, "fibre_with_voids": shares.fibre}
    return results


def _check(w: Weighings) -> None:
    """Refuse weighings that cannot be together."""
    for each in fields(w):
        value = getattr(w, each.name)
        if value is not None and value < 0:
            raise UsageError(f"{each.name} {value:g} g: a mass below 0 cannot be")
    if not w.fabric > 0:
        raise UsageError("fabric 0 g: the dry fabric must be weighed before the layup")
    if w.part is None and w.mixed is None:
        raise UsageError("neither part nor mixed was weighed; at least one of them is needed")
    if w.film > (bag := w.bag or 0.0):
        raise UsageError(
            f"film {w.film:g} g is more than bag and overflow {bag:g} g, in which it was "
            "weighed; the two were probably swapped"
        )
    if w.mixed is not None:
        _check_mix(w, w.mixed)
    if w.part is not None:
        _check_part(w, w.part)


def _check_mix(w: Weighings, mixed: float) -> None:
    cup, bag = w.cup or 0.0, (w.bag or 0.0) - w.film
    for name, value in (("cup", cup), ("bag and overflow", bag)):
        if value >= mixed:
            raise UsageError(
                f"{name} {value:g} g is not less than mixed {mixed:g} g; "
                "the two were probably swapped"
            )
    lost = cup + bag + w.evaporation
    if lost >= mixed:
        raise UsageError(
            f"cup, bag and vapour took {lost:g} g of the {mixed:g} g that were mixed, so nothing "
            "is left for the part; was the empty cup or bag weighed with it? "
            "--film takes off the bag"
        )


def _check_part(w: Weighings, part: float) -> None:
    laminate = part + w.trimmings - w.hardware
    if laminate <= w.fabric:
        swapped = "; the two were probably swapped" if part < w.fabric else ""
        what = f"part {part:g} g" + (
            f" with trimmings {w.trimmings:g} g and without hardware {w.hardware:g} g"
            if w.trimmings or w.hardware
            else ""
        )
        raise UsageError(
            f"{what} is not heavier than its dry fabric {w.fabric:g} g{swapped}; "
            "a part weighs its fabric and its resin"
        )
    resin = laminate - w.fabric
    if w.mixed is not None and resin > w.mixed:
        raise UsageError(
            f"the part would hold {resin:g} g of resin, but only {w.mixed:g} g were mixed; was the "
            "lock or core weighed with the part? --hardware takes it off"
        )


def _warnings(results: Mapping[str, Measured], w: Weighings) -> tuple[str, ...]:
    found = [check_packing(results["volume_fraction"].value, "from the weighings")]
    found.append(_on_scale(results["resin"]))
    found.append(_unchecked(w))
    lost = results.get("unaccounted")
    if lost and abs(lost.value) > DOUBT * lost.u:
        found.append(
            f"{_signed(lost.value)} g do not add up between mix and part: "
            f"{_why_lost(lost.value, w)}"
        )
    wall = results.get("wall_volume_fraction")
    if wall:
        found.append(check_packing(wall.value, "from the thickness"))
        found.append(_compare(wall, results["volume_fraction"]))
    if "voids" in results:
        found.append(_on_voids(results["voids"]))
    return tuple(each for each in found if each)


def _unchecked(w: Weighings) -> str | None:
    """Say that the mix does not check the part, where what was left of it is not known."""
    left = {"the cup": w.cup, "the bag": w.bag}
    names = " and ".join(name for name, value in left.items() if value is None)
    if w.mixed is None or w.part is None or not names:
        return None
    return f"What stayed in {names} was not weighed, so the mix does not check the part."


def _signed(lost: float) -> str:
    """Return grams with their sign, below 1 g to one digit: a loss is never told as +0."""
    return f"{lost:+.0f}" if abs(lost) >= 1 else f"{lost:+.1g}"


def _why_lost(lost: float, w: Weighings) -> str:
    if lost > MUCH_LOST * (w.mixed or 0):
        return (
            "More than vapour, drops and smears take. "
            "A weighing is wrong, or trimmings are missing."
        )
    if lost > 0:
        return "Vapour, drops and smears take it."
    return "A weighing is wrong" + (
        "." if w.hardware else ", or hardware was weighed with the part."
    )


def _on_scale(resin: Measured) -> str | None:
    """Say where the scale is too coarse: beyond a tenth the fractions mean little (own rule)."""
    if DOUBT * resin.u <= resin.value / 10:
        return None
    return (
        f"The scale is too coarse: {resin.value:.1f} g of resin are known to "
        f"+/- {doubt_text(DOUBT * resin.u, 1)} g only; weigh on a finer one."
    )


def _compare(wall: Measured, whole: Measured) -> str | None:
    apart = wall.value - whole.value
    if abs(apart) <= DOUBT * (wall.u**2 + whole.u**2) ** 0.5:
        return None
    word = "leaner" if apart > 0 else "heavier"
    return f"Where it was measured the wall is {word} than the part's mean."


def _on_voids(voids: Measured) -> str | None:
    """Say what a void content is worth. ASTM D2734: below 1 % it tells of the densities only."""
    if voids.value < -DOUBT * voids.u:
        return "Voids are below 0 by more than their uncertainty: a density or a weighing is wrong."
    if voids.value < 0.01:
        return (
            "Voids below 1 % tell how well the densities are known, not how many voids there are."
        )
    return None
