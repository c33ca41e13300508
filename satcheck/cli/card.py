"""``satcheck card``: the reference card to print."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from satcheck.cli.common import say


class SheetSize(StrEnum):
    """Paper of the reference card."""

    A6 = "A6"
    A4 = "A4"


def card(
    out: Annotated[Path, typer.Option(metavar="FILE", help="PDF to write.")],
    part: Annotated[
        str | None, typer.Option(metavar="NUMBER", help="The part's number, as text and QR code.")
    ] = None,
    size: Annotated[SheetSize, typer.Option(help="A6: one card. A4: two to cut out.")] = (
        SheetSize.A6
    ),
) -> None:
    """Write the card that tells a photo's scale, light and sharpness."""
    from satcheck.card.sheet import write_card
    from satcheck.files import PDF_MARK, check_target

    check_target(out, PDF_MARK, "PDF of satcheck")
    write_card(out, part, size.value)
    say(f"{out}: print at 100 % and check the ruler on it")
