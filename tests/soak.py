"""Ten minutes of mixed phones, watch and audits on one ledger: memory is flat, nothing is lost.

    python tests/soak.py --minutes 10

Phones send photos in pieces, break off and go on, give up, send what is no photo, ask for the
series and the day, start clocks, mix and weigh, and now and then come with a wrong key. Meanwhile
photos arrive in a folder that is watched, and in one that is audited again and again. Memory is
that of the processes and their workers (VmRSS), read every five seconds.
"""

import argparse
import contextlib
import hashlib
import io
import json
import os
import random
import signal
import statistics
import sys
import tempfile
import threading
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import httpx
from bench_server import Server, server
from fuzz_mutants import mutant
from kill_ledger import Shop
from PIL import Image

from satcheck.ledger.book import read_ledger
from satcheck.ledger.entries import Kind
from satcheck.ledger.verifying import verify

SAMPLES = Path(__file__).parents[1] / "sample_images"
PHONES = 4
VIEWS = ("anterior", "posterior", "medial", "lateral")
SAMPLE_SECONDS = 5.0
GROWTH, SPARE = 1.1, 30_000_000
"""Memory may be larger by a tenth and 30 MB at the end than after the first third (own rule)."""
MIX = {"resin": "acrylic", "fibre": "basalt", "dry_fabric": "182", "low": "25", "high": "30",
       "hardener": "3"}  # fmt: skip
WEIGH = {"resin": "acrylic", "fibre": "basalt", "dry_fabric": "182", "mixed": "300", "cup": "14",
         "bag": "62"}  # fmt: skip


@dataclass
class Soak:
    """What is going on, and what was acknowledged."""

    shop: Shop
    until: float
    kept: dict[str, str] = field(default_factory=dict)
    """Part by the sha256 of each photo whose verdict a phone was given."""
    done: Counter[str] = field(default_factory=Counter)
    memory: dict[str, list[tuple[float, int]]] = field(default_factory=lambda: defaultdict(list))
    files: list[int] = field(default_factory=list)
    """Open files of the server, with each sample of memory."""
    faults: list[str] = field(default_factory=list)

    @property
    def is_on(self) -> bool:
        """Return whether there is time left."""
        return time.monotonic() < self.until and not self.faults


@cache
def samples() -> list[bytes]:
    """Return the demo's photos at half their size: they are judged in a part of the time."""
    made = []
    for path in sorted(SAMPLES.glob("*.jpg")):
        stream = io.BytesIO()
        with Image.open(path) as photo:
            photo.reduce(2).save(stream, "JPEG", quality=90)
        made.append(stream.getvalue())
    return made


def photo(chance: random.Random) -> bytes:
    """Return a photo like no other: one of the demo's with a comment."""
    data, text = chance.choice(samples()), chance.randbytes(16)
    return data[:2] + b"\xff\xfe" + (len(text) + 2).to_bytes(2, "big") + text + data[2:]


# --- phones ------------------------------------------------------------------------------------


def phone(soak: Soak, at: Server, number: int) -> None:
    """Do what a phone does, part after part, until the time is over."""
    chance = random.Random(number)
    try:
        for k in range(10**6):
            if not soak.is_on:
                return
            with at.client() as client:
                _part(soak, at, client, chance, f"S{number}-{k}")
    except BaseException as error:
        soak.faults.append(f"phone {number}: {error!r}")
        raise


def _part(soak: Soak, at: Server, client: httpx.Client, chance: random.Random, part: str) -> None:
    acts: list[tuple[Callable[..., None], int]] = [
        (_photograph, 8), (_break_off, 2), (_give_up, 1), (_nonsense, 2), (_look, 4), (_clock, 2),
        (_weigh, 1), (_wrong_key, 1),
    ]  # fmt: skip
    for act in chance.choices([a for a, _ in acts], [w for _, w in acts], k=8):
        if soak.is_on:
            act(soak, at, client, chance, part)
            soak.done[act.__name__.strip("_")] += 1


def _ask(client: httpx.Client, method: str, path: str, sent: Any = None) -> Any:
    data = json.dumps(sent).encode() if isinstance(sent, dict) else sent
    answer = client.request(method, path, content=data)
    assert answer.status_code < 500, f"{method} {path}: {answer.status_code} {answer.text[:200]}"
    return answer.json()


def _begin(client: httpx.Client, chance: random.Random, part: str, data: bytes) -> str:
    name = chance.randbytes(16).hex()
    shot = {"id": name, "part": part, "view": chance.choice(VIEWS), "fibre": "basalt"}
    told = _ask(client, "POST", "/api/photos", {**shot, "size": len(data)})
    return name if "state" in told else ""  # too many under way: a page tries again later


def _finish(soak: Soak, client: httpx.Client, name: str, part: str, data: bytes) -> None:
    """Send what is missing, wait for the verdict and note that it was given."""
    while (told := _ask(client, "GET", f"/api/photos/{name}"))["state"] == "sending":
        at = told["received"]
        _ask(client, "PUT", f"/api/photos/{name}?offset={at}", data[at : at + 100_000])
    while told["state"] in ("waiting", "measuring"):
        told = _ask(client, "GET", f"/api/photos/{name}?wait=20")
    assert told["state"] == "kept", told
    assert told["answer"]["part"] == part, "the verdict of another phone"
    soak.kept[hashlib.sha256(data).hexdigest()] = part


def _photograph(
    soak: Soak, _at: Server, client: httpx.Client, chance: random.Random, part: str
) -> None:
    data = photo(chance)
    if name := _begin(client, chance, part, data):
        _finish(soak, client, name, part, data)
        client.get(f"/api/photos/{name}/marks.jpg").raise_for_status()
        _ask(client, "GET", f"/api/photos/{name}/series")


def _break_off(
    soak: Soak, at: Server, client: httpx.Client, chance: random.Random, part: str
) -> None:
    """Lose the network in the middle of a piece, and go on."""
    data = photo(chance)
    if name := _begin(client, chance, part, data):
        _send_half(at, name, data)
        _finish(soak, client, name, part, data)


def _give_up(
    _soak: Soak, at: Server, client: httpx.Client, chance: random.Random, part: str
) -> None:
    data = photo(chance)
    if name := _begin(client, chance, part, data):
        _send_half(at, name, data)


def _send_half(at: Server, name: str, data: bytes) -> None:
    def half() -> Iterator[bytes]:
        yield data[: len(data) // 2]
        raise ConnectionError

    with contextlib.suppress(ConnectionError), at.client() as other:
        other.put(f"/api/photos/{name}?offset=0", content=half())


def _nonsense(
    _soak: Soak, _at: Server, client: httpx.Client, chance: random.Random, part: str
) -> None:
    _, data = mutant(chance.getrandbits(30), 1)
    if data and (name := _begin(client, chance, part, data)):
        _ask(client, "PUT", f"/api/photos/{name}?offset=0", data)
        while _ask(client, "GET", f"/api/photos/{name}?wait=20")["state"] in WAITING:
            pass


WAITING = ("waiting", "measuring")


def _look(_soak: Soak, _at: Server, client: httpx.Client, chance: random.Random, part: str) -> None:
    for path in ("/api/today", f"/api/grams?part={part}", f"/api/clock?part={part}"):
        _ask(client, "GET", path)
    client.get(chance.choice(["/", "/today", "/grams", "/files/bench.js"])).raise_for_status()
    _ask(client, "POST", "/api/card", photo(chance))


def _clock(
    _soak: Soak, _at: Server, client: httpx.Client, chance: random.Random, part: str
) -> None:
    _ask(client, "POST", f"/api/clock?part={part}", {"minutes": chance.randint(1, 60)})
    if chance.random() < 0.5:
        _ask(client, "DELETE", f"/api/clock?part={part}")


def _weigh(
    _soak: Soak, _at: Server, client: httpx.Client, chance: random.Random, part: str
) -> None:
    for path, entries in (("mix", MIX), ("weigh", WEIGH)):
        sent = {"id": chance.randbytes(16).hex(), "part": part, "entries": entries}
        _ask(client, "POST", f"/api/grams/{path}", sent)


def _wrong_key(
    _soak: Soak, at: Server, _client: httpx.Client, _chance: random.Random, _part: str
) -> None:
    """Once in a while from another address, so that the phones' own is not closed."""
    transport = httpx.HTTPTransport(local_address="127.0.0.9")
    with httpx.Client(transport=transport) as stranger:
        headers = {"X-Satcheck-Key": "wrong"}
        answer = stranger.get(f"http://127.0.0.1:{at.port}/api/today", headers=headers)
        assert answer.status_code in (401, 429), answer.status_code


# --- watch and audit ---------------------------------------------------------------------------


def arrive(soak: Soak) -> None:
    """Put a photo into both folders every eight seconds."""
    chance = random.Random(-1)
    for k in range(10**6):
        for folder in ("watched", "audited"):
            place = soak.shop.folder / folder / f"{folder[0].upper()}-{k // 4}"
            place.mkdir(parents=True, exist_ok=True)
            (place / f"{k}.jpg").write_bytes(photo(chance))
        for _ in range(80):
            if not soak.is_on:
                return
            time.sleep(0.1)


def audit(soak: Soak) -> None:
    """Audit again and again, and once more at the end."""
    is_last = False
    while not is_last:
        is_last = not soak.is_on
        process = soak.shop.start(
            "audit", str(soak.shop.folder / "audited"), "--ledger", str(soak.shop.ledger),
            "--fibre", "basalt", "--out", str(soak.shop.folder / "audit"), "--processes", "1",
        )  # fmt: skip
        told = process.communicate()[0]
        soak.done["audit"] += 1
        if process.returncode not in (0, 1, 3):
            soak.faults.append(f"audit: status {process.returncode} {told[-300:]}")
        time.sleep(2)


@contextlib.contextmanager
def watching(soak: Soak) -> Iterator[int]:
    """Watch a folder; yield the process's id."""
    (soak.shop.folder / "watched").mkdir()
    said = soak.shop.folder / "watch.log"
    process = soak.shop.start(
        "watch", str(soak.shop.folder / "watched"), "--ledger", str(soak.shop.ledger),
        "--fibre", "basalt",
    )  # fmt: skip
    assert process.stdout is not None
    drain = threading.Thread(target=lambda: said.write_text(process.stdout.read()))  # type: ignore[union-attr]
    drain.start()
    yield process.pid
    process.send_signal(signal.SIGINT)
    if process.wait(60) != 0:
        soak.faults.append(f"watch: status {process.returncode}")
    drain.join()


# --- memory ------------------------------------------------------------------------------------


def sample(soak: Soak, pids: dict[str, int]) -> None:
    """Note the memory of each program with its workers, every five seconds."""
    start = time.monotonic()
    while soak.is_on:
        for name, pid in pids.items():
            now = time.monotonic() - start
            soak.memory[name].append((now, _memory(pid)))
            if workers := _children(pid):
                used = sum(_memory(one) for one in workers)
                soak.memory[f"{name}'s workers"].append((now, used))
        soak.files.append(len(list(Path(f"/proc/{pids['server']}/fd").iterdir())))
        time.sleep(SAMPLE_SECONDS)


def _children(pid: int) -> list[int]:
    return [int(n) for n in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def _memory(pid: int) -> int:
    with contextlib.suppress(OSError):
        return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    return 0


def growth(samples_: list[tuple[float, int]]) -> tuple[float, float]:
    """Return the median memory of the second and the last third, bytes: the first warms up."""
    third = len(samples_) // 3
    middle, last = samples_[third : 2 * third], samples_[2 * third :]
    return statistics.median(m for _, m in middle), statistics.median(m for _, m in last)


# --- what is there at the end ------------------------------------------------------------------


def hold_to_account(soak: Soak) -> None:
    """Note as a fault whatever was acknowledged and is not there, once and right."""
    with read_ledger(soak.shop.ledger) as ledger:
        entries, report = list(ledger.entries()), verify(ledger)
    made = [e for e in entries if e.kind == Kind.INSPECTION]
    parts = {e.body["photo"]: e.body.get("part") for e in made}
    times = Counter(e.body["photo"] for e in made)
    lost = {sha256 for sha256, part in soak.kept.items() if parts.get(sha256) != part}
    files = [*(soak.shop.folder / "watched").rglob("*.jpg")]
    files += (soak.shop.folder / "audited").rglob("*.jpg")
    missing = [p for p in files if hashlib.sha256(p.read_bytes()).hexdigest() not in parts]
    doubled = [sha256 for sha256, count in times.items() if count > 1]
    for what, found in {"lost": lost, "not judged": missing, "doubled": doubled}.items():
        if found:
            soak.faults.append(f"{len(found)} photos {what}")
    if report.first or not report.index_agrees:
        soak.faults.append(f"the ledger is not whole: {report}")
    log = (soak.shop.folder / "records" / "serve.log").read_text()
    if "Traceback" in log:
        soak.faults.append(log[log.index("Traceback") :][:2000])
    print(f"{len(soak.kept)} verdicts given to phones, {len(files)} photos by watch and audit")
    print(f"{len(entries)} entries, {len(made)} inspections; whole: {report.first is None}")


def report_memory(soak: Soak) -> None:
    for name, all_ in soak.memory.items():
        middle, last = growth(all_)
        peak = max(m for _, m in all_)
        print(
            f"{name}: {middle / 1e6:.0f} MB in the second third, {last / 1e6:.0f} MB in the last, "
            f"at most {peak / 1e6:.0f} MB ({len(all_)} samples)"
        )
        if last > GROWTH * middle + SPARE:
            soak.faults.append(f"{name} grew")
    third = len(soak.files) // 3
    print(f"open files of the server: {statistics.median(soak.files[third:])}, at most "
          f"{max(soak.files)}; at the end {soak.files[-1]}")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--minutes", type=float, default=10)
    told = parser.parse_args()
    samples()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shop = Shop(folder, folder / "shop.ledger")
        with server(folder / "records", None, "--ledger", str(shop.ledger)) as at:
            soak = Soak(shop, time.monotonic() + 60 * told.minutes)
            with watching(soak) as pid, ThreadPoolExecutor(PHONES + 3) as pool:
                work = [pool.submit(phone, soak, at, number) for number in range(PHONES)]
                work += [pool.submit(arrive, soak), pool.submit(audit, soak)]
                work.append(pool.submit(sample, soak, {"server": at.process.pid, "watch": pid}))
                for one in work:
                    with contextlib.suppress(AssertionError, httpx.HTTPError):
                        one.result()
                _until_watched(soak)
        hold_to_account(soak)
    report_memory(soak)
    print(", ".join(f"{count} {what}" for what, count in sorted(soak.done.items())))
    print(*soak.faults or ["flat, and nothing lost"], sep="\n")
    sys.exit(bool(soak.faults))


def _until_watched(soak: Soak) -> None:
    """Wait until the watch has judged what arrived last."""
    files = list((soak.shop.folder / "watched").rglob("*.jpg"))
    wanted = {hashlib.sha256(path.read_bytes()).hexdigest() for path in files}
    for _ in range(600):
        with read_ledger(soak.shop.ledger) as ledger:
            there = {e.body["photo"] for e in ledger.entries() if e.kind == Kind.INSPECTION}
        if wanted <= there:
            return
        time.sleep(0.5)


if __name__ == "__main__":
    main()
