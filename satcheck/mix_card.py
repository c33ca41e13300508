"""The mix sheet as a card to print: large numbers for the bench, its sums, and what to mind.

A4 is the A6 drawing at twice its size. Equal sheets give equal bytes.
"""

import io
from collections.abc import Sequence
from typing import Literal

from reportlab.lib.units import mm
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase.pdfmetrics import stringWidth

from satcheck.cautions import FIRST
from satcheck.pdf import CREATOR, Canvas
from satcheck.resin.mix import figure_text, percent_text
from satcheck.resin.mix_sheet import MixSheet, amounts

CardSize = Literal["A6", "A4"]
SCALES: dict[str, float] = {"A6": 1.0, "A4": 2.0}
WIDTH, HEIGHT, MARGIN = 105.0, 148.0, 6.0
"""mm of the A6 drawing, upright."""
ROOM = WIDTH - 2 * MARGIN
LEAST_SIZE = 3.2
"""Points of the smallest sums, where a layup has many layers; read them on A4."""


def mix_card(sheet: MixSheet, size: CardSize = "A6") -> bytes:
    """Return the card as a PDF of one page."""
    out = io.BytesIO()
    scale = SCALES[size]
    canvas = Canvas(out, (WIDTH * scale * mm, HEIGHT * scale * mm), pageCompression=1, invariant=1)
    canvas.setTitle("Mix card")
    canvas.setCreator(CREATOR)
    canvas.scale(scale, scale)
    pen = _Pen(canvas)
    pen.title(sheet)
    for number, row in enumerate(amounts(sheet.mix)):
        pen.amount(*row, is_first=number == 0)
    bottom = pen.cautions(sheet)
    pen.sums(sheet, bottom)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


class _Pen:
    """Draws in millimetres from the top left corner, y down; ``y`` is where the next thing goes."""

    def __init__(self, canvas: Canvas) -> None:
        self.canvas, self.y = canvas, MARGIN

    def text(self, text: str, x: float, size: float, *, bold: bool = False, y: float = -1) -> None:
        self.canvas.setFont("Helvetica-Bold" if bold else "Helvetica", size)
        self.canvas.drawString(x * mm, (HEIGHT - (self.y if y < 0 else y)) * mm, text)

    def rule(self, y: float, width: float = 0.3) -> None:
        self.canvas.setLineWidth(width * mm)
        self.canvas.line(MARGIN * mm, (HEIGHT - y) * mm, (WIDTH - MARGIN) * mm, (HEIGHT - y) * mm)

    def title(self, sheet: MixSheet) -> None:
        self.y += 4.5
        self.text("Mix", MARGIN, 15, bold=True)
        right = f"part {sheet.part}" if sheet.part else "part ____________"
        size = min(11.0, 11.0 * 60 * mm / stringWidth(right, "Helvetica-Bold", 11))
        width = stringWidth(right, "Helvetica-Bold", size) / mm
        self.text(right, WIDTH - MARGIN - width, size, bold=True)
        self.y += 4.5
        target = sheet.mix.target
        self.text(
            f"{sheet.resin.name}; dry fabric {sheet.mix.fabric:.0f} g; fibre "
            f"{percent_text(target.value)} % by volume ({percent_text(target.low)} to "
            f"{percent_text(target.high)} %)", MARGIN, 7,
        )  # fmt: skip
        self.y += 2.0
        self.rule(self.y, 0.5)

    def amount(self, word: str, grams: str, how: str, *, is_first: bool) -> None:
        """Draw one line for the scale; a blank box takes the tick."""
        self.y += 12.0
        size = 34 if is_first else 26
        self.text(word, MARGIN, 12, bold=is_first, y=self.y - (1.5 if how else 0))
        if how:
            self.text(how, MARGIN, 5.5, y=self.y + 1.2)
        width = stringWidth(grams, "Helvetica-Bold", size) / mm
        self.text(grams, WIDTH - MARGIN - 19 - width, size, bold=True)
        self.text("g", WIDTH - MARGIN - 16, 16)
        if word != "in all":
            self.canvas.setLineWidth(0.4 * mm)
            self.canvas.rect((WIDTH - MARGIN - 7) * mm, (HEIGHT - self.y) * mm, 7 * mm, 7 * mm)
        self.rule(self.y + 2.4, 0.15)

    def cautions(self, sheet: MixSheet) -> float:
        """Draw the cautions at the foot; return where they begin."""
        limits = [f"{e.substance}: {e.limit} ({e.source})" for e in sheet.limits]
        blocks = [(each.words, 6.6, number == 0) for number, each in enumerate(sheet.cautions)]
        blocks += [("Exposure limits. " + "; ".join(limits) + ".", 4.2, False)] if limits else []
        lines = [
            (line, size, bold)
            for text, size, bold in [*blocks, (FIRST, 6.0, True)]
            for line in self._wrapped(text, size, bold=bold)
        ]
        top = HEIGHT - MARGIN - sum(0.42 * size for _, size, _ in lines)
        self.rule(top, 0.5)
        y = top
        for line, size, bold in lines:
            y += 0.42 * size
            self.text(line, MARGIN, size, bold=bold, y=y)
        return top

    def sums(self, sheet: MixSheet, bottom: float) -> None:
        """Draw sums and warnings in the room that is left, as large as it lets them be."""
        top = self.y + 3.4
        warnings = [f"Look again: {each}" for each in sheet.mix.warnings]
        rows = [
            f"{step.words}: {figure_text(step.value)} {step.unit}  ({step.how})"
            for step in sheet.mix.steps
        ]
        size = 6.2
        while True:
            lines = [
                (line, bold)
                for text, bold in [*((w, True) for w in warnings), *((r, False) for r in rows)]
                for line in self._wrapped(text, size, bold=bold)
            ]
            if 0.42 * size * len(lines) <= bottom - top - 1.0 or size <= LEAST_SIZE:
                break
            size -= 0.2
        for number, (line, bold) in enumerate(lines, 1):
            y = top + 0.42 * size * number
            if y > bottom - 0.5:
                self.text("... more on the screen", MARGIN, size, bold=True, y=bottom - 0.5)
                break
            self.text(line, MARGIN, size, bold=bold, y=y)

    def _wrapped(self, text: str, size: float, *, bold: bool) -> Sequence[str]:
        font = "Helvetica-Bold" if bold else "Helvetica"
        lines: list[str] = simpleSplit(text, font, size, ROOM * mm)
        return lines
