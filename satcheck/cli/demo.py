"""``satcheck demo``: the demo shop's photos judged."""

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from satcheck.cli.common import OK, WRONG, load_calibration, say
from satcheck.cli.judging import attempt
from satcheck.errors import UsageError

DEMO_FOLDER = "sample_images"
DEMO_CLOSING = (
    "This was a demo: photos and calibration are invented. "
    "A shop must calibrate on its own parts: satcheck calibrate PARTS.csv --out FILE"
)


def demo(
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Also write the results to this folder.")
    ] = None,
) -> None:
    """Judge the demo shop's photos under its calibration.

    Exit status: 0 where every photo could be read, whatever its verdict; else 2.
    """
    from satcheck.beside import ahead, beside
    from satcheck.files import make_writable, plan_jobs
    from satcheck.inspection import Settings
    from satcheck.lines import wrapped
    from satcheck.photo.read import read_photo

    bounds, folder = load_calibration(None), find_demo(Path.cwd())
    scenes = demo_scenes(folder)
    if out is not None:
        make_writable(out)
    jobs = [plan_jobs([folder / str(scene["photo"])], out or folder)[0] for scene in scenes]
    statuses = set()
    with beside() as second:
        reading = ahead(second, read_photo, [job.photo for job in jobs])
        for scene, job, photo in zip(scenes, jobs, reading, strict=True):
            fibre = scene.get("fibre") or next(iter(bounds.fibres))
            settings = Settings(fibre=fibre, distal=scene.get("distal") or None)
            outcome = attempt(job, photo.result, bounds, settings, write=out is not None)
            say(outcome.text)
            statuses.add(outcome.status)
    say(wrapped(DEMO_CLOSING))
    raise typer.Exit(WRONG if WRONG in statuses else OK)


def find_demo(current: Path) -> Path:
    """Return the folder of the demo's photos: the repository's, else the current folder's."""
    for root in (Path(__file__).parents[2], current):
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
