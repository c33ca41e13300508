"""The wall chart: A3, readable from two metres, in black and white too."""

import io

from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase.pdfmetrics import stringWidth

from satcheck.lesson.model import Fibre, Lesson
from satcheck.lesson.texts import TO_DO, capital
from satcheck.model import SCALE, Label
from satcheck.pdf import CREATOR, Canvas

WIDTH, HEIGHT = 420.0, 297.0
"""A3 across, mm (ISO 216)."""
EDGE = 12.0
LEFT = 34.0
"""mm kept for the fibres' names."""
CAPITAL = 0.72
"""Height of a capital of Helvetica over its size (the font's own metrics)."""
FAR = 2000.0 / 200
"""mm: capitals as high as a 200th of the distance are read at ease; common practice, no source."""
NEAR = 2000.0 / 330
"""mm: the least that good eyes read at that distance; common practice, no source."""
RULES = (
    "Same pattern from brim to lock, and all round.",
    "Stop short of the brim's edge. Tie in at the lock.",
    "Soft or mirrored photo? Do not judge: take it again.",
)
CAUTION = (
    "Resin, peroxide and solvent vapour hurt: gloves, glasses, fresh air, no flames. Data sheets "
    "come first. Supports a trained eye; certifies neither strength nor fit. "
    "Common practice, no published source."
)
BOLD, PLAIN = "Helvetica-Bold", "Helvetica"


def chart_pdf(lesson: Lesson, is_demo: bool = False) -> bytes:
    """Return the chart as a PDF; equal lessons give equal bytes.

    Parameters
    ----------
    lesson : Lesson
        Its fibres give the rows; a state that a fibre lacks stays empty.
    is_demo : bool
        Whether the pictures are the demo's: said on the chart.
    """
    out = io.BytesIO()
    page = Canvas(out, (WIDTH * mm, HEIGHT * mm), invariant=True)
    page.setTitle("How much resin is enough")
    page.setCreator(CREATOR)
    column = (WIDTH - 2 * EDGE - LEFT) / len(SCALE)
    top = HEIGHT - EDGE
    _heads(page, column, top)
    foot = EDGE + 42
    rows = max(len(lesson.fibres), 1)
    side = min(column - 4, (top - 34 - foot) / rows - 4)
    for k, fibre in enumerate(lesson.fibres):
        _row(page, fibre, column, top - 34 - (k + 1) * (side + 4), side)
    _foot(page, foot - 6, lesson, is_demo)
    page.save()
    return out.getvalue()


def _text(page: Canvas, text: str, x: float, y: float, capital: float, font: str = BOLD) -> None:
    page.setFont(font, capital / CAPITAL * mm)
    page.drawString(x * mm, y * mm, text)


def _centred(page: Canvas, text: str, x: float, y: float, capital: float, widest: float) -> None:
    """Draw a centred word, smaller where it would not fit."""
    size = capital / CAPITAL * mm
    size *= min(1.0, widest * mm / stringWidth(text, BOLD, size))
    page.setFont(BOLD, size)
    page.drawCentredString(x * mm, y * mm, text)


def _heads(page: Canvas, column: float, top: float) -> None:
    """Draw each state's word, what to do, and how the pattern looks: bars from bold to none."""
    for k, label in enumerate(SCALE):
        middle = EDGE + LEFT + (k + 0.5) * column
        if label in (Label.STARVED, Label.RICH):
            page.setFillGray(0)
            page.rect((middle - column / 2 + 1) * mm, (top - 13) * mm, (column - 2) * mm, 15 * mm,
                      stroke=0, fill=1)  # fmt: skip
            page.setFillGray(1)
        _centred(page, label.word.upper(), middle, top - 10, FAR, column - 6)
        page.setFillGray(0)
        _centred(page, TO_DO[label], middle, top - 25, NEAR, column - 4)
    page.setLineWidth(1.2 * mm)
    page.line(EDGE * mm, (top - 30) * mm, (WIDTH - EDGE) * mm, (top - 30) * mm)


def _row(page: Canvas, fibre: Fibre, column: float, bottom: float, side: float) -> None:
    _text(page, capital(fibre.name), EDGE, bottom + side / 2, NEAR)
    pictures = {stop.state: stop.picture for stop in fibre.stops}
    for k, label in enumerate(SCALE):
        x = EDGE + LEFT + (k + 0.5) * column - side / 2
        page.setLineWidth(0.6 * mm)
        if label in pictures:
            image = ImageReader(io.BytesIO(pictures[label]))
            page.drawImage(image, x * mm, bottom * mm, side * mm, side * mm)
        page.rect(x * mm, bottom * mm, side * mm, side * mm)


def _foot(page: Canvas, top: float, lesson: Lesson, is_demo: bool) -> None:
    for k, rule in enumerate(RULES):
        _text(page, rule, EDGE, top - 6 - 11 * k, NEAR)
    page.setFont(PLAIN, 8)
    shown = "Demo: invented parts and photos. " if is_demo else ""
    page.drawString(EDGE * mm, EDGE * mm - 4, f"{shown}{CAUTION} Calibration {lesson.calibration}.")
