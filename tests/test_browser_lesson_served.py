"""The lesson served by the shop's computer: results go to the ledger, a trainer sees everyone's."""

from collections.abc import Iterator

import pytest
from bench_server import Server, server
from browsers import chromium, phone
from drawn_shop import DrawnShop
from lessons import specimens_of
from playwright.sync_api import Browser, BrowserContext, Page, expect

from satcheck.ledger.book import read_ledger
from satcheck.ledger.entries import Kind
from satcheck.ledger.search import Search
from satcheck.lesson.build import build_lesson
from satcheck.lesson.picks import propose
from satcheck.pages.lesson import lesson_page

ALL_RIGHT = "t === 1 || t === 5 ? t : 0"


@pytest.fixture(scope="module")
def school(shop: DrawnShop, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = tmp_path_factory.mktemp("school")
    specimens = specimens_of(shop)
    made = build_lesson(specimens, propose(specimens), shop.calibration, "Drawn.")
    (folder / "lesson.html").write_text(lesson_page(made), encoding="utf-8")
    with server(folder / "records", None, "--lesson", str(folder / "lesson.html")) as running:
        yield running


@pytest.fixture(scope="module")
def browser(school: Server) -> Iterator[Browser]:
    with chromium(school) as made:
        yield made


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    with phone(browser) as made:
        yield made


def open_find(context: BrowserContext, school: Server) -> Page:
    page = context.new_page()
    page.on("pageerror", lambda error: pytest.fail(str(error)))
    page.goto(f"{school.base}/lesson#k={school.key}")
    page.get_by_role("tab", name="Find").tap()
    return page


def learn(page: Page, initials: str, marks: str) -> None:
    """Mark every cell by an expression of its truth ``t``, under some initials."""
    page.locator("#initials").fill(initials)
    page.locator("#initials").blur()
    page.evaluate(
        "DATA.searches[searchAt].truth.forEach((row, y) => [...row].forEach((t, x) => "
        f"{{ t = Number(t); marks[y][x] = {marks}; }}))"
    )
    page.locator("#done").tap()


def test_a_trainer_sees_on_any_device_who_confuses_what(
    browser: Browser, context: BrowserContext, school: Server
) -> None:
    page = open_find(context, school)
    expect(page.get_by_role("link", name="Bench")).to_be_visible()
    learn(page, "ab", ALL_RIGHT)
    expect(page.locator("#everyone tbody tr")).to_have_count(1)
    page.locator("#next-search").tap()
    learn(page, "cd", "0")
    with phone(browser) as other:
        rows = open_find(other, school).locator("#everyone tbody tr")
        expect(rows).to_have_count(2)
        expect(rows.first).to_contain_text("nothing")
        expect(rows.last).to_contain_text("called good")


def test_a_round_without_initials_waits_for_them(context: BrowserContext, school: Server) -> None:
    page = open_find(context, school)
    learn(page, "", ALL_RIGHT)
    expect(page.locator("#kept-where")).to_contain_text("Type your initials")
    page.locator("#initials").fill("ef")
    page.locator("#initials").blur()
    expect(page.locator("#progress")).to_contain_text("EF: 1 round")
    expect(page.locator("#kept-where")).not_to_contain_text("wait")


def test_a_round_done_without_network_is_sent_with_the_next_one(
    context: BrowserContext, school: Server
) -> None:
    page = open_find(context, school)
    context.set_offline(True)
    learn(page, "gh", ALL_RIGHT)
    expect(page.locator("#kept-where")).to_contain_text("not sent yet")
    context.set_offline(False)
    page.locator("#next-search").tap()
    learn(page, "gh", ALL_RIGHT)
    expect(page.locator("#kept-where")).not_to_contain_text("not sent yet")
    records = school.records / "shop.ledger"
    with read_ledger(records) as ledger:
        assert len(ledger.find(Search(kind=Kind.LEARNER_RESULT, by="GH"))) == 2


def test_without_the_key_the_lesson_does_not_come(context: BrowserContext, school: Server) -> None:
    page = context.new_page()
    page.goto(f"{school.base}/lesson")
    expect(page.locator("#locked-say")).to_contain_text("Scan the code")
