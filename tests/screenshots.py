"""Make screenshots of every page, at 360x740 and 1280x800: python tests/screenshots.py FOLDER.

Photos are the demo's. The folder must lie outside the repository; look at what comes out.
"""

import sys
from collections.abc import Callable
from pathlib import Path

from bench_server import CHROMIUM, Server, server
from playwright.sync_api import Browser, Page, sync_playwright

SAMPLES = Path(__file__).parents[1] / "sample_images"
SIZES = {"phone": (360, 740), "wide": (1280, 800)}


def photograph(page: Page, photo: str) -> None:
    """Give the page a photo and wait for what it says."""
    page.set_input_files("#take", SAMPLES / photo)
    page.wait_for_selector("[data-at=result], [data-at=failed]", timeout=60_000)
    page.wait_for_selector("#more:not([hidden])", state="attached", timeout=30_000)
    page.wait_for_timeout(300)


def setup(page: Page, part: str, view: str, fibre: str) -> None:
    """Fill in what the page asks for."""
    page.fill("#part", part)
    page.check(f"[name=view][value={view}]", force=True)
    page.check(f"[name=fibre][value={fibre}]", force=True)


def tour(page: Page, at: Server, first: int, shoot: Callable[[str], None]) -> None:
    """Go through every page, with parts numbered from ``first`` on."""
    page.goto(at.base)
    page.wait_for_selector("[data-at=locked]")
    shoot("01_locked")
    page.goto(at.link)
    page.reload()
    page.wait_for_selector("[data-at=start]")
    shoot("02_start")
    setup(page, str(first + 0), "anterior", "basalt")
    photograph(page, "basalt_01.jpg")
    shoot("03_starved")
    page.click("#frame")
    shoot("04_plain")
    page.click("#mend")
    page.locator("#frame").scroll_into_view_if_needed()
    page.wait_for_timeout(300)
    for share in (0.4, 0.6):
        box = page.locator("#frame").bounding_box()
        assert box is not None
        page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] * share)
    shoot("05_mending")
    page.click("#mend-stop")
    for photo in ("basalt_02.jpg", "basalt_03.jpg"):
        photograph(page, photo)
    shoot("06_series")
    page.click("#clock")
    shoot("07_gel")
    page.fill("#gel-minutes", "25")
    page.click("#gel-start")
    page.click("#who")
    setup(page, str(first + 1), "medial", "glass")
    photograph(page, "blurred.jpg")
    shoot("08_not_judged")
    page.click("#who")
    setup(page, str(first + 1), "lateral", "glass")
    photograph(page, "glass_02.jpg")
    shoot("09_other")
    page.click("#who")
    setup(page, str(first + 2), "posterior", "carbon")
    photograph(page, "carbon_02.jpg")
    shoot("10_carbon")
    page.set_input_files("#take", Path(__file__))
    page.wait_for_selector("[data-at=failed]", timeout=60_000)
    shoot("11_failed")
    page.goto(f"{at.base}/today")
    page.wait_for_selector(".part")
    shoot("12_today")


def shoot_all(browser: Browser, at: Server, folder: Path) -> None:
    """Make the tour at every size; of long pages also the whole."""
    for name, (width, height) in SIZES.items():
        page = browser.new_context(
            viewport={"width": width, "height": height}, has_touch=name == "phone"
        ).new_page()

        def shoot(what: str, page: Page = page, name: str = name) -> None:
            page.screenshot(path=folder / f"{what}_{name}.png")
            page.screenshot(path=folder / f"{what}_{name}_whole.png", full_page=True)

        tour(page, at, 4711 if name == "phone" else 5711, shoot)


def main() -> None:
    """Make the screenshots."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    with server(folder / "records") as at, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=at.chromium)
        shoot_all(browser, at, folder)
        browser.close()


if __name__ == "__main__":
    main()
