"""From what was gathered and recorded to the rows of an audit."""

from collections.abc import Sequence
from pathlib import Path

from satcheck.audit.found import Gathered
from satcheck.audit.rows import PartRow, PhotoRow, part_rows, photo_row
from satcheck.audit.running import Audit, judged_entry, ledger_part, picture_path, read_mark
from satcheck.audit.scale import beside_photo
from satcheck.model import Inspection
from satcheck.resin_and_photo import Beside


def collect(audit: Audit, gathered: Gathered) -> tuple[PartRow, ...]:
    """Return the parts of all photos that the ledger holds an inspection of."""

    def weigh(part: str, inspection: Inspection) -> Beside | None:
        return beside_photo(audit.ledger, part, inspection)

    return part_rows(_photos(audit, gathered), weigh)


def _photos(audit: Audit, gathered: Gathered) -> Sequence[PhotoRow]:
    rows = []
    for found in gathered.photos:
        entry = judged_entry(audit, found)
        if entry is None:
            continue  # it could not be read
        mark = read_mark(picture_path(audit, found))
        same = gathered.repeated.get(found.sha256, ())
        rows.append(
            photo_row(
                found,
                entry,
                ledger_part(audit.ledger, found.sha256),
                [str(path) for path in same if path != found.path],
                None if mark is None else mark.likeness,
            )
        )
    return rows


def pictures_of(audit: Audit, gathered: Gathered) -> dict[str, Path]:
    """Return where the picture of each photo lies, by the photo's path as its row has it."""
    return {str(found.path): picture_path(audit, found) for found in gathered.photos}
