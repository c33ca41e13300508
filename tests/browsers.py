"""A phone's browser for the pages' tests: chromium, 360 x 740, by a mapped name over plain http.

A browser lives no longer than its module: while one is open, asyncio cannot be run beside it.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pypdfium2
from bench_server import CHROMIUM, Server
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from satcheck.card.sheet import write_card

SAMPLES = Path(__file__).parents[1] / "sample_images"
DONE = "[data-at=result], [data-at=failed], [data-at=locked]"
WAIT = 120_000

expect.set_options(timeout=30_000)


@contextmanager
def chromium(bench: Server) -> Iterator[Browser]:
    """Yield a browser that knows the server by its name."""
    with sync_playwright() as play:
        made = play.chromium.launch(executable_path=CHROMIUM, args=bench.chromium)
        yield made
        made.close()


@contextmanager
def phone(browser: Browser) -> Iterator[BrowserContext]:
    """Yield a phone that nobody has used yet."""
    made = browser.new_context(
        viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True
    )
    yield made
    made.close()


@contextmanager
def watched(context: BrowserContext, bench: Server) -> Iterator[Page]:
    """Yield the page on which no script fails and no foreign one speaks."""
    made = open_page(context, bench)
    problems: list[str] = []
    made.on("pageerror", lambda error: problems.append(str(error)))
    made.on("dialog", lambda dialog: problems.append(dialog.message))
    yield made
    assert problems == []


def open_page(context: BrowserContext, bench: Server) -> Page:
    """Open the page as by scanning the code."""
    made = context.new_page()
    made.goto(bench.link)
    made.wait_for_selector("[data-at=start]")
    return made


def card_photo(folder: Path, part: str) -> Path:
    """Return a photo, as it were, of the printed card of a part."""
    write_card(folder / "card.pdf", part)
    with pypdfium2.PdfDocument(folder / "card.pdf") as sheet:
        card = sheet[0].render(scale=150 / 72).to_pil()
    photo = Image.new("RGB", (1500, 2000), "#8a8a88")
    photo.paste(card, (300, 500))
    photo.save(folder / "card.jpg", quality=92)
    return folder / "card.jpg"


def too_low(page: Page) -> list[str]:
    """Return what is to be touched and less than 60 pixels high."""
    found: list[str] = page.eval_on_selector_all(
        "button, label.take, label.plain, label.cell, input:not([type]):not(.cell input), a, "
        "summary, .choice span",
        "all => all.filter(one => one.checkVisibility() && one.getBoundingClientRect().height"
        " < 60).map(one => one.outerHTML.slice(0, 80))",
    )
    return found
