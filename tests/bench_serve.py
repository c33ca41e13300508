"""How long a verdict takes: python tests/bench_serve.py [PHOTO].

A 12 megapixel JPEG from the end of its upload to the overlay on the page, in chromium, warm, median
of nine; the same without a browser, which a phone runs on its own processor, to the overlay's last
byte; then ten phones at once, each with its own part. Without PHOTO, a photo of the demo is
enlarged to what a phone writes.
"""

import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from bench_server import CHROMIUM, Server, server
from phone_photo import phone_photo
from playwright.sync_api import Page, sync_playwright

TIMES, PHONES = 9, 10


def in_browser(page: Page, photo: Path, number: int) -> float:
    """Return the seconds from the end of the upload to the overlay on the page."""
    page.fill("#part", f"B-{number}")
    page.set_input_files("#take", photo)
    page.wait_for_selector("[data-at=result]", timeout=120_000)
    taken = page.evaluate("performance.getEntriesByName('shown').at(-1).duration")
    page.click("#who")
    page.wait_for_selector("[data-at=start]")
    return float(taken) / 1000


def ten_phones(at: Server, data: bytes) -> tuple[list[float], list[float]]:
    """Return each phone's seconds to its overlay, and those of some photos one after the other."""

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

    alone = [one(f"A-{number}") for number in range(TIMES)]
    with ThreadPoolExecutor(PHONES) as pool:
        return list(pool.map(one, [f"T-{number}" for number in range(PHONES)])), alone


def measure(photo: Path, say: Callable[[str], None] = print) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder, server(Path(folder)) as at:
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=CHROMIUM, args=at.chromium)
            page = browser.new_page(viewport={"width": 360, "height": 740})
            page.goto(at.link)
            page.wait_for_selector("[data-at=start]")
            times = [in_browser(page, photo, number) for number in range(TIMES + 1)][1:]
            browser.close()
        say(f"{photo.name}, {photo.stat().st_size / 1e6:.1f} MB, {os.cpu_count()} cores")
        waits, alone = ten_phones(at, photo.read_bytes())
        for where, taken in (("on the page", times), ("without a browser", alone)):
            say(f"upload's end to overlay, {where}: median {statistics.median(taken):.2f} s")
            say("  " + " ".join(f"{each:.2f}" for each in sorted(taken)))
        usual = statistics.median(alone)
        say(f"{PHONES} phones at once: slowest {max(waits):.2f} s, {max(waits) / usual:.1f} times")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        measure(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory() as made:
            measure(phone_photo(Path(made), 12, is_turned=True))
