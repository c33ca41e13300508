"""``satcheck audit``: all photos of some folders, part by part."""

import json
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from satcheck.cli.arguments import pick_fibre
from satcheck.cli.check import CalibrationOption, FibreOption, JsonOption
from satcheck.cli.common import WRONG, bar, complain, load_calibration, say, worst_status
from satcheck.cli.recording import DEFAULT, ResinNameOption, TechnicianOption, now
from satcheck.errors import UsageError

if TYPE_CHECKING:
    from satcheck.audit.found import Gathered
    from satcheck.audit.running import Audit, Runner, Standing
    from satcheck.audit.summary import Summary
    from satcheck.calibration.file import Calibration

STOPPED = 130
"""Exit status after Ctrl+C, as a shell gives it."""

MOST_PROCESSES = 256
"""More than a large computer has cores; a slip of the finger would start one a photo (own rule)."""


def audit(
    folders: Annotated[
        list[Path], typer.Argument(metavar="FOLDER...", help="Folders of photos, or photos.")
    ],
    out: Annotated[
        Path, typer.Option(metavar="DIR", help="Folder for the results; made where it is missing.")
    ] = Path("satcheck-audit"),
    ledger: Annotated[
        Path, typer.Option("--ledger", metavar="FILE", help="The ledger; made if missing.")
    ] = DEFAULT,
    calibration: CalibrationOption = None,
    fibre: FibreOption = None,
    table: Annotated[
        Path | None,
        typer.Option(
            metavar="CSV",
            help="What is known of the photos: photo, and part, view, fibre, distal, technician, "
            "resin.",
        ),
    ] = None,
    by: TechnicianOption = "",
    resin: ResinNameOption = None,
    aql: Annotated[
        float, typer.Option(metavar="PERCENT", help="For the sampling plan of a second look.")
    ] = 2.5,
    processes: Annotated[
        int | None,
        typer.Option(
            min=1, max=MOST_PROCESSES, metavar="N", help="Photos judged at once; else one a core."
        ),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Judge on this dask.distributed scheduler instead."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Judge all photos of folders, and sum them up part by part.

    A photo's part is what the first of these names: the table, the ledger, the card in the photo,
    the file's name (4711_anterior.jpg, 4711 lateral 2.heic), the sub-folder it lies in; else it
    is a part of its own. Writes to the folder of --out: audit.html, parts.csv, photos.csv,
    audit.json, sheets/PART.pdf, pictures/. Each inspection is recorded in the ledger; what it
    holds under this calibration is not judged again, so a stopped audit goes on. Exit status: 0
    every judged zone is good, lean or heavy; 1 a zone is starved or rich; 2 wrong usage, or a
    photo could not be read; 3 a photo could not be judged; of several the first of 2, 1, 3, 0.
    130 stopped with Ctrl+C.
    """
    from satcheck.audit.gathering import gather
    from satcheck.audit.outputs import check_results
    from satcheck.audit.running import Audit
    from satcheck.files import make_writable
    from satcheck.ledger.book import open_ledger

    bounds = load_calibration(calibration)
    chosen = None if table and fibre is None else pick_fibre(tuple(bounds.fibres), fibre)
    _check_aql(aql)
    check_results(out)
    gathered = gather(folders, table, out)
    if not gathered.photos:
        raise UsageError(f"{', '.join(map(str, folders))}: there is no photo in there")
    make_writable(out / "pictures")
    with open_ledger(ledger, now) as opened:
        task = Audit(opened, bounds, out / "pictures", chosen, by, resin)
        work = _runner(bounds, processes, cluster)
        try:
            standing = _judge(task, gathered, work)
        except KeyboardInterrupt:
            complain("Stopped. What was judged is recorded; the same command goes on.")
            raise typer.Exit(STOPPED) from None
        found = _sum_up(task, gathered, standing, folders, aql)
        _report(task, gathered, found, out, as_json=as_json)
    raise typer.Exit(_status(found))


def _check_aql(aql: float) -> None:
    from satcheck.statistics.sampling import AQLS

    if aql not in AQLS:
        allowed = ", ".join(f"{value:g}" for value in AQLS)
        raise UsageError(f"--aql {aql:g}: allowed are {allowed} (per cent, ISO 2859-1)")


def _runner(bounds: "Calibration", processes: int | None, cluster: str | None) -> "Runner":
    from satcheck.audit.judging import judge_task

    work = partial(judge_task, bounds)
    if cluster is not None:
        from satcheck.audit.cluster import each_on_cluster

        return partial(each_on_cluster, work, address=cluster)
    from satcheck.processes import each

    return partial(each, work, count=processes)


def _judge(task: "Audit", gathered: "Gathered", work: "Runner") -> "Standing":
    """Judge what is left, with a bar on a terminal."""
    from satcheck.audit.running import run

    with bar("photos", len(gathered.photos)) as show:
        for standing in run(task, gathered.photos, work):
            # What was known beforehand is left out, so that the time left is that of judging.
            show(standing.done, standing.total - standing.known)
    return standing


def _sum_up(
    task: "Audit", gathered: "Gathered", standing: "Standing", folders: list[Path], aql: float
) -> "Summary":
    from satcheck.audit.collecting import collect
    from satcheck.audit.summary import summarise

    return summarise(
        collect(task, gathered),
        made_at=now().astimezone().strftime("%Y-%m-%d %H:%M"),
        folders=[str(folder) for folder in folders],
        problems=[*gathered.problems, *standing.problems],
        others=gathered.others,
        absent=[str(path) for path in gathered.absent],
        aql=aql,
    )


def _report(
    task: "Audit", gathered: "Gathered", found: "Summary", out: Path, *, as_json: bool
) -> None:
    from satcheck.audit.collecting import pictures_of
    from satcheck.audit.outputs import older_sheets, write_results
    from satcheck.audit.results import as_json as plain
    from satcheck.audit.results import text
    from satcheck.audit.wording import listed

    pictures = pictures_of(task, gathered)
    write_results(found, out, lambda photo: _bytes_of(pictures[photo.path]))
    if as_json:
        say(json.dumps(plain(found), indent=1, allow_nan=False))
    else:
        say(f"{text(found)}\n\nResults in {out}: open {out / 'audit.html'}")
        if older := older_sheets(found, out):
            names = listed(older)
            say(f"{out / 'sheets'} also holds sheets that are not of this audit: {names}")


def _bytes_of(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError:
        return None


def _status(found: "Summary") -> int:
    from satcheck.report import exit_status

    statuses = {exit_status(photo.inspection) for photo in found.photos}
    return worst_status(statuses | ({WRONG} if found.problems else set()))
