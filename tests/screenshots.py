"""Make screenshots of every page, at 360x740 and 1280x800: python tests/screenshots.py FOLDER.

Photos are the demo's. The folder must lie outside the repository; look at what comes out.
"""

import subprocess
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
    page.goto(at.base)
    page.wait_for_selector("[data-at=start]")
    page.fill("#part", str(first))
    page.locator("#part").blur()
    grams(page, shoot)
    lesson(page, at, shoot)


def key_in(page: Page, **figures: str) -> None:
    """Type figures with the page's own keys."""
    for name, digits in figures.items():
        page.click(f".cell:has([name={name}])")
        for digit in digits:
            page.click(f'[data-key="{digit}"]')


def grams(page: Page, shoot: Callable[[str], None]) -> None:
    """Go through mix sheet and weighing."""
    page.click("a.to")
    page.wait_for_selector("[data-at=form]")
    shoot("13_mix_empty")
    page.check("[name=resin][value=acrylic]", force=True)
    key_in(page, dry_fabric="182")
    page.click("#go")
    page.wait_for_selector("#bad:not(:empty)")
    shoot("14_mix_missing")
    key_in(page, hardener="3", promoter="1.5", temperature="21", low="25", high="30")
    key_in(page, mix_cup="14", mix_bag="50")
    page.click("#go")
    page.wait_for_selector("[data-at=answer]")
    shoot("15_mix")
    page.click("#to-weigh")
    shoot("16_weigh_empty")
    key_in(page, mixed="300", cup="14", bag="62")
    page.click("#go")
    page.wait_for_selector("[data-at=answer]")
    shoot("17_weigh")


def lesson(page: Page, at: Server, shoot: Callable[[str], None]) -> None:
    """Go through the four parts of the lesson."""
    page.goto(f"{at.base}/lesson")
    for number, name in enumerate(("See", "Deceived", "Find", "Decide"), 18):
        page.get_by_role("tab", name=name).click()
        page.wait_for_timeout(200)
        shoot(f"{number}_lesson_{name.lower()}")


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
    made = folder / "lesson" / "lesson.html"
    if not made.exists():
        subprocess.run(
            [sys.executable, "-m", "satcheck", "lesson", "--out", made.parent], check=True
        )
    with server(folder / "records", None, "--lesson", str(made)) as at, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=at.chromium)
        shoot_all(browser, at, folder)
        browser.close()


if __name__ == "__main__":
    main()
