"""Drawing marks of charts as SVG text: one ink, 360 units wide, words of 12."""

from collections.abc import Iterable, Sequence
from html import escape

WIDTH = 360
INK, QUIET = "#14212b", "#51606b"


def text(x: float, y: float, words: str, anchor: str = "start") -> str:
    """Return words at a point; ``anchor`` is start, middle or end."""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="12" '
        f'fill="{INK}">{escape(words)}</text>'
    )


def line(
    x1: float, y1: float, x2: float, y2: float, *, width: float = 1.0, dashes: str = "",
    colour: str = INK,
) -> str:  # fmt: skip
    """Return a straight line."""
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
        f'stroke="{colour}" stroke-width="{width}"{dashed}/>'
    )


def path(points: Iterable[tuple[float, float]], *, width: float = 2.5, dashes: str = "") -> str:
    """Return a line through points."""
    joined = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<polyline points="{joined}" fill="none" stroke="{INK}" stroke-width="{width}"{dashed}/>'
    )


def dot(x: float, y: float, *, filled: bool = True, title: str = "", radius: float = 3.5) -> str:
    """Return a disc, or a ring."""
    fill = INK if filled else "none"
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius}" fill="{fill}" stroke="{INK}">'
        f"<title>{escape(title)}</title></circle>"
    )


def tick(x: float, y: float, height: float) -> str:
    """Return a short upright stroke, for a rug of values."""
    return line(x, y, x, y + height, width=1.2)


def picture(height: float, drawn: Sequence[str], title: str) -> str:
    """Return the whole drawing; ``title`` is what a screen reader says."""
    return (
        f'<svg viewBox="0 0 {WIDTH} {height:.0f}" width="100%" style="max-width:34rem" '
        f'role="img" font-family="inherit"><title>{escape(title)}</title>{"".join(drawn)}</svg>'
    )
