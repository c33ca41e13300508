"""The phone page in a real browser, on a phone's screen, by a mapped name over plain http."""

import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from bench_server import Server
from browsers import DONE, SAMPLES, WAIT, card_photo, chromium, open_page, phone, too_low, watched
from ledgers import inspect
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from satcheck.ledger.book import open_ledger
from satcheck.model import Label

FORGET = """() => new Promise((done) => {
  const asked = indexedDB.open("satcheck");
  asked.onsuccess = () => {
    const all = asked.result.transaction("photos", "readwrite").objectStore("photos").clear();
    all.onsuccess = done;
  };
})"""
"""What a private window does by itself: it keeps no photo."""

ONE_FIBRE = """document.addEventListener("readystatechange", () => {
  if (document.readyState !== "interactive") return; // before the page's own script
  const fibres = [...document.querySelectorAll("[name=fibre]")];
  fibres.slice(1).forEach((one) => one.closest("label").remove());
});"""
"""Leaves the page what a calibration of one fibre shows."""

TWICE = """document.addEventListener("DOMContentLoaded", () => {
  document.documentElement.style.fontSize = "200%";
});"""

STARVED, LATER, BLURRED = "basalt_01.jpg", "basalt_02.jpg", "blurred.jpg"


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


def photograph(page: Page, photo: str | Path = STARVED, part: str | None = None) -> None:
    if part is not None:
        page.fill("#part", part)
    page.set_input_files("#take", SAMPLES / photo)
    page.wait_for_selector(DONE, timeout=WAIT)


def type_part(page: Page, part: str) -> None:
    page.fill("#part", part)
    page.locator("#part").blur()


def width(page: Page) -> int:
    return int(page.evaluate("document.documentElement.scrollWidth"))


def start_clock(page: Page) -> None:
    page.click("#clock")
    page.fill("#gel-minutes", "25")
    page.click("#gel-start")
    expect(page.locator("#clock")).to_contain_text("24 min left")


def test_a_photo_becomes_a_verdict_with_its_overlay_and_what_to_do(page: Page) -> None:
    photograph(page, part="1001")
    expect(page.locator("#word")).to_have_text("starved")
    expect(page.locator("#do")).not_to_be_empty()
    assert page.eval_on_selector("#marks", "image => image.naturalWidth") > 300
    expect(page.locator("#said")).to_contain_text("starved")


def test_a_tap_on_the_picture_changes_it_for_the_plain_photo_and_back(page: Page) -> None:
    photograph(page, part="1002")
    page.tap("#frame")
    expect(page.locator("#marks")).to_be_hidden()
    page.tap("#frame")
    expect(page.locator("#marks")).to_be_visible()


def test_two_fingers_bring_the_picture_closer(page: Page, context: BrowserContext) -> None:
    photograph(page, part="1003")
    expect(page.locator("#more")).to_be_visible()  # its words can move the picture down a line
    page.locator("#frame").scroll_into_view_if_needed()
    box = page.locator("#frame").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + 40
    fingers = context.new_cdp_session(page)
    for kind, apart in (("touchStart", 20), ("touchMove", 60), ("touchMove", 80), ("touchEnd", 0)):
        points = [{"x": x - apart, "y": y, "id": 0}, {"x": x + apart, "y": y, "id": 1}]
        fingers.send(
            "Input.dispatchTouchEvent",
            {"type": kind, "touchPoints": points if apart else []},
        )
    assert page.eval_on_selector("#sheet", "s => new DOMMatrix(s.style.transform).a") > 2


def test_a_photo_that_cannot_be_judged_says_how_to_retake_it_and_is_retaken(page: Page) -> None:
    page.check("[name=fibre][value=glass]", force=True)
    photograph(page, BLURRED, part="1004")
    expect(page.locator("#word")).to_have_text("not judged")
    expect(page.locator("#take-word")).to_have_text("TAKE IT AGAIN")
    expect(page.locator("#take-label")).to_be_in_viewport()
    photograph(page, "glass_02.jpg")
    expect(page.locator("#word")).not_to_have_text("not judged")


def test_photos_of_one_view_make_a_series_with_a_trend_per_zone(page: Page) -> None:
    photograph(page, STARVED, part="1005")
    photograph(page, LATER)
    expect(page.locator("#more")).to_be_visible()
    rows = page.locator("#zones .row")
    expect(rows.first).to_have_text(re.compile("^[SLGHR?]{2}$"))
    expect(page.locator("#zones svg")).to_have_count(11)
    expect(page.locator("#unseen")).to_contain_text("not been seen")


def test_an_outline_is_mended_by_taps_and_the_verdict_follows(page: Page) -> None:
    photograph(page, STARVED, part="1006")
    before = page.url
    page.click("#mend")
    page.locator("#frame").scroll_into_view_if_needed()
    page.tap("#frame", position={"x": 180, "y": 200})
    page.check("[name=tap][value=outside]", force=True)
    page.tap("#frame", position={"x": 20, "y": 20})
    page.click("#mend-go")
    page.wait_for_url(lambda url: url != before)
    page.wait_for_selector(DONE, timeout=WAIT)
    expect(page.locator("#word")).to_have_text(re.compile("starved|lean|good|heavy|rich"))


def test_the_last_tap_is_taken_back_and_the_others_stay(page: Page) -> None:
    photograph(page, STARVED, part="1048")
    page.click("#mend")
    expect(page.locator("#mend-back")).to_be_hidden()
    page.tap("#frame", position={"x": 180, "y": 200})
    page.check("[name=tap][value=outside]", force=True)
    page.tap("#frame", position={"x": 20, "y": 20})
    page.tap("#frame", position={"x": 170, "y": 210})  # the part, by mistake
    page.get_by_role("button", name="Take back the last tap").click()
    expect(page.locator("#taps b.outside")).to_have_count(1)
    expect(page.locator("#taps b.inside")).to_have_count(1)
    with page.expect_request(lambda r: (r.method, r.url[-11:]) == ("POST", "/api/photos")) as sent:
        page.click("#mend-go")
    told = json.loads(sent.value.post_data or "")
    assert (len(told["inside"]), len(told["outside"])) == (1, 1)
    assert told["outside"][0][0] < 0.2 * told["inside"][0][0]
    page.wait_for_selector(DONE, timeout=WAIT)
    page.click("#mend")
    expect(page.locator("#mend-back")).to_be_hidden()
    page.tap("#frame", position={"x": 180, "y": 200})
    page.click("#mend-back")
    expect(page.locator("#mend-back")).to_be_hidden()
    expect(page.locator("#taps b")).to_have_count(0)


def test_the_button_with_the_number_is_read_out_with_the_number(page: Page) -> None:
    photograph(page, STARVED, part="1049")
    who = page.get_by_role("button", name=re.compile("^1049.*Change part, view or fibre$", re.I))
    expect(who).to_be_visible()
    expect(who).to_have_attribute("id", "who")


def test_without_the_key_the_page_shows_nothing(context: BrowserContext, bench: Server) -> None:
    page = context.new_page()
    page.goto(bench.base)
    expect(page.locator("#locked-say")).to_contain_text("Scan the code")
    expect(page.locator("#take-label")).to_be_hidden()
    page.goto(bench.link)  # the same page to a browser, which does not load it again
    page.wait_for_selector("[data-at=start]")
    photograph(page, part="1040")
    expect(page.locator("#word")).to_have_text("starved")


def test_a_wrong_key_is_said_to_be_wrong(context: BrowserContext, bench: Server) -> None:
    page = context.new_page()
    page.goto(f"{bench.base}/#k=AAAAAAAAAAAAAAAAAAAAAA")
    expect(page.locator("#locked-say")).to_contain_text("not valid any more")


def test_the_key_leaves_the_address_once_it_is_known(page: Page, bench: Server) -> None:
    assert bench.key not in page.url
    page.reload()
    page.wait_for_selector("[data-at=start]")


def large_photo(folder: Path) -> Path:
    """Return a photo of three pieces: a JPEG may be followed by anything."""
    large = folder / "large.jpg"
    large.write_bytes((SAMPLES / STARVED).read_bytes() + bytes(2_600_000))
    return large


def test_an_upload_goes_on_where_the_network_broke(
    page: Page, context: BrowserContext, tmp_path: Path
) -> None:
    large = large_photo(tmp_path)
    offsets: list[str] = []

    def cut(route: Route) -> None:
        offsets.append(route.request.url.partition("offset=")[2])
        if len(offsets) == 2:
            context.set_offline(True)
            route.abort()
        else:
            route.continue_()

    page.route("**/api/photos/*?offset=*", cut)
    page.fill("#part", "1007")
    page.set_input_files("#take", large)
    expect(page.locator("#doing")).to_contain_text("No network")
    context.set_offline(False)
    page.wait_for_selector("[data-at=result]", timeout=WAIT)
    assert offsets[:3] == ["0", "1048576", "1048576"], "nothing that had come is sent again"


def test_a_photo_that_has_come_is_not_said_to_be_cancelled(page: Page) -> None:
    held: list[Route] = []  # never answered
    page.route("**/api/photos/*?wait=*", lambda route: held.append(route))
    page.fill("#part", "1044")
    with page.expect_request("**/api/photos/*?wait=*"):
        page.set_input_files("#take", SAMPLES / STARVED)
    expect(page.locator("#cancel")).to_have_text("Back")
    page.click("#cancel")
    page.wait_for_selector("[data-at=start]")
    page.set_input_files("#scan", SAMPLES / STARVED)
    expect(page.locator("#cancel")).to_have_text("Cancel")


def test_an_answer_that_never_comes_is_asked_for_again(page: Page) -> None:
    lost: list[Route] = []

    def lose_the_first(route: Route) -> None:
        if lost:
            route.continue_()
        else:
            lost.append(route)

    page.clock.install()
    page.route("**/api/photos", lose_the_first)
    page.fill("#part", "1033")
    page.set_input_files("#take", SAMPLES / STARVED)
    expect(page.locator("#doing")).to_contain_text("Sending")
    page.clock.fast_forward(60_000)
    page.wait_for_selector("[data-at=result]")


def test_a_double_tap_judges_a_photo_again_only_once(page: Page) -> None:
    photograph(page, part="1008")
    page.click("#mend")
    page.tap("#frame", position={"x": 180, "y": 200})
    asked: list[str] = []
    page.on("request", lambda r: asked.append(r.url) if r.method == "POST" else None)
    page.evaluate(
        "() => { const go = document.querySelector('#mend-go'); go.click(); go.click(); }"
    )
    page.wait_for_selector(DONE, timeout=WAIT)
    assert len([url for url in asked if url.endswith("/api/photos")]) == 1


def test_the_back_button_leads_to_the_earlier_photo_and_to_the_start(page: Page) -> None:
    photograph(page, STARVED, part="1009")
    first = page.url
    photograph(page, LATER)
    page.go_back()
    page.wait_for_url(first)
    page.wait_for_selector("[data-at=result]", timeout=WAIT)
    page.go_back()
    page.wait_for_selector("[data-at=start]")
    expect(page.locator("#part")).to_have_value("1009")


def test_a_verdict_that_was_left_behind_does_not_come_back_over_what_is_typed(page: Page) -> None:
    held: list[Route] = []
    page.route("**/api/photos/*/marks.jpg", lambda route: held.append(route))
    page.fill("#part", "1029")
    with page.expect_request("**/api/photos/*/marks.jpg", timeout=WAIT):
        page.set_input_files("#take", SAMPLES / STARVED)
    page.go_back()
    page.wait_for_selector("[data-at=start]")
    type_part(page, "1030")
    with page.expect_response("**/api/photos/*/marks.jpg"):
        held[0].continue_()
    page.evaluate("fetch('/').then((answer) => answer.blob())")  # by then the picture has come
    expect(page.locator("#part")).to_have_value("1030")
    assert page.get_attribute("body", "data-at") == "start"


def test_an_earlier_photo_that_could_not_be_fetched_is_itself_tried_again(page: Page) -> None:
    photograph(page, STARVED, part="1034")
    first = page.url
    photograph(page, LATER)
    page.route("**/api/photos/*", lambda route: route.abort())
    page.go_back()
    expect(page.locator("#failure")).to_contain_text("does not answer")
    page.unroute_all()
    page.click("#retry")
    page.wait_for_selector("[data-at=result]", timeout=WAIT)
    assert page.url == first


def test_two_people_on_one_part_see_each_others_photos(browser: Browser, bench: Server) -> None:
    pages = [open_page(browser.new_context(), bench) for _ in range(2)]
    for page, view in zip(pages, ("anterior", "medial"), strict=True):
        page.fill("#part", "1010")
        page.check(f"[name=view][value={view}]", force=True)
        page.set_input_files("#take", SAMPLES / STARVED)
    for page in pages:
        page.wait_for_selector("[data-at=result]", timeout=WAIT)
    pages[0].reload()
    expect(pages[0].locator("#views a")).to_have_count(2)


@pytest.mark.parametrize(
    "part", ["<script>alert(1)</script>", "../../etc/passwd", "..\\key", '"><img src=x>', "a" * 41]
)
def test_a_part_number_that_is_none_is_refused_in_words_and_the_photo_waits_for_another(
    page: Page, part: str
) -> None:
    page.eval_on_selector("#part", "(field, text) => { field.value = text; }", part)
    page.set_input_files("#take", SAMPLES / STARVED)
    expect(page.locator("#part-bad")).to_contain_text("part's number may hold")
    page.reload()
    expect(page.locator("#unsent")).to_be_hidden()
    page.eval_on_selector("#part", "(field, text) => { field.value = text; }", part)
    page.set_input_files("#take", SAMPLES / STARVED)
    expect(page.locator("#part-bad")).to_contain_text("part's number may hold")
    page.fill("#part", "1039")
    page.click("#held-send")
    page.wait_for_selector(DONE, timeout=WAIT)
    expect(page.locator("#who-part")).to_have_text("1039")


def test_a_card_that_is_read_too_late_leads_nowhere(page: Page) -> None:
    held: list[Route] = []
    page.route("**/api/card", lambda route: held.append(route))
    with page.expect_request("**/api/card"):
        page.set_input_files("#take", SAMPLES / STARVED)
    page.click("#cancel")
    with page.expect_response("**/api/card"):
        held[0].continue_()
    page.evaluate("fetch('/').then((answer) => answer.blob())")  # by then the page has heard it
    expect(page.locator("#part-bad")).to_be_empty()
    expect(page.locator("#held-send")).to_be_hidden()


def test_a_photo_without_a_part_number_waits_until_it_is_typed(page: Page) -> None:
    page.fill("#part", "   ")
    page.set_input_files("#take", SAMPLES / STARVED)
    expect(page.locator("#part-bad")).to_contain_text("Type the part's number")
    page.fill("#part", "1016")
    page.click("#held-send")
    page.wait_for_selector(DONE, timeout=WAIT)
    expect(page.locator("#who-part")).to_have_text("1016")


def test_a_photo_that_waited_for_a_number_is_not_offered_for_the_next_part(page: Page) -> None:
    page.set_input_files("#take", SAMPLES / STARVED)
    expect(page.locator("#held-send")).to_be_visible()
    photograph(page, LATER, part="1031")
    page.click("#who")
    page.fill("#part", "1032")
    expect(page.locator("#held-send")).to_be_hidden()


def test_the_part_number_is_read_off_the_card_before_the_photo(page: Page, tmp_path: Path) -> None:
    page.set_input_files("#scan", card_photo(tmp_path, "1017"))
    expect(page.locator("#part")).to_have_value("1017")
    expect(page.locator("#take-word")).to_have_text("TAKE PHOTO")
    page.set_input_files("#scan", SAMPLES / LATER)
    expect(page.locator("#part-bad")).to_contain_text("No card could be read")
    expect(page.locator("#part")).to_have_value("1017")


def test_a_photo_with_the_card_in_it_needs_no_typing(page: Page, tmp_path: Path) -> None:
    page.set_input_files("#take", card_photo(tmp_path, "1018"))
    page.wait_for_selector(DONE, timeout=WAIT)
    expect(page.locator("#who-part")).to_have_text("1018")


def cut_at(page: Page, piece: int) -> None:
    """Let no piece of a photo through from this one on."""
    seen: list[str] = []

    def cut(route: Route) -> None:
        seen.append(route.request.url)
        if len(seen) >= piece:
            route.abort()
        else:
            route.continue_()

    page.route("**/api/photos/*?offset=*", cut)


def test_a_reload_in_the_middle_of_an_upload_goes_on_with_it(page: Page, tmp_path: Path) -> None:
    cut_at(page, 2)
    page.fill("#part", "1019")
    page.set_input_files("#take", large_photo(tmp_path))
    expect(page.locator("#doing")).to_contain_text("No network")
    page.unroute_all()
    page.reload()
    page.wait_for_selector(DONE, timeout=WAIT)
    expect(page.locator("#word")).to_have_text("starved")
    expect(page.locator("#who-part")).to_have_text("1019")


def test_a_reload_on_a_phone_that_keeps_nothing_says_that_the_photo_is_lost(
    page: Page, tmp_path: Path
) -> None:
    cut_at(page, 2)
    page.fill("#part", "1020")
    page.set_input_files("#take", large_photo(tmp_path))
    expect(page.locator("#doing")).to_contain_text("No network")
    page.evaluate(FORGET)
    page.reload()
    expect(page.locator("#failure")).to_contain_text("came only in part")
    expect(page.locator("#take-word")).to_have_text("TAKE IT AGAIN")


def test_a_photo_that_was_not_sent_is_offered_when_the_page_opens_again(
    page: Page, context: BrowserContext, bench: Server, tmp_path: Path
) -> None:
    cut_at(page, 1)
    page.fill("#part", "1021")
    page.set_input_files("#take", SAMPLES / STARVED)
    expect(page.locator("#doing")).to_contain_text("No network")
    page.close()
    again = open_page(context, bench)
    expect(again.locator("#unsent-say")).to_contain_text("1021")
    again.click("#unsent-send")
    again.wait_for_selector("[data-at=result]", timeout=WAIT)
    again.click("#who")
    expect(again.locator("#unsent")).to_be_hidden()


def test_the_clock_is_of_the_part_whose_photo_is_on_its_way(
    page: Page, context: BrowserContext, bench: Server
) -> None:
    cut_at(page, 1)
    page.fill("#part", "1037")
    page.set_input_files("#take", SAMPLES / STARVED)
    expect(page.locator("#doing")).to_contain_text("No network")
    page.close()
    again = open_page(context, bench)
    cut_at(again, 1)
    type_part(again, "1038")
    again.click("#unsent-send")
    expect(again.locator("#who-part")).to_have_text("1037")
    start_clock(again)
    with bench.client() as client:
        left = {p: client.get(f"/api/clock?part={p}").json()["seconds_left"] for p in (1037, 1038)}
    assert left[1037] is not None
    assert left[1038] is None


def test_a_refusal_of_the_moment_is_tried_again_with_the_same_photo(page: Page) -> None:
    busy = '{"problem": "uploads_full", "sentence": "Too many photos are under way."}'
    page.route("**/api/photos", lambda route: route.fulfill(status=503, body=busy))
    photograph(page, part="1022")
    expect(page.locator("#failure")).to_contain_text("Too many photos")
    page.unroute_all()
    page.click("#retry")
    page.wait_for_selector("[data-at=result]", timeout=WAIT)


@pytest.mark.parametrize(
    ("at", "status", "body"),
    [
        ("**/api/photos/*?offset=*", 200, "<html>Sign in</html>"),
        ("**/api/photos/*?offset=*", 200, '{"login": "needed"}'),
        ("**/api/photos/*?offset=*", 403, "<!DOCTYPE html>Sign in"),
        ("**/api/photos", 200, "<html>Sign in</html>"),
    ],
)
def test_what_is_not_satcheck_is_told_apart_and_the_photo_is_sent_later(
    at: str, status: int, body: str, page: Page
) -> None:
    page.route(at, lambda route: route.fulfill(status=status, body=body))
    photograph(page, part="1023")
    expect(page.locator("#failure")).to_contain_text("Something other than satcheck answered")
    expect(page.locator("#retry")).to_be_visible()
    page.unroute_all()
    page.reload()
    page.wait_for_selector("[data-at=result]", timeout=WAIT)
    expect(page.locator("#who-part")).to_have_text("1023")


def test_a_file_that_is_no_photo_is_refused_in_words(page: Page) -> None:
    photograph(page, Path(__file__), part="1011")
    expect(page.locator("#failure")).to_contain_text("not a photo")
    expect(page.locator("#take-word")).to_have_text("TAKE IT AGAIN")


def test_part_view_and_fibre_are_remembered(page: Page) -> None:
    page.fill("#part", "1012")
    page.check("[name=view][value=lateral]", force=True)
    page.check("[name=fibre][value=glass]", force=True)
    page.reload()
    expect(page.locator("#part")).to_have_value("1012")
    expect(page.locator("[name=view][value=lateral]")).to_be_checked()
    expect(page.locator("[name=fibre][value=glass]")).to_be_checked()


def test_the_gel_clock_counts_what_was_entered_and_runs_on_every_phone(
    page: Page, browser: Browser, bench: Server
) -> None:
    type_part(page, "1013")
    start_clock(page)
    other = open_page(browser.new_context(), bench)
    type_part(other, "1013")
    expect(other.locator("#clock")).to_contain_text("24 min left")


def test_a_clock_that_another_phone_started_is_shown_and_not_started_anew(
    page: Page, browser: Browser, bench: Server
) -> None:
    type_part(page, "1027")
    page.click("#clock")
    other = open_page(browser.new_context(), bench)
    type_part(other, "1027")
    start_clock(other)
    page.fill("#gel-minutes", "40")
    page.click("#gel-start")
    expect(page.locator("#gel-bad")).to_contain_text("runs already")
    expect(page.locator("#gel-left")).to_contain_text("24 min left")
    expect(page.locator("#gel-stop")).to_be_visible()


def test_the_time_that_an_answer_took_is_no_working_time(page: Page) -> None:
    held: list[Route] = []
    type_part(page, "1036")
    page.click("#clock")
    page.fill("#gel-minutes", "25")
    page.route("**/api/clock*", lambda route: held.append(route))
    with page.expect_request("**/api/clock*"):
        page.click("#gel-start")
    page.evaluate("(now => { Date.now = () => now.call(Date) + 600000; })(Date.now)")
    held[0].continue_()
    expect(page.locator("#clock")).to_contain_text("14 min left")


def test_over_the_working_time_a_photo_that_was_not_judged_still_says_how_to_retake_it(
    page: Page,
) -> None:
    page.check("[name=fibre][value=glass]", force=True)
    type_part(page, "1035")
    start_clock(page)
    page.evaluate("(now => { Date.now = () => now.call(Date) + 3600000; })(Date.now)")
    page.route("**/api/clock*", lambda route: route.abort())
    photograph(page, BLURRED)
    expect(page.locator("#clock")).to_contain_text("is over")
    expect(page.locator("#do")).to_contain_text("take it again")


def test_without_network_the_clock_counts_a_phones_sleep_and_says_that_it_was_not_stopped(
    page: Page,
) -> None:
    type_part(page, "1028")
    start_clock(page)
    page.route("**/api/clock*", lambda route: route.abort())
    page.evaluate("(now => { Date.now = () => now.call(Date) + 600000; })(Date.now)")
    expect(page.locator("#clock")).to_contain_text("14 min left")
    page.click("#clock")
    page.click("#gel-stop")
    page.click("#gel-stop")
    expect(page.locator("#gel-bad")).to_be_visible()
    expect(page.locator("#gel-bad")).to_contain_text("does not answer")
    expect(page.locator("#gel-left")).to_contain_text("14 min left")


def test_everything_to_touch_is_at_least_60_pixels_high_and_the_page_no_wider_than_the_phone(
    page: Page,
) -> None:
    photograph(page, part="1014")
    expect(page.locator("#more")).to_be_visible()
    for at in ("result", "start"):
        if at == "start":
            page.click("#who")
        assert too_low(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_with_letters_twice_as_large_nothing_leaves_the_phone(page: Page, bench: Server) -> None:
    page.add_init_script(TWICE)
    page.reload()
    page.wait_for_selector("[data-at=start]")
    assert width(page) <= 360
    photograph(page, part="1042")
    expect(page.locator("#more")).to_be_visible()
    assert width(page) <= 360
    assert page.eval_on_selector("#word", "word => word.scrollWidth <= word.clientWidth")
    start_clock(page)
    page.click("a.to")
    page.wait_for_selector("[data-at=form]")
    assert width(page) <= 360
    page.goto(f"{bench.base}/today")
    page.wait_for_selector(".part")
    assert width(page) <= 360


def test_a_phone_on_its_side_shows_the_verdict_and_what_to_do(page: Page) -> None:
    page.set_viewport_size({"width": 740, "height": 360})
    photograph(page, part="1043")
    gap = page.evaluate(
        "document.querySelector('#take-label').getBoundingClientRect().top"
        " - document.querySelector('#do').getBoundingClientRect().bottom"
    )
    assert gap >= 0


def test_a_long_part_number_is_shown_to_its_end(page: Page) -> None:
    photograph(page, part="2026-ABC-0411-000123-xy")
    start_clock(page)
    assert page.eval_on_selector("#who-part", "part => part.scrollWidth <= part.clientWidth")
    assert page.eval_on_selector(".bar", "bar => bar.clientHeight") <= 128


def test_the_large_screen_shows_todays_parts_each_with_its_series(
    page: Page, bench: Server
) -> None:
    photograph(page, STARVED, part="1015")
    page.goto(f"{bench.base}/today")
    card = page.locator(".part", has_text="1015")
    expect(card.locator(".verdict-word")).to_have_text("starved")
    card.locator("a").click()
    page.wait_for_selector("[data-at=result]", timeout=WAIT)
    expect(page.locator("#who-part")).to_have_text("1015")


def test_the_large_screen_leaves_what_is_focused_alone_until_something_is_new(
    page: Page, bench: Server
) -> None:
    photograph(page, STARVED, part="1041")
    page.clock.install()
    page.goto(f"{bench.base}/today")
    link = page.locator(".part", has_text="1041").locator("a")
    link.focus()
    with page.expect_response("**/api/today"):
        page.clock.fast_forward(11_000)
    page.evaluate("fetch('/').then((answer) => answer.blob())")  # by then the board has heard it
    expect(link).to_be_focused()


def test_a_part_that_was_judged_elsewhere_stands_on_the_board_and_opens(
    page: Page, bench: Server
) -> None:
    with open_ledger(bench.records / "shop.ledger", lambda: datetime.now(UTC)) as ledger:
        inspect(ledger, Label.STARVED, part="1023")
    page.goto(f"{bench.base}/today")
    card = page.locator(".part", has_text="1023")
    expect(card.locator(".verdict-word")).to_have_text("starved")
    expect(card).to_contain_text("no view")
    card.locator("a").click()
    expect(page.locator("#notes")).to_contain_text("no picture was kept")
    expect(page.locator("#frame")).to_be_hidden()


@pytest.mark.parametrize(
    ("photos", "said"),
    [(1, "1 photo since midnight"), (2, "2 photos of 1 part since midnight")],
)
def test_one_photo_or_part_of_today_is_told_as_one(
    photos: int, said: str, page: Page, bench: Server
) -> None:
    with open_ledger(bench.records / "shop.ledger", lambda: datetime.now(UTC)) as ledger:
        inspect(ledger, Label.STARVED, part=f"1044-{photos}")

    def early(route: Route) -> None:
        answer = route.fetch(url=route.request.url.replace("shop.test", "127.0.0.1"))
        told = answer.json()
        route.fulfill(response=answer, json={"photos": photos, "parts": told["parts"][:1]})

    page.route("**/api/today", early)
    page.goto(f"{bench.base}/today")
    expect(page.locator("#count")).to_have_text(said)


def test_the_gel_clock_takes_minutes_and_no_script(page: Page) -> None:
    type_part(page, "1024")
    page.click("#clock")
    for text in ("<img src=x onerror=alert(1)>", "0", "241", "NaN"):
        page.eval_on_selector("#gel-minutes", "(field, text) => { field.value = text; }", text)
        page.click("#gel-start")
        expect(page.locator("#gel-bad")).to_have_text("The working time must be 1 to 240 minutes.")


def test_a_shop_with_one_fibre_finds_it_chosen(context: BrowserContext, bench: Server) -> None:
    page = context.new_page()
    page.add_init_script(ONE_FIBRE)
    page.goto(bench.link)
    page.wait_for_selector("[data-at=start]")
    type_part(page, "1025")
    page.reload()
    expect(page.locator("#part")).to_have_value("1025")
    expect(page.locator("[name=fibre]")).to_have_count(1)
    expect(page.locator("[name=fibre]")).to_be_checked()


def test_a_foreign_script_in_the_page_would_not_run(page: Page) -> None:
    page.evaluate(
        "() => { const s = document.createElement('script'); s.textContent = 'window.ran = 1';"
        " document.body.append(s); }"
    )
    assert page.evaluate("window.ran") is None
