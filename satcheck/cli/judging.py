"""One photo judged and its files written, for every command that judges photos."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from satcheck.cli.common import WRONG, complain, explain, read_record
from satcheck.errors import UsageError

if TYPE_CHECKING:
    from satcheck.calibration.file import Calibration
    from satcheck.cli.recording import Keep
    from satcheck.files import Job
    from satcheck.inspection import Settings
    from satcheck.model import Inspection
    from satcheck.photo.read import Photo


@dataclass(frozen=True)
class Outcome:
    """What became of one photo: without pixels, so that a thousand of them fit in memory."""

    status: int
    text: str
    record: dict[str, Any]


def attempt(
    job: "Job",
    read: "Callable[[], Photo]",
    bounds: "Calibration",
    settings: "Settings",
    *,
    write: bool,
    keep: "Keep | None" = None,
) -> Outcome:
    """Judge one photo, and record it; whatever is wrong with it, the next one is tried.

    ``read`` returns the photo, or raises what is wrong with its file.
    """
    from satcheck.record import inspection_to_json
    from satcheck.report import exit_status, text_report

    try:
        inspection = _judge(job, read, bounds, settings, write=write)
        if keep is not None:
            keep(inspection)
    except Exception as error:  # noqa: BLE001 - one photo must not cost the others
        message = explain(error, job.photo.name)
        complain(message)
        return Outcome(WRONG, "", {"photo": str(job.photo), "error": message})
    record = inspection_to_json(inspection, cells=False)
    return Outcome(exit_status(inspection), text_report(inspection), record)


def _judge(
    job: "Job",
    read: "Callable[[], Photo]",
    bounds: "Calibration",
    settings: "Settings",
    *,
    write: bool,
) -> "Inspection":
    """Read and judge one photo; write its files, the record last."""
    from satcheck.beside import beside
    from satcheck.files import OVERLAY_MARK, SCHEMA_FAMILY, check_replaceable, write_whole
    from satcheck.inspection import inspect
    from satcheck.overlay.draw import label_map_png, overlay_jpeg

    if write:
        check_replaceable(job.record, SCHEMA_FAMILY, "inspection")
        check_replaceable(job.overlay, OVERLAY_MARK, "overlay")
        _check_labels(job)
    photo = read()
    inspection = inspect(photo, bounds, settings)
    if write:
        with beside() as second:
            labels = second.submit(label_map_png, inspection)
            record = second.submit(_record, inspection)
            overlay = overlay_jpeg(photo.rgb, inspection)
        write_whole(job.labels, labels.result())
        write_whole(job.overlay, overlay)
        write_whole(job.record, record.result())
    return inspection


def _check_labels(job: "Job") -> None:
    """Raise UsageError where a label map stands that another painted.

    Earlier versions wrote none that says what it is: one that the record beside it holds too is
    no loss.
    """
    from satcheck.files import LABELS_MARK, check_replaceable

    try:
        check_replaceable(job.labels, LABELS_MARK, "label map of satcheck")
    except UsageError:
        if not _is_recorded(job):
            raise


def _is_recorded(job: "Job") -> bool:
    """Return whether the label map that stands there is the one of the record beside it."""
    from satcheck.overlay.draw import shows_labels

    try:
        inspection = read_record(job.record)
        return inspection.labels.size > 0 and shows_labels(job.labels.read_bytes(), inspection)
    except (UsageError, OSError):
        return False


def _record(inspection: "Inspection") -> bytes:
    from satcheck.record import inspection_to_json

    record = json.dumps(inspection_to_json(inspection), indent=1, allow_nan=False)
    return f"{record}\n".encode()
