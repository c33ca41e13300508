"""An inspection as text for a terminal: headline, table, what to do. Plain ASCII, 80 columns."""

from collections.abc import Mapping, Sequence

from satcheck.flags import largest_first
from satcheck.judgement.advice import describe_zones
from satcheck.lines import WIDTH, counted, wrapped
from satcheck.model import (
    CalibrationFacts,
    CardFacts,
    Inspection,
    Interval,
    Label,
    Side,
    ZoneVerdict,
    at_edges,
)

DEMO_NOTE = (
    "Demo calibration: a shop must calibrate on its own parts before it relies on a verdict."
)

DEMO_SHORT = "Demo calibration: a shop must use its own."
_LEAST_SHARE = 0.05
"""A reason that hides less of a zone than this is not worth a word in the table (own rule)."""
_ROW = "{:<16} {:<11} {:>16} {:>7}  {}"


def exit_status(inspection: Inspection) -> int:
    """Return 0 where every judged zone is good, lean or heavy; 1 starved or rich; 3 not judged."""
    found = {inspection.verdict, *(zone.verdict for zone in inspection.zones)}
    if found & {Label.STARVED, Label.RICH}:
        return 1
    return 3 if inspection.verdict is Label.NOT_JUDGED else 0


def headline(inspection: Inspection) -> str:
    """Return the part's verdict in one line, with the zones that named it."""
    verdict = inspection.verdict
    if verdict is Label.NOT_JUDGED:
        return f"NOT JUDGED: {main_reason(inspection.reasons) or 'the photo does not show enough'}"
    named = [zone.name for zone in inspection.zones if zone.verdict is verdict]
    where = f": {describe_zones(named)}" if named and verdict is not Label.GOOD else ""
    other = Label.RICH if verdict is Label.STARVED else None
    also = [zone.name for zone in inspection.zones if zone.verdict is other]
    tail = f"; also RICH: {describe_zones(also)}" if also else ""
    judged = inspection.share_judged
    part = "" if verdict is not Label.GOOD or judged >= 0.995 else " where it could be judged"
    return f"{verdict.word.upper()}{where}{tail}{part}"


def main_reason(reasons: Mapping[str, float]) -> str | None:
    """Return the word of the reason that hides most; None where nothing does."""
    return next(iter(largest_first(reasons)), None)


def judged_line(inspection: Inspection) -> str:
    """Return how much of the part was judged, and how even it is."""
    evenness = inspection.evenness
    even = "" if evenness is None else f", evenness {evenness.value:.2f} ({evenness.word})"
    return f"{whole_percent(inspection.share_judged)} of the part judged{even}."


def cut_line(cut: Sequence[Side]) -> str:
    """Return that not all of the part is in the picture, and what its zones are then."""
    return f"The part runs out of the picture {at_edges(cut)}: its zones are those of what shows."


def card_line(card: CardFacts) -> str:
    """Return what the reference card told in one line, or what is wrong with it."""
    if card.problem is not None:
        return f"Card: {card.problem}"
    told = [] if card.part is None else [f"part {card.part}"]
    if card.mm_per_px is not None:
        ruler = "" if card.ruler == 100 else f" by a ruler of {card.ruler:g} mm"
        told.append(f"{card.mm_per_px:.3g} mm per pixel{ruler}")
    if card.kept is not None:
        told.append(f"{_percent(card.kept)} of the contrast kept")
    return f"Card: {', '.join(told)}."


def text_report(inspection: Inspection) -> str:
    """Return what `satcheck check` prints for one photo, without a line feed at its end."""
    return "\n".join(
        [
            f"{inspection.photo.name}   {_calibration(inspection.calibration)}",
            wrapped(headline(inspection)),
            "",
            *_table(inspection.zones),
            *map(wrapped, _facts(inspection)),
            wrapped(f"Next: {' '.join(inspection.advice) or 'nothing to do.'}"),
        ]
    )


def _calibration(facts: CalibrationFacts) -> str:
    return f"{facts.fibre}, calibration {facts.id} ({counted(facts.parts, 'part')})"


def _table(zones: Sequence[ZoneVerdict]) -> list[str]:
    """Return one line a zone; none where no part was found."""
    if not zones:
        return []
    head = _ROW.format("zone", "verdict", "weave visible", "judged", "why not").rstrip()
    rows = [
        _ROW.format(
            zone.name,
            _word(zone.verdict),
            _percent(zone.visibility),
            whole_percent(zone.share_judged),
            _why_not(zone.reasons),
        ).rstrip()
        for zone in zones
    ]
    return [head, *rows, ""]


def _facts(inspection: Inspection) -> list[str]:
    """Return the lines between the table and the advice."""
    lines = []
    if inspection.zones:
        lines.append(judged_line(inspection))
    if inspection.distal_guessed and inspection.distal:
        lines.append(f"Distal end taken to be {inspection.distal}; --distal says it for certain.")
    if inspection.cut:
        lines.append(cut_line(inspection.cut))
    if inspection.card is not None:
        lines.append(card_line(inspection.card))
    lines += [f"Mind: {sentence}" for sentence in inspection.warnings]
    if inspection.calibration.is_demo:
        lines.append(DEMO_NOTE)
    return lines


def _word(label: Label) -> str:
    """Return the label as it stands in the table: what calls for action in capitals."""
    return label.word.upper() if label in (Label.STARVED, Label.RICH) else label.word


def _percent(visibility: Interval | None) -> str:
    """Return a visibility with its interval in percent, with a decimal where it is small."""
    if visibility is None:
        return "-"
    digits = 0 if visibility.high >= 0.1 else 1
    value, low, high = (f"{100 * v:.{digits}f}" for v in vars(visibility).values())
    return f"{value} % ({low}-{high})"


def whole_percent(share: float) -> str:
    """Return a share in whole percent; only all is 100 % and only none is 0 %."""
    percent = round(100 * share)
    if 0 < share < 1:
        percent = min(max(percent, 1), 99)
    return f"{percent} %"


def _why_not(reasons: Mapping[str, float]) -> str:
    """Return the reason that hides most of a zone, and the next one where the row has room."""
    worth = [word for word, share in largest_first(reasons).items() if share >= _LEAST_SHARE]
    both = ", ".join(worth[:2])
    return both if len(_ROW.format("", "", "", "", both)) <= WIDTH else worth[0]
