"""Inspections into the ledger and out again, whole enough to be judged again under new bounds."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from satcheck.errors import UsageError
from satcheck.ledger.blob import Blob
from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import Draft, Entry, Kind
from satcheck.ledger.search import Search
from satcheck.model import Inspection
from satcheck.record import inspection_from_json, inspection_to_json


@dataclass(frozen=True)
class Context:
    """What is known of an inspection besides the photo; None where nobody said."""

    by: str = ""
    part: str | None = None
    """The part's number; that of the card in the photo where it is None."""
    view: str | None = None
    series: str | None = None
    resin: str | None = None
    request: str | None = None
    """An id that the asker gave, to find what came of it."""
    corrects: str | None = None
    more: Mapping[str, Any] = field(default_factory=dict)
    """Further keys of the body, such as settings; plain JSON values."""


def whole_record(inspection: Inspection) -> Blob:
    """Return all that was measured, as it is kept: JSON."""
    return Blob.of(json.dumps(inspection_to_json(inspection), indent=1, allow_nan=False).encode())


def inspection_draft(
    inspection: Inspection,
    context: Context,
    pictures: Mapping[str, Blob] | None = None,
    whole: Blob | None = None,
) -> Draft:
    """Return an inspection as a draft, to be appended with others or by itself.

    The body holds the short record under "inspection"; under "blobs" it names as "whole" the one
    with all that was measured, made here unless it is given, and the ``pictures`` (JPEG), such as
    "overlay".
    """
    whole = whole_record(inspection) if whole is None else whole
    blobs = {"whole": whole, **(pictures or {})}
    card = inspection.card
    body: dict[str, Any] = {
        **context.more,
        "part": context.part or (card.part if card else None),
        "view": context.view,
        "series": context.series,
        "resin": context.resin,
        "request": context.request,
        "photo": inspection.photo.sha256,
        "calibration": inspection.calibration.id,
        "fibre": inspection.calibration.fibre,
        "verdict": inspection.verdict.word,
        "inspection": inspection_to_json(inspection, cells=False),
        "blobs": {name: blob.sha256 for name, blob in blobs.items()},
    }
    said = {key: value for key, value in body.items() if value is not None}
    return Draft(Kind.INSPECTION, said, context.by, context.corrects, blobs=tuple(blobs.values()))


def record_inspection(
    ledger: Ledger, inspection: Inspection, context: Context, overlay: bytes | None = None
) -> Entry:
    """Record an inspection; when this returns, it is on the disk."""
    pictures = None if overlay is None else {"overlay": Blob.of(overlay)}
    return ledger.append(inspection_draft(inspection, context, pictures))


def judged(ledger: Ledger, photo: str, calibration: str, fibre: str) -> Entry | None:
    """Return the newest inspection of a photo (sha256) under a calibration (id), or None."""
    search = Search(kind=Kind.INSPECTION, photo=photo, calibration=calibration, fibre=fibre)
    found = ledger.find(search, limit=1)
    return found[0] if found else None


def stored_inspection(ledger: Ledger, entry: Entry) -> Inspection:
    """Return the inspection that an entry recorded, with its cells and label map.

    Raises
    ------
    UsageError
        If the entry is no inspection, or its content is missing or damaged.
    """
    name = f"{ledger.path}: {entry.id[:12]}"
    if entry.kind != Kind.INSPECTION:
        raise UsageError(f"{name} is a {entry.kind}; an inspection is allowed")
    try:
        whole = json.loads(ledger.blob(str(entry.body["blobs"]["whole"])))
    except (LookupError, TypeError, ValueError) as error:
        raise UsageError(f"{name}: its content is damaged; go back to a backup") from error
    return inspection_from_json(whole, name)
