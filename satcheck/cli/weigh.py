"""``satcheck weigh``: where the resin went, by the scale, and beside it what the photo says."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from satcheck.cli.common import read_record, say
from satcheck.cli.recording import RecordOption, check_recorded, name_option, now
from satcheck.errors import UsageError

if TYPE_CHECKING:
    from satcheck.model import Inspection
    from satcheck.resin.weigh_sheet import WeighEntries

Text = str | None


def weigh(
    fabric: Annotated[Text, typer.Option(metavar="G", help="Dry, before the layup.")] = None,
    mixed: Annotated[Text, typer.Option(metavar="G", help="Resin with hardener.")] = None,
    cup: Annotated[Text, typer.Option(metavar="G", help="Left in the cup.")] = None,
    bag: Annotated[Text, typer.Option(metavar="G", help="Bag and overflow together.")] = None,
    part: Annotated[Text, typer.Option(metavar="G", help="Demoulded.")] = None,
    trimmings: Annotated[Text, typer.Option(metavar="G", help="Cut off before.")] = None,
    hardware: Annotated[Text, typer.Option(metavar="G", help="Lock, core: no laminate.")] = None,
    film: Annotated[Text, typer.Option(metavar="G", help="Clean film, weighed as bag.")] = None,
    evaporation: Annotated[Text, typer.Option(metavar="G", help="Vapour, if known.")] = None,
    fibre: Annotated[
        Text, typer.Option(metavar="NAME", help="basalt, carbon, glass..., or g/cm3.")
    ] = None,
    resin: Annotated[
        Text, typer.Option(metavar="NAME", help="acrylic, epoxy, polyester, or g/cm3.")
    ] = None,
    scale: Annotated[Text, typer.Option(metavar="G", help="Step of the scale, else 1.")] = None,
    density: Annotated[Text, typer.Option(metavar="G/CM3", help="Of the laminate, g/cm3.")] = None,
    areal: Annotated[
        Text, typer.Option(metavar="G/M2", help="Dry fibre of all layers, g/m2.")
    ] = None,
    thickness: Annotated[Text, typer.Option(metavar="MM", help="At that place.")] = None,
    target: Annotated[
        Text, typer.Option(metavar="SHARE", help='Fibre by volume: "30 %..40 %".')
    ] = None,
    weights: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The same names in TOML: fabric = 182.")
    ] = None,
    inspection: Annotated[
        Path | None, typer.Option(metavar="STEM.json", help="The photo; needs --target.")
    ] = None,
    number: Annotated[
        Text,
        name_option("--number", "NUMBER", "The part's number, for the record."),
    ] = None,
    ledger: RecordOption = None,
    by: Annotated[str, name_option("--by", "NAME", "Who weighs, for the record.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, no text.")] = False,
) -> None:
    """Find where the resin went, and what share of the part it is.

    A bare number is in g, mm, g/cm3 or g/m2. Give --part, or --mixed with --cup and --bag; with
    all of them one checks the other. Exit status: 0, or 2 for bad input.
    """
    told = {name: value for name, value in locals().items() if isinstance(value, str)}
    typed = {name: value for name, value in told.items() if name not in ("number", "by")}
    check_recorded(ledger, number=number, by=by)
    entries = _entries(typed, weights)
    if inspection is not None and entries.target is None:
        raise UsageError("--target is missing: it says what is enough, beside --inspection")
    answer = _answer(
        entries, None if inspection is None else read_record(inspection), as_json=as_json
    )
    if ledger is not None:
        _record(ledger, entries, number, by)
    say(answer)


def _record(file: Path, entries: "WeighEntries", number: Text, by: str) -> None:
    from satcheck.ledger.book import open_ledger
    from satcheck.ledger.sheets import SheetContext, record_weighing
    from satcheck.resin.mix_sheet import check_name
    from satcheck.resin.weigh_sheet import make_weigh_sheet

    with open_ledger(file, now) as ledger:
        context = SheetContext(by, check_name(number))
        record_weighing(ledger, entries, make_weigh_sheet(entries), context)


def _entries(typed: dict[str, str], weights: Path | None) -> "WeighEntries":
    """Return what was typed, on the line or in a file; a value in both is refused."""
    from satcheck.resin.weigh_sheet import MASSES, WeighEntries, read_weights

    filed = {} if weights is None else read_weights(weights)
    twice = sorted(set(typed) & set(filed))
    if twice:
        raise UsageError(f"--{twice[0]} stands in {weights} as well; give it once")
    given = typed | filed
    for name in ("fibre", "resin"):
        if name not in given:
            raise UsageError(f"--{name} is missing: its name, or its density from the data sheet")
    masses = {name: given.pop(name) for name in MASSES if name in given}
    return WeighEntries(masses=masses, **given)


def _answer(entries: "WeighEntries", inspection: "Inspection | None", *, as_json: bool) -> str:
    import json

    from satcheck.resin.weigh_sheet import make_weigh_sheet, weigh_sheet_to_json, weigh_text
    from satcheck.resin_and_photo import beside, beside_text, beside_to_json

    sheet = make_weigh_sheet(entries)
    both = None if inspection is None else beside(sheet, inspection)
    if not as_json:
        return weigh_text(sheet) + ("" if both is None else f"\n\n{beside_text(both)}")
    record = weigh_sheet_to_json(sheet)
    return json.dumps(
        record if both is None else record | {"photo": beside_to_json(both)}, indent=1
    )
