"""The wall chart, rasterised: its size, its words, and what is left of it in black and white."""

from collections.abc import Iterator
from dataclasses import replace

import cv2
import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray

from satcheck.lesson.chart import EDGE, LEFT, WIDTH, chart_pdf
from satcheck.lesson.crops import jpeg
from satcheck.lesson.model import Fibre, Lesson, Stop
from satcheck.model import SCALE, Label

MM = 72 / 25.4


def lesson(fibres: int = 3, states: tuple[Label, ...] = SCALE) -> Lesson:
    """Return a lesson whose pieces get darker towards rich."""
    made = []
    for name in ("basalt", "carbon", "glass", "hemp")[:fibres]:
        stops = tuple(
            Stop(name, s, jpeg(np.full((320, 320, 3), 250 - 40 * int(s), np.uint8)), 0.1, "p.jpg")
            for s in states
        )
        made.append(Fibre(name, stops, (0.05, 0.1), 0.2))
    return Lesson(tuple(made), (), (), (), "Drawn.", "c0ffee12")


@pytest.fixture(scope="module")
def chart() -> Iterator[pypdfium2.PdfPage]:
    document = pypdfium2.PdfDocument(chart_pdf(lesson()))
    yield document[0]
    document.close()


def raster(page: pypdfium2.PdfPage, per_mm: float = 2.0) -> NDArray[np.uint8]:
    """Return the page in grey, (H, W)."""
    drawn = page.render(scale=per_mm / MM, grayscale=True).to_numpy()
    return np.asarray(drawn.reshape(drawn.shape[:2]), np.uint8)


def test_the_chart_is_one_a3_page_across(chart: pypdfium2.PdfPage) -> None:
    width, height = chart.get_size()
    assert (width / MM, height / MM) == pytest.approx((420, 297), abs=0.1)


def test_the_chart_names_every_state_and_the_cautions(chart: pypdfium2.PdfPage) -> None:
    text = chart.get_textpage().get_text_range()
    for word in ("STARVED", "LEAN", "GOOD", "HEAVY", "RICH", "Basalt", "string it out"):
        assert word in text
    for word in ("gloves", "neither strength nor fit", "Common practice", "c0ffee12"):
        assert word in text
    assert "Demo" not in text


@pytest.mark.parametrize(
    ("name", "words"), [("basalt", "Basalt"), ("UHMWPE", "UHMWPE"), ("E-glass 3K", "E-glass 3K")]
)
def test_a_fibre_is_named_as_the_shop_types_it(name: str, words: str) -> None:
    """UHMWPE stood as Uhmwpe."""
    stop = replace(lesson(1).fibres[0], name=name)
    document = pypdfium2.PdfDocument(chart_pdf(replace(lesson(1), fibres=(stop,))))
    assert words in document[0].get_textpage().get_text_range()
    document.close()


def test_a_demos_chart_says_so() -> None:
    document = pypdfium2.PdfDocument(chart_pdf(lesson(), is_demo=True))
    assert "Demo: invented" in document[0].get_textpage().get_text_range()
    document.close()


def test_the_worst_states_are_lettered_for_two_metres(chart: pypdfium2.PdfPage) -> None:
    """White letters on black, measured: capitals of about a 200th of two metres."""
    column = (WIDTH - 2 * EDGE - LEFT) / 5
    x = EDGE + LEFT
    box = raster(chart, 4)[40:112, round(4 * x + 8) : round(4 * (x + column) - 8)]
    rows = np.flatnonzero((box > 200).any(1) & (box < 60).any(1))
    assert len(rows) / 4 == pytest.approx(10, abs=0.8)


def test_in_black_and_white_the_pieces_keep_their_order(chart: pypdfium2.PdfPage) -> None:
    grey = raster(chart)
    count, _, stats, middles = cv2.connectedComponentsWithStats(
        ((grey > 30) & (grey < 245)).astype(np.uint8), connectivity=4
    )
    pieces = sorted(
        (tuple(middles[k]) for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] > 3000),
        key=lambda m: (round(m[1] / 40), m[0]),
    )
    tones = [int(grey[round(y), round(x)]) for x, y in pieces]
    assert len(tones) == 15
    for row in (tones[:5], tones[5:10], tones[10:]):
        assert row == sorted(row, reverse=True)


@pytest.mark.parametrize("fibres", [1, 2, 4])
def test_any_number_of_fibres_fits_the_page(fibres: int) -> None:
    document = pypdfium2.PdfDocument(chart_pdf(lesson(fibres, (Label.STARVED, Label.RICH))))
    grey = raster(document[0], 1)
    border = np.concatenate([grey[:8].ravel(), grey[-8:].ravel(), grey[:, :10].ravel()])
    assert len(document) == 1
    assert (border > 250).all()
    document.close()


def test_equal_lessons_give_equal_charts() -> None:
    assert chart_pdf(lesson()) == chart_pdf(lesson())
    assert chart_pdf(lesson()) != chart_pdf(lesson(2))
