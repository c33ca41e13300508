"""The weigh sheet: typed weighings to where the resin went, as record, JSON and text."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from satcheck.cautions import FIRST, WEIGHING, cautions_for, cautions_to_json
from satcheck.errors import UsageError
from satcheck.lines import wrapped
from satcheck.resin.balance import DOUBT, LINES, Balance, Wall, Weighings, balance
from satcheck.resin.materials import FIBRES, RESINS, pick_material
from satcheck.resin.mix import Target, make_target, percent_text
from satcheck.resin.uncertainty import Measured, between, doubt_text, rounded
from satcheck.resin.units import (
    AREAL,
    DENSITY,
    FRACTION,
    MASS,
    THICKNESS,
    WHOLE,
    Kind,
    parse,
    parse_range,
)

SCHEMA = "satcheck.weigh/1"
MASSES = tuple(each.name for each in fields(Weighings))
WHOLES = ("fabric", "mixed", "part")
STEP = Kind("a scale's step", "g", 0.001, 100.0)
_NUMBER = re.compile(r"[+-]?\d*\.?(\d*)")


@dataclass(frozen=True)
class WeighEntries:
    """What was typed, as text: a bare number is in g, g/cm³, g/m² or mm; a unit may follow it."""

    masses: Mapping[str, str]
    """By the fields of `Weighings`; ``fabric`` and one of ``mixed`` and ``part`` are needed."""
    fibre: str
    resin: str
    scale: str = "1"
    """Smallest step of the scale."""
    density: str | None = None
    areal: str | None = None
    thickness: str | None = None
    target: str | None = None
    """Fibre by volume that was wanted, one number or a range."""


@dataclass(frozen=True)
class WeighSheet:
    """The balance of one part, and what was wanted."""

    balance: Balance
    target: Target | None

    @property
    def by_weight(self) -> str | None:
        """What the scale says of the whole part: lean, enough, heavy, or unsure.

        Unsure where the uncertainty does not let it say which; None without a target.
        """
        if self.target is None:
            return None
        found = self.balance.results["volume_fraction"]
        low, high = found.value - DOUBT * found.u, found.value + DOUBT * found.u
        if low < self.target.low and high > self.target.high:
            return "unsure"
        if found.value > self.target.high:
            return "lean" if low > self.target.high else "unsure"
        if found.value < self.target.low:
            return "heavy" if high < self.target.low else "unsure"
        return "enough"


def make_weigh_sheet(entries: WeighEntries) -> WeighSheet:
    """Return where the resin went.

    Raises
    ------
    UsageError
        If something is missing, is no such quantity, or weighings cannot be together.
    """
    unknown = [name for name in entries.masses if name not in MASSES]
    if unknown:
        raise UsageError(f"{unknown[0]!r} is no weighing; allowed are {', '.join(MASSES)}")
    if "fabric" not in entries.masses:
        raise UsageError("--fabric is missing: the dry fabric must be weighed before the layup")
    masses = {
        name: parse(text, WHOLE if name in WHOLES else MASS, f"--{name}")
        for name, text in entries.masses.items()
    }
    _check_what_is_left(masses)
    wall = Wall(
        None if entries.density is None else reading(entries.density, DENSITY, "--density"),
        None if entries.areal is None else parse(entries.areal, AREAL, "--areal"),
        None if entries.thickness is None else reading(entries.thickness, THICKNESS, "--thickness"),
    )
    target = entries.target
    return WeighSheet(
        balance(
            Weighings(**masses),
            pick_material(FIBRES, entries.fibre, "--fibre"),
            pick_material(RESINS, entries.resin, "--resin"),
            resolution=parse(entries.scale, STEP, "--scale"),
            wall=wall,
        ),
        None if target is None else make_target(*parse_range(target, FRACTION, "--target")),
    )


def _check_what_is_left(masses: Mapping[str, float]) -> None:
    """Refuse to take what nobody weighed for nothing, where no other weighing would show it."""
    left = [name for name in ("cup", "bag") if name not in masses]
    if "mixed" in masses and "part" not in masses and left:
        raise UsageError(
            f"--{left[0]} is missing: without --part, what stayed in the cup and in the bag of the "
            "resin mixed must be weighed; 0 is allowed"
        )


def read_weights(path: Path) -> dict[str, str]:
    """Return the entries of a TOML file of ``name = value`` lines, as text.

    Raises
    ------
    UsageError
        If it cannot be read or holds anything but numbers and text.
    """
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"), parse_float=str)
    except OSError as error:
        raise UsageError(f"{path}: cannot be read ({error.strerror})") from error
    except (ValueError, RecursionError) as error:
        raise UsageError(
            f"{path}: no TOML ({error}); lines like fabric = 182 are allowed"
        ) from error
    allowed = (*MASSES, "fibre", "resin", "scale", "density", "areal", "thickness", "target")
    for name, value in data.items():
        if name not in allowed:
            raise UsageError(f"{path}: {name!r} is unknown; allowed are {', '.join(allowed)}")
        if isinstance(value, bool) or not isinstance(value, int | str):
            raise UsageError(f"{path}: {name} is no number and no text")
    return {name: str(value) for name, value in data.items()}


def reading(text: str, kind: Kind, option: str) -> Measured:
    """Return a measured quantity: a range "1.68..1.72", or a number known to its last digit."""
    low, high = parse_range(text, kind, option)
    found = _NUMBER.match(text.strip())
    if high > low or found is None or not low:
        return between(low, high)
    typed = float(found.group())
    return rounded(low, 10.0 ** -len(found.group(1)) * low / typed)


def weigh_sheet_to_json(sheet: WeighSheet) -> dict[str, Any]:
    """Return a weigh sheet as plain values: g, g/cm³, mm and fractions, each with its u."""
    made = sheet.balance
    return {
        "schema": SCHEMA,
        "weighings": vars(made.weighings) | {},
        "scale": made.resolution,
        "fibre": {"name": made.fibre.name, "density": vars(made.fibre.density) | {}},
        "resin": {"name": made.resin.name, "density": vars(made.resin.density) | {}},
        "results": {key: vars(each) | {} for key, each in made.results.items()},
        "target": None if sheet.target is None else vars(sheet.target) | {},
        "by_weight": sheet.by_weight,
        "warnings": list(made.warnings),
        "cautions": cautions_to_json(WEIGHING),
        "first": FIRST,
    }


def weigh_text(sheet: WeighSheet) -> str:
    """Return the weigh sheet for a terminal. Plain ASCII, each value with about 95 % around it."""
    made = sheet.balance
    rows = []
    for key, each in made.results.items():
        line = LINES[key]
        value, doubt = each.value * line.factor, DOUBT * each.u * line.factor
        shown = f"{value:>9.{line.digits}f} +/- {doubt_text(doubt, line.digits)}"
        rows.append(f"  {line.words:<38}{shown} {line.unit}".rstrip())
    return "\n".join(
        [
            f"Weighed: {made.fibre.name}, {made.resin.name}, scale {made.resolution:g} g",
            *rows,
            *_verdict(sheet),
            "",
            *(wrapped(f"Look again: {warning}") for warning in made.warnings),
            *(wrapped(f"Caution: {each.words}") for each in cautions_for(WEIGHING)),
            "A mean over the whole part says nothing of a starved place.",
            FIRST,
        ]
    )


def _verdict(sheet: WeighSheet) -> list[str]:
    if sheet.target is None:
        return []
    low, high = percent_text(sheet.target.low), percent_text(sheet.target.high)
    return [f"  wanted: fibre {low} to {high} % by volume: {sheet.by_weight}, by weight"]
