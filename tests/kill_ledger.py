"""Kill what writes to a ledger at random moments: what was acknowledged is there, once and whole.

    python tests/kill_ledger.py appending --times 200
    python tests/kill_ledger.py watching --times 200     (so too: auditing, serving)

Each round starts the real program in a process of its own, gives it something to do, and kills it
(SIGKILL). Then the ledger is opened, verified, and held against all that was acknowledged:
appending, each id that was printed; watching, each photo that was said; serving, each photo whose
verdict the page was given; auditing, which says nothing until its end, each entry that another
reader saw. At the end the program runs once undisturbed: no photo is missing or judged twice.
"""

import argparse
import contextlib
import hashlib
import io
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import httpx
from bench_server import Server, server
from PIL import Image

from satcheck.errors import LedgerError
from satcheck.ledger.blob import Blob
from satcheck.ledger.book import open_ledger, read_ledger
from satcheck.ledger.entries import Draft, Kind
from satcheck.ledger.verifying import verify

SAMPLE = Path(__file__).parents[1] / "sample_images" / "basalt_11.jpg"
LONGEST = 300.0
"""Seconds until a program has begun, or acknowledged something."""
LONGEST_PHOTO = 3.0
"""Seconds for each photo until a program that runs undisturbed must have caught up."""


@dataclass
class Shop:
    """One ledger, what is done to it, and what was acknowledged."""

    folder: Path
    ledger: Path
    ids: set[str] = field(default_factory=set)
    """Of entries that must be there."""
    shown: set[str] = field(default_factory=set)
    """sha256 of photos that must be there."""
    given: set[str] = field(default_factory=set)
    """sha256 of photos that must be there once the program has run undisturbed."""

    def photo(self, number: int) -> bytes:
        """Return a photo like no other: the sample with a comment."""
        text = f"photo {number}".encode()
        data = small_sample()
        return data[:2] + b"\xff\xfe" + (len(text) + 2).to_bytes(2, "big") + text + data[2:]

    @property
    def longest(self) -> float:
        """Seconds until all that was given must have been judged."""
        return LONGEST + LONGEST_PHOTO * len(self.given)

    def arrive(self, number: int) -> None:
        """Put three photos where a sync would."""
        place = self.folder / "photos" / "K-7"
        place.mkdir(parents=True, exist_ok=True)
        for k in range(3 * number, 3 * number + 3):
            data = self.photo(k)
            (place / f"k{k}.jpg").write_bytes(data)
            self.given.add(hashlib.sha256(data).hexdigest())

    def start(self, *words: str) -> "subprocess.Popen[str]":
        """Start a command of satcheck, its output unbuffered, in a group of its own."""
        environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
        return subprocess.Popen(
            [sys.executable, "-m", "satcheck", *words], stdout=subprocess.PIPE, text=True,
            stderr=subprocess.STDOUT, env=environment, start_new_session=True,
        )  # fmt: skip

    def check(self, when: str) -> Counter[str]:
        """Hold the ledger against what was acknowledged; return how often each photo is there."""
        if not self.ledger.exists():
            assert not self.ids | self.shown, f"{when}: the ledger is gone"
            return Counter()
        with contextlib.suppress(LedgerError), open_ledger(self.ledger, now, create=False):
            pass  # a kill while it was made leaves it empty; opening goes on with it
        with read_ledger(self.ledger) as ledger:
            entries, report = list(ledger.entries()), verify(ledger)
        photos = Counter(e.body["photo"] for e in entries if e.kind == Kind.INSPECTION)
        lost = self.ids - {entry.id for entry in entries} | self.shown - set(photos)
        assert not lost, f"{when}: lost {lost}"
        assert report.first is None, f"{when}: {report.first}"
        assert report.index_agrees, f"{when}: the index is out of step"
        assert not photos or max(photos.values()) == 1, f"{when}: judged twice {photos}"
        return photos


@cache
def small_sample() -> bytes:
    """Return the sample at half its size: it is judged in a part of the time."""
    made = io.BytesIO()
    with Image.open(SAMPLE) as photo:
        photo.reduce(2).save(made, "JPEG", quality=90)
    return made.getvalue()


def now() -> datetime:
    """Return the time."""
    return datetime.now(UTC)


def kill(process: "subprocess.Popen[str] | subprocess.Popen[bytes]") -> None:
    """Kill one process, and only then what it has started, which must not write either."""
    process.kill()
    process.wait()
    time.sleep(0.05)
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, signal.SIGKILL)


def append(path: Path, start: int) -> None:
    """Append notes with large content, and print each id once it is acknowledged, until killed."""
    with open_ledger(path, now) as ledger:
        for number in range(start, start + 10**6):
            blob = random.Random(number).randbytes(20_000)
            drafts = [
                Draft(Kind.NOTE, {"text": f"{number} {i}"}, blobs=(Blob.of(blob),))
                for i in range(2)
            ]
            for entry in ledger.append_all(drafts):
                print(entry.id, flush=True)


def appending(shop: Shop, chance: random.Random, number: int) -> None:
    """Kill a writer of pairs: no half of a pair may be there."""
    words = [sys.executable, __file__, "--append", str(shop.ledger), "--start", str(number * 10**6)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        first = child.stdout.readline()  # else only the start of Python would be killed
        time.sleep(chance.uniform(0, 0.05))
        child.kill()
        rest = child.stdout.read()
    shop.ids |= {line for line in (first + rest).splitlines() if len(line) == 64}
    with read_ledger(shop.ledger) as ledger:
        assert ledger.head().seq % 2 == 0, "half of a call is there"


def watching(shop: Shop, chance: random.Random, number: int) -> None:
    """Kill a watch of a folder in which photos arrive."""
    shop.arrive(number)
    with _watch(shop) as (process, lines):
        _until(lambda: any("Watching" in line for line in lines), process)
        _at_random(chance, lambda: any("jpg: " in line for line in lines), process)
        kill(process)
    for line in lines:
        name = line.split(":")[0]
        if name.endswith(".jpg") and line.endswith("\n"):
            data = (shop.folder / "photos" / "K-7" / name).read_bytes()
            shop.shown.add(hashlib.sha256(data).hexdigest())


def watch_on(shop: Shop) -> None:
    """Watch undisturbed until all is judged."""
    with _watch(shop) as (process, _):
        _until(lambda: set(shop.check("undisturbed")) >= shop.given, process, shop.longest)
        kill(process)


@contextlib.contextmanager
def _watch(shop: Shop) -> "Iterator[tuple[subprocess.Popen[str], list[str]]]":
    with shop.start("watch", str(shop.folder / "photos"), "--ledger", str(shop.ledger),
                    "--fibre", "basalt") as process:  # fmt: skip
        lines: list[str] = []
        assert process.stdout is not None
        reader = threading.Thread(target=lines.extend, args=(_each(process),))
        reader.start()
        try:
            yield process, lines
        except AssertionError as error:
            error.add_note("".join(lines))
            kill(process)
            raise
        finally:
            reader.join()


def _each(process: "subprocess.Popen[str]") -> Iterator[str]:
    assert process.stdout is not None
    yield from process.stdout


def auditing(shop: Shop, chance: random.Random, number: int) -> None:
    """Kill an audit; what a reader saw meanwhile is acknowledged."""
    shop.arrive(number)
    with _audit(shop) as process:
        until = time.monotonic() + chance.uniform(1, 8)
        while time.monotonic() < until and process.poll() is None:
            with contextlib.suppress(LedgerError), read_ledger(shop.ledger) as ledger:
                shop.ids |= {id_ for (id_,) in ledger.read("SELECT id FROM record")}
            time.sleep(0.02)
        kill(process)


def audit_on(shop: Shop) -> None:
    """Audit undisturbed."""
    with _audit(shop) as process:
        told = process.communicate(timeout=shop.longest)[0]
        assert process.returncode in (0, 1, 3), told


def _audit(shop: Shop) -> "subprocess.Popen[str]":
    return shop.start("audit", str(shop.folder / "photos"), "--ledger", str(shop.ledger),
                      "--fibre", "basalt", "--out", str(shop.folder / "audit"))  # fmt: skip


def serving(shop: Shop, chance: random.Random, number: int) -> None:
    """Kill the server of the phone page while photos are sent and judged."""
    with _serve(shop) as at:
        sender = threading.Thread(target=_send_on, args=(shop, at, number))
        sender.start()
        known = len(shop.shown)
        _at_random(chance, lambda: len(shop.shown) > known, at.process)
        kill(at.process)
        sender.join()


def serve_on(shop: Shop) -> None:
    """Serve undisturbed until all that was sent whole is judged."""
    with _serve(shop) as at:
        _until(lambda: set(shop.check("undisturbed")) >= shop.given, at.process, shop.longest)


@contextlib.contextmanager
def _serve(shop: Shop) -> Iterator[Server]:
    with server(shop.folder / "records", None, "--ledger", str(shop.ledger)) as at:
        yield at


def _send_on(shop: Shop, at: Server, number: int) -> None:
    """Send photos one after another, and note what the server acknowledged, until it is gone."""
    with contextlib.suppress(httpx.HTTPError), at.client() as client:
        for k in range(1000):
            data = shop.photo(1000 * number + k)
            name, sha256 = os.urandom(16).hex(), hashlib.sha256(data).hexdigest()
            shot = {
                "id": name,
                "part": "K-7",
                "view": "anterior",
                "fibre": "basalt",
                "size": len(data),
            }
            client.post("/api/photos", content=json.dumps(shot)).raise_for_status()
            client.put(f"/api/photos/{name}?offset=0", content=data).raise_for_status()
            shop.given.add(sha256)
            while client.get(f"/api/photos/{name}?wait=20").json()["state"] != "kept":
                pass
            shop.shown.add(sha256)


def _at_random(
    chance: random.Random,
    begun: Callable[[], bool],
    process: "subprocess.Popen[str] | subprocess.Popen[bytes]",
) -> None:
    """Wait for the moment to kill: in half of all rounds not before something is acknowledged."""
    if chance.random() < 0.5:
        time.sleep(chance.uniform(0, 3))
    else:
        _until(begun, process)
        time.sleep(chance.uniform(0, 1.5))


def _until(
    holds: Callable[[], bool],
    process: "subprocess.Popen[str] | subprocess.Popen[bytes]",
    longest: float = LONGEST,
) -> None:
    until = time.monotonic() + longest
    while not holds():
        assert time.monotonic() < until, "it did not catch up"
        assert process.poll() is None, "it ended by itself"
        time.sleep(0.1)


HOW: dict[str, tuple[Callable[[Shop, random.Random, int], None], Callable[[Shop], None] | None]] = {
    "appending": (appending, None),
    "watching": (watching, watch_on),
    "auditing": (auditing, audit_on),
    "serving": (serving, serve_on),
}


def kill_often(folder: Path, how: str, times: int, seed: int) -> tuple[int, int]:
    """Kill some rounds; return how much was acknowledged, and how many entries are there.

    Raises
    ------
    AssertionError
        If something acknowledged is lost or doubled, the chain is broken, or work does not resume.
    """
    shop, chance = Shop(folder, folder / "killed.ledger"), random.Random(seed)
    once, undisturbed = HOW[how]
    for number in range(times):
        once(shop, chance, number)
        shop.check(f"kill {number}")
    acknowledged = len(shop.ids | shop.shown)
    if undisturbed is not None:
        undisturbed(shop)
        missing = shop.given - set(shop.check("undisturbed"))
        assert not missing, f"not judged after all: {len(missing)} photos"
    with read_ledger(shop.ledger) as ledger:
        return acknowledged, ledger.head().seq


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("how", nargs="?", choices=HOW, default="appending")
    parser.add_argument("--times", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--append", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--start", type=int, default=0, help=argparse.SUPPRESS)
    told = parser.parse_args()
    if told.append:
        append(told.append, told.start)
    with tempfile.TemporaryDirectory() as folder:
        acknowledged, there = kill_often(Path(folder), told.how, told.times, told.seed)
    print(
        f"{told.how}: {told.times} kills, {acknowledged} acknowledged, none lost; {there} entries"
    )


if __name__ == "__main__":
    main()
