"""The sheet of an audited part: one PDF to file with the part. Equal parts give equal bytes.

Names in any script are written as far as the font found on this computer goes; other signs stand
there by their code, as U+6F22, so that different names stay different.
"""

import io
from collections.abc import Callable, Sequence
from functools import cache
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from satcheck.audit.rows import PartRow, PhotoRow, photo_headline
from satcheck.audit.summary import SUPPORTS, Summary, statement
from satcheck.audit.wording import alike_sentence, percent
from satcheck.model import ZONES, Label, ZoneVerdict
from satcheck.pdf import CREATOR, Canvas

MARGIN, WIDTH = 16 * mm, A4[0] - 32 * mm
INK, QUIET = HexColor("#14212b"), HexColor("#51606b")
ACROSS, HIGH = 3, 92 * mm
"""Pictures side by side, and the height of one at most."""
COLUMNS = 6
"""Photos whose zones stand side by side in one table."""
_FILES = (("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"), ("Vera.ttf", "VeraBd.ttf"))
"""The first pair that is installed; the second comes with reportlab."""


def part_sheet(part: PartRow, found: Summary, picture: Callable[[PhotoRow], bytes | None]) -> bytes:
    """Return the sheet of a part as a PDF of A4 pages.

    Parameters
    ----------
    part : PartRow
    found : Summary
        The audit that it is of.
    picture : callable
        Returns the overlay of a photo as JPEG, or None where it has none.
    """
    out = io.BytesIO()
    made = BaseDocTemplate(
        out, pagesize=A4, leftMargin=MARGIN, rightMargin=MARGIN, topMargin=MARGIN,
        bottomMargin=22 * mm, title=f"Audit of part {part.part}", creator=CREATOR, invariant=1,
    )  # fmt: skip
    frame = Frame(MARGIN, 22 * mm, WIDTH, A4[1] - 22 * mm - MARGIN, 0, 0, 0, 0)
    foot = f"Part {part.part}. Audit of {found.made_at}. {SUPPORTS}"

    def below(canvas: Canvas, _: BaseDocTemplate) -> None:
        lines = Paragraph(f"{_said(foot)} Page {canvas.getPageNumber()}.", _style(7.5, QUIET))
        lines.wrap(WIDTH, 12 * mm)
        lines.drawOn(canvas, MARGIN, 9 * mm)

    made.addPageTemplates(PageTemplate(frames=[frame], onPage=below))
    made.build(_story(part, found, picture))
    return out.getvalue()


def _story(
    part: PartRow, found: Summary, picture: Callable[[PhotoRow], bytes | None]
) -> list[Flowable]:
    verdict = part.verdict.word.upper() if part.fails else part.verdict.word
    story: list[Flowable] = [
        Paragraph(f"Part {_said(part.part)}: {verdict}", _style(20, bold=True, after=3)),
        *(Paragraph(_said(line), _style(11, after=1.5)) for line in _lines(part, found)),
        Spacer(1, 3 * mm),
        _pictures(part.photos, picture),
        *(_zones(part.photos, k) for k in range(0, len(part.photos), COLUMNS)),
        Spacer(1, 4 * mm),
    ]
    facts = {p.inspection.calibration.id + p.inspection.calibration.fibre: p for p in part.photos}
    rests = statement([photo.inspection.calibration for photo in facts.values()])
    ends = [Paragraph(_said(line), _style(9, after=1)) for line in rests]
    signed = "Inspected by: ______________________   Date: ______________   Result: _____________"
    story.append(KeepTogether([*ends, Spacer(1, 6 * mm), Paragraph(signed, _style(10))]))
    return story


def _lines(part: PartRow, found: Summary) -> list[str]:
    """Return what is said under the verdict."""
    lines = [f"{part.where[:1].upper()}{part.where[1:]}."] if part.where else []
    even = "" if part.evenness is None else f" Evenness {part.evenness:.2f}."
    lines.append(f"Judged: {percent(part.share_judged)} of the part as seen; {part.open}.{even}")
    if part.scale is not None:
        lines.append(f"Scale and photo: {part.scale.sentence}")
    lines += [f"Mind: {_file_name(photo)}: {photo.mind}" for photo in part.photos if photo.mind]
    lines += [f"Mind: {alike_sentence(names)}" for names in found.alike if part.part in names]
    advice = part.worst.inspection.advice
    if advice:
        lines.append(f"Next: {' '.join(advice)}")
    by = part.joined(lambda photo: photo.by)
    who = f"By {by}" if by else "Technician not recorded"
    resin = part.joined(lambda photo: photo.resin)
    lines.append(f"{who}{f', resin {resin}' if resin else ''}, {part.when[:10]}.")
    return lines


def _pictures(photos: Sequence[PhotoRow], picture: Callable[[PhotoRow], bytes | None]) -> Table:
    width = WIDTH / ACROSS
    cells = [_cell(photo, picture(photo), width - 3 * mm) for photo in photos]
    cells += [[]] * (-len(cells) % ACROSS)
    rows = [cells[k : k + ACROSS] for k in range(0, len(cells), ACROSS)]
    looks: list[Any] = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)]
    return Table(rows, colWidths=[width] * ACROSS, style=TableStyle(looks))


def _file_name(photo: PhotoRow) -> str:
    return photo.path.replace("\\", "/").rsplit("/", 1)[-1]


def _cell(photo: PhotoRow, jpeg: bytes | None, width: float) -> list[Flowable]:
    """Return a picture with what it is of."""
    name = _file_name(photo)
    view = f"<b>{_said(photo.view)}</b>: " if photo.view else ""
    when = photo.when[:16].replace("T", " ") + (
        " (recorded, UTC)" if photo.is_when_recorded else ""
    )
    words = f"{view}{_said(photo_headline(photo))}<br/>{_said(name)}, {when}"
    caption = Paragraph(words, _style(7.5))
    if jpeg is None:
        return [Paragraph("(no picture)", _style(9)), caption]
    across, down = _Jpeg(jpeg).getSize()
    scale = min(width / across, HIGH / down)
    return [_Picture(jpeg, across * scale, down * scale), caption]


class _Picture(Flowable):
    """A JPEG at a size in points."""

    def __init__(self, jpeg: bytes, width: float, height: float) -> None:
        super().__init__()
        self.jpeg, self.width, self.height = jpeg, width, height
        self.hAlign = "CENTER"

    def draw(self) -> None:
        self.canv.drawImage(_Jpeg(self.jpeg), 0, 0, self.width, self.height)


class _Jpeg(ImageReader):
    """A JPEG that goes into a PDF as it is.

    reportlab decodes a picture to know it again, and keeps the pixels as long as the document: of
    an audit of a thousand photos that was 2 GB.
    """

    def __init__(self, jpeg: bytes) -> None:
        super().__init__(io.BytesIO(jpeg))
        self._jpeg, self._dataA = jpeg, None

    def getRGBData(self) -> bytes:  # noqa: N802 - reportlab's name for what it is known by
        return self._jpeg


def _zones(photos: Sequence[PhotoRow], first_of: int) -> Table:
    """Return the table of zones, one column a photo, of as many photos as it has room for."""
    some = photos[first_of : first_of + COLUMNS]
    heads = [_said(photo.view or f"photo {k}") for k, photo in enumerate(some, first_of + 1)]
    rows = [[Paragraph(f"<b>{head}</b>", _style(8)) for head in ("zone", *heads)]]
    for zone in ZONES:
        found = [{z.name: z for z in photo.inspection.zones}.get(zone) for photo in some]
        rows.append([Paragraph(zone, _style(8)), *(Paragraph(_zone(z), _style(8)) for z in found)])
    lines: list[Any] = [
        ("LINEBELOW", (0, 0), (-1, -1), 0.3, QUIET),
        ("TOPPADDING", (0, 0), (-1, -1), 1),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
        ("LEFTPADDING", (0, 0), (-1, -1), 2),
    ]
    first = 32 * mm
    widths = [first, *([(WIDTH - first) / len(some)] * len(some))]
    style = TableStyle(lines)
    return Table(rows, colWidths=widths, style=style, repeatRows=1, spaceBefore=3 * mm)


def _zone(zone: ZoneVerdict | None) -> str:
    if zone is None or zone.verdict is Label.NOT_JUDGED:
        reasons = zone.reasons if zone else {}
        why = max(reasons, key=lambda word: reasons[word], default="")
        return f"not judged{f' ({_said(why)})' if why else ''}"
    word = zone.verdict.word
    told = f"<b>{word.upper()}</b>" if zone.verdict in (Label.STARVED, Label.RICH) else word
    return f"{told} {percent(zone.share_judged)} judged" if zone.share_judged < 0.995 else told


def _said(text: str) -> str:
    """Return text as a paragraph shows it: marked-up signs escaped, others by their code."""
    known = _faces()[2]
    return escape("".join(c if ord(c) in known else f"U+{ord(c):04X}" for c in text))


def _style(
    size: float, colour: Color = INK, *, bold: bool = False, after: float = 0
) -> ParagraphStyle:
    plain, strong, _ = _faces()
    return ParagraphStyle(
        "sheet", fontName=strong if bold else plain, fontSize=size, leading=1.25 * size,
        textColor=colour, spaceAfter=after * mm, splitLongWords=1,
    )  # fmt: skip


@cache
def _faces() -> tuple[str, str, frozenset[int]]:
    """Return the names of a plain and a bold face, and the signs that both can write."""
    for files in _FILES:
        try:
            plain, bold = (TTFont(f"sheet-{name}", name) for name in files)
        except TTFError:
            continue
        for face in (plain, bold):
            pdfmetrics.registerFont(face)
        pdfmetrics.registerFontFamily(
            plain.fontName, plain.fontName, bold.fontName, plain.fontName, bold.fontName
        )
        known = frozenset(plain.face.charToGlyph) & frozenset(bold.face.charToGlyph)
        return plain.fontName, bold.fontName, known
    raise RuntimeError("reportlab comes with its own faces")
