"""The command line: reads arguments, calls the layers below, prints, and sets the exit status.

Only typer and the standard library are imported with this module, so that help comes at once; a
command imports what it needs when it runs.
"""

import io
import json
import os
import sys
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn, cast

import typer

from satcheck import __version__
from satcheck.arguments import parse_box, parse_outline, pick_fibre, positive
from satcheck.errors import SatcheckError, UsageError

if TYPE_CHECKING:
    from satcheck.calibration import Calibration
    from satcheck.files import Job
    from satcheck.inspection import Settings
    from satcheck.model import Inspection
    from satcheck.model import Side as SideWord

OK, DEFECT, WRONG, NOT_JUDGED = 0, 1, 2, 3
SEVERITY = (WRONG, DEFECT, NOT_JUDGED, OK)
"""With several photos the exit status is the first of these that occurred."""

TRACEBACK = "SATCHECK_TRACEBACK"
"""Environment variable that lets an unforeseen error through, for whoever looks for its cause."""

DEMO_FOLDER = "sample_images"
DEMO_CLOSING = (
    "This was a demo: photos and calibration are invented. "
    "A shop must calibrate on its own parts: satcheck calibrate PARTS.csv --out FILE"
)


class Side(StrEnum):
    """Where an end of the part lies in the upright picture."""

    UP = "up"
    DOWN = "down"
    LEFT = "left"
    RIGHT = "right"


class SheetSize(StrEnum):
    """Paper of the reference card."""

    A6 = "A6"
    A4 = "A4"


class View(StrEnum):
    """Which side of the part the camera looks at."""

    ANTERIOR = "anterior"
    POSTERIOR = "posterior"
    MEDIAL = "medial"
    LATERAL = "lateral"


app = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Measure the resin saturation of laminated sockets from phone photos, zone by zone.",
)

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


@app.callback(invoke_without_command=True)
def _root(
    context: typer.Context,
    version_wanted: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version_wanted:
        _say(f"satcheck {__version__}")
    elif context.invoked_subcommand is None:
        _say(context.get_help())


@app.command()
def version() -> None:
    """Print the version."""
    _say(f"satcheck {__version__}")


@app.command()
def check(
    photos: PhotosArgument,
    fibre: FibreOption = None,
    distal: DistalOption = None,
    calibration: CalibrationOption = None,
    out: OutOption = Path(),
    view: ViewOption = None,
    pitch: PitchOption = None,
    mm_per_px: ScaleOption = None,
    box: BoxOption = None,
    outline: OutlineOption = None,
    as_json: JsonOption = False,
) -> None:
    """Judge photos of laminated sockets.

    Prints a table for each photo and writes STEM.json, STEM.labels.png and STEM.overlay.jpg to
    the folder of --out (the current one unless given). Exit status: 0 every judged zone is good,
    lean or heavy; 1 a zone is starved or rich; 2 wrong usage or unreadable input; 3 a photo could
    not be judged. With several photos: the first of 2, 1, 3, 0 that occurred.
    """
    from satcheck.files import make_writable, plan_jobs
    from satcheck.inspection import Settings

    bounds = _load(calibration)
    settings = Settings(
        fibre=pick_fibre(tuple(bounds.fibres), fibre),
        distal=cast("SideWord | None", distal and distal.value),
        view=None if view is None else view.value,
        pitch=positive(pitch, "--pitch"),
        box=None if box is None else parse_box(box),
        outline=None if outline is None else _outline_array(outline),
        mm_per_px=positive(mm_per_px, "--mm-per-px"),
    )
    make_writable(out)
    jobs = plan_jobs(_without_overlays(photos), out)
    outcomes = []
    for job in jobs:
        outcomes.append(_attempt(job, bounds, settings, write=True))
        if not as_json:
            _say(outcomes[-1].text)
    if as_json:
        records = [outcome.record for outcome in outcomes]
        _say(json.dumps(records if len(photos) > 1 else records[0], indent=1, allow_nan=False))
    raise typer.Exit(worst_status({outcome.status for outcome in outcomes}))


@app.command()
def calibrate(
    table: Annotated[Path, typer.Argument(metavar="PARTS.csv", help="The labelled parts.")],
    out: Annotated[Path, typer.Option(metavar="FILE", help="Calibration file to write (TOML).")],
    invented: Annotated[
        bool, typer.Option("--invented", help="The parts are invented: say so in every verdict.")
    ] = False,
) -> None:
    """Find the bounds of each fibre from labelled parts.

    PARTS.csv has one row a photo or a zone of a photo, with the columns photo, part, view, fibre,
    outcome, zone, state, marks and distal. Exit status: 0 written; 2 a row is bad, and nothing is
    written.
    """
    from satcheck.calibration import write_calibration
    from satcheck.files import make_writable
    from satcheck.labelled import calibrate_table

    if out.is_dir():
        raise UsageError(f"{out}: this is a folder; the name of a file to write is allowed")
    make_writable(out.parent)
    made = calibrate_table(table, _progress, is_demo=invented)
    write_calibration(made, out)
    _say(f"{out}: calibration {made.id} for {', '.join(made.fibres)}")


@app.command()
def card(
    out: Annotated[Path, typer.Option(metavar="FILE", help="PDF to write.")],
    part: Annotated[
        str | None, typer.Option(metavar="NUMBER", help="The part's number, as text and QR code.")
    ] = None,
    size: Annotated[SheetSize, typer.Option(help="A6: one card. A4: two to cut out.")] = (
        SheetSize.A6
    ),
) -> None:
    """Write the reference card that tells scale, light and sharpness of a photo."""
    from satcheck.card_sheet import write_card
    from satcheck.files import make_writable

    if out.is_dir():
        raise UsageError(f"{out}: this is a folder; the name of a file to write is allowed")
    make_writable(out.parent)
    write_card(out, part, size.value)
    _say(f"{out}: print at 100 % and check the ruler on it")


@app.command()
def demo(
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Also write the results to this folder.")
    ] = None,
) -> None:
    """Judge the demo shop's photos under its calibration.

    Exit status: 0 where every photo could be read, whatever its verdict; else 2.
    """
    from satcheck.files import make_writable, plan_jobs
    from satcheck.inspection import Settings

    bounds, folder = _load(None), find_demo(Path.cwd())
    scenes = demo_scenes(folder)
    if out is not None:
        make_writable(out)
    statuses = set()
    for scene in scenes:
        fibre = scene.get("fibre") or next(iter(bounds.fibres))
        settings = Settings(fibre=fibre, distal=scene.get("distal") or None)
        (job,) = plan_jobs([folder / str(scene["photo"])], out or folder)
        outcome = _attempt(job, bounds, settings, write=out is not None)
        _say(outcome.text)
        statuses.add(outcome.status)
    _say(DEMO_CLOSING)
    raise typer.Exit(WRONG if WRONG in statuses else OK)


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command line and exit; every error is one line, never a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a name may hold what the terminal cannot show
            stream.reconfigure(errors="backslashreplace")
    command = typer.main.get_command(app)
    try:
        status = command.main(arguments, prog_name="satcheck", standalone_mode=False)
    except Exception as error:  # noqa: BLE001 - the last resort: a user sees no traceback
        _complain(explain(error))
        status = WRONG
    sys.exit(status or OK)


def worst_status(statuses: Collection[int]) -> int:
    """Return the exit status of a call, from those of its photos; 0 where there is none."""
    return next((status for status in SEVERITY if status in statuses), OK)


def find_demo(current: Path) -> Path:
    """Return the folder of the demo's photos: the repository's, else the current folder's."""
    for root in (Path(__file__).parents[1], current):
        if (root / DEMO_FOLDER / "scenes.json").is_file():
            return root / DEMO_FOLDER
    raise UsageError(
        f"the demo's photos are not installed with satcheck: run it in the repository's own "
        f"folder, where {DEMO_FOLDER} is"
    )


def demo_scenes(folder: Path) -> list[dict[str, Any]]:
    """Return what the demo's table says of its photos for checking."""
    table = folder / "scenes.json"
    try:
        scenes = json.loads(table.read_text(encoding="utf-8"))
        return [scene for scene in scenes if scene["role"] == "check"]
    except (OSError, ValueError, TypeError, KeyError) as error:
        raise UsageError(f"{table}: damaged; the repository's own file is allowed") from error


def explain(error: Exception, name: str = "satcheck") -> str:
    """Return one line on an error; one that nobody foresaw names its kind."""
    if isinstance(error, SatcheckError):
        message = str(error)
    elif isinstance(error, MemoryError):
        message = f"{name}: not enough memory; a smaller photo is allowed"
    elif isinstance(error, OSError):
        message = f"{error.filename or name}: {error.strerror or error}"
    elif hasattr(error, "format_message"):  # typer's own, on the arguments
        command = getattr(getattr(error, "ctx", None), "command_path", name)
        message = f"{error.format_message()} ({command} --help says what is allowed)"
    elif os.environ.get(TRACEBACK):
        raise error
    else:
        message = f"{name}: an unforeseen error ({type(error).__name__}: {error})"
        message += f"; {TRACEBACK}=1 in the environment shows where"
    return " ".join(message.split())


@dataclass(frozen=True)
class _Outcome:
    """What became of one photo: without pixels, so that a thousand of them fit in memory."""

    status: int
    text: str
    record: dict[str, Any]


def _attempt(job: "Job", bounds: "Calibration", settings: "Settings", *, write: bool) -> _Outcome:
    """Judge one photo; whatever is wrong with it, the next one is tried."""
    from satcheck.record import inspection_to_json
    from satcheck.report import exit_status, text_report

    try:
        inspection = _judge(job, bounds, settings, write=write)
    except Exception as error:  # noqa: BLE001 - one photo must not cost the others
        message = explain(error, job.photo.name)
        _complain(message)
        return _Outcome(WRONG, "", {"photo": str(job.photo), "error": message})
    record = inspection_to_json(inspection, cells=False)
    return _Outcome(exit_status(inspection), text_report(inspection), record)


def _judge(job: "Job", bounds: "Calibration", settings: "Settings", *, write: bool) -> "Inspection":
    """Read and judge one photo; write its files, the record last."""
    from satcheck.files import check_replaceable, write_whole
    from satcheck.inspection import inspect
    from satcheck.overlay import label_map_png, overlay_jpeg
    from satcheck.photo import read_photo
    from satcheck.record import inspection_to_json

    if write:
        check_replaceable(job.record)
    photo = read_photo(job.photo)
    inspection = inspect(photo, bounds, settings)
    if write:
        record = json.dumps(inspection_to_json(inspection), indent=1, allow_nan=False)
        write_whole(job.labels, label_map_png(inspection))
        write_whole(job.overlay, overlay_jpeg(photo.rgb, inspection))
        write_whole(job.record, f"{record}\n".encode())
    return inspection


def _load(path: Path | None) -> "Calibration":
    """Return a calibration: the one in a file, else the demo's."""
    from satcheck.calibration import default_calibration_path, read_calibration

    chosen = path or default_calibration_path()
    if chosen is None:
        raise UsageError("no calibration: give one with --calibration FILE")
    return read_calibration(chosen)


def _without_overlays(photos: Sequence[Path]) -> list[Path]:
    """Leave out what an earlier call has drawn: a call for *.jpg names it too."""
    from satcheck.files import is_overlay

    kept = []
    for photo in photos:
        if is_overlay(photo):
            _complain(f"{photo.name}: left out, since it is an overlay that satcheck drew")
        else:
            kept.append(photo)
    if not kept:
        raise UsageError("no photo is left; at least one is needed")
    return kept


def _outline_array(text: str) -> Any:
    import numpy as np

    return np.array(parse_outline(text), np.float64)


def _progress(done: int, total: int, name: str) -> None:
    """Show on a terminal how far a calibration is."""
    if sys.stderr.isatty():
        end = "\n" if done == total else ""
        print(f"\r\033[K{done}/{total} {name}", end=end, file=sys.stderr, flush=True)


def _say(text: str) -> None:
    """Print to stdout; a reader who has gone away changes neither the files nor the status."""
    if not text:
        return
    try:
        print(f"{text}\n" if "\n" in text else text, flush=True)
    except BrokenPipeError:
        sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - until the end


def _complain(text: str) -> None:
    print(text, file=sys.stderr, flush=True)
