"""The scale beside the photo: the scale says how much, the photo says where.

The scale knows a mean over the whole part and is blind to places; the photo knows places and is
blind below the surface. Each pair of answers has one sentence. What the scale calls lean has too
much fibre for its resin. On a demoulded part the advice is for the next one: no resin goes into a
cured laminate.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from satcheck.lines import joined, wrapped
from satcheck.model import ACROSS, THIRDS, Inspection, Label
from satcheck.resin.weigh_sheet import WeighSheet

DEMO_NOTE = "The photo was judged by the demo's invented parts: a shop must use its own."
SCHEMA = "satcheck.resin_and_photo/1"
ADVERBS = {"proximal": "proximally", "middle": "in the middle", "distal": "distally"}


@dataclass(frozen=True)
class Beside:
    """Both answers on one part, and what they say together."""

    weight: str
    """lean, enough, heavy or unsure."""
    starved: tuple[str, ...]
    """Thirds, brim and lock where the photo shows a starved zone."""
    rich: tuple[str, ...]
    photo: str
    """The photo's verdict in a word of the scale, or "not judged"."""
    is_cured: bool
    sentence: str
    is_demo: bool
    """The photo was judged by invented parts."""


def beside(sheet: WeighSheet, inspection: Inspection) -> Beside | None:
    """Return what scale and photo say together; None where no target says what is enough."""
    weight = sheet.by_weight
    if weight is None:
        return None
    starved, rich = places(inspection, Label.STARVED), places(inspection, Label.RICH)
    is_cured = sheet.balance.weighings.part is not None
    return Beside(
        weight=weight,
        starved=starved,
        rich=rich,
        photo=inspection.verdict.word,
        is_cured=is_cured,
        sentence=_sentence(weight, starved, rich, inspection, is_cured=is_cured),
        is_demo=inspection.calibration.is_demo,
    )


def places(inspection: Inspection, label: Label) -> tuple[str, ...]:
    """Return the thirds, and brim and lock, that hold a zone of a label, proximal first."""
    named = {zone.name for zone in inspection.zones if zone.verdict is label}
    thirds = [third for third in THIRDS if named & {f"{third} {side}" for side in ACROSS}]
    return (*thirds, *(name for name in ("brim", "lock") if name in named))


def beside_to_json(found: Beside) -> dict[str, Any]:
    """Return both answers as plain values."""
    return {
        "schema": SCHEMA,
        **vars(found),
        "starved": list(found.starved),
        "rich": list(found.rich),
    }


def beside_text(found: Beside) -> str:
    """Return what both say together, for a terminal."""
    said = (found.sentence, DEMO_NOTE) if found.is_demo else (found.sentence,)
    return "\n".join(map(wrapped, said))


def _sentence(
    weight: str,
    starved: Sequence[str],
    rich: Sequence[str],
    inspection: Inspection,
    *,
    is_cured: bool,
) -> str:
    if weight == "unsure":
        head = "Scale or densities are too coarse to tell by weight"
    elif weight == "enough":
        head = "By weight enough"
    else:
        head = f"Whole part {weight} by weight"
    if inspection.verdict is Label.NOT_JUDGED:
        return f"{head}; the photo could not be judged: take a better one."
    seen = _seen(starved, rich)
    hidden = "" if inspection.share_judged >= 0.995 else " where it could be judged"
    if not seen:
        seen = f"photo neither starved nor rich{hidden}"
    return f"{head}, {seen}: {_act(weight, starved, rich, is_cured=is_cured)}."


def _seen(starved: Sequence[str], rich: Sequence[str]) -> str:
    """Return where the photo shows a fault; blank where it shows none."""
    if starved and rich:
        return f"photo starved {_adverbs(starved)} and rich {_adverbs(rich)}"
    for word, found in (("starved", starved), ("rich", rich)):
        if found:
            return f"photo {word} at {_nouns(found)}"
    return ""


def _act(weight: str, starved: Sequence[str], rich: Sequence[str], *, is_cured: bool) -> str:
    """Return what the pair means, and what to do.

    The trade's rule behind it: even saturation is the aim (common practice, no source).
    """
    late = " next time" if is_cured else ""
    if starved and rich:
        extra = {
            "lean": f"it was not moved, and it is too little; move it{late}, then add",
            "heavy": f"it was not moved, and it is too much; string it{late}",
        }
        return extra.get(weight, "it was not moved")
    if starved:
        return {
            "lean": f"add resin there{late}",
            "enough": "the rest sits where this photo does not look; see the other sides",
            "heavy": "too much sits where this photo does not look; see the other sides",
        }.get(weight, f"bring resin there{late}")
    if rich:
        return {
            "lean": "it sits there and is missing elsewhere; see the other sides",
            "enough": f"string it on from there{late}",
            "heavy": f"string it out from there{late}",
        }.get(weight, f"string it on from there{late}")
    return {
        "lean": "the inner layers or the other sides lack it; see them, and check the weighings",
        "enough": "both agree",
        "heavy": "too much lies below the surface or on other sides; check the weighings",
    }.get(weight, "go by the photo, and weigh on a finer scale")


def _nouns(names: Sequence[str]) -> str:
    thirds = [name for name in names if name in THIRDS]
    words = [f"the {joined(thirds)} third{'s' if len(thirds) > 1 else ''}"] if thirds else []
    return joined([*words, *(f"the {name}" for name in names if name not in THIRDS)])


def _adverbs(names: Sequence[str]) -> str:
    return joined([ADVERBS.get(name, f"at the {name}") for name in names])
