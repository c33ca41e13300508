"""What a user types as a quantity, turned into a plain number in one fixed unit.

A bare number is in the unit of its kind; another unit may stand behind it ("12 in"), and pint turns
it. What looks like a slip (a comma for a point, inches for millimetres, percent for a fraction) is
named with what was probably meant, and never mended in silence.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING

from satcheck.errors import UsageError

if TYPE_CHECKING:
    from pint import UnitRegistry

_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)")
_COMMA = re.compile(r"([+-]?\d+),(\d+)(.*)")
_NAME = r"(?:(?!(?:sq|square|cubic|squared|cubed)\b)[A-Za-z°][A-Za-z_]*|%)"
_POWER = r"(?: *(?:\*\*|\^) *[1-3]|[1-3²³]| +(?:squared|cubed))"
_FACTOR = rf"(?:(?:sq|square|cubic) +{_NAME}|{_NAME}{_POWER}?)"
_UNIT = re.compile(rf'"|{_FACTOR}(?:(?: *[*/] *| +){_FACTOR})*')
"""Names, each with one power from 1 to 3 at most. pint works out whole numbers and powers of powers
before it looks at the units, and never comes back from 9**9**9: none may reach it."""

_FIGURE_BEHIND = re.compile(r"(?<=[A-Za-z])(?=[1-3])")
"""Where a power stands right behind its name, as in m2, which pint does not read."""

_LONGEST = 60
"""Characters of a quantity: more than any that is meant."""

_SPELLINGS: Mapping[str, str] = {'"': "inch", "gsm": "g/m**2"}
"""Units as the trade writes them, where pint spells them otherwise."""

_UNFIT = (ArithmeticError, AssertionError, AttributeError, TypeError, ValueError)
"""What pint raises of a unit besides its own errors."""


@dataclass(frozen=True)
class Kind:
    """A kind of quantity: its unit, what is plausible, and what a slip would look like."""

    word: str
    unit: str
    low: float
    """Least plausible value, in ``unit``."""
    high: float
    slips: tuple[str, ...] = field(default=())
    """Units that are easily left out: tried where a bare number is not plausible."""


# Plausible ranges are wide and our own rule: they catch a slip of unit, not an unusual part.
MASS = Kind("a mass", "g", 0.0, 20_000.0)
WHOLE = Kind("a fabric, mix or part", "g", 1.0, 20_000.0, ("kg",))
"""What is never next to nothing, so that kilograms are seen."""
LENGTH = Kind("the part's length", "mm", 50.0, 1200.0, ("in", "cm"))
CIRCUMFERENCE = Kind("a circumference", "mm", 60.0, 1200.0, ("in", "cm"))
DIAMETER = Kind("a sleeve's diameter", "mm", 15.0, 400.0, ("in", "cm"))
TOW = Kind("a tow's width", "mm", 0.1, 20.0)
THICKNESS = Kind("a wall's thickness", "mm", 0.1, 30.0, ("in",))
AREAL = Kind("an areal mass", "g/m**2", 20.0, 10_000.0, ("oz/yd**2",))
DENSITY = Kind("a density", "g/cm**3", 0.5, 5.0, ("kg/m**3",))
FRACTION = Kind("a fraction", "", 0.0, 1.0, ("percent",))
PERCENT = Kind("parts per 100 of resin, by mass", "percent", 0.0, 100.0)


@cache
def _registry() -> "UnitRegistry[float]":
    from pint import UnitRegistry  # half a second, spent only where a unit is typed

    return UnitRegistry()


def parse(text: str, kind: Kind, option: str) -> float:
    """Return a quantity as a number in the unit of its kind.

    Parameters
    ----------
    text : str
        A number, with or without a unit: "300", "12 in", "40 %".
    kind : Kind
    option : str
        How the user knows the value, for messages: "--length".

    Raises
    ------
    UsageError
        If it is no number, has a comma, has a unit of another kind or a figure among its units, is
        negative, or lies outside what is plausible; the message says what was probably meant.
    """
    text = text.strip()
    _refuse_comma(text, option)
    found = _NUMBER.match(text)
    unit = text[found.end() :].strip() if found else ""
    if not found or len(text) > _LONGEST or (unit and not _UNIT.fullmatch(unit)):
        raise UsageError(f"{option} {text[:_LONGEST]!r}: {kind.word} is a number{_in(kind)}")
    number = float(found.group())
    value = _convert(number, unit, kind.unit, f"{option} {text}") if unit else number
    _check_plausible(value, kind, option, text, is_bare=not unit)
    return value


def parse_range(text: str, kind: Kind, option: str) -> tuple[float, float]:
    """Return low and high from "LOW..HIGH", or the same number twice from one.

    Raises
    ------
    UsageError
        As `parse`, and if low is above high.
    """
    first, dots, second = text.partition("..")
    low = parse(first, kind, option)
    high = parse(second, kind, option) if dots else low
    if low > high:
        raise UsageError(
            f"{option} {text}: {low:g} is above {high:g}; the two were probably swapped: "
            f"{second.strip()}..{first.strip()}"
        )
    return low, high


def _convert(number: float, unit: str, to: str, what: str) -> float:
    """Return a number in another unit; raise UsageError where the unit is unknown or unfit."""
    from pint.errors import PintError

    try:
        spelled = _SPELLINGS.get(unit) or _FIGURE_BEHIND.sub("**", unit)
        quantity = _registry().Quantity(number, spelled)
        return float(quantity.to(to or "dimensionless").magnitude)
    except (PintError, *_UNFIT) as error:
        allowed = f"a unit like {_spell(to)} is allowed" if to else "a bare number or % is allowed"
        raise UsageError(f"{what}: {unit!r} does not fit here; {allowed}") from error


def _refuse_comma(text: str, option: str) -> None:
    found = _COMMA.fullmatch(text)
    if not found:
        return
    whole, behind, rest = found.groups()
    meant = f'"{whole}.{behind}{rest}" was probably meant'
    if len(behind) == 3:
        meant = f'"{whole}.{behind}{rest}" or "{whole}{behind}{rest}" was meant; write one of them'
    raise UsageError(f"{option} {text}: a comma stands where a point belongs; {meant}")


def _check_plausible(value: float, kind: Kind, option: str, text: str, *, is_bare: bool) -> None:
    if kind.low <= value <= kind.high and math.isfinite(value):
        return
    if value < 0:
        raise UsageError(
            f"{option} {text}: {kind.word} below 0 cannot be; "
            f"allowed are {kind.low:g} to {kind.high:g}{_tail(kind)}"
        )
    meant = [
        f'"{text} {_spell(unit)}" ({_convert(value, unit, kind.unit, option):.4g}{_tail(kind)})'
        for unit in kind.slips
        if is_bare and kind.low <= _convert(value, unit, kind.unit, option) <= kind.high
    ]
    guess = f"; {' or '.join(meant)} was probably meant" if meant else ""
    raise UsageError(
        f"{option} {text}: {value:g}{_tail(kind)} is not plausible for {kind.word}{guess}; "
        f"allowed are {kind.low:g} to {kind.high:g}{_tail(kind)}"
    )


def _spell(unit: str) -> str:
    return {"percent": "%"}.get(unit, unit.replace("**", ""))


def _tail(kind: Kind) -> str:
    return f" {_spell(kind.unit)}" if kind.unit else ""


def _in(kind: Kind) -> str:
    return f', in {_spell(kind.unit)} or with its unit behind it ("12.5 in")' if kind.unit else ""
