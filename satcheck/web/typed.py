"""What a page's fields hold, turned into entries of a sheet and back, and refusals in its words.

The sheets name their options as the command line does; a page has fields with labels.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from satcheck.errors import UsageError
from satcheck.ledger.entries import Entry, Kind
from satcheck.resin.mix_sheet import LONGEST_NAME, MixEntries
from satcheck.resin.weigh_sheet import WeighEntries
from satcheck.web.shot import is_id, read_part
from satcheck.web.words import say

SHARED = ("resin", "resin_density", "fibre", "fibre_density", "dry_fabric", "low", "high")
MIX_FIELDS = (*SHARED, "hardener", "promoter", "mix_cup", "mix_bag", "mix_film", "temperature")
MASSES = ("mixed", "cup", "bag", "part", "trimmings", "hardware", "film")
WEIGH_FIELDS = (*SHARED, *MASSES, "scale")
MIX_NEEDS = ("resin", "dry_fabric", "hardener", "low")
WEIGH_NEEDS = ("resin", "dry_fabric")
MOST_TEXT = 40
"""Characters of a figure: more than any that is meant."""

_OPTION = re.compile(r"--([a-z]+(?:-[a-z]+)*)")
_FIELDS: Mapping[str, Mapping[Kind, str]] = {
    "fabric": {Kind.WEIGHING: "dry_fabric"},
    "target": {Kind.MIX: "low", Kind.WEIGHING: "low"},
    "cup": {Kind.MIX: "mix_cup"},
    "bag": {Kind.MIX: "mix_bag"},
    "film": {Kind.MIX: "mix_film"},
}
"""Fields of the page by the option of the command line, where they are called otherwise."""


class WrongFieldError(UsageError):
    """A figure that is missing or cannot be, and the field that it stands in."""

    def __init__(self, sentence: str, field: str | None) -> None:
        super().__init__(sentence)
        self.field = field


@dataclass(frozen=True)
class Typed:
    """What a page sent."""

    id: str
    part: str
    entries: Mapping[str, str]
    """By the fields of the page, blank ones left out."""


def read_typed(kind: Kind, sent: Mapping[str, Any]) -> Typed:
    """Return what a page sent.

    Raises
    ------
    WrongFieldError
        If a figure that is needed is missing.
    UsageError
        If the page sent something else.
    """
    allowed, needed = (MIX_FIELDS, MIX_NEEDS) if kind is Kind.MIX else (WEIGH_FIELDS, WEIGH_NEEDS)
    entries = sent.get("entries")
    if not is_id(sent.get("id")) or not isinstance(entries, Mapping):
        raise UsageError(say("bad_request"))
    for name, value in entries.items():
        if name not in allowed or not isinstance(value, str) or len(value) > MOST_TEXT:
            raise UsageError(say("bad_request"))
    told = {name: value.strip() for name, value in entries.items() if value.strip()}
    part = read_part(sent.get("part"))
    for name in needed:
        if name not in told and f"{name}_density" not in told:
            raise WrongFieldError(say("grams_missing", field=say(f"g_{name}")), name)
    return Typed(str(sent["id"]), part, told)


def mix_entries(typed: Typed) -> MixEntries:
    """Return the entries of a mix sheet."""
    told = typed.entries
    fits_card = typed.part.isascii() and len(typed.part) <= LONGEST_NAME
    return MixEntries(
        resin=told.get("resin_density") or told["resin"],
        target=_target(told),
        hardener=told["hardener"],
        fibre=told.get("fibre_density") or told.get("fibre"),
        dry_fabric=told["dry_fabric"],
        cup=told.get("mix_cup", "0"),
        bag=told.get("mix_bag", "0"),
        film=told.get("mix_film", "0"),
        promoter=told.get("promoter"),
        part=typed.part if fits_card else None,
    )


def weigh_entries(typed: Typed) -> WeighEntries:
    """Return the entries of a weighing."""
    told = typed.entries
    return WeighEntries(
        masses={
            "fabric": told["dry_fabric"],
            **{name: told[name] for name in MASSES if name in told},
        },
        fibre=told.get("fibre_density") or told.get("fibre", ""),
        resin=told.get("resin_density") or told["resin"],
        scale=told.get("scale", "1"),
        target=_target(told) if "low" in told else None,
    )


def fields_of(entry: Entry) -> dict[str, str]:
    """Return what the page's fields hold, from a sheet that was recorded."""
    typed = entry.body["entries"]
    if entry.kind == Kind.MIX:
        fields = {name: typed.get(name) for name in ("dry_fabric", "hardener", "promoter")}
        fields |= {f"mix_{name}": typed.get(name) for name in ("cup", "bag", "film")}
        warm = entry.body.get("temperature")
        fields["temperature"] = None if warm is None else f"{warm:g}"
    else:
        masses = dict(typed["masses"])
        fields = {"dry_fabric": masses.pop("fabric"), **masses, "scale": typed.get("scale")}
    return {k: v for k, v in {**fields, **_materials(typed)}.items() if v is not None}


def as_on_a_page(sentence: str, kind: Kind) -> WrongFieldError:
    """Return a refusal in the page's words: fields by their labels, not by options."""

    def field(option: str) -> str:
        name = option.replace("-", "_")
        return _FIELDS.get(name, {}).get(kind, name)

    def label(found: re.Match[str]) -> str:
        option = found.group(1)
        return say("g_target" if option == "target" else f"g_{field(option)}")

    named = [field(option) for option in _OPTION.findall(sentence)]
    words = _OPTION.sub(label, sentence)
    return WrongFieldError(f"{words[:1].upper()}{words[1:]}.", named[0] if named else None)


def _target(entries: Mapping[str, str]) -> str:
    """Return the wanted fibre fraction, typed in percent."""
    return "..".join(f"{entries[name]} %" for name in ("low", "high") if name in entries)


def _materials(typed: Mapping[str, Any]) -> dict[str, str]:
    low, _, high = str(typed.get("target") or "").partition("..")
    fields = {"low": low.removesuffix(" %"), "high": high.removesuffix(" %")}
    for name in ("resin", "fibre"):
        value = str(typed.get(name) or "")
        fields[f"{name}_density" if value[:1].isdigit() else name] = value
    return {name: value for name, value in fields.items() if value}
