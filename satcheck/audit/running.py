"""The work of an audit: what the ledger lacks is judged and recorded, then drawn.

The ledger is the only state. A photo counts as judged when the ledger holds an inspection of its
sha256 under this calibration, fibre and version that nothing corrects; a picture holds when it
names that record. So an audit that was stopped, or killed, goes on where it was.
"""

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from satcheck import __version__
from satcheck.audit.found import ALONE, Found, Problem
from satcheck.audit.judging import Done, PictureMark, Refused, Task, picture_mark
from satcheck.calibration.file import Calibration
from satcheck.errors import UsageError
from satcheck.files import write_whole
from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import Draft, Entry, Kind
from satcheck.ledger.recording import Context
from satcheck.ledger.search import Search
from satcheck.processes import Lost

Runner = Callable[[Iterable[Task]], Iterator[tuple[Task, "Done | Refused | Lost"]]]
"""Works off tasks, here or elsewhere, and yields each with what came of it, in any order."""

_HEADER = 4096
_STEM_BYTES = 120


@dataclass(frozen=True, eq=False)
class Audit:
    """What an audit judges by, and where to."""

    ledger: Ledger
    bounds: Calibration
    pictures: Path
    """Folder of the pictures."""
    fibre: str | None
    """Of photos of which the table names none."""
    by: str = ""
    resin: str | None = None


@dataclass
class Standing:
    """How far an audit has come."""

    total: int
    known: int = 0
    """Photos that needed no work."""
    done: int = 0
    problems: list[Problem] = field(default_factory=list)


def fibre_of(audit: Audit, found: Found) -> str:
    """Return the fibre that a photo is judged by.

    Raises
    ------
    UsageError
        If the table names one that the calibration does not hold.
    """
    fibre = found.told.fibre or audit.fibre
    if fibre is None:
        known = ", ".join(audit.bounds.fibres)
        raise UsageError(f"{found.path}: its fibre is not known; give --fibre ({known}) or a table")
    for name in audit.bounds.fibres:
        if name.casefold() == fibre.casefold():
            return name
    known = ", ".join(audit.bounds.fibres)
    raise UsageError(f"{found.path}: fibre {fibre!r} is not in the calibration; it holds {known}")


def judged_entry(audit: Audit, found: Found) -> Entry | None:
    """Return the ledger's newest inspection of a photo that still counts, or None.

    Where the table gives the picture to several parts, only one of the photo's own part does.
    """
    search = Search(
        kind=Kind.INSPECTION,
        photo=found.sha256,
        calibration=audit.bounds.id,
        fibre=fibre_of(audit, found),
        current=True,
    )
    every = audit.ledger.find(search, limit=None)
    return next((entry for entry in every if _counts(entry, found)), None)


def _counts(entry: Entry, found: Found) -> bool:
    inspection = entry.body.get("inspection")
    if not isinstance(inspection, Mapping) or inspection.get("version") != __version__:
        return False
    return found.number == 0 or entry.body.get("part") == found.told.part


def run(audit: Audit, photos: Sequence[Found], work: Runner) -> Iterator[Standing]:
    """Do what is left, and yield how far it is: at first, and after each photo.

    Raises
    ------
    UsageError
        If a folder can no longer be reached, or a fibre is not known; what was judged is recorded.
    LedgerError
        If something cannot be recorded.
    """
    for found in photos:
        fibre_of(audit, found)  # before the first photo is judged
    standing = Standing(len(photos))
    by_key = {_key(found): found for found in photos}
    left = [found for found in photos if _is_left(audit, found)]
    standing.known = len(photos) - len(left)
    yield standing
    for task, result in work(_tasks(audit, left, standing)):
        _keep(audit, by_key[task.key], result, standing)
        standing.done += 1
        yield standing


def _key(found: Found) -> str:
    return f"{found.sha256}-{found.number}"


def picture_path(audit: Audit, found: Found) -> Path:
    """Return where the picture of a photo lies: named by its file, its sha256 and which part."""
    stem = found.path.stem.encode("utf-8", "backslashreplace")[:_STEM_BYTES]
    of_several = f"-{found.number}" if found.number > 1 else ""
    name = f"{stem.decode('utf-8', 'ignore')}-{found.sha256[:8]}{of_several}.jpg"
    return audit.pictures / name


def read_mark(path: Path) -> PictureMark | None:
    """Return what the picture in a file says of itself; None where there is none."""
    try:
        with path.open("rb") as file:
            return picture_mark(file.read(_HEADER))
    except OSError:
        return None


def _is_left(audit: Audit, found: Found) -> bool:
    entry = judged_entry(audit, found)
    mark = read_mark(picture_path(audit, found))
    return entry is None or mark is None or mark.record != _record(entry)


def _record(entry: Entry) -> str:
    return str(entry.body["blobs"]["whole"])


def _tasks(audit: Audit, left: Sequence[Found], standing: Standing) -> Iterator[Task]:
    """Yield the tasks, reading each photo only when its turn comes."""
    for found in left:
        try:
            data = found.path.read_bytes()
        except OSError as error:
            _check_reachable(found)
            sentence = f"cannot be opened ({error.strerror})"
            standing.problems.append(Problem(str(found.path), sentence))
            standing.done += 1
            continue
        if hashlib.sha256(data).hexdigest() != found.sha256:
            standing.problems.append(Problem(str(found.path), "changed while the audit ran"))
            standing.done += 1
            continue
        entry = judged_entry(audit, found)
        record = None if entry is None else _record(entry)
        yield Task(
            key=_key(found),
            name=found.path.name,
            data=data,
            fibre=fibre_of(audit, found),
            distal=found.told.distal,
            context=_context(audit, found),
            fallback=None
            if found.fallback_from == ALONE
            else (found.fallback, found.fallback_from),
            known=None if record is None else (record, audit.ledger.blob(record)),
        )


def _check_reachable(found: Found) -> None:
    """Raise UsageError where not the photo but its folder is gone: a share leaves an empty one."""
    root = found.root
    try:
        is_there = found.path.exists() or any(root.iterdir())
    except OSError:
        is_there = False
    if not is_there:
        raise UsageError(
            f"{root}: this folder can no longer be reached; what was judged is recorded, and the "
            "same command goes on when it is back"
        )


def _context(audit: Audit, found: Found) -> Context:
    told = found.told
    return Context(
        by=told.technician or audit.by,
        part=told.part or ledger_part(audit.ledger, found.sha256),
        view=told.view,
        resin=told.resin or audit.resin,
    )


def ledger_part(ledger: Ledger, sha256: str) -> str | None:
    """Return the part that the newest entry of a photo names, under whatever calibration.

    One that an audit took from a file's or folder's name does not count: it may be moved since.
    """
    for entry in ledger.find(Search(photo=sha256, current=True), limit=None):
        part = entry.body.get("part")
        if isinstance(part, str) and part and "part_from" not in entry.body:
            return part
    return None


def _keep(audit: Audit, found: Found, result: Done | Refused | Lost, standing: Standing) -> None:
    """Write the picture, then record: what is recorded has its picture."""
    if isinstance(result, Lost):
        standing.problems.append(Problem(str(found.path), result.why))
    elif isinstance(result, Refused):
        name = f"{found.path.name}: "
        standing.problems.append(Problem(str(found.path), result.sentence.removeprefix(name)))
    else:
        _write(picture_path(audit, found), result.picture)
        if result.draft is not None:
            _record_once(audit, found, result.draft)


def _record_once(audit: Audit, found: Found, draft: Draft) -> None:
    """Record an inspection, unless another audit did while this one judged the same photo."""
    with audit.ledger.writing():
        if judged_entry(audit, found) is None:
            audit.ledger.append(draft)


def _write(path: Path, picture: bytes) -> None:
    try:
        write_whole(path, picture)
    except OSError as error:
        raise UsageError(
            f"{path}: cannot be written ({error.strerror or error}); what was judged is recorded, "
            "and the same command goes on when that is mended"
        ) from error
