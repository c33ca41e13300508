"""A layup: the layers over a part, and the fibre that they bring."""

import json
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from satcheck.errors import UsageError
from satcheck.resin.braid import Opened, Sleeve, length_at_nominal, open_sleeve, sleeve_mass
from satcheck.resin.materials import FIBRES, Material, pick_material
from satcheck.resin.units import AREAL, DIAMETER, TOW, WHOLE, parse

KEYS = ("diameter", "areal", "tows", "tow", "mass", "fibre", "count")
FORM = (
    '"diameter=100 areal=320 fibre=basalt count=2" for a sleeve (mm and g/m2 at 45 degrees), or '
    '"mass=40 fibre=nylon" for what was weighed'
)


@dataclass(frozen=True)
class Layer:
    """Equal layers: a sleeve, or fabric that was weighed."""

    fibre: Material
    count: int
    sleeve: Sleeve | None = None
    mass: float | None = None
    """g each, where there is no sleeve."""


@dataclass(frozen=True)
class Part:
    """What the layers lie on."""

    length: float
    """mm along the axis."""
    circumferences: tuple[float, ...]
    """mm, evenly spaced from the proximal end to the distal one."""


@dataclass(frozen=True)
class Fabric:
    """Dry fibre of one kind."""

    fibre: Material
    mass: float
    """g."""
    sums: str
    """How the mass came about, in one line."""


def parse_layer(text: str, fibre: Material | None) -> Layer:
    """Return a layer from "key=value key=value ..."; ``fibre`` stands in where none is named.

    Raises
    ------
    UsageError
        If a key is unknown, a value is missing, or the keys do not make a layer.
    """
    fields: dict[str, str] = {}
    for word in text.split():
        key, equals, value = word.partition("=")
        if not equals and fields:  # "diameter=4 in": a unit behind its number
            last = next(reversed(fields))
            fields[last] = f"{fields[last]} {word}"
        elif not equals or not value or key in fields:
            raise UsageError(f"--layer {text}: {word!r} is no key=value, once each; write {FORM}")
        else:
            fields[key] = value
    return _layer(fields, fibre, f"--layer {text}")


def read_layup(path: Path, fibre: Material | None) -> tuple[Layer, ...]:
    """Return the layers of a file: TOML with [[layer]] tables, or JSON {"layer": [...]}.

    Raises
    ------
    UsageError
        If it cannot be read, holds no layer, or a layer is bad; the layer's number is named.
    """
    try:
        text = path.read_text(encoding="utf-8")
        is_json = path.suffix.lower() == ".json"
        data: Any = json.loads(text) if is_json else tomllib.loads(text)
    except OSError as error:
        raise UsageError(f"{path}: cannot be read ({error.strerror})") from error
    except (ValueError, RecursionError) as error:
        raise UsageError(
            f"{path}: neither TOML nor JSON ({error}); a file with [[layer]] tables is allowed"
        ) from error
    rows = data.get("layer") if isinstance(data, dict) else None
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        raise UsageError(f"{path}: holds no [[layer]]; each has the keys {', '.join(KEYS)}")
    return tuple(
        _layer({key: str(value) for key, value in row.items()}, fibre, f"{path}, layer {number}")
        for number, row in enumerate(rows, 1)
    )


def fabrics(layers: Sequence[Layer], part: Part | None) -> tuple[Fabric, ...]:
    """Return the dry fibre of each layer.

    Raises
    ------
    UsageError
        If a sleeve has no part to lie on, or cannot lie on it.
    """
    return tuple(_fabric(layer, part) for layer in layers)


def stations(layers: Sequence[Layer], part: Part) -> tuple[tuple[Opened, ...], ...]:
    """Return each sleeve as it lies on each circumference: one row a circumference."""
    sleeves = [layer.sleeve for layer in layers if layer.sleeve]
    return tuple(
        tuple(open_sleeve(sleeve, round_ / math.pi) for sleeve in sleeves)
        for round_ in part.circumferences
    )


def _fabric(layer: Layer, part: Part | None) -> Fabric:
    fibre, count = layer.fibre, layer.count
    times = f"{count} x " if count > 1 else ""
    if layer.mass is not None:
        sums = f"{times}{layer.mass:g} g {fibre.name}, weighed"
        return Fabric(fibre, count * layer.mass, sums)
    if layer.sleeve is None or part is None:
        raise UsageError(
            "a sleeve needs the part's size: give --length and --circumference; "
            "or weigh the dry fabric: --dry-fabric GRAMS"
        )
    sleeve = layer.sleeve
    each = sleeve_mass(sleeve, part.length, part.circumferences)
    drawn = length_at_nominal(sleeve, part.length, part.circumferences)
    sums = (
        f"{times}{each:.1f} g {fibre.name}: {drawn:.0f} mm of sleeve at {sleeve.diameter:g} mm "
        f"and {sleeve.areal_mass:g} g/m2"
    )
    return Fabric(fibre, count * each, sums)


def _layer(fields: Mapping[str, str], fibre: Material | None, where: str) -> Layer:
    unknown = [key for key in fields if key not in KEYS]
    if unknown:
        raise UsageError(f"{where}: {unknown[0]!r} is unknown; allowed are {', '.join(KEYS)}")
    if "fibre" in fields:
        fibre = pick_material(FIBRES, fields["fibre"], f"{where}: fibre")
    if fibre is None:
        raise UsageError(f"{where}: the fibre is missing; name it, as in {FORM}")
    count = _count(fields.get("count", "1"), f"{where}: count")
    if "mass" in fields and not {"diameter", "areal"} & set(fields):
        return Layer(fibre, count, mass=parse(fields["mass"], WHOLE, f"{where}: mass"))
    if not {"diameter", "areal"} <= set(fields) or "mass" in fields:
        raise UsageError(f"{where}: a layer has diameter and areal, or mass; write {FORM}")
    sleeve = Sleeve(
        parse(fields["diameter"], DIAMETER, f"{where}: diameter"),
        parse(fields["areal"], AREAL, f"{where}: areal"),
        _count(fields["tows"], f"{where}: tows") if "tows" in fields else None,
        parse(fields["tow"], TOW, f"{where}: tow") if "tow" in fields else None,
    )
    return Layer(fibre, count, sleeve)


def _count(text: str, where: str) -> int:
    if text.isascii() and text.isdigit() and 1 <= int(text[:6]) <= 9999 and len(text) <= 4:
        return int(text)
    raise UsageError(f"{where} {text[:20]}: a whole number from 1 to 9999 is allowed")
