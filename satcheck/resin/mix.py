"""How much resin to mix: from dry fibre, the fibre fraction that is wanted, and what gets lost.

Masses are in g. The hardener and the promoter are parts per 100 of resin by mass, from the resin's
data sheet; there is no default for them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from satcheck.errors import UsageError
from satcheck.resin.fractions import SQUARE, check_packing, mass_fraction, resin_for
from satcheck.resin.layup import Fabric
from satcheck.resin.materials import Material

SPREAD = 0.05
"""How near a hand comes to a fibre fraction, where the user says nothing (own rule)."""

MUCH_HARDENER = 10.0
"""Above it an epoxy's hardener is unusual or a slip (own rule)."""

LEAST_TARGET = 0.01
"""Below, a fraction was typed for a percentage, as 0.35 % for 35 %: 22 kg of resin for 182 g of
fabric. Even knitted layers hold ten times as much fibre (own rule)."""

PEROXIDE_CURED = ("acrylic", "polyester")
HARDENED = (*PEROXIDE_CURED, "epoxy")
"""Resins that a hardener sets (common knowledge)."""
MUCH_PEROXIDE = 5.0
"""Most that a published study of an acrylic laminating resin tried, parts on 100 by mass
(Zainuddin et al. 2023, Sci Rep 13:2664). Of a resin given by its density alone nobody knows
whether a peroxide cures it, so it holds there too."""

LITTLE_HARDENER = 0.5
"""Published studies and common practice begin at 1 part; an epoxy's 25 may be typed as 0.25 (own
rule)."""

LEAST_HARDENER, LEAST_PROMOTER = 0.1, 0.01
"""Below, a fraction was typed for a percentage, as 0.03 for 3 %, and nothing would set: a tenth of
what common practice begins with, 1 part of hardener and 0.1 of promoter (from memory)."""

LARGE_MIX = 1000.0
"""g. A trans-femoral socket takes 500 to 800 g (from memory); above this a slip is likely, and a
cup of it is a large mass that heats itself (own rule)."""

MUCH_PROMOTER = 5.0
"""Common practice is 3 parts and less, no source; above this a slip is likelier (own rule)."""


@dataclass(frozen=True)
class Losses:
    """Mixed resin that does not stay in the part, g."""

    cup: float = 0.0
    bag: float = 0.0
    film: float = 0.0

    @property
    def total(self) -> float:
        """All of it."""
        return self.cup + self.bag + self.film


@dataclass(frozen=True)
class Target:
    """The fibre volume fraction that is wanted, and the range that will do."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Step:
    """One line of the sums."""

    words: str
    value: float
    unit: str
    how: str


@dataclass(frozen=True)
class Mix:
    """What to weigh out, and how it was worked out."""

    resin: float
    """Without hardener and promoter, g."""
    hardener: float | None
    """g; None where the data sheet's figure was not given."""
    promoter: float | None
    total: float
    """All that is mixed, g."""
    low: float
    """Total where every figure lies at the end of its range that asks for least, g."""
    high: float
    in_part: float
    fabric: float
    target: Target
    parts_hardener: float | None
    """Parts per 100 of resin, as given."""
    parts_promoter: float | None
    steps: tuple[Step, ...]
    warnings: tuple[str, ...]


def make_target(low: float, high: float) -> Target:
    """Return the target from a range; one number alone gets `SPREAD` to either side.

    The spread ends at half of a small number, and at square packing: no target lies above it.

    Raises
    ------
    UsageError
        If it is above square packing, or so little that a fraction was typed for a percentage.
    """
    _check_least(low)
    check_packing(low, "target")
    check_packing(high, "target")
    middle = (low + high) / 2
    if low == high:
        low, high = max(low - SPREAD, low / 2), min(high + SPREAD, SQUARE)
    return Target(middle, low, high)


def _check_least(low: float) -> None:
    if not 0 < low < LEAST_TARGET:
        return
    meant = f'; "{1e4 * low:.4g} %" was probably meant' if 100 * low <= SQUARE else ""
    raise UsageError(
        f"--target {100 * low:.4g} %: so little fibre by volume is no laminate{meant}; "
        f"allowed are {100 * LEAST_TARGET:g} to {100 * SQUARE:.3g} %"
    )


def mix(
    fabrics: Sequence[Fabric],
    resin: Material,
    target: Target,
    losses: Losses,
    *,
    hardener: float | None = None,
    promoter: float | None = None,
) -> Mix:
    """Return how much resin to mix.

    Parameters
    ----------
    fabrics : sequence of Fabric
        All dry fibre of the part.
    resin : Material
        Density of the cured resin.
    target : Target
    losses : Losses
        Mixed resin left in the cup, in the bag with its overflow, and on the film.
    hardener, promoter : float, optional
        Parts per 100 of resin by mass, from the data sheet.

    Raises
    ------
    UsageError
        If there is no fibre.
    """
    mass = sum(fabric.mass for fabric in fabrics)
    if not mass > 0:
        raise UsageError("the dry fabric weighs 0 g; a mass above 0 is allowed")
    volume = sum(fabric.mass / fabric.fibre.density.value for fabric in fabrics)
    in_part = resin_for(volume, target.value, resin.density.value)
    total = in_part + losses.total
    base = total / (1 + ((hardener or 0) + (promoter or 0)) / 100)
    made = Mix(
        resin=base,
        hardener=None if hardener is None else base * hardener / 100,
        promoter=None if promoter is None else base * promoter / 100,
        total=total,
        low=_extreme(fabrics, resin, target.high, least=True) + losses.total,
        high=_extreme(fabrics, resin, target.low, least=False) + losses.total,
        in_part=in_part,
        fabric=mass,
        target=target,
        parts_hardener=hardener,
        parts_promoter=promoter,
        steps=(),
        warnings=(),
    )
    return replace(
        made,
        steps=_steps(made, fabrics, volume, resin, losses),
        warnings=_warnings(made, losses, resin.name),
    )


def check_parts(parts: float, least: float, option: str) -> float:
    """Return parts per 100 of resin by mass, 0 or from the least on that sets anything.

    Raises
    ------
    UsageError
        If they are fewer: a fraction was probably typed for a percentage.
    """
    if 0 < parts < least:
        raise UsageError(
            f"{option} {parts:g}: so few parts on 100 of resin by mass do nothing; where "
            f'{100 * parts:g} percent is meant, write "{100 * parts:g}"; allowed are 0 where none '
            f"is needed, and {least:g} to 100 %"
        )
    return parts


def figure_text(value: float) -> str:
    """Return a figure to a tenth, below 1 to two digits: nothing to weigh out is told as 0.0."""
    return f"{value:.2g}" if 0 < value < 1 else f"{value:.1f}"


def scale_text(grams: float) -> str:
    """Return what goes on the scale: whole grams from 100 g on, so that half a gram is little."""
    return f"{grams:.0f}" if grams >= 100 else figure_text(grams)


def percent_text(fraction: float) -> str:
    """Return a fraction in percent to three digits, without a point where none is needed."""
    return f"{100 * fraction:.3g}"


def _extreme(fabrics: Sequence[Fabric], resin: Material, fraction: float, *, least: bool) -> float:
    """Return the resin in the part, g, with every density at the end of its range."""
    volume = sum(f.mass / (f.fibre.high if least else f.fibre.low) for f in fabrics)
    return resin_for(volume, fraction, resin.low if least else resin.high)


def _steps(
    made: Mix, fabrics: Sequence[Fabric], volume: float, resin: Material, losses: Losses
) -> tuple[Step, ...]:
    fraction, density = made.target.value, resin.density.value
    by_mass = mass_fraction(fraction, made.fabric / volume, density)
    steps = [Step(f"fabric {f.fibre.name}", f.mass, "g", f.sums) for f in fabrics]
    if len(fabrics) > 1:
        steps.append(Step("dry fabric", made.fabric, "g", "sum of the layers"))
    densities = " + ".join(f"{f.mass:.1f} / {f.fibre.density.value:.3g}" for f in fabrics)
    ratio = f"(1 - {fraction:.3g}) / {fraction:.3g}"
    steps += [
        Step("fibre volume", volume, "cm3", densities),
        Step("resin volume", volume * (1 - fraction) / fraction, "cm3", f"{volume:.1f} x {ratio}"),
        Step("resin in part", made.in_part, "g", f"x {density:.3g} g/cm3 ({resin.name}, cured)"),
        Step("fibre by mass", 100 * by_mass, "%", "at that fraction by volume"),
        Step("lost in cup", losses.cup, "g", "as expected"),
        Step("lost in bag", losses.bag, "g", "as expected, with the overflow"),
        Step("lost on film", losses.film, "g", "as expected"),
        Step("to mix", made.total, "g", f"{made.in_part:.1f} + {losses.total:.1f}"),
    ]
    parts = [p for p in (made.parts_hardener, made.parts_promoter) if p is not None]
    if parts:
        shares = " + ".join(f"{part:g}" for part in parts)
        steps.append(Step("resin", made.resin, "g", f"{made.total:.1f} x 100 / (100 + {shares})"))
    for word, grams, share in (
        ("hardener", made.hardener, made.parts_hardener),
        ("promoter", made.promoter, made.parts_promoter),
    ):
        if grams is not None:
            how = f"{made.resin:.1f} x {share:g} / 100"
            steps.append(Step(word, grams, "g", how))
    return tuple(steps)


def _warnings(made: Mix, losses: Losses, resin: str) -> tuple[str, ...]:
    found = [check_packing(made.target.value, "target")]
    if not losses.total:
        found.append(
            "No losses given: cup, bag and film will leave the part short by what they take."
        )
    found.append(_on_hardener(made.parts_hardener, resin))
    if made.total > LARGE_MIX:
        found.append(
            f"{made.total:.0f} g are more than a socket takes: check the target and the layers. "
            "Never in one cup: so large a mass heats itself. Mix it in portions as you pour."
        )
    if (made.parts_promoter or 0) > MUCH_PROMOTER:
        found.append(
            f"{made.parts_promoter:g} parts of promoter on 100 are very many: it sets hot and "
            "before it is stringed; read the data sheet again."
        )
    return tuple(each for each in found if each)


def _on_hardener(parts: float | None, resin: str) -> str | None:
    """Say what is doubtful of a hardener, parts per 100 of resin by mass."""
    if parts is None:
        return "Hardener not given: take it from the resin's data sheet, by mass."
    if parts == 0:
        named = resin if resin in HARDENED else "laminating resin"  # else by its density alone
        return (
            f"No hardener: {named} does not set without, unless light sets it. Read the data sheet."
        )
    if parts > MUCH_PEROXIDE and resin in PEROXIDE_CURED:
        return (
            f"{parts:g} parts of peroxide on 100 of {resin} are too many: a study "
            f"tried up to {MUCH_PEROXIDE:g}. More runs away hot: read the data sheet again."
        )
    if parts > (MUCH_HARDENER if resin == "epoxy" else MUCH_PEROXIDE):
        return (
            f"{parts:g} parts of hardener on 100 are right for some epoxies only. "
            "A peroxide at that share runs away hot: read the data sheet again."
        )
    if parts >= LITTLE_HARDENER:
        return None
    # A hundred times as much is an epoxy's share; of a peroxide it would run away hot.
    if resin == "epoxy":
        what = f"where the data sheet says {100 * parts:g} %, enter that number."
    else:
        what = "it may never set: read the data sheet again."
    return f"{parts:g} parts of hardener on 100 are very few: {what}"
