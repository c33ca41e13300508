"""Mix sheet and weighing typed with large keys on a phone, in a real browser."""

import re
from collections.abc import Iterator

import pytest
from bench_server import Server
from browsers import SAMPLES, WAIT, chromium, open_page, phone, too_low, watched
from playwright.sync_api import Browser, BrowserContext, Page, expect


@pytest.fixture(scope="module")
def browser(bench: Server) -> Iterator[Browser]:
    with chromium(bench) as made:
        yield made


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    with phone(browser) as made:
        yield made


@pytest.fixture
def page(context: BrowserContext, bench: Server) -> Iterator[Page]:
    with watched(context, bench) as made:
        yield made


def to_grams(page: Page, part: str) -> None:
    page.wait_for_load_state()  # no thumb is as fast as a script that has not loaded yet
    page.fill("#part", part)
    page.locator("#part").blur()
    page.click("a.to")
    page.wait_for_selector("[data-at=form], [data-at=answer]")


def key_in(page: Page, **figures: str) -> None:
    """Type figures with the page's own keys."""
    for name, digits in figures.items():
        page.tap(f".cell:has([name={name}])")
        for digit in digits:
            page.tap(f'[data-key="{digit}"]')


def mix(page: Page, part: str) -> None:
    to_grams(page, part)
    page.check("[name=resin][value=acrylic]", force=True)
    key_in(page, dry_fabric="182", hardener="3", low="25", high="30", mix_cup="14", mix_bag="50")
    page.tap("#go")
    page.wait_for_selector("[data-at=answer]")


def weigh(page: Page) -> None:
    page.tap("#to-weigh")
    key_in(page, mixed="300", cup="14", bag="62")
    page.tap("#go")
    expect(page.locator("#weight-word")).not_to_be_empty()


def test_a_mix_is_typed_with_large_keys_and_its_grams_are_large(page: Page) -> None:
    mix(page, "2001")
    expect(page.locator("#amounts li")).to_have_count(3)
    expect(page.locator("#first-caution")).to_contain_text("Never mix peroxide and promoter")
    expect(page.locator("#experience")).to_contain_text("No prediction")
    high = page.locator("#amounts em").first.bounding_box()
    assert high is not None
    assert high["height"] >= 44


def test_the_weighing_knows_the_mix_and_stands_beside_the_photos_verdict(page: Page) -> None:
    page.fill("#part", "2002")
    page.set_input_files("#take", SAMPLES / "basalt_01.jpg")
    page.wait_for_selector("[data-at=result]", timeout=WAIT)
    page.click("#who")
    mix(page, "2002")
    weigh(page)
    expect(page.locator("#weight-word")).to_have_text("ENOUGH")
    expect(page.locator("#weight-but")).to_have_text("But the photo shows: starved.")
    expect(page.locator("#photos a")).to_contain_text("starved")
    page.locator("#photos a").click()
    page.wait_for_selector("[data-at=result]", timeout=WAIT)
    expect(page.locator("#weight-say")).to_contain_text("By weight enough")


def test_what_was_typed_stays_through_a_reload_and_what_was_kept_too(page: Page) -> None:
    to_grams(page, "2003")
    key_in(page, dry_fabric="182")
    page.reload()
    expect(page.locator("[name=dry_fabric]")).to_have_value("182")
    page.goto(page.url.partition("/grams")[0])
    mix(page, "2004")
    page.reload()
    expect(page.locator("#amounts li")).to_have_count(3)
    page.tap("#change")
    expect(page.locator("[name=hardener]")).to_have_value("3")


def test_a_missing_figure_is_named_and_its_field_is_at_hand(page: Page) -> None:
    to_grams(page, "2005")
    page.check("[name=resin][value=epoxy]", force=True)
    key_in(page, dry_fabric="182")
    page.tap("#go")
    expect(page.locator("#bad")).to_have_text("Hardener is missing.")
    expect(page.locator("[name=hardener]")).to_be_focused()


def test_the_hardener_is_never_filled_in_but_the_last_one_is_a_tap_away(page: Page) -> None:
    mix(page, "2006")
    page.click("a.who")
    to_grams(page, "2007")
    expect(page.locator("[name=low]")).to_have_value("25")
    expect(page.locator("[name=hardener]")).to_have_value("")
    page.tap("#last-hardener")
    expect(page.locator("[name=hardener]")).to_have_value("3")


def test_a_key_takes_the_place_of_a_figure_that_is_marked_and_back_takes_a_digit(
    page: Page,
) -> None:
    to_grams(page, "2008")
    key_in(page, dry_fabric="12.5.5")
    expect(page.locator("[name=dry_fabric]")).to_have_value("12.55")
    page.tap("[data-key=back]")
    expect(page.locator("[name=dry_fabric]")).to_have_value("12.5")
    page.tap("[data-key=next]")
    key_in(page, dry_fabric="7")
    expect(page.locator("[name=dry_fabric]")).to_have_value("7")


def test_a_double_tap_asks_once(page: Page) -> None:
    to_grams(page, "2009")
    page.check("[name=resin][value=acrylic]", force=True)
    key_in(page, dry_fabric="182", hardener="3", low="30")
    asked: list[str] = []
    page.on("request", lambda r: asked.append(r.url) if r.method == "POST" else None)
    page.evaluate("() => { const go = document.querySelector('#go'); go.click(); go.click(); }")
    page.wait_for_selector("[data-at=answer]")
    assert len(asked) == 1


def test_without_network_the_figures_stay_and_it_is_said(
    page: Page, context: BrowserContext
) -> None:
    to_grams(page, "2010")
    page.check("[name=resin][value=acrylic]", force=True)
    key_in(page, dry_fabric="182", hardener="3", low="30")
    context.set_offline(True)
    page.tap("#go")
    expect(page.locator("#bad")).to_contain_text("does not answer")
    context.set_offline(False)
    page.tap("#go")
    page.wait_for_selector("[data-at=answer]")


def test_the_clock_starts_from_the_mix_and_notes_the_gel(page: Page) -> None:
    mix(page, "2011")
    page.tap("#start-clock")
    page.fill("#gel-minutes", "25")
    page.tap("#gel-start")
    expect(page.locator("#clock")).to_contain_text("24 min left")
    page.tap("#clock")
    page.tap("#gel-gelled")
    expect(page.locator("#gel-gelled")).to_contain_text("Tap again")
    page.tap("#gel-gelled")
    expect(page.locator("#gel-noted")).to_contain_text("Noted")


def test_keys_and_fields_are_60_pixels_high_and_fit_the_phone(page: Page) -> None:
    to_grams(page, "2012")
    for to in ("#to-weigh", "#to-mix"):
        page.tap(to)
        assert too_low(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
    narrow = page.eval_on_selector_all(
        "[data-key], #go", "all => all.filter(one => one.getBoundingClientRect().width < 60).length"
    )
    assert narrow == 0


def test_script_in_a_figure_is_refused_as_text(page: Page) -> None:
    to_grams(page, "2013")
    page.check("[name=resin][value=acrylic]", force=True)
    page.eval_on_selector(
        "[name=dry_fabric]", "field => { field.value = '<img src=x onerror=alert(1)>'; }"
    )
    key_in(page, hardener="3", low="30")
    page.tap("#go")
    expect(page.locator("#bad")).to_contain_text("Dry fabric '<img")
    assert page.locator("#bad img").count() == 0


def test_without_the_key_or_a_part_the_page_says_what_to_do(
    context: BrowserContext, bench: Server
) -> None:
    page = context.new_page()
    page.goto(f"{bench.base}/grams")
    expect(page.locator("#locked-say")).to_contain_text("Scan the code")
    expect(page.locator("#figures")).to_be_hidden()
    other = open_page(context, bench)
    other.click("a.to")
    expect(other.locator(".at-nopart")).to_contain_text(re.compile("number first"))


def test_two_people_on_one_part_see_the_sheet_that_was_kept_last(
    page: Page, browser: Browser, bench: Server
) -> None:
    mix(page, "2014")
    with phone(browser) as second:
        other = open_page(second, bench)
        to_grams(other, "2014")
        expect(other.locator("#amounts li")).to_have_count(3)
        other.tap("#change")
        key_in(other, dry_fabric="200")
        other.tap("#go")
        expect(other.locator("#mixed .saved")).to_contain_text("takes the place")
    page.reload()
    page.tap("#change")
    expect(page.locator("[name=dry_fabric]")).to_have_value("200")
