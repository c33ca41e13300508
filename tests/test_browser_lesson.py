"""The lesson's page in a real browser, from a file, without any network."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from drawn_shop import DrawnShop
from lessons import specimens_of
from playwright.sync_api import Browser, Page, expect, sync_playwright

from satcheck.lesson.build import build_lesson
from satcheck.lesson.choice import Exercise, next_exercise
from satcheck.lesson.model import Lesson
from satcheck.lesson.picks import propose
from satcheck.lesson.scoring import count, score
from satcheck.pages.lesson import lesson_page

CHROMIUM = "/usr/bin/chromium"
SCRIPT = "<img src=x onerror='document.title=1'>"


@pytest.fixture(scope="module")
def lesson(shop: DrawnShop) -> Lesson:
    specimens = specimens_of(shop)
    return build_lesson(specimens, propose(specimens), shop.calibration, f"Drawn. {SCRIPT}")


@pytest.fixture(scope="module")
def file(lesson: Lesson, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("lesson") / "lesson.html"
    path.write_text(lesson_page(lesson), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as play:
        made = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield made
        made.close()


@pytest.fixture
def page(browser: Browser, file: Path) -> Iterator[Page]:
    """Return the page on a phone; it may fetch nothing and fail nowhere."""
    context = browser.new_context(
        viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True, offline=True
    )
    made = context.new_page()
    problems: list[str] = []
    made.on("pageerror", lambda error: problems.append(str(error)))
    made.on("requestfailed", lambda request: problems.append(request.url))
    made.goto(file.as_uri())
    yield made
    assert problems == []
    context.close()


def open_tab(page: Page, name: str) -> None:
    page.get_by_role("tab", name=name).tap()


def test_the_page_fits_a_phone_and_its_buttons_a_thumb(page: Page) -> None:
    for name in ("See", "Deceived", "Find", "Decide"):
        open_tab(page, name)
        assert page.evaluate("document.documentElement.scrollWidth") == 360
    open_tab(page, "Find")
    box = page.locator("#done").bounding_box()
    assert box is not None
    assert box["height"] >= 60


def test_the_tabs_follow_the_arrow_keys(page: Page) -> None:
    page.get_by_role("tab", name="See").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("#deceived")).to_be_visible()
    expect(page.locator("#see")).to_be_hidden()
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#see")).to_be_visible()


def test_the_slider_shows_each_state_with_its_visibility(page: Page, lesson: Lesson) -> None:
    for number, stop in enumerate(lesson.fibres[0].stops):
        page.locator("#slider").fill(str(number))
        expect(page.locator("#state")).to_contain_text(stop.state.word.capitalize())
        expect(page.locator("#reading")).to_contain_text(f"{stop.visibility:.3f}")


def test_the_slider_follows_the_keys_and_the_mark_falls(page: Page) -> None:
    left = "parseFloat(document.querySelector('#scale .mark').style.left)"
    first = page.evaluate(left)
    page.locator("#slider").focus()
    page.keyboard.press("End")
    expect(page.locator("#state")).to_contain_text("Rich")
    assert page.evaluate(left) < first


def test_the_glass_comes_by_touch_and_by_key_and_goes(page: Page) -> None:
    page.locator("#look").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("#lens")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("#lens")).to_be_hidden()
    page.locator("#look").dispatch_event("pointerdown", {"clientX": 100, "clientY": 300})
    expect(page.locator("#lens")).to_be_visible()


def test_calling_a_spoiled_starved_place_good_is_told(page: Page) -> None:
    open_tab(page, "Deceived")
    expect(page.locator("#clear-side")).to_be_hidden()
    page.get_by_role("button", name="Good", exact=True).tap()
    expect(page.locator("#pair-answer")).to_contain_text("Deceived: it is starved")
    expect(page.locator("#clear-side")).to_be_visible()
    page.locator("#next-pair").tap()
    page.get_by_role("button", name="This photo cannot tell").tap()
    expect(page.locator("#pair-answer")).to_contain_text("Right: do not judge by it")


def shown(page: Page, lesson: Lesson) -> int:
    """Return the number of the photo that is to be marked."""
    return int(page.evaluate("searchAt"))


def paint(page: Page, marks: str) -> None:
    """Mark every cell by an expression of its truth ``t``, as if drawn."""
    page.evaluate(
        f"DATA.searches[searchAt].truth.forEach((row, y) => [...row].forEach((t, x) => "
        f"{{ t = Number(t); marks[y][x] = {marks}; }}))"
    )


@pytest.mark.parametrize(
    ("marks", "words"),
    [
        ("t === 1 || t === 5 ? t : 0", "Score 100 of 100"),
        ("0", "Score 0 of 100"),
        ("t ? 1 : 0", "Score 0 of 100"),
    ],
)
def test_a_learner_gets_the_score_that_the_marks_deserve(
    page: Page, marks: str, words: str
) -> None:
    open_tab(page, "Find")
    paint(page, marks)
    page.locator("#done").tap()
    expect(page.locator("#score")).to_contain_text(words)
    assert page.locator("[data-panel]:visible").count() == 4


def test_marks_come_by_touch_by_mouse_and_by_key(page: Page) -> None:
    open_tab(page, "Find")
    marked = "marks.flat().filter((m) => m === {}).length"
    page.locator("#stage").tap()
    by_touch = page.evaluate(marked.format(1))
    assert by_touch > 0
    page.get_by_role("button", name="Rich").tap()
    box = page.locator("#stage").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 0.3 * box["height"])
    page.mouse.down()
    page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 0.6 * box["height"], steps=10)
    page.mouse.up()
    assert page.evaluate(marked.format(5)) > 9
    page.locator("#clear-marks").tap()
    page.locator("#stage").focus()
    for key in ("ArrowUp", "s", "ArrowDown", "ArrowDown", "ArrowDown", "r"):
        page.keyboard.press(key)
    assert page.evaluate(marked.format(1)) > 0
    assert page.evaluate(marked.format(5)) > 0
    page.keyboard.press("d")
    expect(page.locator("#score")).to_contain_text("of 100")


def test_results_stay_on_the_device_under_the_learners_initials(page: Page) -> None:
    open_tab(page, "Find")
    page.locator("#initials").fill("ab")
    page.locator("#initials").blur()
    paint(page, "t === 1 ? 1 : 0")
    page.locator("#done").tap()
    page.reload()
    open_tab(page, "Find")
    expect(page.locator("#progress")).to_contain_text("No round yet")
    page.locator("#initials").fill("AB")
    page.locator("#initials").blur()
    expect(page.locator("#progress")).to_contain_text("AB: 1 round")
    page.locator("#forget").tap()
    expect(page.locator("#progress")).to_contain_text("No round yet")


def test_a_trainer_sees_who_confuses_what(page: Page) -> None:
    open_tab(page, "Find")
    expect(page.locator("#everyone")).to_be_hidden()
    for name, marks in (("AB", "0"), ("CD", "t === 1 || t === 5 ? t : 0")):
        page.locator("#initials").fill(name)
        page.locator("#initials").blur()
        paint(page, marks)
        page.locator("#done").tap()
    rows = page.locator("#everyone tbody tr")
    expect(rows.nth(0)).to_contain_text("called good on basalt (100 %)")
    expect(rows.nth(1)).to_contain_text("CD1100nothing")


def test_every_photo_comes_once_and_then_from_the_first(page: Page, lesson: Lesson) -> None:
    open_tab(page, "Find")
    seen = []
    for _ in lesson.searches:
        seen.append(shown(page, lesson))
        page.locator("#done").tap()
        page.locator("#next-search").tap()
    assert sorted(seen) == list(range(len(lesson.searches)))
    expect(page.locator("#find-title")).to_contain_text("All photos done")


def test_the_decision_shows_answer_and_reason(page: Page, lesson: Lesson) -> None:
    open_tab(page, "Decide")
    asked = lesson.decisions[0]
    wrong = next(k for k in range(len(asked.options)) if k != asked.answer)
    page.locator("#options button").nth(wrong).tap()
    expect(page.locator("#decision-answer")).to_contain_text(asked.options[asked.answer])
    expect(page.locator("#decision-answer")).to_contain_text("common practice")
    page.locator("#next-decision").tap()
    page.locator("#options button").nth(lesson.decisions[1].answer).tap()
    expect(page.locator("#decision-answer")).to_contain_text("Right.")


def as_plain(values: Any) -> dict[str, Any]:
    return {key: pytest.approx(v, abs=1e-12) if v is not None else None for key, v in values}


def test_the_pages_sums_are_those_of_the_program(page: Page) -> None:
    rng = np.random.default_rng(8)
    for size in (1, 7, 60):
        truth = rng.choice([0, 1, 2, 3, 4, 5, 9], (size, 5))
        marks = rng.choice([0, 1, 5], truth.shape)
        rows = ["".join(map(str, row)) for row in truth]
        counts = page.evaluate("([m, t]) => count(m, t)", [marks.tolist(), rows])
        assert counts == count(marks, truth).tolist()
        expected = score(np.array(counts))
        assert page.evaluate("score", counts) == as_plain(vars(expected).items())


def test_the_pages_next_photo_is_the_programs(page: Page) -> None:
    rng = np.random.default_rng(9)
    for _ in range(30):
        shares = rng.dirichlet([0.4] * 3, 6)
        fibres = rng.choice(["basalt", "carbon"], 6)
        exercises = [
            Exercise(str(fibre), (float(a), float(b), float(c)))
            for fibre, (a, b, c) in zip(fibres, shares, strict=True)
        ]
        numbers = rng.permutation(6)[: rng.integers(0, 7)]
        done = [(int(k), rng.integers(0, 40, (3, 3))) for k in numbers]
        told = [[k, counts.tolist()] for k, counts in done]
        plain = [{"fibre": e.fibre, "shares": list(e.shares)} for e in exercises]
        got = page.evaluate("([e, d]) => nextExercise(e, d)", [plain, told])
        assert got == next_exercise(exercises, done)


def test_script_in_a_text_is_shown_and_never_run(page: Page) -> None:
    assert page.title() == "Lesson: how much resin is enough"
    expect(page.locator("footer")).to_contain_text(SCRIPT)
    assert page.locator("footer img").count() == 0


def test_the_page_asks_for_nothing_from_outside(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    assert "http://" not in text
    assert "https://" not in text
