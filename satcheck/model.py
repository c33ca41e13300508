"""The frozen records that pass between the layers, and the words of the verdict scale.

Nothing here touches pixels or files; numpy arrays are the only data besides plain values.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import IntEnum
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Side = Literal["up", "down", "left", "right"]
"""Where an end of the part lies in the upright picture."""

SIDES: tuple[Side, ...] = ("up", "down", "left", "right")
_EDGES: dict[Side, str] = {"up": "top", "down": "bottom", "left": "left", "right": "right"}


def at_edges(sides: Sequence[Side]) -> str:
    """Return where in the picture in words: "at the top and at the left"."""
    return " and ".join(f"at the {_EDGES[side]}" for side in sides)


VIEWS = ("anterior", "posterior", "medial", "lateral")
"""Sides from which a part is photographed, a quarter turn apart: together they show all of it."""


class Label(IntEnum):
    """Codes of every label map."""

    OUTSIDE = 0
    STARVED = 1
    LEAN = 2
    GOOD = 3
    HEAVY = 4
    RICH = 5
    NOT_JUDGED = 9

    @property
    def word(self) -> str:
        """Return the label as the trade says it."""
        return self.name.lower().replace("_", " ")


SCALE: tuple[Label, ...] = (Label.STARVED, Label.LEAN, Label.GOOD, Label.HEAVY, Label.RICH)
"""The verdict scale, from too little resin to too much."""

STATES: Mapping[str, Label] = {label.word: label for label in SCALE}
"""The words of the scale, as they stand in a table of labelled parts."""

VERDICT_ORDER: tuple[Label, ...] = (
    Label.STARVED,
    Label.RICH,
    Label.LEAN,
    Label.HEAVY,
    Label.GOOD,
    Label.NOT_JUDGED,
)
"""Which label names a zone or a part when several are present, worst first."""


@dataclass(frozen=True)
class PhotoFacts:
    """What is kept of a photo besides its pixels. Never a location."""

    name: str
    sha256: str
    width: int
    """Pixels of the upright photo."""
    height: int
    taken: str | None
    """Local time as the camera wrote it, ISO 8601 without zone."""


MEASURE = 3
"""How cells are measured, counted up when what they hold becomes another (scale, windows, cues).

Bounds go with the cells that they were made from: under another measure they would be wrong, and
nothing would show it.
"""


@dataclass(frozen=True, eq=False)
class Cells:
    """Everything measured on one part: a grid of cells, enough to judge it again without pixels.

    All maps have the shape (rows, columns) of the grid. Rows run along the part, the proximal end
    first; columns across it, left first as seen with the proximal end up.
    """

    to_photo: NDArray[np.float64]
    """(2, 3) affine map from (column + 0.5, row + 0.5) to pixels (x, y) of the upright photo."""
    pitch: float | None
    """Tow pitch in pixels of the upright photo, at the middle of the part.

    None where it was not told and the weave does not show it plainly.
    """
    mm_per_px: float | None
    """Millimetres per pixel of the upright photo, where the card or the user told it."""
    zone: NDArray[np.uint8]
    """0 outside the part, else 1 + 3 * third + side; see ``ZONES``."""
    brim: NDArray[np.bool_]
    lock: NDArray[np.bool_]
    visibility: NDArray[np.float32]
    """Modulation of linear luminance by the weave, relative to the local mean; NaN: unmeasured."""
    uncertainty: NDArray[np.float32]
    """Standard uncertainty of ``visibility``, same unit."""
    cues: Mapping[str, NDArray[np.float32]]
    """The measured cues by name, on the scales given in ``weave``; not finite where unmeasured.

    NaN, or infinite where a cue of a wider area (``calm_``, ``broad_``) had nothing to go by.
    """
    reasons: NDArray[np.uint32]
    """Bits of ``flags.Reason``; 0 where the cell can be judged."""
    shared_uncertainty: float = 0.0
    """Relative standard uncertainty that all of ``visibility`` share: no mean makes it smaller."""
    measure: int = MEASURE
    """By which measure, see ``MEASURE``; 1 in records that say none."""

    @property
    def part(self) -> NDArray[np.bool_]:
        """Return where the grid lies on the part."""
        return self.zone > 0

    @property
    def step(self) -> float:
        """Return the distance between neighbouring cell centres, in pixels of the upright photo."""
        return float(np.hypot(*self.to_photo[:, 0]))


THIRDS = ("proximal", "middle", "distal")
ACROSS = ("left", "centre", "right")
ZONES: tuple[str, ...] = (
    *(f"{third} {side}" for third in THIRDS for side in ACROSS),
    "brim",
    "lock",
)
"""Names of the zones that a verdict speaks of, in the order of every table."""


@dataclass(frozen=True)
class Interval:
    """A value with the interval that holds it with 95 % confidence."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Patch:
    """A connected patch of one label inside a zone."""

    label: Label
    x: float
    """Centre in pixels of the upright photo."""
    y: float
    size: float
    """Diameter of a disc of the same area, in ``unit``."""
    unit: Literal["mm", "pitches"]


@dataclass(frozen=True)
class ZoneVerdict:
    """The verdict on one zone."""

    name: str
    verdict: Label
    visibility: Interval | None
    share_judged: float
    """0 to 1, of the zone's cells."""
    reasons: Mapping[str, float] = field(default_factory=dict)
    """Short word of each reason and the share of the zone's cells that it keeps from judgement."""
    worst: Patch | None = None
    """The patch that named the zone, if not the whole zone did."""


@dataclass(frozen=True)
class Evenness:
    """How alike the zones are, 0 to 1, and the word for it."""

    value: float
    word: str


@dataclass(frozen=True)
class CalibrationFacts:
    """Which bounds a verdict rests on."""

    id: str
    fibre: str
    bounds: Mapping[str, float]
    """Saturation index at each border of the scale: 'starved/lean', ... 'heavy/rich'."""
    parts: int
    is_demo: bool
    promise: str
    """What the calibration promises about errors, in one sentence."""


@dataclass(frozen=True)
class CardFacts:
    """What the reference card in a photo told; None or empty where it could not be read."""

    problem: str | None = None
    """One sentence where something is wrong; the card was not used then."""
    part: str | None = None
    """The part's number, from the QR field."""
    mm_per_px: float | None = None
    """Millimetres at the card per pixel of the upright photo."""
    ruler: float = 100.0
    """Length in mm of the card's printed ruler, as it was told; the scale rests on it."""
    mtf: Mapping[str, float] = field(default_factory=dict)
    """System MTF at one cycle per tow pitch, by direction in the upright picture: degrees from
    right towards down, "0", "45", "90" and "135"."""
    kept: Interval | None = None
    """Share of the weave's contrast that the camera kept: every visibility is divided by it."""
    texture: Mapping[str, float] = field(default_factory=dict)
    """Share of a fine texture that the phone left, by its modulation, "0.01" to "0.08"."""
    white_gains: tuple[float, float, float] | None = None
    """Gains of linear R, G, B that make the card's greys neutral. Recorded only: the photos of a
    calibration are not balanced, and the judgement settles an offset of colour for each photo."""

    def names_another(self, part: str) -> bool:
        """Return whether the card names another part than this one; blanks and capitals aside."""
        told = (self.part or "").strip()
        return told != "" and told.casefold() != part.strip().casefold()


@dataclass(frozen=True, eq=False)
class Inspection:
    """One photo, judged. ``labels`` and ``cells`` are left out of the short table."""

    photo: PhotoFacts
    calibration: CalibrationFacts
    verdict: Label
    evenness: Evenness | None
    zones: tuple[ZoneVerdict, ...]
    flagged: tuple[Patch, ...]
    """Starved and rich patches, largest first."""
    reasons: Mapping[str, float]
    """Short word of each reason and the share of the part that it keeps from judgement."""
    advice: tuple[str, ...]
    """At most two sentences: what to do to the part, or how to take a better photo."""
    distal: Side | None
    distal_guessed: bool
    share_judged: float
    labels: NDArray[np.uint8]
    """Label map (H, W) of the upright photo, at the size at which it was measured."""
    cells: Cells | None
    """None when no part was found."""
    version: str
    card: CardFacts | None = None
    """None where no card was seen."""
    cut: tuple[Side, ...] = ()
    """Sides of the picture at which the part runs out of it: the zones are those of what shows."""
    warnings: tuple[str, ...] = ()
    """A sentence for each thing that a person told and the card in the photo contradicts."""
