"""``satcheck mix``: how much resin to mix, with its sums and a card to print."""

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from satcheck.cli.common import say
from satcheck.cli.recording import RecordOption, check_recorded, name_option, now
from satcheck.errors import UsageError

if TYPE_CHECKING:
    from satcheck.ledger.experience import Experience
    from satcheck.resin.mix_sheet import MixEntries, MixSheet


class MixCardSize(StrEnum):
    """Paper of the mix card."""

    A6 = "A6"
    A4 = "A4"


Text = str | None
LAYER = '"diameter=100 areal=320 count=2" (mm, g/m2 at 45 deg), "mass=40".'
PERCENT = "Percent of the resin by mass, by its data sheet."


def mix(
    resin: Annotated[str, typer.Option(metavar="NAME", help="acrylic, epoxy..., or g/cm3.")],
    target: Annotated[str, typer.Option(metavar="SHARE", help='Fibre by volume: "30 %..40 %".')],
    hardener: Annotated[Text, typer.Option(metavar="%", help=f"{PERCENT} Needed.")] = None,
    promoter: Annotated[Text, typer.Option(metavar="%", help=PERCENT)] = None,
    fibre: Annotated[Text, typer.Option(metavar="NAME", help="basalt, glass..., or g/cm3.")] = None,
    dry_fabric: Annotated[Text, typer.Option(metavar="G", help="Weighed, all layers.")] = None,
    layer: Annotated[list[str] | None, typer.Option(metavar="TEXT", help=LAYER)] = None,
    layup: Annotated[Path | None, typer.Option(metavar="FILE", help="Layers as TOML.")] = None,
    length: Annotated[Text, typer.Option(metavar="MM", help="Part, along its axis.")] = None,
    circumference: Annotated[
        list[str] | None,
        typer.Option(metavar="MM", help='Evenly spaced, proximal first: "380 340 260".'),
    ] = None,
    cup: Annotated[str, typer.Option(metavar="G", help="Loss in the cup.")] = "0",
    bag: Annotated[str, typer.Option(metavar="G", help="Loss in bag and overflow.")] = "0",
    film: Annotated[str, typer.Option(metavar="G", help="Loss on the film.")] = "0",
    part: Annotated[Text, name_option("--part", "NUMBER", "The part's number.")] = None,
    card: Annotated[Path | None, typer.Option(metavar="FILE", help="Card to print (PDF).")] = None,
    size: Annotated[MixCardSize, typer.Option(help="Paper of the card.")] = MixCardSize.A6,
    temperature: Annotated[
        Text, typer.Option(metavar="C", help="Shop or cast, degC: for the working time.")
    ] = None,
    ledger: RecordOption = None,
    by: Annotated[str, name_option("--by", "NAME", "Who mixes, for the record.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, no text.")] = False,
) -> None:
    """Work out how much resin to mix, and show the sums.

    A bare number is in g, mm or percent; another unit may follow it: "12 in". The hardener has no
    default: its percentage stands in the resin's data sheet. With --ledger the sheet is recorded,
    and the shop's own earlier parts say what they took. Exit status: 0, or 2 for bad input.
    """
    from satcheck.files import PDF_MARK, check_target
    from satcheck.resin.mix_sheet import MixEntries, make_mix_sheet

    entries = MixEntries(
        resin=resin, target=target, hardener=hardener, promoter=promoter, fibre=fibre,
        dry_fabric=dry_fabric, layers=tuple(layer or ()), layup=layup, length=length,
        circumferences=tuple(circumference or ()), cup=cup, bag=bag, film=film, part=part,
    )  # fmt: skip
    if temperature is not None and ledger is None:
        raise UsageError("--temperature is held against the shop's records: it needs --ledger FILE")
    check_recorded(ledger, by=by)
    sheet = make_mix_sheet(entries)
    if card is not None:
        check_target(card, PDF_MARK, "PDF of satcheck")  # before anything is recorded
    found = None if ledger is None else _recorded(ledger, entries, sheet, temperature, by)
    if card is not None:
        _write_card(card, sheet, size)
    say(_answer(sheet, found, as_json=as_json))


def _recorded(
    file: Path, entries: "MixEntries", sheet: "MixSheet", typed: Text, by: str
) -> "Experience":
    """Record the sheet, and return what the ledger's earlier parts say."""
    from satcheck.ledger.book import open_ledger
    from satcheck.ledger.experience import experience
    from satcheck.ledger.sheets import TEMPERATURE, SheetContext, fibre_name, record_mix
    from satcheck.resin.units import parse

    temperature = None if typed is None else parse(typed, TEMPERATURE, "--temperature")
    with open_ledger(file, now) as ledger:
        record_mix(ledger, entries, sheet, SheetContext(by, sheet.part), temperature)
        return experience(ledger, sheet, fibre_name(entries), temperature)


def _write_card(card: Path, sheet: "MixSheet", size: MixCardSize) -> None:
    from satcheck.files import write_whole
    from satcheck.mix_card import mix_card

    write_whole(card, mix_card(sheet, size.value))


def _answer(sheet: "MixSheet", found: "Experience | None", *, as_json: bool) -> str:
    import json

    from satcheck.ledger.experience import experience_sentences, experience_to_json
    from satcheck.resin.mix_sheet import mix_sheet_to_json, mix_text

    if as_json:
        more = {} if found is None else {"experience": experience_to_json(found)}
        return json.dumps(mix_sheet_to_json(sheet) | more, indent=1)
    told = () if found is None else experience_sentences(found)
    return "\n".join([mix_text(sheet), *(f"This shop so far: {each}" for each in told)])
