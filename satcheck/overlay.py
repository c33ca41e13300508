"""The verdict drawn on the photo.

It is read at a glance on a phone, in daylight, in black and white, and without colour vision: each
label has a pattern of its own and a letter, colours only help. Lines mean too little resin (crossed
where starved), drops too much (large where rich). What is good stays as the photo shows it, and
what was not judged is veiled. Every line has a dark rim, so that it stands on a black and on a
white laminate.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from io import BytesIO
from typing import Any

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from satcheck.area_mean import to_show
from satcheck.beside import beside
from satcheck.files import OVERLAY_MARK
from satcheck.model import Cells, Inspection, Label
from satcheck.report import DEMO_SHORT, headline, judged_line

LONG_SIDE = 1600
QUALITY = 88

COLUMNS = 30
"""Width of the picture in text heights: 12 pixels on a phone screen 360 pixels wide."""

ROOMY = 1.6
"""Badge radii of room that an urgent patch needs for its badge not to hide it."""

BADGE_PIXELS = 10
"""Pixels of a badge's radius that are enough to find it a place."""

SPECK = 0.1
"""Badge radii of room under which a patch is too small to be pointed at."""

RIM_ERROR = 1.1
"""Pixels by which a patch's rim is drawn off it at most: fewer corners are quicker and smoother."""

Rgb = NDArray[np.uint8]
Mask = NDArray[np.bool_]
Float = NDArray[np.floating[Any]]
Colour = tuple[int, int, int]
Rims = dict[Label, list[Any]]
"""Closed lines by the label of their patch: (n, 1, 2) int32 arrays of x, y."""

# Own palette: warm for dry, cool for wet; the urgent labels deeper than the mild ones.
COLOURS: dict[Label, Colour] = {
    Label.STARVED: (255, 122, 26),
    Label.LEAN: (255, 214, 110),
    Label.GOOD: (240, 240, 232),
    Label.HEAVY: (140, 214, 232),
    Label.RICH: (92, 124, 255),
    Label.NOT_JUDGED: (168, 168, 168),
}
LETTERS: dict[Label, str] = {
    Label.STARVED: "S",
    Label.LEAN: "L",
    Label.GOOD: "G",
    Label.HEAVY: "H",
    Label.RICH: "R",
    Label.NOT_JUDGED: "?",
}
_URGENT = (Label.STARVED, Label.RICH)
_PAPER: Colour = (250, 249, 245)
_INK: Colour = (22, 22, 22)
_GREY: Colour = (120, 120, 120)
# Rows of a label map are mostly as the row above. OpenCV else tries all filters, which takes three
# times as long (33 ms against 11 for three megapixels).
_PACKED = (
    *(cv2.IMWRITE_PNG_COMPRESSION, 1),
    *(cv2.IMWRITE_PNG_STRATEGY, cv2.IMWRITE_PNG_STRATEGY_RLE),
    *(cv2.IMWRITE_PNG_FILTER, cv2.IMWRITE_PNG_FILTER_UP),
)
_STEPS = 24
"""Of distance to a pixel: 255 of them reach beyond a rim in pictures up to 3,000 pixels wide."""


@dataclass(frozen=True)
class Line:
    """A line of text in a strip; size in text heights."""

    text: str
    size: float


@dataclass(frozen=True)
class Badge:
    """A letter on the picture, and the middle of the patch that it speaks of (pixels x, y)."""

    label: Label
    x: float
    y: float
    tip: tuple[float, float]

    def enlarged(self, times: float) -> "Badge":
        """Return its place in a picture that is larger by a factor."""
        tip = (times * self.tip[0], times * self.tip[1])
        return Badge(self.label, times * self.x, times * self.y, tip)


def overlay_jpeg(rgb: Rgb, inspection: Inspection) -> bytes:
    """Return `draw_overlay` as the bytes of a JPEG that says by its comment what it is."""
    stream = BytesIO()
    picture = Image.fromarray(draw_overlay(rgb, inspection))
    picture.save(stream, "JPEG", quality=QUALITY, comment=OVERLAY_MARK)
    return stream.getvalue()


def label_map_png(inspection: Inspection) -> bytes:
    """Return the label map as the bytes of an 8-bit grey PNG, at least a quarter of the photo."""
    labels, photo = inspection.labels, inspection.photo
    least = (math.ceil(photo.width / 4), math.ceil(photo.height / 4))
    if labels.shape[1] < least[0] or labels.shape[0] < least[1]:
        labels = _nearest(labels, least)
    return bytes(cv2.imencode(".png", labels, _PACKED)[1])


def draw_overlay(rgb: Rgb, inspection: Inspection) -> Rgb:
    """Draw the verdict on the upright photo.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array, sRGB
        The upright photo, at any size.
    inspection : Inspection
        Its label map may be of another size.

    Returns
    -------
    (h, w, 3) uint8 array, sRGB
        The photo between the verdict in words and a legend, long side at most 1600 pixels.
    """
    words = _words(inspection)
    notes = _notes(inspection)
    strips = _strip_height(words) + _legend_height(notes)
    height, width = rgb.shape[:2]
    scale = min(1.0, LONG_SIDE / max(width, height + strips * width / COLUMNS + 2))
    size = (max(1, int(width * scale)), max(1, int(height * scale)))
    drawn = draw_marks(to_show(rgb, *size), inspection)
    return np.concatenate([_strip(words, size[0]), drawn, _legend(notes, size[0])])


def draw_marks(photo: Rgb, inspection: Inspection) -> Rgb:
    """Draw patterns, borders and letters on the upright photo (h, w, 3), without any strip."""
    height, width = photo.shape[:2]
    unit = width / COLUMNS
    labels = _nearest(inspection.labels, (width, height))
    step = max(1, int(unit / BADGE_PIXELS))
    with beside() as second:
        rims = second.submit(_rims, labels)
        badges = second.submit(place_badges, labels[::step, ::step], unit / step)
        picture = _patterned(photo, labels, unit)
        _draw_rims(picture, rims.result(), unit)
    drawn = Image.fromarray(picture)
    if inspection.cells is not None:
        to_picture = np.diag([width / inspection.photo.width, height / inspection.photo.height])
        _draw_zones(drawn, inspection.cells, to_picture @ inspection.cells.to_photo, unit)
    for badge in badges.result():
        _draw_badge(drawn, badge.enlarged(step), unit)
    return np.asarray(drawn)


def place_badges(labels: NDArray[np.uint8], radius: float) -> tuple[Badge, ...]:
    """Return where the letters go, so that none hides another.

    Parameters
    ----------
    labels : (H, W) uint8 array
        Label codes.
    radius : float
        Of a badge, in pixels.

    Notes
    -----
    A patch that holds a badge has it in its middle. A starved or rich patch that is too small for
    one has it at its side, away from the middle of the part; other small patches have none. Of
    the good patches only the largest is named.
    """
    placed: list[Badge] = []
    order = (*_URGENT, Label.LEAN, Label.HEAVY, Label.NOT_JUDGED, Label.GOOD)
    columns = np.flatnonzero((labels > 0).any(axis=0))
    middle = float(columns.mean()) if columns.size else 0.0
    for label in order:
        for x, y, room in _patches(labels == label)[: 1 if label is Label.GOOD else None]:
            badge = Badge(label, x, y, (x, y))
            if room < (ROOMY if label in _URGENT else 1) * radius:
                if label not in _URGENT or room < SPECK * radius:
                    continue
                badge = _beside(badge, room + 2 * radius, middle, labels.shape[1], radius)
            if all(math.hypot(badge.x - b.x, badge.y - b.y) > 2.1 * radius for b in placed):
                placed.append(badge)
    return tuple(placed)


def _patches(mask: Mask) -> list[tuple[float, float, float]]:
    """Return the middle x, y of each patch and its distance from the rim, largest patch first."""
    left, top, width, height = cv2.boundingRect(mask.astype(np.uint8))
    if width == 0:
        return []
    here = mask[top : top + height, left : left + width].astype(np.uint8)
    count, parts, stats, _ = cv2.connectedComponentsWithStats(here)
    room = cv2.distanceTransform(np.pad(here, 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    found = []
    for index in sorted(range(1, count), key=lambda i: -stats[i, cv2.CC_STAT_AREA]):
        x, y, w, h = (int(v) for v in stats[index, :4])
        inside = np.where(parts[y : y + h, x : x + w] == index, room[y : y + h, x : x + w], 0)
        row, column = np.unravel_index(int(inside.argmax()), inside.shape)
        x, y = left + x + int(column), top + y + int(row)
        found.append((float(x), float(y), float(inside.max())))
    return found


def _beside(badge: Badge, reach: float, middle: float, width: int, radius: float) -> Badge:
    """Move a badge off its patch, away from the middle of the part, within the picture."""
    away = reach if badge.x >= middle else -reach
    x = min(max(badge.x + away, radius), width - radius)
    return Badge(badge.label, x, badge.y, badge.tip)


def _strokes(label: Label, size: tuple[int, int], unit: float) -> NDArray[np.uint8]:
    """Return each pixel's distance from the strokes of a pattern, (h, w), in ``_STEPS`` a pixel.

    Lines for too little resin, drops for too much; stronger and closer where it is urgent. The
    strokes lie aslant: how far a pixel is from one depends on x + y or on x - y alone. 0 is half a
    pixel and more within a stroke.
    """
    height, width = size
    period, half = unit * (1.0 if label in _URGENT else 1.4), unit * 0.1
    aslant = np.arange(-height, height + width) * math.sqrt(0.5)
    away = np.abs(aslant % period - period / 2).astype(np.float32)
    if label in (Label.STARVED, Label.LEAN):
        away = _steps(away - half * (1.0 if label in _URGENT else 0.8))
    rising = sliding_window_view(away[height:], width)[:height]
    falling = sliding_window_view(away, width)[height:0:-1]
    if label is Label.LEAN:
        return np.ascontiguousarray(rising)
    if label is Label.STARVED:
        return np.asarray(np.minimum(rising, falling), np.uint8)
    return _steps(np.sqrt(rising**2 + falling**2) - half * (3.2 if label is Label.RICH else 1.8))


def _steps(distance: Float) -> NDArray[np.uint8]:
    """Return a distance in pixels, from half a pixel within, in ``_STEPS`` a pixel."""
    steps = np.float32(_STEPS) * (distance + np.float32(0.5))
    return np.asarray(np.clip(steps, 0, 255), np.uint8)


def _ink(label: Label, unit: float) -> tuple[NDArray[np.float32], Rgb]:
    """Return how much ink there is at each step of distance (256,), 0 to 1, and its colour.

    Colours are (256, 1, 3): a label's own within a dark rim, either smoothed over a pixel.
    """
    distance = np.arange(256) / _STEPS - 0.5
    rim, core = (np.clip(0.5 + wide - distance, 0, 1)[:, None] for wide in (0.09 * unit, 0.0))
    share = 1 - (1 - rim) * (1 - core)
    mixed = core * np.array(COLOURS[label]) + (1 - core) * rim * np.array(_INK)
    colours = np.rint(mixed / np.maximum(share, 1e-6)).astype(np.uint8)
    return share[:, 0].astype(np.float32), colours[:, None]


def _patterned(photo: Rgb, labels: NDArray[np.uint8], unit: float) -> Rgb:
    """Lay each label's pattern on the photo (h, w, 3); the surroundings step back."""
    grey = np.asarray(cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY), np.uint8)
    grey = np.asarray(cv2.cvtColor(grey, cv2.COLOR_GRAY2RGB), np.uint8)
    out = photo.copy()
    cv2.copyTo(cv2.addWeighted(photo, 0.23, grey, 0.42, 0), _mask(labels, Label.OUTSIDE), out)
    for label in (Label.NOT_JUDGED, Label.STARVED, Label.LEAN, Label.HEAVY, Label.RICH):
        mask = _mask(labels, label)
        x, y, width, height = cv2.boundingRect(mask)
        if width == 0:
            continue
        here = np.s_[y : y + height, x : x + width]
        veiled = label is Label.NOT_JUDGED
        laid = (
            _washed(grey[here], COLOURS[label], 0.6) if veiled else _inked(out[here], label, unit)
        )
        cv2.copyTo(laid, mask[here], out[here])
    return out


def _inked(picture: Rgb, label: Label, unit: float) -> Rgb:
    """Return a piece of the picture (h, w, 3) with a label's pattern all over it."""
    strokes = _strokes(label, (picture.shape[0], picture.shape[1]), unit)
    share, colours = _ink(label, unit)
    inked = cv2.LUT(cv2.cvtColor(strokes, cv2.COLOR_GRAY2RGB), colours)
    washed = _washed(picture, COLOURS[label], 0.2)
    return np.asarray(
        cv2.blendLinear(washed, inked, cv2.LUT(strokes, 1 - share), cv2.LUT(strokes, share)),
        np.uint8,
    )


def _washed(picture: Rgb, colour: Colour, share: float) -> Rgb:
    """Return a picture (h, w, 3) with a share of a colour in it."""
    table = (1 - share) * np.arange(256)[:, None] + share * np.array(colour)
    return np.asarray(cv2.LUT(picture, np.rint(table)[:, None].astype(np.uint8)), np.uint8)


def _mask(labels: NDArray[np.uint8], label: Label) -> NDArray[np.uint8]:
    """Return 255 where a label is, else 0."""
    return np.asarray(cv2.inRange(labels, int(label), int(label)), np.uint8)


def _rims(labels: NDArray[np.uint8]) -> Rims:
    """Return the rims of every lean, heavy, starved and rich patch; the urgent ones last."""
    found: Rims = {}
    for label in (Label.LEAN, Label.HEAVY, *_URGENT):
        mask = _mask(labels, label)
        rims, _ = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
        found[label] = [cv2.approxPolyDP(rim, RIM_ERROR, closed=True) for rim in rims]
    return found


def _draw_rims(picture: Rgb, rims: Rims, unit: float) -> None:
    """Draw the rims of patches into a picture (h, w, 3); those of the urgent ones boldly."""
    for label, lines in rims.items():
        core = unit * (0.16 if label in _URGENT else 0.07)
        for colour, width in ((_INK, core + 0.16 * unit), (COLOURS[label], core)):
            cv2.polylines(picture, lines, True, colour, max(1, round(width)), cv2.LINE_AA)


def zone_borders(zone: NDArray[np.uint8]) -> tuple[tuple[Float, ...], tuple[Float, ...]]:
    """Return where one third and one side meet the next, as lines on the grid of ``Cells``.

    Each line is an array (N, 2) of column and row, in cells from the grid's corner: first the
    lines between thirds, then those between sides.
    """
    third, side = (zone.astype(int) - 1) // 3, (zone.astype(int) - 1) % 3
    part = zone > 0
    between_thirds, between_sides = [], []
    for index in (1, 2):
        before, after = part & (third < index), part & (third >= index)
        row, column = np.nonzero(before[:-1] & after[1:])
        order = np.argsort(column)
        between_thirds.append(np.stack([column + 0.5, row + 1.0], axis=1)[order])
        before, after = part & (side < index), part & (side >= index)
        row, column = np.nonzero(before[:, :-1] & after[:, 1:])
        between_sides.append(np.stack([column + 1.0, row + 0.5], axis=1))
    return tuple(between_thirds), tuple(between_sides)


def _draw_zones(picture: Image.Image, cells: Cells, to_picture: Float, unit: float) -> None:
    """Draw the borders of the zones as thin dashes, and name the ends of the part beside it."""
    pen = ImageDraw.Draw(picture)
    for line in sum(zone_borders(cells.zone), ()):
        points = line @ to_picture[:, :2].T + to_picture[:, 2]
        _draw_dashes(pen, points, unit)
    rows, columns = (np.flatnonzero(cells.part.any(axis=axis)) for axis in (1, 0))
    if not rows.size:
        return
    row, column = float(rows.mean()) + 0.5, float(columns.mean()) + 0.5
    cell = math.sqrt(abs(float(np.linalg.det(to_picture[:, :2]))))
    ends = {
        "proximal": (column, rows[0] - 1.5 * unit / cell),
        "distal": (column, rows[-1] + 1 + 1.5 * unit / cell),
        "left": (columns[0] - 3.6 * unit / cell, row),  # beyond the badges beside the part
        "right": (columns[-1] + 1 + 3.6 * unit / cell, row),
    }
    for word, place in ends.items():
        x, y = to_picture[:, :2] @ place + to_picture[:, 2]
        _draw_word(pen, word, (float(x), float(y)), picture.size, unit)


def _draw_dashes(pen: ImageDraw.ImageDraw, points: Float, unit: float) -> None:
    """Draw a dashed line through points (N, 2), light within dark."""
    if len(points) < 2:
        return
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    starts = np.arange(0.0, along[-1], 0.8 * unit)
    ends = np.stack([starts, np.minimum(starts + 0.4 * unit, along[-1])], axis=1)
    x, y = (np.interp(ends, along, coordinate) for coordinate in points.T)
    for dash in np.stack([x, y], axis=2).reshape(-1, 4).tolist():
        pen.line(dash, _INK, max(3, round(0.2 * unit)))
        pen.line(dash, _PAPER, max(1, round(0.08 * unit)))


def _draw_word(
    pen: ImageDraw.ImageDraw,
    word: str,
    place: tuple[float, float],
    size: tuple[int, int],
    unit: float,
) -> None:
    """Write a word in light on a dark rim, within the picture."""
    font, half = _font(0.95 * unit), 0.5 * unit
    reach = font.getlength(word) / 2 + half
    x = min(max(place[0], reach), size[0] - reach)
    y = min(max(place[1], 2 * half), size[1] - 2 * half)
    rim = max(1, round(0.14 * unit))
    pen.text((x, y), word, _PAPER, font, anchor="mm", stroke_width=rim, stroke_fill=_INK)


def _draw_badge(picture: Image.Image, badge: Badge, unit: float) -> None:
    """Draw a letter on a disc: white on black where urgent, else black on white."""
    pen = ImageDraw.Draw(picture)
    disc, letter = (_INK, _PAPER) if badge.label in _URGENT else (_PAPER, _INK)
    if (badge.x, badge.y) != badge.tip:
        pen.line([badge.tip, (badge.x, badge.y)], _PAPER, max(3, round(0.3 * unit)))
        pen.line([badge.tip, (badge.x, badge.y)], _INK, max(1, round(0.14 * unit)))
    for radius, colour in ((0.95 * unit, letter), (0.85 * unit, disc)):
        x, y = badge.x, badge.y
        pen.ellipse((x - radius, y - radius, x + radius, y + radius), colour)
    pen.text((badge.x, badge.y), LETTERS[badge.label], letter, _font(1.25 * unit), anchor="mm")


_PAD = 0.6


def _words(inspection: Inspection) -> tuple[Line, ...]:
    """Return the verdict and what to do, broken into lines; of two pieces of advice the first."""
    lines = [Line(text, 1.5) for text in _broken(headline(inspection), 1.5, 3)]
    alone = 2 if inspection.verdict is Label.NOT_JUDGED else 1  # what is wrong needs its remedy
    advice = " ".join(inspection.advice[:alone])
    lines += [Line(text, 1.05) for text in _broken(advice, 1.05, 3) if text]
    return tuple(lines)


def _broken(text: str, size: float, most: int) -> list[str]:
    """Break a text into lines as wide as the picture; what does not fit ends in dots."""
    font, limit = _font(20 * size), 20 * (COLUMNS - 2 * _PAD)
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


def _strip_height(lines: Sequence[Line]) -> float:
    """Return the height of a strip in text heights."""
    return 2 * _PAD + sum(1.25 * line.size for line in lines)


def _strip(lines: Sequence[Line], width: int) -> Rgb:
    """Return lines of text on paper, (h, width, 3)."""
    unit = width / COLUMNS
    picture = Image.new("RGB", (width, round(_strip_height(lines) * unit)), _PAPER)
    pen, y = ImageDraw.Draw(picture), _PAD * unit
    for line in lines:
        y += 1.25 * line.size * unit
        pen.text((_PAD * unit, y), line.text, _INK, _font(line.size * unit), anchor="ld")
    return np.asarray(picture)


def _notes(inspection: Inspection) -> tuple[Line, ...]:
    """Return the lines under the legend: what the verdict rests on."""
    notes = [judged_line(inspection), *([DEMO_SHORT] if inspection.calibration.is_demo else [])]
    return tuple(Line(text, 1.0) for note in notes for text in _broken(note, 1.0, 2))


def _legend_height(notes: Sequence[Line]) -> float:
    """Return the height of the legend in text heights."""
    return 4.4 + _strip_height(notes)


def _legend(notes: Sequence[Line], width: int) -> Rgb:
    """Return every label with its letter, pattern and word above the notes, (h, width, 3)."""
    return np.concatenate([_key(width), _strip(notes, width)])


@lru_cache(4)
def _key(width: int) -> Rgb:
    """Return every label with its letter, pattern and word, (h, width, 3)."""
    unit = width / COLUMNS
    picture = Image.new("RGB", (width, round(4.4 * unit)), _PAPER)
    pen = ImageDraw.Draw(picture)
    for index, label in enumerate(LETTERS):
        x, y = (0.4 + 9.4 * (index % 3)) * unit, (0.4 + 2.2 * (index // 3)) * unit
        swatch = _swatch(label, round(2.7 * unit), round(1.9 * unit), unit)
        picture.paste(Image.fromarray(swatch), (round(x + 1.1 * unit), round(y)))
        middle = (x + unit, y + 0.95 * unit)
        _draw_badge(picture, Badge(label, *middle, middle), unit)
        pen.text((x + 4.1 * unit, middle[1]), label.word, _INK, _font(1.1 * unit), anchor="lm")
    return np.asarray(picture)  # read-only


def _swatch(label: Label, width: int, height: int, unit: float) -> Rgb:
    """Return a piece of a label's pattern (height, width, 3) on middling grey."""
    plain = np.full((height, width, 3), _GREY, np.uint8)
    return _patterned(plain, np.full((height, width), label, np.uint8), unit)


def _nearest(labels: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    """Return a label map at another size (width, height), without new codes in between."""
    return np.asarray(cv2.resize(labels, size, interpolation=cv2.INTER_NEAREST), np.uint8)


@cache
def _font(size: float) -> ImageFont.FreeTypeFont:
    """Return Pillow's own plain font at a size in pixels."""
    font = ImageFont.load_default(max(6.0, size))
    assert isinstance(font, ImageFont.FreeTypeFont), "Pillow's wheels are built with FreeType"
    return font
