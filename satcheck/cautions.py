"""Cautions on resin work, each in its place, and exposure limits with their source and date.

Words only. They remind a trained person; the safety data sheets and the local rules come first.
"""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

FIRST = "Safety data sheets and local rules come first; this is a reminder only."


@dataclass(frozen=True)
class Caution:
    """One caution: the hazard it is about, what a person does, and why."""

    hazard: str
    words: str
    """At most one line of a printed card."""
    why: str


@dataclass(frozen=True)
class ExposureLimit:
    """How much of a substance the air may hold, by one body. Local limits may be lower."""

    substance: str
    limit: str
    """With its unit and what it is: a mean over the shift, a peak, at once dangerous."""
    source: str
    """Who says so, and of what date."""


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "peroxide and promoter",
        "Never mix peroxide and promoter directly: stir one into the resin, then the other.",
        "Together and undiluted they can burst into flame or explode.",
    ),
    Caution(
        "exotherm",
        "A full cup heats itself. Mix what you will pour, pour soon, stand leftovers outside.",
        "A thick mass of resin keeps its heat, sets faster, smokes and may burn.",
    ),
    Caution(
        "vapours",
        "Work under the hood; no flame, no spark. Smelling it means the hood is too weak.",
        "Monomers and styrene irritate, dull the mind, and burn at room temperature.",
    ),
    Caution(
        "skin and eyes",
        "Gloves the data sheet names, goggles, sleeves. Change wet gloves at once.",
        "Monomers, epoxies and peroxides sensitize: an allergy stays for life.",
    ),
    Caution(
        "lungs",
        "Cut and grind with extraction and a dust mask.",
        "Dust of cured resin and broken fibre harms lungs, skin and eyes.",
    ),
    Caution(
        "disposal",
        "Let leftovers set and cool before the bin. Liquid resin and peroxide: special waste.",
        "Leftovers that still react heat a bin; none of it may go down a drain.",
    ),
)

_NIOSH = "NIOSH, documentation for IDLH concentrations, May 1994"
_ACGIH = "ACGIH, as an OSHA page of November 2008 lists it"
_DUTCH = "Health Council of the Netherlands, advice of December 2011"

LIMITS: tuple[ExposureLimit, ...] = (
    ExposureLimit("methyl methacrylate", "100 ppm (410 mg/m3) mean of a shift", _NIOSH),
    ExposureLimit("methyl methacrylate", "50 ppm mean of a shift, 100 ppm for 15 min", _ACGIH),
    ExposureLimit("methyl methacrylate", "160 mg/m3 mean of a shift, advised", _DUTCH),
    ExposureLimit("methyl methacrylate", "1000 ppm at once dangerous; burns from 1.7 %", _NIOSH),
    ExposureLimit("styrene", "50 ppm mean of a shift, 100 ppm for 15 min, advised", _NIOSH),
    ExposureLimit("styrene", "100 ppm mean of a shift, 200 ppm ceiling, by law", _NIOSH),
    ExposureLimit("styrene", "700 ppm at once dangerous; burns from 0.9 %", _NIOSH),
    ExposureLimit("dibenzoyl peroxide", "5 mg/m3 mean of a shift", _NIOSH),
)
"""A limit is what a body allowed at its date, and no line between safe and unsafe."""

MIXING = ("peroxide and promoter", "exotherm", "vapours", "skin and eyes", "disposal")
WEIGHING = ("skin and eyes", "lungs", "disposal")


def cautions_for(hazards: Collection[str]) -> tuple[Caution, ...]:
    """Return the cautions on some hazards, in the order of `CAUTIONS`.

    Raises
    ------
    KeyError
        If a hazard has no caution: a sheet must not lose one in silence.
    """
    missing = set(hazards) - {each.hazard for each in CAUTIONS}
    if missing:
        raise KeyError(f"no caution on {', '.join(sorted(missing))}")
    return tuple(each for each in CAUTIONS if each.hazard in hazards)


def limits_for(substances: Collection[str]) -> tuple[ExposureLimit, ...]:
    """Return the exposure limits of some substances."""
    return tuple(each for each in LIMITS if each.substance in substances)


def cautions_to_json(hazards: Collection[str]) -> list[dict[str, Any]]:
    """Return the cautions on some hazards as plain values."""
    return [vars(each) | {} for each in cautions_for(hazards)]
