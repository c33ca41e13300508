"""The lesson's page from a lesson made by hand: each picture and figure stands under its name."""

import base64
import html
import json
import re
from typing import Any

import numpy as np

from satcheck.lesson.choice import Exercise
from satcheck.lesson.model import Decision, Fibre, Lesson, Pair, Search, Stop
from satcheck.model import Label
from satcheck.pages.lesson import lesson_page

EVIL = "</script><script>x()</script>"


def made() -> Lesson:
    """Return a lesson whose pictures are words."""
    stop = Stop("basalt", Label.STARVED, b"stop", 0.1234, "p.jpg", EVIL)
    truth, tool, shop = (np.full((2, 3), code, np.uint8) for code in (1, 3, 9))
    truth[0, 2] = 5
    exercise = Exercise("basalt", (0.5, 0.3, 0.2))
    search = Search("s.jpg", b"search", 640, 480, truth, tool, shop, exercise)
    decision = Decision("d.jpg", b"part", "Now.", ("one", "two"), 1, ("because",))
    return Lesson(
        (Fibre("basalt", (stop,), (0.05, 0.1), 0.2),),
        (Pair("basalt", "glare", b"spoiled", b"clear", 0.25),),
        (search,), (decision,), "Drawn by <me>.", "c0ffee12",
    )  # fmt: skip


def data_of(page: str) -> dict[str, Any]:
    (text,) = re.findall(r'<script type="application/json" id="data">(.*?)</script>', page, re.S)
    found: dict[str, Any] = json.loads(text)
    return found


def picture(uri: str) -> bytes:
    return base64.b64decode(uri.removeprefix("data:image/jpeg;base64,"))


def test_every_picture_and_figure_stands_under_its_name() -> None:
    data = data_of(lesson_page(made()))
    (fibre,), (pair,), (search,), (decision,) = (
        data[name] for name in ("fibres", "pairs", "searches", "decisions")
    )
    assert (fibre["good"], fibre["top"]) == ([0.05, 0.1], 0.2)
    (stop,) = fibre["stops"]
    assert (stop["state"], stop["visibility"], stop["photo"]) == ("starved", 0.1234, "p.jpg")
    assert picture(stop["picture"]) == b"stop"
    assert (picture(pair["spoiled"]), picture(pair["clear"])) == (b"spoiled", b"clear")
    assert pair["kept"] == 0.25
    assert "sheen" in pair["look"]
    assert "lamp is not mirrored" in pair["how"]
    assert (search["truth"], search["tool"], search["shop"]) == (
        ["115", "111"], ["333", "333"], ["999", "999"],
    )  # fmt: skip
    assert (search["size"], search["shares"]) == ([640, 480], [0.5, 0.3, 0.2])
    assert decision["options"][decision["answer"]] == "two"
    assert data["todo"]["starved"] == "string resin in"
    assert data["todo"]["rich"] == "string it out"


def test_a_note_ends_no_script_and_is_shown_as_typed() -> None:
    page = lesson_page(made())
    assert EVIL not in page
    assert data_of(page)["fibres"][0]["stops"][0]["note"] == EVIL
    assert "Drawn by <me>. Calibration c0ffee12." in html.unescape(page)
    assert "Drawn by <me>" not in page
