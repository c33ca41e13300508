"""Charts of an audit: which zones starve most, what hid the parts, what moved. One ink."""

from collections.abc import Mapping, Sequence
from html import escape

from satcheck.audit.summary import FEWEST, Trend, ZoneCount
from satcheck.audit.wording import percent
from satcheck.ledger.listing import shown
from satcheck.pages.svg import INK, QUIET, WIDTH, dot, line, path, picture, text

LABEL, ROW, RIGHT = 162, 22, 84
"""Room for words on the left, height of a bar's row, room for numbers on the right."""
TITLE = 38
"""Signs of a heading that leave room for the number at its end; the caption says all of it."""
LEFT, TOP, BOTTOM = 12, 26, 150


def pareto_chart(zones: Sequence[ZoneCount]) -> str:
    """Return the zones by the parts they are starved in, the running share of all beside each."""
    shown = [zone for zone in zones if zone.starved or zone.rich]
    if not shown:
        return ""
    most = max(max(zone.starved, zone.rich) for zone in shown)
    drawn = []
    for k, zone in enumerate(shown):
        y = 20 + ROW * k
        told = f"{zone.zone}: starved in {zone.starved}, rich in {zone.rich} of {zone.judged} parts"
        drawn += [
            text(LABEL - 6, y + 12, zone.zone, "end"),
            _bar(y + 1, _length(zone.starved, most), 10, told, filled=True),
            _bar(y + 12, _length(zone.rich, most), 5, told, filled=False),
            text(WIDTH, y + 12, f"{zone.starved}/{zone.judged}  {percent(zone.cumulative)}", "end"),
        ]
    drawn.append(text(WIDTH, 11, "parts, running", "end"))
    return picture(24 + ROW * len(shown), drawn, "Zones by how often they are starved")


def reasons_chart(reasons: Mapping[str, float]) -> str:
    """Return what kept the parts from judgement, as shares of all that was seen."""
    shown = [(word, share) for word, share in reasons.items() if share >= 0.001]
    if not shown:
        return ""
    most = shown[0][1]
    drawn = []
    for k, (word, share) in enumerate(shown):
        y = 4 + ROW * k
        drawn += [
            text(LABEL - 6, y + 12, word, "end"),
            _bar(y + 2, _length(share, most), 12, f"{word}: {percent(share)}", filled=True),
            text(WIDTH, y + 12, percent(share), "end"),
        ]
    return picture(8 + ROW * len(shown), drawn, "Reasons for what was not judged")


def trend_chart(trend: Trend) -> str:
    """Return a quantity over the parts: its values, its average of late, its limits.

    Blank where there are so few parts that a picture would only look like a trend.
    """
    if trend.chart is None and len(trend.values) < FEWEST:
        return ""
    made, values = trend.chart, trend.values
    limits = () if made is None else made.limits
    low, high = min(*values, *limits, values[0]), max(*values, *limits, values[0])
    room, last = (high - low) * 0.06 or 0.1, max(len(values) - 1, 1)

    def x(part: float) -> float:
        return LEFT + (WIDTH - 2 * LEFT) * part / last

    def y(value: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * (value - low + room) / (high - low + 2 * room)

    drawn = [
        dot(x(k), y(value), filled=False, radius=2, title=f"{part}, {when[:10]}: {value:.2f}")
        for k, (part, when, value) in enumerate(
            zip(trend.parts, trend.times, values, strict=True)
        )
    ]  # fmt: skip
    whose = f", {trend.whose}" if trend.whose else ""
    drawn.append(text(LEFT, 12, shown(f"{trend.quantity}{whose}", TITLE)))
    if made is not None:
        start = x(trend.baseline - 0.5)
        drawn += [line(start, y(limit), x(last), y(limit), dashes="5 3") for limit in limits]
        drawn += [
            line(LEFT, y(made.level.target), x(last), y(made.level.target), width=0.7,
                 colour=QUIET),
            line(start, TOP, start, BOTTOM, dashes="1 3", colour=QUIET),
            path((x(trend.baseline + k), y(float(v))) for k, v in enumerate(made.ewma)),
        ]  # fmt: skip
    if trend.alarm is not None:
        at = x(trend.alarm)
        drawn += [line(at, TOP - 8, at, BOTTOM, width=2), text(at - 4, TOP - 2, "warns", "end")]
    drawn += [
        text(LEFT, BOTTOM + 16, trend.times[0][:10]),
        text(WIDTH - LEFT, BOTTOM + 16, trend.times[-1][:10], "end"),
        text(WIDTH - LEFT, 12, f"{values[-1]:.2f} now", "end"),
    ]
    return picture(BOTTOM + 24, drawn, f"{trend.quantity}{whose} over the parts")


def _length(value: float, most: float) -> float:
    return (WIDTH - LABEL - RIGHT - 8) * value / most if most else 0.0


def _bar(y: float, length: float, height: float, title: str, *, filled: bool) -> str:
    if length <= 0:
        return ""
    return (
        f'<rect x="{LABEL}" y="{y:.1f}" width="{length:.1f}" height="{height:.1f}" '
        f'fill="{INK if filled else "none"}" stroke="{INK}"><title>{escape(title)}</title></rect>'
    )
