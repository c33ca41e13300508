"""How many photos an audit judges a second, beside their bare decode; whether its memory is flat.

    python tests/bench_audit.py --photos 1000 --alone 250

The demo's photos, each made anew by a comment in its bytes, five to a part. All of them are judged
by one process a core, from the start of the command to its last file, then ``--alone`` of them by
one process. Before and after that the same files are only decoded (Pillow, one process). Memory is
that of the command and of its workers, read every second.
"""

import argparse
import contextlib
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from satcheck.ledger.book import read_ledger
from satcheck.ledger.verifying import verify

SAMPLES = Path(__file__).parents[1] / "sample_images"
IN_A_PART = 5
VIEWS = ("anterior", "posterior", "medial", "lateral")


@dataclass(frozen=True)
class Run:
    """One audit that ran: its time, and what it and its workers held in bytes."""

    seconds: float
    command: list[tuple[float, int]]
    workers: list[tuple[float, int]]


def make_photos(folder: Path, count: int) -> Path:
    """Fill a folder with photos of which no two have the same bytes; return the table of them."""
    samples = sorted(SAMPLES.glob("*.jpg"))
    rows = ["photo,part,view,fibre"]
    for number in range(count):
        sample, text = samples[number % len(samples)], f"photo {number}".encode()
        data = sample.read_bytes()
        comment = b"\xff\xfe" + (len(text) + 2).to_bytes(2, "big") + text
        (folder / f"{number}.jpg").write_bytes(data[:2] + comment + data[2:])
        fibre = sample.stem.split("_")[0]
        known = fibre if fibre in ("basalt", "carbon", "glass") else "basalt"
        part = f"P-{number // IN_A_PART:04}"
        rows.append(f"{number}.jpg,{part},{VIEWS[number % len(VIEWS)]},{known}")
    table = folder / "photos.csv"
    table.write_text("\n".join(rows) + "\n")
    return table


def decode(photos: Sequence[Path]) -> float:
    """Return the seconds that decoding takes, in this process."""
    begun = time.perf_counter()
    for path in photos:
        with Image.open(path) as photo:
            photo.load()
    return time.perf_counter() - begun


def audit(photos: Path, table: Path, out: Path, processes: int) -> Run:
    """Audit a folder with a ledger of its own, and read its memory meanwhile.

    Raises
    ------
    AssertionError
        If the command fails, or a photo is missing in a ledger that is whole.
    """
    out.mkdir()
    command = [sys.executable, "-m", "satcheck", "audit", str(photos), "--table", str(table)]
    command += ["--ledger", str(out / "shop.ledger"), "--out", str(out / "audit")]
    begun = time.perf_counter()
    held: tuple[list[tuple[float, int]], list[tuple[float, int]]] = ([], [])
    with (out / "said.txt").open("wb") as said:
        process = subprocess.Popen(
            [*command, "--processes", str(processes)], stdout=said, stderr=said
        )
        while process.poll() is None:
            now, workers = time.perf_counter() - begun, children(process.pid)
            held[0].append((now, memory(process.pid)))
            if len(workers) >= processes:
                held[1].append((now, sum(map(memory, workers))))
            time.sleep(1)
    seconds = time.perf_counter() - begun
    assert process.returncode in (0, 1, 3), (out / "said.txt").read_text()
    with read_ledger(out / "shop.ledger") as ledger:
        assert verify(ledger).first is None
        assert ledger.head().seq == len(list(photos.glob("*.jpg")))
    return Run(seconds, *held)


def children(pid: int) -> list[int]:
    """Return the processes that a process has started."""
    with contextlib.suppress(OSError):  # it may have ended meanwhile
        return [int(n) for n in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    return []


def memory(pid: int) -> int:
    """Return the resident memory of a process, bytes; 0 where it has ended."""
    with contextlib.suppress(OSError):
        return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    return 0


def growth(held: list[tuple[float, int]]) -> tuple[float, float]:
    """Return the median memory of the second and the last third, bytes: the first warms up."""
    third = len(held) // 3
    middle, last = held[third : 2 * third], held[2 * third :]
    return statistics.median(size for _, size in middle), statistics.median(s for _, s in last)


def tell_memory(run: Run, say: Callable[[str], None]) -> None:
    for what, held in (("command", run.command), ("workers", run.workers)):
        middle, last = growth(held)
        most = max(size for _, size in held)
        say(f"  {what}: {middle / 1e6:.0f} MB in the second third, {last / 1e6:.0f} MB in the "
            f"last, at most {most / 1e6:.0f} MB ({len(held)} samples)")  # fmt: skip


def measure(count: int, alone: int, folder: Path, say: Callable[[str], None]) -> None:
    """Measure and tell."""
    rates = {}
    for name, number, processes in (("all", count, os.cpu_count() or 1), ("alone", alone, 1)):
        place = folder / name
        place.mkdir()
        table = make_photos(place, number)
        photos = sorted(place.glob("*.jpg"))
        decodes = [decode(photos)]
        run = audit(place, table, folder / f"{name}-out", processes)
        decodes.append(decode(photos))
        rates[name], bare = number / run.seconds, number / statistics.mean(decodes)
        say(
            f"{number} photos, {processes} processes: {run.seconds:.0f} s, {rates[name]:.2f} a "
            f"second; bare decode {bare:.0f} a second, {bare / rates[name]:.0f} times as many"
        )
        tell_memory(run, say)
    say(f"{os.cpu_count()} processes against 1: {rates['all'] / rates['alone']:.2f} times as fast")


def main() -> None:
    """Measure in a folder that goes away."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--photos", type=int, default=1000)
    parser.add_argument("--alone", type=int, default=250)
    told = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        measure(told.photos, told.alone, Path(folder), lambda line: print(line, flush=True))


if __name__ == "__main__":
    main()
