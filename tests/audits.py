"""Audits for tests: rows made by hand, and folders of drawn photos judged in this process."""

from collections.abc import Iterable, Iterator, Mapping
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from ledgers import clock_from
from PIL import Image
from records import inspection_of, zones_of

from satcheck.audit.found import Found
from satcheck.audit.gathering import gather
from satcheck.audit.judging import Done, Refused, Task, judge_task
from satcheck.audit.rows import PartRow, PhotoRow
from satcheck.audit.running import Audit, Standing, run
from satcheck.calibration.file import Calibration
from satcheck.ledger.book import Ledger, open_ledger
from satcheck.model import Evenness, Label, PhotoFacts


def photo_of(
    part: str,
    verdict: Label = Label.GOOD,
    verdicts: Mapping[str, Label] | None = None,
    **changes: Any,
) -> PhotoRow:
    """Return a photo's row; ``changes`` are of the row, or of its inspection."""
    name = str(changes.get("path", f"{part}.jpg"))
    number = int.from_bytes(name.encode(), "big") % 16**64
    facts = PhotoFacts(name, f"{number:064x}", 600, 800, None)
    of_inspection = ("share_judged", "evenness", "reasons", "calibration", "card")
    inner = {key: changes.pop(key) for key in of_inspection if key in changes}
    zones = () if verdict is Label.NOT_JUDGED else zones_of(verdicts or {})
    inspection = inspection_of(verdict, photo=facts, zones=zones, cells=None, **inner)
    told: dict[str, Any] = {
        "path": name, "copies": (), "part": part, "part_from": "table", "view": "", "by": "AB",
        "resin": "epoxy", "when": "2026-03-04T05:06:07", "is_when_recorded": False,
        "entry": "e" * 64, "likeness": None,
    }  # fmt: skip
    return PhotoRow(**{**told, "inspection": inspection, **changes})


def part_of(part: str, *photos: PhotoRow) -> PartRow:
    """Return a part's row; of one good photo where none is given."""
    return PartRow(part, photos or (photo_of(part),), None)


def month(parts: int = 24) -> tuple[PartRow, ...]:
    """Return parts over two months by two technicians, every fourth starved at the lock."""
    made = []
    for n in range(parts):
        bad = n % 4 == 0
        photo = photo_of(
            f"P-{n:02}",
            Label.STARVED if bad else Label.GOOD,
            {"lock": Label.STARVED} if bad else {},
            by="AB" if n % 2 else "CD",
            when=f"2026-{3 + n // 12:02}-{1 + n % 12:02}T08:00:00",
            evenness=Evenness(0.8 + 0.01 * (n % 5), "even"),
        )
        made.append(part_of(photo.part, photo))
    return tuple(made)


def jpeg(shade: int = 90) -> bytes:
    """Return a small picture."""
    stream = BytesIO()
    Image.fromarray(np.full((40, 30, 3), shade, np.uint8)).save(stream, "JPEG")
    return stream.getvalue()


def here(bounds: Calibration) -> Any:
    """Return a runner that judges in this process."""

    def work(tasks: Iterable[Task]) -> Iterator[tuple[Task, Done | Refused]]:
        for task in tasks:
            yield task, judge_task(bounds, task)

    return work


def open_audit(folder: Path, bounds: Calibration) -> Audit:
    """Return an audit whose ledger and pictures lie in a folder."""
    (folder / "pictures").mkdir(parents=True, exist_ok=True)
    ledger: Ledger = open_ledger(folder / "shop.ledger", clock_from())
    return Audit(ledger, bounds, folder / "pictures", "basalt", "AB")


def run_all(audit: Audit, photos: Path) -> tuple[tuple[Found, ...], Standing]:
    """Judge all photos of a folder; return them and how the work stands at its end."""
    found = gather([photos]).photos
    *_, last = run(audit, found, here(audit.bounds))
    return found, last
