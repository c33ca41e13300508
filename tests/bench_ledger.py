"""Build a ledger of a million records and measure list, show, trend, verify and append.

    python tests/bench_ledger.py --records 1000000 --folder DIR

The short record of each inspection is real in form and size (eleven zones); the large content is
one blob that all share, since its size does not change what a list reads. The file is built by
the ledger's own `insert`, so that the chain, ids and index are those of a real one.
"""

import argparse
import random
import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from records import inspection_of

from satcheck.ledger.book import Ledger, open_ledger, read_ledger, row_of
from satcheck.ledger.entries import canonical, timestamp
from satcheck.ledger.recording import Context, inspection_draft, stored_inspection
from satcheck.ledger.search import Search
from satcheck.ledger.trend import trend
from satcheck.model import SCALE

START = datetime(2016, 1, 4, tzinfo=UTC)
YEARS = 10
TECHNICIANS, RESINS, CALIBRATIONS = 8, 4, 20


def build(path: Path, records: int) -> None:
    """Make a ledger of some years' inspections, two percent of them corrected later."""
    draft = inspection_draft(inspection_of(), Context(part="0", by="AB", resin="epoxy"))
    chance, body = random.Random(1), dict(draft.body)
    step = timedelta(days=365 * YEARS) / records
    with open_ledger(path, lambda: datetime.now(UTC)) as ledger:
        last: str | None = None
        for start in range(0, records, 10_000):
            with ledger.writing() as db:
                db.executemany(
                    "INSERT OR IGNORE INTO blob VALUES (?, ?, ?)", map(row_of, draft.blobs)
                )
                for number in range(start, min(start + 10_000, records)):
                    body |= {
                        "part": f"{number // 6:06}",
                        "photo": f"{number:064x}",
                        "resin": f"resin {chance.randrange(RESINS)}",
                        "calibration": f"{number * CALIBRATIONS // records:016x}",
                        "verdict": chance.choices(SCALE, (1, 2, 12, 2, 1))[0].word,
                    }
                    corrects = last if chance.random() < 0.02 else None
                    who = f"technician {chance.randrange(TECHNICIANS)}"
                    when = timestamp(START + step * number)
                    entry = ledger.insert(draft.kind, canonical(body), when, who, corrects)
                    last = entry.id if corrects is None else None
            print(f"\r{start + 10_000}/{records}", end="", file=sys.stderr)


def measure(name: str, use: Callable[[], object], times: int = 7) -> None:
    """Print the median and the longest of some runs, after none that warms up."""
    seconds = []
    for _ in range(times):
        began = time.perf_counter()
        use()
        seconds.append(time.perf_counter() - began)
    print(f"{name:<44} first {seconds[0]:7.3f}  median {statistics.median(seconds):7.3f} s")


def measure_all(path: Path) -> None:
    """Print how long each use takes; the first run of each opens the file anew."""
    print(f"{path.stat().st_size / 1e6:.0f} MB")
    ledger: Ledger = read_ledger(path)
    found = ledger.find(Search(part="000100"))
    searches = {
        "the newest 50": Search(),
        "of a part": Search(part="000100"),
        "starved, current, of a technician": Search(
            verdict="starved", by="technician 3", current=True
        ),
        "of a month": Search(since="2019-05", until="2019-05"),
        "of a resin and calibration": Search(resin="resin 2", calibration=f"{7:016x}"),
        "starved, of a technician, of 2016": Search(
            verdict="starved", by="technician 3", until="2016"
        ),
        "none: an unknown technician": Search(verdict="starved", by="nobody"),
    }
    for name, search in searches.items():
        measure(f"list: {name}", lambda search=search: ledger.find(search))  # type: ignore[misc]
    measure("show by the id's beginning", lambda: ledger.entry(found[0].id[:10]))
    measure("show with its cells", lambda: stored_inspection(ledger, found[0]))
    measure("trend by month", lambda: trend(ledger))
    measure("trend by week", lambda: trend(ledger, "week"))
    measure("trend by month, for each technician", lambda: trend(ledger, group="by"))
    measure("trend by week, of a resin", lambda: trend(ledger, "week", resin="resin 1"))


def main() -> None:
    parser = argparse.ArgumentParser(description="Build and measure a large ledger.")
    parser.add_argument("--records", type=int, default=1_000_000)
    parser.add_argument("--folder", type=Path, required=True)
    told = parser.parse_args()
    path = told.folder / f"bench_{told.records}.ledger"
    if not path.exists():
        began = time.perf_counter()
        build(path, told.records)
        print(f"\nbuilt in {time.perf_counter() - began:.0f} s", file=sys.stderr)
    measure_all(path)


if __name__ == "__main__":
    main()
