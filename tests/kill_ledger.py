"""Kill a writer at random moments: what it acknowledged is there, what it did not is whole or not.

    python tests/kill_ledger.py --times 200

A child process appends notes with large content, and prints each id after `append` returned. The
parent kills it (SIGKILL), opens the ledger, and compares.
"""

import argparse
import random
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from satcheck.ledger.book import open_ledger, read_ledger
from satcheck.ledger.entries import Draft, Kind
from satcheck.ledger.verifying import verify


def write_for_ever(path: Path, start: int) -> None:
    """Append and acknowledge until killed."""
    with open_ledger(path, lambda: datetime.now(UTC)) as ledger:
        number = start
        while True:
            blob = random.Random(number).randbytes(20_000)
            drafts = [Draft(Kind.NOTE, {"text": f"{number} {i}"}, blobs=(blob,)) for i in range(2)]
            for entry in ledger.append_all(drafts):
                print(entry.id, flush=True)
            number += 1


def kill_once(path: Path, seconds: float, start: int) -> list[str]:
    """Let a child write for some time, kill it, and return what it acknowledged."""
    words = [sys.executable, __file__, "--child", str(path), "--start", str(start)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        first = child.stdout.readline()  # else only the start of Python would be killed
        time.sleep(seconds)
        child.kill()
        rest = child.stdout.read()
    return [line for line in (first + rest).splitlines() if len(line) == 64]


def kill_often(path: Path, times: int, seed: int) -> tuple[int, int]:
    """Kill writers of one ledger; return how many entries were acknowledged and how many are there.

    Raises
    ------
    AssertionError
        If an acknowledged entry is lost, half of a call is there, or the chain is broken.
    """
    moments = random.Random(seed)
    acknowledged: set[str] = set()
    for round_ in range(times):
        acknowledged |= set(kill_once(path, moments.uniform(0, 0.05), round_ * 10**6))
        with read_ledger(path) as ledger:
            entries = {entry.id for entry in ledger.entries()}
            report = verify(ledger)
        lost = acknowledged - entries
        assert not lost, f"kill {round_}: lost {lost}"
        assert report.first is None, f"kill {round_}: {report.first}"
        assert report.index_agrees, f"kill {round_}: the index is out of step"
        assert len(entries) % 2 == 0, f"kill {round_}: half of a call is there"
    return len(acknowledged), len(entries)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--times", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--child", type=Path)
    parser.add_argument("--start", type=int, default=0)
    told = parser.parse_args()
    if told.child:
        write_for_ever(told.child, told.start)
    with tempfile.TemporaryDirectory() as folder:
        acknowledged, there = kill_often(Path(folder) / "killed.ledger", told.times, told.seed)
    print(f"{told.times} kills: {acknowledged} entries acknowledged, none lost; {there} there")


if __name__ == "__main__":
    main()
