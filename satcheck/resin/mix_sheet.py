"""The mix sheet: what a technician typed to what is weighed out, as record, JSON and text."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from satcheck.cautions import FIRST, MIXING, Caution, ExposureLimit, cautions_for, limits_for
from satcheck.errors import UsageError
from satcheck.lines import wrapped
from satcheck.resin.braid import Opened, surface
from satcheck.resin.layup import Layer, Part, fabrics, parse_layer, read_layup, stations
from satcheck.resin.materials import FIBRES, RESINS, Material, pick_material
from satcheck.resin.mix import (
    LEAST_HARDENER,
    LEAST_PROMOTER,
    Losses,
    Mix,
    check_parts,
    figure_text,
    make_target,
    mix,
    percent_text,
    scale_text,
)
from satcheck.resin.units import (
    CIRCUMFERENCE,
    FRACTION,
    LENGTH,
    MASS,
    PERCENT,
    WHOLE,
    parse,
    parse_range,
)

SCHEMA = "satcheck.mix/1"
LONGEST_NAME = 24
"""Characters of a part's number: what fits the printed card."""

VAPOURS: Mapping[str, tuple[str, ...]] = {
    "acrylic": ("methyl methacrylate", "dibenzoyl peroxide"),
    "polyester": ("styrene", "dibenzoyl peroxide"),
}
"""What the air may hold from a resin of this name (common knowledge; the data sheet decides)."""


@dataclass(frozen=True)
class MixEntries:
    """What was typed, as text: a bare number is in g, mm or percent; a unit may follow it.

    Either ``dry_fabric`` or layers (``layers``, ``layup``) say what fibre there is; sleeves need
    ``length`` and ``circumferences``. ``hardener`` has no default: the data sheet gives it.
    """

    resin: str
    target: str
    hardener: str | None
    fibre: str | None = None
    dry_fabric: str | None = None
    layers: tuple[str, ...] = ()
    layup: Path | None = None
    length: str | None = None
    circumferences: tuple[str, ...] = ()
    """From the proximal end to the distal one, evenly spaced."""
    cup: str = "0"
    bag: str = "0"
    film: str = "0"
    promoter: str | None = None
    part: str | None = None


@dataclass(frozen=True)
class MixSheet:
    """What to weigh out for one part, how it came about, and what to mind."""

    part: str | None
    resin: Material
    mix: Mix
    size: Part | None
    surface: float | None
    """m², ends left open; None where the size was not given."""
    braid: tuple[tuple[Opened, ...], ...]
    """Each sleeve on each circumference: one row a circumference."""
    cautions: tuple[Caution, ...]
    limits: tuple[ExposureLimit, ...]


def make_mix_sheet(entries: MixEntries) -> MixSheet:
    """Return the mix sheet of what was typed.

    Raises
    ------
    UsageError
        If something is missing, is no such quantity, or cannot be: a sleeve that does not open so
        far, a fibre fraction above square packing, next to no hardener.
    """
    if entries.hardener is None:
        raise UsageError(
            "--hardener is missing: give the percentage by mass that the resin's data sheet says "
            "(0 where it needs none); there is no default"
        )
    resin = pick_material(RESINS, entries.resin, "--resin")
    part = _part(entries)
    layers = _layers(entries)
    promoter = entries.promoter
    made = mix(
        fabrics(layers, part),
        resin,
        make_target(*parse_range(entries.target, FRACTION, "--target")),
        Losses(*(parse(getattr(entries, e), MASS, f"--{e}") for e in ("cup", "bag", "film"))),
        hardener=_parts(entries.hardener, LEAST_HARDENER, "--hardener"),
        promoter=None if promoter is None else _parts(promoter, LEAST_PROMOTER, "--promoter"),
    )
    return MixSheet(
        part=check_name(entries.part),
        resin=resin,
        mix=made,
        size=part,
        surface=None if part is None else surface(part.length, part.circumferences),
        braid=() if part is None else stations(layers, part),
        cautions=cautions_for(MIXING),
        limits=limits_for(VAPOURS.get(resin.name, ())),
    )


def check_name(name: str | None) -> str | None:
    """Return a part's number; raise UsageError where it does not fit a printed card."""
    if name is None or (name.isascii() and name.isprintable() and 1 <= len(name) <= LONGEST_NAME):
        return name
    raise UsageError(
        f"part number {name[:40]!r}: 1 to {LONGEST_NAME} printable ASCII characters are allowed"
    )


def mix_sheet_to_json(sheet: MixSheet) -> dict[str, Any]:
    """Return a mix sheet as plain values: masses in g, lengths in mm, angles in degrees."""
    made = sheet.mix
    plain = {key: value for key, value in vars(made).items() if key not in ("target", "steps")}
    return {
        "schema": SCHEMA,
        "part": sheet.part,
        "resin_material": {"name": sheet.resin.name, "density": vars(sheet.resin.density) | {}},
        **plain,
        "warnings": list(made.warnings),
        "target": vars(made.target) | {},
        "steps": [vars(step) | {} for step in made.steps],
        "size": None if sheet.size is None else _size_to_json(sheet),
        "braid": [[vars(opened) | {} for opened in row] for row in sheet.braid],
        "cautions": [vars(each) | {} for each in sheet.cautions],
        "limits": [vars(each) | {} for each in sheet.limits],
        "first": FIRST,
    }


def amounts(made: Mix) -> tuple[tuple[str, str, str], ...]:
    """Return what goes on the scale: the word, grams, and where they come from."""
    rows = [("resin", scale_text(made.resin), "")]
    rows += [
        (word, figure_text(grams), f"{share:g} % of the resin, as typed: check the data sheet")
        for word, grams, share in (
            ("promoter", made.promoter, made.parts_promoter),
            ("hardener", made.hardener, made.parts_hardener),
        )
        if grams and share is not None
    ]
    reach = f"{scale_text(made.low)} to {scale_text(made.high)} g"
    return (*rows, ("in all", scale_text(made.total), reach))


def mix_text(sheet: MixSheet) -> str:
    """Return the mix sheet for a terminal: amounts, sums, warnings, cautions. Plain ASCII."""
    name = f", part {sheet.part}" if sheet.part else ""
    target = percent_text(sheet.mix.target.value)
    rows = [f"  {word:<9} {grams:>7} g   {how}".rstrip() for word, grams, how in amounts(sheet.mix)]
    sums = [f"  {step.words:<16} {figure_text(step.value):>8} {step.unit:<4} {step.how}".rstrip()
            for step in sheet.mix.steps]  # fmt: skip
    return "\n".join(
        [
            f"Mix{name}, {sheet.resin.name}, fibre {target} % by volume",
            *rows,
            "",
            "Sums",
            *sums,
            *_braid_lines(sheet),
            "",
            *(wrapped(f"Look again: {warning}") for warning in sheet.mix.warnings),
            *(wrapped(f"Caution: {each.words}") for each in sheet.cautions),
            *(wrapped(f"Limit: {e.substance}, {e.limit} ({e.source})") for e in sheet.limits),
            FIRST,
        ]
    )


def _part(entries: MixEntries) -> Part | None:
    typed = [word for text in entries.circumferences for word in _split(text)]
    if entries.length is None and not typed:
        return None
    if entries.length is None or not typed:
        missing = "--length" if typed else "--circumference"
        raise UsageError(f"{missing} is missing: the part's size is its length and circumferences")
    length = parse(entries.length, LENGTH, "--length")
    return Part(length, tuple(parse(each, CIRCUMFERENCE, "--circumference") for each in typed))


def _parts(text: str, least: float, option: str) -> float:
    return check_parts(parse(text, PERCENT, option), least, option)


def _split(text: str) -> Sequence[str]:
    """Return "360 320 240" as three, and "14 in" as one: bare numbers only are split.

    Raises
    ------
    UsageError
        If commas or semicolons stand between them: a comma may be a decimal one too.
    """
    words = text.split()
    if ";" in text or any(word.endswith(",") or word.count(",") > 1 for word in words):
        raise UsageError(
            f"--circumference {text}: blanks stand between circumferences and a point within one; "
            '"380 340.5 260" is allowed'
        )
    return words if all(word[:1] in "+-.0123456789" for word in words) else [text]


def _layers(entries: MixEntries) -> tuple[Layer, ...]:
    fibre = None if entries.fibre is None else pick_material(FIBRES, entries.fibre, "--fibre")
    ways = [entries.dry_fabric is not None, bool(entries.layers), entries.layup is not None]
    if sum(ways) != 1:
        raise UsageError(
            "give the fibre in one way: --dry-fabric GRAMS where it was weighed, --layer for each "
            "layer, or --layup FILE"
        )
    if entries.layup is not None:
        return read_layup(entries.layup, fibre)
    if entries.dry_fabric is None:
        return tuple(parse_layer(text, fibre) for text in entries.layers)
    if fibre is None:
        raise UsageError(f"--fibre is missing; allowed are {', '.join(FIBRES)}, or a density")
    return (Layer(fibre, 1, mass=parse(entries.dry_fabric, WHOLE, "--dry-fabric")),)


def _size_to_json(sheet: MixSheet) -> dict[str, Any]:
    assert sheet.size is not None
    return {
        "length": sheet.size.length,
        "circumferences": list(sheet.size.circumferences),
        "surface": sheet.surface,
    }


def _braid_lines(sheet: MixSheet) -> list[str]:
    """Return how each sleeve lies on each circumference."""
    if sheet.size is None or not any(sheet.braid):
        return []
    rows = [
        f"  {round_:>8.0f} mm  {number:>6}  {o.angle:>5.1f} deg  {o.areal_mass:>6.0f} g/m2"
        + ("" if o.cover is None else f"  {100 * o.cover:>4.0f} %")
        for round_, row in zip(sheet.size.circumferences, sheet.braid, strict=True)
        for number, o in enumerate(row, 1)
    ]
    head = "  round        sleeve  angle      areal mass   cover"
    return ["", "Braid, from the proximal end", head, *rows]
