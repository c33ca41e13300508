"""``satcheck rejudge``: stored inspections under new bounds."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from satcheck.cli.common import WRONG, complain, explain, read_record, say, worst_status
from satcheck.errors import UsageError

if TYPE_CHECKING:
    from satcheck.model import Inspection


def rejudge(
    records: Annotated[
        list[Path], typer.Argument(metavar="STEM.json...", help="Inspections to judge again.")
    ],
    calibration: Annotated[
        Path, typer.Option(metavar="FILE", help="The calibration to judge them by.")
    ],
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder for the new STEM.json; none is written without."),
    ] = None,
) -> None:
    """Judge stored inspections again under other bounds.

    Without their photos. Lists every zone whose verdict differs. The old records stay as they are.
    Exit status: as of satcheck check, under the new bounds.
    """
    from satcheck import rejudging
    from satcheck.calibration.file import read_calibration
    from satcheck.files import make_writable
    from satcheck.report import exit_status

    bounds = read_calibration(calibration)
    records = list({record.resolve(): record for record in records}.values())
    if out is not None:
        make_writable(out)
        _check_targets(records, out)
    statuses: set[int] = set()
    changed: list[rejudging.Difference] = []
    judged = 0
    for record in records:
        try:
            before = read_record(record)
            after = rejudging.rejudge(before, bounds)
            if out is not None:
                _write(out / record.name, after)
        except Exception as error:  # noqa: BLE001 - one record must not cost the others
            complain(explain(error, record.name))
            statuses.add(WRONG)
            continue
        changed += rejudging.differences(before, after)
        statuses.add(exit_status(after))
        judged += 1
    if judged:
        say(rejudging.difference_table(changed, judged))
    raise typer.Exit(worst_status(statuses))


def _check_targets(records: list[Path], out: Path) -> None:
    """Refuse to write over an old record, or two of one name."""
    from satcheck.rejudging import repeated

    twice = repeated(record.name.casefold() for record in records)
    for record in records:
        target = out / record.name
        if record.name.casefold() in twice:
            raise UsageError(f"{record.name}: two records have this name; give them one by one")
        if target.resolve() == record.resolve():
            raise UsageError(f"{target}: the old record stays; give another folder with --out")


def _write(path: Path, inspection: "Inspection") -> None:
    from satcheck.files import SCHEMA_FAMILY, check_replaceable, write_whole
    from satcheck.record import inspection_to_json

    check_replaceable(path, SCHEMA_FAMILY, "inspection")
    if path.exists() and read_record(path).photo.sha256 != inspection.photo.sha256:
        raise UsageError(
            f"{path}: the record of another photo is there and stays; give another folder with "
            "--out"
        )
    text = json.dumps(inspection_to_json(inspection), indent=1, allow_nan=False)
    write_whole(path, f"{text}\n".encode())
