"""The files of an audit, each written whole or not at all."""

import json
import os
import re
import secrets
import unicodedata
from collections.abc import Callable, Iterable
from hashlib import sha256
from pathlib import Path

from satcheck.audit.results import PART_COLUMNS, PHOTO_COLUMNS, as_json, parts_csv, photos_csv
from satcheck.audit.rows import PhotoRow
from satcheck.audit.summary import Summary
from satcheck.errors import UsageError
from satcheck.files import AUDIT_FAMILY, PAGE_MARK, PDF_MARK, check_replaceable
from satcheck.pages.audit import audit_page
from satcheck.part_sheet import part_sheet

PAGE, PARTS, PHOTOS, PLAIN, SHEETS = (
    *("audit.html", "parts.csv", "photos.csv", "audit.json", "sheets"),
)
_NAME_BYTES = 100


def check_results(folder: Path) -> None:
    """Raise UsageError where a file of the shop's own would be overwritten by one of an audit."""
    for name, columns in ((PARTS, PART_COLUMNS), (PHOTOS, PHOTO_COLUMNS)):
        first = ",".join(columns[:4])  # later versions may add to the others
        check_replaceable(folder / name, first.encode(), "table of an audit")
    check_replaceable(folder / PLAIN, AUDIT_FAMILY, "audit")
    check_replaceable(folder / PAGE, PAGE_MARK, "page of satcheck")


def write_results(
    found: Summary, folder: Path, picture: Callable[[PhotoRow], bytes | None]
) -> None:
    """Write the page, both tables, the JSON and a sheet a part to a folder.

    Parameters
    ----------
    picture : callable
        Returns the overlay of a photo as JPEG, or None where it has none.

    Raises
    ------
    UsageError
        If the folder cannot be written, or holds another's file of a sheet's name; the ledger
        holds what was judged.
    """
    for part in found.parts:
        check_replaceable(folder / SHEETS / _sheet_name(part.part), PDF_MARK, "PDF of satcheck")
    plain = json.dumps(as_json(found), indent=1, allow_nan=False, ensure_ascii=False)
    mark = "\ufeff"  # spreadsheets ask for it
    try:
        (folder / SHEETS).mkdir(parents=True, exist_ok=True)
        _write(folder / PARTS, [_bytes(mark + parts_csv(found))])
        _write(folder / PHOTOS, [_bytes(mark + photos_csv(found))])
        _write(folder / PLAIN, [_bytes(f"{plain}\n")])
        _write(folder / PAGE, map(_bytes, audit_page(found, picture)))
        for part in found.parts:
            sheet = part_sheet(part, found, picture)
            _write(folder / SHEETS / _sheet_name(part.part), [sheet])
    except OSError as error:
        raise UsageError(
            f"{error.filename or folder}: cannot be written ({error.strerror or error}); the "
            "ledger holds what was judged, and the same command writes it again"
        ) from error


def older_sheets(found: Summary, folder: Path) -> tuple[str, ...]:
    """Return the names of the sheets in a folder of results that are none of this audit."""
    own = {_sheet_name(part.part) for part in found.parts}
    return tuple(
        sorted(path.name for path in (folder / SHEETS).glob("*.pdf") if path.name not in own)
    )


def _sheet_name(part: str) -> str:
    return f"{file_name(part)}.pdf"


def file_name(part: str) -> str:
    """Return a part's number as the name of a file on every system; different ones stay so."""
    plain = re.sub(r"[^\w.-]", "_", unicodedata.normalize("NFC", part)).strip(".") or "_"
    short = plain.encode("utf-8", "replace")[:_NAME_BYTES].decode("utf-8", "ignore")
    if short == part and part.casefold() == part:
        return short
    return f"{short}-{sha256(part.encode('utf-8', 'backslashreplace')).hexdigest()[:6]}"


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "backslashreplace")


def _write(path: Path, chunks: Iterable[bytes]) -> None:
    """Write a file piece by piece, so that a page of a thousand pictures is never all in memory."""
    part = path.with_name(f".{secrets.token_hex(8)}.part")
    try:
        with part.open("xb") as file:
            file.writelines(chunks)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
