"""The one registry of reasons why a place in a photo, or a whole photo, is not judged.

A reason has a bit (for maps), a short word (for tables), a sentence and what to do about it.
Bits are stored with inspections: they are never renumbered, only added.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntFlag


class Reason(IntFlag):
    """Why a cell is not judged; several may hold at once. 0 means that it can be judged."""

    NONE = 0
    EDGE = 1 << 0
    TAPE = 1 << 1
    OBLIQUE = 1 << 2
    FOCUS = 1 << 3
    SHAKE = 1 << 4
    PIXELS = 1 << 5
    DARK = 1 << 6
    CLIPPED = 1 << 7
    GLARE = 1 << 8
    VEIL = 1 << 9
    DENOISE = 1 << 10
    WRINKLE = 1 << 11
    NO_WEAVE = 1 << 12
    NO_PART = 1 << 13
    BORDERLINE = 1 << 14
    UNUSUAL = 1 << 15


@dataclass(frozen=True)
class Explanation:
    """The words that go with one reason."""

    word: str
    sentence: str
    remedy: str
    is_retake: bool = True
    """Whether a better photo would help; the silhouette's rim, say, is never judged."""


EXPLANATIONS: dict[Reason, Explanation] = {
    Reason.EDGE: Explanation(
        "edge", "The thin rim along the silhouette is not judged.", "Take another view.", False
    ),
    Reason.TAPE: Explanation(
        "tape or cord", "Tape or cord covers the laminate here.", "Judge it by eye.", False
    ),
    Reason.OBLIQUE: Explanation(
        "too oblique", "The surface turns too far away from the camera.", "Turn the part.", False
    ),
    Reason.FOCUS: Explanation(
        "out of focus",
        "The photo is too soft to show the weave.",
        "Tap the part to focus, hold still and take it again.",
    ),
    Reason.SHAKE: Explanation(
        "camera shake",
        "The camera moved while the photo was taken.",
        "Rest the phone or your elbows on something and take it again.",
    ),
    Reason.PIXELS: Explanation(
        "too few pixels",
        "The weave is too small in the picture.",
        "Go closer, without digital zoom, until the part fills the picture.",
    ),
    Reason.DARK: Explanation(
        "too dark", "The part is too dark for the weave to show.", "Add light from the side."
    ),
    Reason.CLIPPED: Explanation(
        "blown out",
        "The part is so bright that the picture has lost it.",
        "Tap the part to set the exposure, or move out of the direct light.",
    ),
    Reason.GLARE: Explanation(
        "glare",
        "A lamp or window is mirrored in the film.",
        "Step to the side or turn the part a little.",
    ),
    Reason.VEIL: Explanation(
        "veil",
        "A soft sheen lies over the weave.",
        "Move the lamp, or shade the part from the window.",
    ),
    Reason.DENOISE: Explanation(
        "noise reduction",
        "Edges are sharp and fine texture is not: the phone smoothed it, or focused elsewhere.",
        "Tap the part to focus, add light, and turn off night mode and filters.",
    ),
    Reason.WRINKLE: Explanation(
        "wrinkle or seam", "A wrinkle or seam of the bag lies here.", "Smooth the bag.", False
    ),
    Reason.NO_WEAVE: Explanation(
        "no weave reference",
        "No regular weave is visible, so nothing tells its size.",
        "Give --pitch as an earlier photo of the same part, taken from as far, shows it.",
    ),
    Reason.NO_PART: Explanation(
        "no part",
        "No laminated part was found in the picture.",
        "Show the part with some background beside it, or say with --box where it is.",
    ),
    Reason.BORDERLINE: Explanation(
        "borderline",
        "The measurement does not tell starved from good here.",
        "Look at it closely, or take another view.",
    ),
    Reason.UNUSUAL: Explanation(
        "unlike the shop's photos",
        "The part looks unlike all photos that the calibration was made from.",
        "Take it in the usual light, from as far as usual, or calibrate with photos like this one.",
    ),
}


def split(mask: int) -> tuple[Reason, ...]:
    """Return the single reasons in a bit mask, lowest bit first."""
    return tuple(reason for reason in EXPLANATIONS if mask & reason)


def largest_first(shares: Mapping[str, float]) -> dict[str, float]:
    """Return shares by the reason's word, largest first, equal ones in the registry's order.

    A stored record keeps no order: whatever is the main reason at first must stay so.
    """
    place = {told.word: k for k, told in enumerate(EXPLANATIONS.values())}
    return dict(
        sorted(shares.items(), key=lambda one: (-one[1], place.get(one[0], len(place)), one[0]))
    )
