"""The reference card as a PDF, true to scale: an A6 page, or two cards to cut out of an A4 page.

A marker is one black rectangle with its white runs as one path on it, so that no hairline splits
it and no rounding notches its border. The file asks the viewer not to scale it, and equal
arguments give equal bytes.
"""

import io
import math
from itertools import groupby
from pathlib import Path
from typing import Literal

import cv2
import segno
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth

from satcheck.card.layout import IDS_PER_DESIGN, LAYOUT, Rect, Weave, marker_dictionary
from satcheck.errors import UsageError
from satcheck.files import write_whole
from satcheck.pdf import CREATOR, Canvas

SheetSize = Literal["A6", "A4"]
MAX_PART_LENGTH = 24
"""Longest part number: its modules still cover 4 pixels at 8 pixels per mm."""

PAGES: dict[str, tuple[float, float, tuple[tuple[float, float], ...]]] = {
    "A6": (148.0, 105.0, ((0.0, 0.0),)),
    "A4": (210.0, 297.0, ((31.0, 15.0), (31.0, 130.0))),
}
"""Page width and height, and the top left corner of each card on it, mm."""

PLACING = (
    "Lay the card flat beside the part, at the",
    "same distance from the phone and in the",
    "same light. Leave all of it in the picture.",
)
PRINTING = (
    "Print at 100 %, not fitted to the page,",
    "black and white, on matt white paper.",
    "The ruler must measure 100 mm.",
)
SHEET_NOTE = (
    "Cut along the thin lines; the second card is a spare.",
    "Print at 100 % (actual size). If the ruler does not measure 100 mm, print again.",
    "Matt paper, black and white, best quality. Keep the card dry and flat.",
)


def write_card(path: Path | str, part: str | None = None, size: SheetSize = "A6") -> None:
    """Write the reference card as a PDF.

    Parameters
    ----------
    path : path-like
        The file to write.
    part : str, optional
        The part's number, for the QR field and in print; 1 to 24 printable ASCII characters.
    size : {"A6", "A4"}
        A6: one card, the page itself. A4: two cards to cut out.

    Raises
    ------
    UsageError
        For another size, or a part number that does not fit.
    OSError
        If the file cannot be written; what stood there stays then.
    """
    if size not in PAGES:
        raise UsageError(f"card size {size!r} is unknown; allowed: {', '.join(PAGES)}")
    if part is not None:
        _check_part(part)
    width, height, places = PAGES[size]
    out = io.BytesIO()
    canvas = Canvas(out, (width * mm, height * mm), pageCompression=1, invariant=1)
    canvas.setTitle("Reference card")
    canvas.setCreator(CREATOR)
    canvas.setViewerPreference("PrintScaling", "None")
    for x, y in places:
        _Pen(canvas, height, x, y).draw_card(part, is_cut_out=size == "A4")
    if size == "A4":
        _Pen(canvas, height, 31.0, 250.0).lines(SHEET_NOTE, 0.0, 0.0, 10)
    canvas.showPage()
    canvas.save()
    write_whole(Path(path), out.getvalue())


def _check_part(part: str) -> None:
    is_printable = part.isascii() and part.isprintable() and part.strip() == part
    if not (is_printable and 1 <= len(part) <= MAX_PART_LENGTH):
        raise UsageError(
            f"part number {part!r} does not fit the card; allowed: 1 to {MAX_PART_LENGTH} "
            "printable ASCII characters, no space at either end"
        )


class _Pen:
    """Draws in millimetres from a card's top left corner, y down."""

    def __init__(self, canvas: Canvas, page_height: float, x: float, y: float) -> None:
        self.canvas, self.x, self.y = canvas, x, page_height - y

    def draw_card(self, part: str | None, *, is_cut_out: bool) -> None:
        if is_cut_out:
            self.frame(LAYOUT.outline)
        for index in range(len(LAYOUT.markers)):
            self.marker(index)
        for grey in (*LAYOUT.greys, LAYOUT.edge_ground, LAYOUT.weave_ground):
            self.fill(grey.rect, grey.code)
        for square in LAYOUT.squares:
            self.polygons([square.corners().tolist()], 0)
        for weave in LAYOUT.weaves:
            self.weave(weave)
        self.ruler(LAYOUT.ruler)
        self.text("Reference card", 22.5, 9.5, 9, bold=True)
        self.lines(PLACING, 22.5, 13.0, 6)
        self.lines(PRINTING, 84.0, 88.5, 6)
        self.text(f"Design {LAYOUT.design}", 84.0, 98.0, 6)
        self.part(part)

    def text(self, text: str, x: float, y: float, size: float, *, bold: bool = False) -> None:
        self.canvas.setFillGray(0)
        self.canvas.setFont("Helvetica-Bold" if bold else "Helvetica", size)
        self.canvas.drawString((self.x + x) * mm, (self.y - y) * mm, text)

    def lines(self, lines: tuple[str, ...], x: float, y: float, size: float) -> None:
        for number, line in enumerate(lines):
            self.text(line, x, y + 0.46 * size * number, size)

    def fill(self, rect: Rect, code: int) -> None:
        self.canvas.setFillGray(code / 255)
        left, bottom = self.x + rect.x, self.y - rect.y - rect.height
        self.canvas.rect(
            left * mm, bottom * mm, rect.width * mm, rect.height * mm, stroke=0, fill=1
        )

    def frame(self, rect: Rect) -> None:
        self.canvas.setStrokeGray(0.5)
        self.canvas.setLineWidth(0.15 * mm)
        left, bottom = self.x + rect.x, self.y - rect.y - rect.height
        self.canvas.rect(left * mm, bottom * mm, rect.width * mm, rect.height * mm)

    def polygons(self, polygons: list[list[tuple[float, float]]], code: int) -> None:
        """Fill closed polygons, all as one path."""
        self.canvas.setFillGray(code / 255)
        path = self.canvas.beginPath()
        for first, *rest in polygons:
            path.moveTo((self.x + first[0]) * mm, (self.y - first[1]) * mm)
            for x, y in rest:
                path.lineTo((self.x + x) * mm, (self.y - y) * mm)
            path.close()
        self.canvas.drawPath(path, stroke=0, fill=1)

    def matrix(self, modules: list[list[bool]], rect: Rect, code: int) -> None:
        """Fill a matrix's set modules as one path: each run in a row is one rectangle."""
        cell = rect.width / len(modules)
        runs: list[list[tuple[float, float]]] = []
        for row, line in enumerate(modules):
            top = rect.y + cell * row
            start = 0
            for is_set, group in groupby(line):
                end = start + len(list(group))
                if is_set:
                    left, right = rect.x + cell * start, rect.x + cell * end
                    corners = [(left, top), (right, top), (right, top + cell), (left, top + cell)]
                    runs.append(corners)
                start = end
        self.polygons(runs, code)

    def marker(self, index: int) -> None:
        """Draw one black square, then its white modules: its outer border is one rectangle."""
        number = LAYOUT.design * IDS_PER_DESIGN + index
        image = cv2.aruco.generateImageMarker(marker_dictionary(), number, 8)
        self.fill(LAYOUT.marker(index), 0)
        self.matrix((image > 0).tolist(), LAYOUT.marker(index), 255)

    def weave(self, weave: Weave) -> None:
        """Draw light diamonds on the dark ground; those on the rim are cut by a clip."""
        rect, half = weave.rect, weave.pitch / 2
        self.canvas.saveState()
        clip = self.canvas.beginPath()
        bottom = self.y - rect.y - rect.height
        clip.rect((self.x + rect.x) * mm, bottom * mm, rect.width * mm, rect.height * mm)
        self.canvas.clipPath(clip, stroke=0, fill=0)
        self.fill(Rect(rect.x - 1, rect.y - 1, rect.width + 2, rect.height + 2), weave.dark)
        centres = [
            (rect.x + weave.pitch * i, rect.y + weave.pitch * j)
            for i in range(math.ceil(rect.width / weave.pitch) + 1)
            for j in range(math.ceil(rect.height / weave.pitch) + 1)
        ]
        diamonds = [
            [(x, y - half), (x + half, y), (x, y + half), (x - half, y)] for x, y in centres
        ]
        self.polygons(diamonds, weave.light)
        self.canvas.restoreState()

    def ruler(self, rect: Rect) -> None:
        base = rect.y + rect.height
        self.fill(Rect(rect.x, base - 0.1, rect.width, 0.2), 0)
        for tick in range(int(rect.width) + 1):
            height = 3.0 if tick % 10 == 0 else 2.2 if tick % 5 == 0 else 1.5
            self.fill(Rect(rect.x + tick - 0.075, base - height, 0.15, height), 0)
            if tick % 10 == 0:
                label = f"{tick} mm" if tick == rect.width else str(tick)
                shift = stringWidth(str(tick), "Helvetica", 5) / mm / 2
                self.text(label, rect.x + tick - shift, rect.y - 0.7, 5)

    def part(self, part: str | None) -> None:
        x, y = LAYOUT.qr.x + LAYOUT.qr.width + 4.0, LAYOUT.qr.y
        self.text("Part", x, y + 3.0, 6)
        if part is None:
            self.fill(Rect(x, y + 12.0, 21.0, 0.15), 0)
            return
        code = segno.make_qr(part, error="m", boost_error=False)
        self.matrix([[bool(module) for module in row] for row in code.matrix], LAYOUT.qr, 0)
        room = 21.0 * mm
        size = min(9.0, room / stringWidth(part, "Helvetica-Bold", 1))
        self.text(part, x, y + 8.0, size, bold=True)
