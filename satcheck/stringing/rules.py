"""Rules of the trade for stringing, each with its reason. All are common practice, no source."""

from dataclasses import dataclass

ORIGIN = "common practice, no published source"


@dataclass(frozen=True)
class Rule:
    """One rule of the trade."""

    name: str
    sentence: str
    reason: str
    caution: str = ""
    origin: str = ORIGIN


RULES: tuple[Rule, ...] = (
    Rule(
        "brim",
        "Stop short of the brim's edge, and leave a heavy edge for last.",
        "Resin strung over the edge is lost: ears and edges starve.",
    ),
    Rule(
        "undercut",
        "Tie and tape in at the lock, and work the undercut there.",
        "A heavy ring sits in the undercut; working it frees resin for the rest of the part.",
        "Tape flat, without wrinkles, and take it off while warm: it leaves lines otherwise.",
    ),
    Rule(
        "bridge",
        "Tie in at the lock before you feed it.",
        "Where the braid bridges the undercut, resin fills the gap and the braid stays dry.",
    ),
    Rule(
        "vacuum",
        "Ease the vacuum with thin resins.",
        "A strong draw pulls thin resin out of the layup and starves it.",
        "Go by the resin's data sheet; a large part keeps the higher draw until nearly done.",
    ),
    Rule(
        "band",
        "String with a soft, wide band.",
        "A hard, thin cord pushes out more resin and dries the braid.",
    ),
    Rule(
        "proximal",
        "Bring the proximal resin down, slowly with a thick resin.",
        "The layup there is thicker and keeps resin; what runs ahead leaves air pockets.",
    ),
    Rule(
        "warm",
        "Warm a heavy area late, before the gel, to work it again.",
        "Warm resin flows more easily.",
        "Warmth also brings the gel nearer and drives off vapour: air the room, wear gloves and "
        "glasses, keep flames and sparks away, and go by the data sheet.",
    ),
)
"""In the order in which they are shown."""
