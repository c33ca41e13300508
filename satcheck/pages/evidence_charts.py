"""Charts of a calibration's evidence as SVG text: readable in black and white, and at 360 px."""

from collections.abc import Mapping, Sequence
from html import escape

from satcheck.calibration.evidence import ZoneEvidence
from satcheck.model import SCALE, Label
from satcheck.statistics.roc import Roc

CLASSES = (Label.STARVED, Label.GOOD, Label.RICH)
"""Always drawn; lean and heavy only where a zone is labelled so."""
WIDTH, LEFT, RIGHT, ROW = 360, 58, 12, 44
INK, QUIET = "#14212b", "#51606b"
SHORT = {"starved/lean": "lean", "lean/good": "good", "good/heavy": "heavy", "heavy/rich": "rich"}


def distributions(rows: Sequence[ZoneEvidence], bounds: Mapping[str, float]) -> str:
    """Return the zones' saturation indices, one line a label, with the bounds across."""
    labels = [one for one in SCALE if one in CLASSES or any(row.label is one for row in rows)]
    height = ROW * len(labels) + 58
    drawn = [_bound(name, value, k, height) for k, (name, value) in enumerate(bounds.items())]
    for line, label in enumerate(labels):
        y = 34 + ROW * line + ROW / 2
        drawn.append(_text(LEFT - 6, y + 4, label.word, "end"))
        drawn.append(_line(LEFT, y, WIDTH - RIGHT, y, QUIET, 0.5))
        drawn += _marks([r for r in rows if r.label is label], y)
    for value, word in ((-1, "-1 dry"), (0, "0"), (1, "1 full")):
        anchor = {-1: "start", 0: "middle", 1: "end"}[value]
        drawn.append(_text(_x(value), height - 6, word, anchor))
    return _svg(height, drawn, "Saturation index of the labelled zones, by label")


def curve(found: Roc) -> str:
    """Return an ROC: starved zones found against good zones called starved."""
    left, top, size = 58, 10, 230
    points = " ".join(f"{left + size * p.fpr:.1f},{top + size * (1 - p.tpr):.1f}"
                      for p in found.points)  # fmt: skip
    drawn = [
        f'<rect x="{left}" y="{top}" width="{size}" height="{size}" fill="none" stroke="{QUIET}"/>',
        f'<line x1="{left}" y1="{top + size}" x2="{left + size}" y2="{top}" stroke="{QUIET}" '
        'stroke-dasharray="3 4"/>',
        f'<polyline points="{points}" fill="none" stroke="{INK}" stroke-width="2.5"/>',
        _text(left - 6, top + 10, "100 %", "end"),
        _text(left - 6, top + size, "0", "end"),
        _text(left + size, top + size + 16, "100 %", "end"),
        _text(left, top + size + 16, "0", "start"),
        _text(left + size / 2, top + size + 34, "good zones that look starved", "middle"),
        f'<text transform="translate(20 {top + size / 2}) rotate(-90)" text-anchor="middle" '
        f'font-size="12" fill="{INK}">starved zones found</text>',
    ]
    return _svg(top + size + 44, drawn, "ROC: starved zones found against good ones called so")


def _x(value: float) -> float:
    return LEFT + (WIDTH - RIGHT - LEFT) * (value + 1) / 2


def _bound(name: str, value: float, k: int, height: float) -> str:
    word = SHORT.get(name, name)
    y = 12 + 12 * (k % 2)
    anchor = "start" if k % 2 else "end"
    return (
        f'<line x1="{_x(value):.1f}" y1="{y - 8}" x2="{_x(value):.1f}" y2="{height - 22}" '
        f'stroke="{INK}" stroke-dasharray="{(2, 5)[k % 2]} 3"/>'
        + _text(_x(value) + (3 if k % 2 else -3), y, f"{word} from", anchor)
    )


def _marks(rows: Sequence[ZoneEvidence], y: float) -> list[str]:
    """Return a mark a zone: a ring, or a cross where it was called something else."""
    drawn = []
    for k, row in enumerate(sorted(rows, key=lambda r: (r.part, r.zone))):
        if row.index != row.index:
            continue
        x, at = _x(row.index), y + (k % 5 - 2) * 5
        if row.called is row.label or row.called is Label.NOT_JUDGED:
            fill = INK if row.is_judged else "none"
            drawn.append(f'<circle cx="{x:.1f}" cy="{at:.1f}" r="3.5" fill="{fill}" '
                         f'stroke="{INK}"><title>{escape(row.name)}</title></circle>')  # fmt: skip
        else:
            drawn.append(
                f'<path d="M{x - 4:.1f} {at - 4:.1f}l8 8m0 -8l-8 8" stroke="{INK}" '
                f'stroke-width="2"><title>{escape(row.name)}: {row.called.word}</title></path>'
            )
    return drawn


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="12" '
        f'fill="{INK}">{escape(words)}</text>'
    )


def _line(x1: float, y1: float, x2: float, y2: float, colour: str, width: float) -> str:
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
        f'stroke="{colour}" stroke-width="{width}"/>'
    )


def _svg(height: float, drawn: Sequence[str], title: str) -> str:
    return (
        f'<svg viewBox="0 0 {WIDTH} {height:.0f}" width="100%" style="max-width:34rem" '
        f'role="img" font-family="inherit"><title>{escape(title)}</title>{"".join(drawn)}</svg>'
    )
