"""``satcheck check``: judge photos."""

import json
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, cast

import typer

from satcheck.cli.arguments import parse_box, parse_outline, pick_fibre, positive
from satcheck.cli.common import complain, load_calibration, say, worst_status
from satcheck.cli.judging import attempt
from satcheck.cli.recording import (
    PartNumberOption,
    RecordOption,
    ResinNameOption,
    TechnicianOption,
    check_recorded,
    recorder,
)
from satcheck.errors import UsageError

if TYPE_CHECKING:
    from satcheck.model import Side as SideWord


class Side(StrEnum):
    """Where an end of the part lies in the upright picture."""

    UP = "up"
    DOWN = "down"
    LEFT = "left"
    RIGHT = "right"


class View(StrEnum):
    """Which side of the part the camera looks at."""

    ANTERIOR = "anterior"
    POSTERIOR = "posterior"
    MEDIAL = "medial"
    LATERAL = "lateral"


PhotosArgument = Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="Photos to judge.")]
FibreOption = Annotated[
    str | None,
    typer.Option(metavar="NAME", help="Fibre; needed where the calibration has several."),
]
DistalOption = Annotated[
    Side | None, typer.Option(help="Where the distal end lies in the picture; else it is guessed.")
]
CalibrationOption = Annotated[
    Path | None, typer.Option(metavar="FILE", help="The shop's calibration; else the demo's.")
]
OutOption = Annotated[
    Path, typer.Option(metavar="DIR", help="Folder for the results; made where it is missing.")
]
ViewOption = Annotated[View | None, typer.Option(help="Which side of the part is seen.")]
PitchOption = Annotated[
    float | None, typer.Option(metavar="PX", help="Tow pitch in pixels of the upright photo.")
]
ScaleOption = Annotated[
    float | None, typer.Option(metavar="MM", help="Millimetres per pixel of the upright photo.")
]
CardScaleOption = Annotated[
    float | None,
    typer.Option(metavar="MM", help="Length of the card's ruler, where it did not print 100 mm."),
]
BoxOption = Annotated[
    str | None, typer.Option(metavar="X0,Y0,X1,Y1", help="Box around the part, in pixels.")
]
OutlineOption = Annotated[
    str | None,
    typer.Option(
        metavar="POINTS",
        help='Drawn outline of the part, in pixels: "x,y x,y x,y ..." or a JSON file of [x, y].',
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON instead of tables.")]


def check(
    photos: PhotosArgument,
    fibre: FibreOption = None,
    distal: DistalOption = None,
    calibration: CalibrationOption = None,
    out: OutOption = Path(),
    view: ViewOption = None,
    pitch: PitchOption = None,
    mm_per_px: ScaleOption = None,
    card_scale: CardScaleOption = None,
    box: BoxOption = None,
    outline: OutlineOption = None,
    as_json: JsonOption = False,
    ledger: RecordOption = None,
    part: PartNumberOption = None,
    by: TechnicianOption = "",
    resin: ResinNameOption = None,
) -> None:
    """Judge photos of laminated sockets.

    Prints a table for each photo and writes STEM.json, STEM.labels.png and STEM.overlay.jpg to
    the folder of --out (the current one unless given). Exit status: 0 every judged zone is good,
    lean or heavy; 1 a zone is starved or rich; 2 wrong usage or unreadable input; 3 a photo could
    not be judged. With several photos: the first of 2, 1, 3, 0 that occurred.
    """
    from satcheck.beside import ahead, beside
    from satcheck.files import make_writable, plan_jobs
    from satcheck.photo.read import read_photo

    if box is not None and outline is not None:
        raise UsageError("--box and --outline: each says where the part is; one of them is allowed")
    check_recorded(ledger, by=by, resin=resin)
    jobs = plan_jobs(_without_overlays(photos), out)
    with beside() as second:
        reading = ahead(second, read_photo, [job.photo for job in jobs])
        # What follows takes as long to load as a photo to read.
        from satcheck.inspection import Settings

        bounds = load_calibration(calibration)
        settings = Settings(
            fibre=pick_fibre(tuple(bounds.fibres), fibre),
            distal=cast("SideWord | None", distal and distal.value),
            view=None if view is None else view.value,
            pitch=positive(pitch, "--pitch"),
            box=None if box is None else parse_box(box),
            outline=None if outline is None else _outline_array(outline),
            mm_per_px=positive(mm_per_px, "--mm-per-px"),
            card_ruler=100.0 if card_scale is None else _ruler(card_scale),
            part=part,
        )
        make_writable(out)
        outcomes = []
        with recorder(ledger, settings, by, part, resin) as keep:
            for job, photo in zip(jobs, reading, strict=True):
                outcomes.append(attempt(job, photo.result, bounds, settings, write=True, keep=keep))
                if not as_json:
                    say(outcomes[-1].text)
    if as_json:
        records = [outcome.record for outcome in outcomes]
        say(json.dumps(records if len(photos) > 1 else records[0], indent=1, allow_nan=False))
    raise typer.Exit(worst_status({outcome.status for outcome in outcomes}))


def _without_overlays(photos: Sequence[Path]) -> list[Path]:
    """Leave out what an earlier call has drawn: a call for *.jpg names it too."""
    from satcheck.files import is_overlay

    kept = []
    for photo in photos:
        if is_overlay(photo):
            complain(f"{photo.name}: left out, since it is an overlay that satcheck drew")
        else:
            kept.append(photo)
    if not kept:
        raise UsageError("no photo is left; at least one is needed")
    return kept


def _ruler(length: float) -> float:
    """Return the length of the card's ruler in mm; raise UsageError where no printer explains it.

    What is 0.97 to one is 97 to another: only millimetres are taken.
    """
    from satcheck.card.find import PRINTED_SCALES

    least, most = (100 * scale for scale in PRINTED_SCALES)
    if not least <= length <= most:
        raise UsageError(
            f"--card-scale {length:g}: the measured length of the card's ruler is allowed, "
            f"{least:g} to {most:g} mm; print the card again at 100 %"
        )
    return length


def _outline_array(text: str) -> Any:
    import numpy as np

    return np.array(parse_outline(text), np.float64)
