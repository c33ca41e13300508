"""How long a verdict takes: python tests/bench_serve.py [PHOTO].

A 12 megapixel JPEG from the end of its upload to the overlay on the page, in chromium, warm, median
of nine; the same without a browser, which a phone runs on its own processor, to the overlay's last
byte; then ten phones at once, each with its own part. The plain decode of the same file is timed
before each photo: machines differ, and the ratio differs less. Without PHOTO, a photo of the demo
is enlarged to what a phone writes.
"""

import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import cv2
from bench_server import CHROMIUM, Server, server
from phone_photo import phone_photo
from playwright.sync_api import Page, sync_playwright

TIMES, PHONES = 9, 10


@dataclass
class Timed:
    """Seconds that photos took, and that the plain decode of the same file took before each."""

    taken: list[float] = field(default_factory=list)
    decodes: list[float] = field(default_factory=list)

    def add(self, photo: Path, take: Callable[[], float]) -> None:
        """Time a plain decode, then a photo."""
        begun = time.perf_counter()
        cv2.imread(str(photo))
        self.decodes.append(time.perf_counter() - begun)
        self.taken.append(take())

    def median(self) -> float:
        """Return the photos' median; the first was to warm up."""
        return statistics.median(self.taken[1:])

    def __str__(self) -> str:
        decode = statistics.median(self.decodes[1:])
        each = " ".join(f"{one:.2f}" for one in sorted(self.taken[1:]))
        times = f"{self.median() / decode:.1f} x the decode, {decode:.3f} s"
        return f"median {self.median():.2f} s, {times}\n  {each}"


def in_browser(page: Page, photo: Path, number: int) -> float:
    """Return the seconds from the end of the upload to the overlay on the page."""
    page.fill("#part", f"B-{number}")
    page.set_input_files("#take", photo)
    page.wait_for_selector("[data-at=result]", timeout=120_000)
    taken = page.evaluate("performance.getEntriesByName('shown').at(-1).duration")
    page.click("#who")
    page.wait_for_selector("[data-at=start]")
    return float(taken) / 1000


def without_browser(at: Server, photo: Path) -> tuple[Timed, list[float]]:
    """Return the seconds of some photos one after the other, and of ten phones at once."""
    data = photo.read_bytes()

    def one(part: str) -> float:
        name = os.urandom(16).hex()
        shot = {"id": name, "part": part, "view": "anterior", "fibre": "basalt", "size": len(data)}
        with at.client() as client:
            client.post("/api/photos", content=json.dumps(shot))
            client.put(f"/api/photos/{name}?offset=0", content=data)
            begun = time.perf_counter()
            while (told := client.get(f"/api/photos/{name}?wait=20").json())["state"] != "kept":
                assert told["state"] in ("waiting", "measuring"), told
            assert told["answer"]["part"] == part, "the verdict of another phone"
            client.get(f"/api/photos/{name}/marks.jpg").raise_for_status()
            return time.perf_counter() - begun

    alone = Timed()
    for number in range(TIMES + 1):
        alone.add(photo, partial(one, f"A-{number}"))
    with ThreadPoolExecutor(PHONES) as pool:
        return alone, list(pool.map(one, [f"T-{number}" for number in range(PHONES)]))


def measure(photo: Path, say: Callable[[str], None] = print) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder, server(Path(folder)) as at:
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=CHROMIUM, args=at.chromium)
            page = browser.new_page(viewport={"width": 360, "height": 740})
            page.goto(at.link)
            page.wait_for_selector("[data-at=start]")
            shown = Timed()
            for number in range(TIMES + 1):
                shown.add(photo, partial(in_browser, page, photo, number))
            browser.close()
        say(f"{photo.name}, {photo.stat().st_size / 1e6:.1f} MB, {os.cpu_count()} cores")
        alone, waits = without_browser(at, photo)
        say(f"upload's end to overlay, on the page: {shown}")
        say(f"upload's end to overlay, without a browser: {alone}")
        slowest = f"{max(waits):.2f} s, {max(waits) / alone.median():.1f} times"
        say(f"{PHONES} phones at once: slowest {slowest}")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        measure(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory() as made:
            measure(phone_photo(Path(made), 12, is_turned=True))
