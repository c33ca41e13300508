"""Mix sheets and weighings into the ledger and out again.

A part has one current mix sheet and one current weighing: a new one takes the place of the old,
which stays in the ledger.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from satcheck.errors import UsageError
from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import Draft, Entry, Kind
from satcheck.ledger.search import Search
from satcheck.resin.materials import FIBRES, pick_material
from satcheck.resin.mix_sheet import MixEntries, MixSheet, make_mix_sheet, mix_sheet_to_json
from satcheck.resin.units import Kind as Quantity
from satcheck.resin.weigh_sheet import WeighEntries, WeighSheet, make_weigh_sheet
from satcheck.resin.weigh_sheet import weigh_sheet_to_json as weighing_to_json

TEMPERATURE = Quantity("a shop's temperature", "degC", 0.0, 50.0, ("degF",))
"""Where resin is mixed, °C. The range is wide and our own rule."""


@dataclass(frozen=True)
class SheetContext:
    """What is known of a sheet besides its figures; None where nobody said."""

    by: str = ""
    part: str | None = None
    request: str | None = None
    """An id that the asker gave: asked twice, it is recorded once."""


def record_mix(
    ledger: Ledger,
    entries: MixEntries,
    sheet: MixSheet,
    context: SheetContext,
    temperature: float | None = None,
) -> Entry:
    """Record a mix sheet; when this returns, it is on the disk.

    ``temperature`` is that of the shop or the cast, °C.
    """
    body = {
        "resin": sheet.resin.name,
        "fibre": fibre_name(entries),
        "temperature": temperature,
        "entries": _typed(entries),
        "sheet": mix_sheet_to_json(sheet),
    }
    return _record(ledger, Kind.MIX, body, context)


def fibre_name(entries: MixEntries) -> str | None:
    """Return the fibre's name as a weighing records it; None where each layer has its own."""
    return None if entries.fibre is None else pick_material(FIBRES, entries.fibre, "--fibre").name


def record_weighing(
    ledger: Ledger, entries: WeighEntries, sheet: WeighSheet, context: SheetContext
) -> Entry:
    """Record where the resin went; when this returns, it is on the disk."""
    made = sheet.balance
    body = {
        "resin": made.resin.name,
        "fibre": made.fibre.name,
        "entries": _typed(entries),
        "sheet": weighing_to_json(sheet),
    }
    return _record(ledger, Kind.WEIGHING, body, context)


def newest_sheet(ledger: Ledger, kind: Kind, part: str) -> Entry | None:
    """Return the current mix sheet (`Kind.MIX`) or weighing (`Kind.WEIGHING`) of a part."""
    found = ledger.find(Search(kind=kind, part=part, current=True), limit=1)
    return found[0] if found else None


def stored_mix(entry: Entry) -> MixSheet:
    """Return the mix sheet of what was typed then.

    Raises
    ------
    UsageError
        If its figures are refused by now, or its layers stand in a file elsewhere.
    """
    entries: Mapping[str, Any] = entry.body["entries"]
    typed: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in entries.items()}
    if "layup" in typed:
        raise UsageError(f"the layers of this mix stand in {typed['layup']}, not in the ledger")
    return make_mix_sheet(MixEntries(**typed))


def stored_weighing(entry: Entry) -> WeighSheet:
    """Return the weigh sheet of what was typed then.

    Raises
    ------
    UsageError
        If its figures are refused by now.
    """
    return make_weigh_sheet(WeighEntries(**entry.body["entries"]))


def _record(ledger: Ledger, kind: Kind, body: Mapping[str, Any], context: SheetContext) -> Entry:
    if context.request is not None:
        known = ledger.find(Search(kind=kind, request=context.request), limit=1)
        if known:
            return known[0]
    old = None if context.part is None else newest_sheet(ledger, kind, context.part)
    whole = {**body, "part": context.part, "request": context.request}
    said = {key: value for key, value in whole.items() if value is not None}
    return ledger.append(Draft(kind, said, context.by, None if old is None else old.id))


def _typed(entries: MixEntries | WeighEntries) -> dict[str, Any]:
    """Return what was typed as plain values, without what was left out; of a file its name."""
    plain = {key: value for key, value in vars(entries).items() if value not in (None, ())}
    if plain.get("layup"):
        plain["layup"] = plain["layup"].name
    return {key: _plain(value) for key, value in plain.items()}


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return dict(value)
    return list(value) if isinstance(value, tuple) else value
