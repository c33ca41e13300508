"""Let the machine fail for real: a full disk at any write, a read-only one, too little memory.

    sudo python tests/attack_machine.py

Needs root, since it mounts a small disk in memory. Every command is run with 0, 4, 8, 12, 24, 48,
... kB of room until it succeeds. Each time it must end in one sentence and status 2, or be done;
no file may be half written, none that was there may change, and the ledger must be whole.
"""

import argparse
import contextlib
import io
import json
import os
import resource
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import httpx
from bench_server import Server, server
from drawn_shop import CREATED, make_shop
from kill_ledger import small_sample
from ledgers import clock_from, inspect, note
from PIL import Image
from study_tables import gauge_lines, written

from satcheck.calibration import labelled
from satcheck.calibration.file import write_calibration
from satcheck.cli.app import main as satcheck
from satcheck.files import CALIBRATION_MARK, PAGE_MARK, PDF_MARK
from satcheck.ledger.book import open_ledger, read_ledger
from satcheck.ledger.verifying import verify

MEGABYTES = 48
PAGE = 4096
WAITING = ("waiting", "measuring")
LEDGER = ("--ledger", "shop.ledger", "--fibre", "basalt", "--calibration", "shop.toml")
MIX = ("mix", "--resin", "acrylic", "--hardener", "3", "--fibre", "basalt", "--dry-fabric", "182",
       "--target", "30 %..40 %")  # fmt: skip
COMMANDS: dict[str, tuple[str, ...]] = {
    "card": ("card", "--out", "old.pdf"),
    "mix": (*MIX, "--card", "old.pdf", "--ledger", "shop.ledger", "--part", "4711"),
    "check": ("check", "part.jpg", "--out", "out", *LEDGER),
    "calibrate": ("calibrate", "parts.csv", "--out", "old.toml", "--page", "old.html"),
    "study": ("study", "repeatability", "table.csv", "--page", "old.html"),
    "export": ("ledger", "export", "new.csv", "--ledger", "shop.ledger"),
    "backup": ("ledger", "backup", "new.ledger", "--ledger", "shop.ledger"),
    "merge": ("ledger", "merge", "other.ledger", "--ledger", "shop.ledger"),
    "audit": ("audit", "photos", "--out", "out", *LEDGER, "--processes", "1"),
}
Faults = Iterator[str]


@contextlib.contextmanager
def small_disk() -> Iterator[Path]:
    """Mount a disk in memory and make it the current folder."""
    before = Path.cwd()
    with tempfile.TemporaryDirectory() as name:
        words = ["mount", "-t", "tmpfs", "-o", f"size={MEGABYTES}m", "tmpfs", name]
        subprocess.run(words, check=True)
        os.chdir(name)
        try:
            yield Path(name)
        finally:
            os.chdir(before)
            subprocess.run(["umount", "--lazy", name], check=True)


def furnish(folder: Path) -> None:
    """Put a shop onto the disk: a ledger, photos, tables, and files that are written again."""
    shop = make_shop(folder)
    write_calibration(shop.calibration, folder / "shop.toml")
    (folder / "part.jpg").write_bytes(small_sample())
    (folder / "photos").mkdir()
    for number in range(2):
        with Image.open(folder / f"{number}.png") as photo:
            photo.save(folder / "photos" / f"A-{number}_medial.png")
    for name in ("shop.ledger", "other.ledger"):
        with open_ledger(folder / name, clock_from()) as ledger:
            inspect(ledger, part=name)
            ledger.append(note(name * 3000))
    (folder / "old.pdf").write_bytes(b"%PDF-1.7 " + PDF_MARK)
    (folder / "old.html").write_bytes(PAGE_MARK)
    (folder / "old.toml").write_bytes(CALIBRATION_MARK)
    written(folder, *gauge_lines())
    study = labelled.study_table(folder / "parts.csv", lambda *_: None, created=CREATED)
    labelled.study_table = lambda *_, **_more: study  # the measuring is not what is tried here


@contextlib.contextmanager
def room(folder: Path, pages: int) -> Iterator[None]:
    """Leave so many pages free."""
    ballast = folder / "ballast"
    free = os.statvfs(folder)
    with ballast.open("wb") as file:
        os.posix_fallocate(file.fileno(), 0, max(1, (free.f_bavail - pages) * PAGE))
    try:
        yield
    finally:
        ballast.unlink()


def rooms() -> Iterator[int]:
    """Yield pages of room: every size at first, then a half more each time."""
    pages = 0
    while pages < MEGABYTES * 250:
        yield pages
        pages = pages + 1 if pages < 3 else 2 * pages


def run(*words: str) -> tuple[int, str]:
    """Run a command in this process; return its status and what stood on stderr."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            satcheck(words)
        except SystemExit as stopped:
            return int(stopped.code or 0), err.getvalue()


def contents(folder: Path) -> dict[str, bytes]:
    files = (path for path in folder.rglob("*") if path.is_file() and path.name != "ballast")
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


def wrong(before: dict[str, bytes], after: dict[str, bytes], words: tuple[str, ...]) -> Faults:
    """Yield what a command that failed has left behind."""
    for name, data in before.items():
        if name.endswith((".ledger", "-wal", "-shm")):
            continue
        if name not in words and after.get(name) != data:
            yield f"{name} has changed"
        if name in words and after.get(name) != data and len(after.get(name, b"")) < 100:
            yield f"{name} is cut short"
    yield from (f"{name} was left" for name in after if name.endswith(".part"))
    for ledger in (name for name in after if name.endswith(".ledger")):
        with read_ledger(Path(ledger)) as opened:
            if verify(opened).first is not None:
                yield f"{ledger} is not whole"


def full_disks() -> Faults:
    """Run every command with more and more room until it succeeds."""
    tried: Counter[str] = Counter()
    with small_disk() as folder:
        furnish(folder)
        for name, words in COMMANDS.items():
            for pages in rooms():
                before = contents(folder)
                with room(folder, pages):
                    status, said = run(*words)
                tried[name] += 1
                after = contents(folder)
                what = f"{name} with {pages * PAGE // 1000} kB"
                yield from (f"{what}: {fault}" for fault in wrong(before, after, words))
                if status != 2:
                    print(f"  {name}: {tried[name]} runs, done with {pages * PAGE // 1000} kB")
                    break
                lines = said.strip().splitlines()
                if not lines or any("Traceback" in each or "unforeseen" in each for each in lines):
                    yield f"{what}: {said[-300:]}"
    print(f"  {sum(tried.values())} runs")


def read_only_disks() -> Faults:
    """Run every command on a disk that may only be read."""
    with small_disk() as folder:
        furnish(folder)
        before = contents(folder)
        subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
        for name, words in COMMANDS.items():
            status, said = run(*words)
            lines = said.strip().splitlines()
            if status != 2 or not lines or "unforeseen" in said or "Traceback" in said:
                yield f"{name}: status {status} {said[-300:]}"
        if contents(folder) != before:
            yield "something has changed"
    print(f"  {len(COMMANDS)} commands")


def serving_on_a_full_disk() -> Faults:
    """Send photos while the disk is full, and again when there is room: none is lost."""
    kept = failed = 0
    with small_disk() as folder, server(folder / "records") as at, at.client() as client:
        for pages in (0, 1, 2, 5, 10, 30, 50, 80, 120, 200):
            name, data = os.urandom(16).hex(), small_sample() + os.urandom(8)
            with room(folder, pages):
                told = _send(client, name, data)
                is_shown = told.get("state") == "kept"
            failed += not is_shown
            if not is_shown and not told.get("sentence"):
                yield f"{pages} pages: {told}"
            told = _send(client, name, data)  # as the page does when it is asked to try again
            kept += told["state"] == "kept"
        yield from _whole(at, kept, failed)


def _send(client: httpx.Client, name: str, data: bytes) -> dict[str, str]:
    shot = {"id": name, "part": "A-1", "view": "medial", "fibre": "basalt", "size": len(data)}
    told = client.post("/api/photos", content=json.dumps(shot)).json()
    for _ in range(3):
        if told.get("state") == "sending":
            at = int(told["received"])
            answer = client.put(f"/api/photos/{name}?offset={at}", content=data[at:])
            told = answer.json()
            if answer.status_code == 507:
                return dict(told)
    while told.get("state") in WAITING:
        told = client.get(f"/api/photos/{name}?wait=20").json()
    return dict(told)


def _whole(at: Server, kept: int, failed: int) -> Faults:
    with read_ledger(at.records / "shop.ledger") as ledger:
        report, (count,) = verify(ledger), ledger.read("SELECT count(*) FROM record")[0]
    print(f"  10 photos: {failed} refused for want of room at first, {kept} kept in the end")
    if kept != 10 or count != 20 or report.first:
        yield f"{kept} of 10 kept, {count} entries, {report.first}"
    if "Traceback" in (log := (at.records / "serve.log").read_text()):
        yield log[log.index("Traceback") :][:1500]


def want_of_memory() -> Faults:
    """Give the server's workers hardly any memory: each photo is refused, and no server dies."""
    with tempfile.TemporaryDirectory() as name, server(Path(name)) as at, at.client() as client:
        pids = Path(f"/proc/{at.process.pid}/task/{at.process.pid}/children").read_text().split()
        workers = [int(pid) for pid in pids if b"spawn_main" in _command(pid)]
        for pid in workers:
            used = int(Path(f"/proc/{pid}/statm").read_text().split()[0]) * PAGE
            resource.prlimit(pid, resource.RLIMIT_AS, (used + 20_000_000, resource.RLIM_INFINITY))
        large = io.BytesIO()
        Image.new("RGB", (6000, 4000), (120, 90, 60)).save(large, "JPEG")
        sentences = []
        for _ in range(6):
            told = _send(client, os.urandom(16).hex(), large.getvalue())
            sentences.append(told.get("sentence", ""))
        print(f"  6 photos for {len(workers)} workers: {dict(Counter(sentences))}")
        if not any(sentences):
            yield "nothing was refused"
        for pid in workers:
            with contextlib.suppress(ProcessLookupError):
                resource.prlimit(pid, resource.RLIMIT_AS, (resource.RLIM_INFINITY,) * 2)
        if _send(client, os.urandom(16).hex(), small_sample())["state"] != "kept":
            yield "with memory again no photo is judged"


def _command(pid: str) -> bytes:
    return Path(f"/proc/{pid}/cmdline").read_bytes()


ATTACKS: tuple[Callable[[], Faults], ...] = (
    full_disks, read_only_disks, serving_on_a_full_disk, want_of_memory,
)  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("attacks", nargs="*", metavar="ATTACK")
    told = parser.parse_args()
    count = 0
    for one in ATTACKS:
        if told.attacks and one.__name__ not in told.attacks:
            continue
        print(f"{one.__name__}: {(one.__doc__ or '').splitlines()[0]}", flush=True)
        for fault in one():
            count += 1
            print(f"  FAULT {fault}", flush=True)
    print(f"{count} faults, {datetime.now(UTC):%Y-%m-%d}")
    sys.exit(bool(count))


if __name__ == "__main__":
    main()
