"""Strips above and below the picture: the verdict in words, the legend and the notes."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from PIL import Image, ImageDraw

from satcheck.model import Inspection, Label
from satcheck.overlay.badges import Badge, draw_badge
from satcheck.overlay.look import COLUMNS, INK, LETTERS, PAPER, Rgb, font_of
from satcheck.overlay.patterns import swatch
from satcheck.report import DEMO_SHORT, cut_line, headline, judged_line

PAD = 0.6
"""Text heights between a strip's rim and its lines."""


@dataclass(frozen=True)
class Line:
    """A line of text in a strip; size in text heights."""

    text: str
    size: float


def verdict_lines(inspection: Inspection) -> tuple[Line, ...]:
    """Return the verdict and what to do, broken into lines; of two pieces of advice the first."""
    lines = [Line(text, 1.5) for text in _broken(headline(inspection), 1.5, 3)]
    alone = 2 if inspection.verdict is Label.NOT_JUDGED else 1  # what is wrong needs its remedy
    advice = " ".join(inspection.advice[:alone])
    lines += [Line(text, 1.05) for text in _broken(advice, 1.05, 3) if text]
    return tuple(lines)


def note_lines(inspection: Inspection) -> tuple[Line, ...]:
    """Return the lines under the legend: what the verdict rests on."""
    notes = [judged_line(inspection)]
    notes += [cut_line(inspection.cut)] if inspection.cut else []
    notes += [DEMO_SHORT] if inspection.calibration.is_demo else []
    return tuple(Line(text, 1.0) for note in notes for text in _broken(note, 1.0, 2))


def _broken(text: str, size: float, most: int) -> list[str]:
    """Break a text into lines as wide as the picture; what does not fit ends in dots."""
    font, limit = font_of(20 * size), 20 * (COLUMNS - 2 * PAD)
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if font.getlength(longer) <= limit or not lines[-1]:
            lines[-1] = longer
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[: most - 1], f"{lines[most - 1]} ..."]
    return lines


def strip_height(lines: Sequence[Line]) -> float:
    """Return the height of a strip in text heights."""
    return 2 * PAD + sum(1.25 * line.size for line in lines)


def strip(lines: Sequence[Line], width: int) -> Rgb:
    """Return lines of text on paper, (h, width, 3)."""
    unit = width / COLUMNS
    picture = Image.new("RGB", (width, round(strip_height(lines) * unit)), PAPER)
    pen, y = ImageDraw.Draw(picture), PAD * unit
    for line in lines:
        y += 1.25 * line.size * unit
        pen.text((PAD * unit, y), line.text, INK, font_of(line.size * unit), anchor="ld")
    return np.asarray(picture)


def legend_height(notes: Sequence[Line]) -> float:
    """Return the height of the legend in text heights."""
    return 4.4 + strip_height(notes)


def legend(notes: Sequence[Line], width: int) -> Rgb:
    """Return every label with its letter, pattern and word above the notes, (h, width, 3)."""
    return np.concatenate([_key(width), strip(notes, width)])


@lru_cache(4)
def _key(width: int) -> Rgb:
    """Return every label with its letter, pattern and word, (h, width, 3)."""
    unit = width / COLUMNS
    picture = Image.new("RGB", (width, round(4.4 * unit)), PAPER)
    pen = ImageDraw.Draw(picture)
    for index, label in enumerate(LETTERS):
        x, y = (0.4 + 9.4 * (index % 3)) * unit, (0.4 + 2.2 * (index // 3)) * unit
        piece = swatch(label, round(2.7 * unit), round(1.9 * unit), unit)
        picture.paste(Image.fromarray(piece), (round(x + 1.1 * unit), round(y)))
        middle = (x + unit, y + 0.95 * unit)
        draw_badge(picture, Badge(label, *middle, middle), unit)
        pen.text((x + 4.1 * unit, middle[1]), label.word, INK, font_of(1.1 * unit), anchor="lm")
    return np.asarray(picture)  # read-only
