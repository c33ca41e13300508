"""The audit's page in a real browser, from a file: filter, sort, print."""

from collections.abc import Iterator
from pathlib import Path

import pypdfium2
import pytest
from audits import jpeg, month, part_of, photo_of
from bench_server import CHROMIUM
from playwright.sync_api import Browser, Locator, Page, expect, sync_playwright

from satcheck.audit.outputs import write_results
from satcheck.audit.summary import Summary, summarise
from satcheck.model import ZONES, Label

SPOILED_WORDS = """() => [...document.querySelectorAll('#findings svg')].flatMap(svg => {
    const boxes = name => [...svg.querySelectorAll(name)].map(node => ({
        ...JSON.parse(JSON.stringify(DOMRect.fromRect(node.getBBox()))), said: node.textContent,
    }))
    const words = boxes('text'), all = [...words, ...boxes('rect')]
    const meets = (a, b) => a !== b && a.left < b.right && b.left < a.right
        && a.top + 3 < b.bottom && b.top + 3 < a.bottom
    return words.filter(one => one.left < 0 || one.right > svg.viewBox.baseVal.width + 0.5
        || all.some(other => meets(one, other))).map(one => one.said)
})"""
"""Words of a chart that leave its picture, or lie on others or on a bar."""


@pytest.fixture(scope="module")
def found() -> Summary:
    """Return 24 parts of a month, of which 6 starved at the lock, and one that is not judged."""
    unseen = photo_of("Z-1", Label.NOT_JUDGED, by="EF", share_judged=0.1)
    return summarise((*month(), part_of("Z-1", unseen)), made_at="2026-04-01", folders=["March"])


@pytest.fixture(scope="module")
def address(found: Summary, tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("audit")
    write_results(found, folder, lambda _: jpeg())
    return (folder / "audit.html").as_uri()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as play:
        made = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield made
        made.close()


@pytest.fixture(params=[360, 1280])
def page(browser: Browser, address: str, request: pytest.FixtureRequest) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": request.param, "height": 800})
    made = context.new_page()
    problems: list[str] = []
    made.on("pageerror", lambda error: problems.append(str(error)))
    made.on("request", lambda one: problems.append(one.url) if "://" in one.url[5:] else None)
    made.goto(address)
    yield made
    context.close()
    assert problems in ([], [address])


def rows(page: Page) -> Locator:
    return page.locator("#table tbody tr:visible")


def parts(page: Page) -> list[str]:
    return rows(page).locator("td:first-child").all_inner_texts()


def test_words_outcome_and_technician_narrow_the_table_and_the_overlays_alike(page: Page) -> None:
    expect(rows(page)).to_have_count(25)
    page.get_by_role("checkbox", name="pass").uncheck()
    expect(rows(page)).to_have_count(7)
    page.get_by_role("checkbox", name="not judged").uncheck()
    expect(rows(page)).to_have_count(6)
    expect(page.locator("#cards article:visible")).to_have_count(6)
    expect(page.locator("#shown")).to_contain_text("6 of 25 parts")
    page.fill("#words", "LOCK p-08")
    assert parts(page) == ["P-08"]
    page.fill("#words", "")
    page.select_option("#who", "AB")
    expect(rows(page)).to_have_count(0)
    page.select_option("#who", "CD")
    expect(rows(page)).to_have_count(6)
    page.fill("#words", "no such part")
    expect(rows(page)).to_have_count(0)


def test_a_head_sorts_and_sorts_back_and_the_overlays_follow(page: Page) -> None:
    page.click("[data-key=part]")
    ascending = parts(page)
    assert ascending == sorted(ascending)
    page.click("[data-key=part]")
    assert parts(page) == ascending[::-1]
    expect(page.locator("th[aria-sort=descending]")).to_have_text("Part")
    titles = page.locator("#cards h3").all_text_contents()
    assert [title.split(":")[0] for title in titles] == parts(page)
    page.click("[data-key=judged]")
    assert parts(page)[0] == "Z-1"


def test_the_worst_stand_first_and_a_part_leads_to_its_overlay(page: Page) -> None:
    expect(rows(page).first.locator(".verdict")).to_have_text("starved")
    rows(page).first.get_by_role("link").click()
    expect(page.locator("#part-0")).to_be_in_viewport()


def test_a_phone_is_not_made_to_scroll_sideways(page: Page) -> None:
    wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert wide <= 0


def test_print_holds_each_shown_part_with_its_picture_and_the_promise(
    page: Page, found: Summary, tmp_path: Path
) -> None:
    page.get_by_role("checkbox", name="pass").uncheck()
    page.pdf(path=tmp_path / "audit.pdf", format="A4")
    with pypdfium2.PdfDocument(tmp_path / "audit.pdf") as printed:
        sheets = list(printed)
        words = " ".join("\n".join(s.get_textpage().get_text_bounded() for s in sheets).split())
        pictures = sum(1 for s in sheets for _ in s.get_objects(filter=[3]))
    shown = [part for part in found.parts if part.outcome != "pass"]
    assert all(part.part in words for part in shown)
    assert "P-01.jpg" not in words
    assert pictures == sum(len(part.photos) for part in shown)
    assert all(" ".join(sentence.split()) in words for sentence in found.statement)


@pytest.fixture
def crowded(browser: Browser, tmp_path: Path) -> Iterator[Page]:
    """Yield the page of 120 parts with long names, each starved, and with the longest reason."""
    who, why = "Annemarie-Müller-Lüdenscheidt-von-Grünau", {"unlike the shop's photos": 0.4}
    whole, lock = dict.fromkeys(ZONES, Label.STARVED), {"lock": Label.STARVED}
    parts = []
    for k in range(120):
        name, by = f"{k:03}" + "M" * 57, who if k % 2 else "AB"
        zones = lock if k % 4 < 2 else whole
        parts.append(part_of(name, photo_of(name, Label.STARVED, zones, by=by, reasons=why)))
    found = summarise(parts, made_at="2026-04-01", folders=["March"])
    write_results(found, tmp_path, lambda _: jpeg())
    page = browser.new_page(viewport={"width": 688, "height": 980})
    page.goto((tmp_path / "audit.html").as_uri())
    yield page
    page.close()


def test_no_column_is_cut_off_in_print_whatever_the_names(crowded: Page) -> None:
    """A4 less its margins is 182 mm, 688 pixels wide."""
    crowded.emulate_media(media="print")
    wide = "document.querySelector('#table').scrollWidth - document.body.clientWidth"
    assert crowded.evaluate(wide) <= 0


def test_no_word_of_a_chart_is_cut_off_or_lies_on_another(crowded: Page) -> None:
    """'unlike the shop's photos' was read as 'like the shop's photos'."""
    expect(crowded.locator("#findings")).to_contain_text("starved, Annemarie-")
    assert crowded.evaluate(SPOILED_WORDS) == []
