"""Where a photo can be believed: for every cell, whether the weave could have shown there."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.quantile import median
from satcheck.beside import beside
from satcheck.flags import Reason
from satcheck.frame import Frame, distance_within
from satcheck.trust.blur import Blur
from satcheck.trust.glare import mirrored
from satcheck.trust.harmonics import weave_blur
from satcheck.weave.measure import Weave

Bool = NDArray[np.bool_]
F32 = NDArray[np.float32]

RIM = 0.45  # pitches along the silhouette: windows there see the background
LANE = 0.96  # of the half width: beyond, a round body is seen at more than 73 degrees
# A pitch: there sampling takes 23 % of the tow's contrast, at 4 px a third (MTF of a pixel and a
# lens of half a pixel; see the closed forms in the tests).
FEWEST_PIXELS = 5.0
BLOWN, BLOWN_SHARE = 0.97, 0.3  # linear light in the strongest channel, and share of the place
# Strongest channel, linear, at the part's median: a third of a stop below white. A phone's tone
# curve bends there and takes contrast from the whole part (common practice, no source). White
# glass in good light reaches 0.75 with its weave plain to see (two rendered photos).
OVEREXPOSED = 0.8
# Tow edges are measured at 0.09 pitches (sigma): a blur beyond 1.3 times that, without the
# pixel's own, halves them more than starved differs from good. A phone's own optics and processing
# stay below a pixel or so.
SOFT_PITCHES, SOFT_PIXELS = 0.115, 1.0
# The weave's own bound lies at 0.09 to 0.165 pitches on 98 sharp rendered photos that show a weave,
# and above it on 9 of 11 blurred by 0.3 pitches (Gaussian, weave still found).
SOFT_WEAVE = 0.165
LEAST_WEAVE = 0.4  # strength of a lattice; noise and grass reach 0.31 (tests of the lattice)
# Where edges vouch for the photo only the weave's size may be wrong. Of nine sharp rendered photos
# between the two (render.py, seeds 20, 911, 931 and 961, and a second renderer's) four had the
# right one, three 1.2 to 1.5 times it, two that are rich all over twice: it is too small a size
# that hides starved places (series/reference.py). Photographed grass and gravel in a part's outline
# reach 0.13 (scikit-image's pictures, laid over a photo of the demo).
FAINT_WEAVE = 0.2
# Roundness of a blur, below which it is a shake: of 321 rendered photos that read softer than a
# pixel (render.py, seeds 20 and 911 to 951, blurred by 0.2 and 0.3 pitches as tests/sweep_trust.py
# does, and a second renderer's) 80 % of the shaken ones are named rightly, 84 % of the unfocused.
SHAKEN = 0.55
BLACK = 0.004  # linear, code 13 of eight-bit sRGB: common practice, no source


@dataclass(frozen=True, eq=False)
class Trust:
    """Bits of ``flags.Reason`` for every cell (R, C), uint32; 0 where the photo can be believed."""

    reasons: NDArray[np.uint32]


def doubt(weave: Weave, blur: Blur | None, is_pitch_known: bool = False) -> Trust:
    """Return where and why the weave could not have shown in a photo.

    Parameters
    ----------
    weave : Weave
    blur : Blur or None
        Of the photo, in its own pixels; None where no edge tells.
    is_pitch_known : bool
        Whether a person or a card told the pitch; else the photo's own weave must.
    """
    with beside() as second:
        mirror = second.submit(mirrored, weave)
        reasons = _reasons(weave, blur, is_pitch_known)
    reasons[mirror.result().glare] |= np.uint32(Reason.GLARE)
    reasons[mirror.result().veil] |= np.uint32(Reason.VEIL)
    reasons[~np.asarray(weave.at_cells(weave.frame.laminate), bool)] = 0
    return Trust(reasons)


def _reasons(weave: Weave, blur: Blur | None, is_pitch_known: bool) -> NDArray[np.uint32]:
    """Return all reasons but those of mirrored light, off the laminate too."""
    frame, pitch = weave.frame, weave.pitch
    reasons = np.zeros(weave.visibility.shape, np.uint32)

    def flag(where: NDArray[np.bool_], reason: Reason) -> None:
        reasons[where] |= np.uint32(reason)

    edge, tape = _near_border(weave)
    flag(edge, Reason.EDGE)
    flag(tape, Reason.TAPE)
    flag(_oblique(weave), Reason.OBLIQUE)
    strongest = _strongest(frame)
    flag(_mostly(strongest > BLOWN, pitch, weave) > BLOWN_SHARE, Reason.CLIPPED)
    if frame.laminate.any() and float(median(strongest[frame.laminate])) > OVEREXPOSED:
        flag(np.ones_like(reasons, bool), Reason.CLIPPED)
    flag(_mostly(strongest < BLACK, pitch, weave) > BLOWN_SHARE, Reason.DARK)
    if pitch < FEWEST_PIXELS:
        flag(np.ones_like(reasons, bool), Reason.PIXELS)
    least = LEAST_WEAVE if blur is None else FAINT_WEAVE
    if not is_pitch_known and not _shows(weave, least):
        flag(np.ones_like(reasons, bool), Reason.NO_WEAVE)
    flag(np.ones_like(reasons, bool), _softness(weave, blur, tells_pitch(weave)))
    return reasons


def tells_pitch(weave: Weave) -> bool:
    """Return whether a photo shows its weave so plainly that its pitch holds for other photos."""
    return _shows(weave, LEAST_WEAVE)


def _shows(weave: Weave, least: float) -> bool:
    """Return whether a lattice of some strength was found."""
    return weave.lattice is not None and weave.lattice.strength >= least


def _strongest(frame: Frame) -> F32:
    """Return the strongest channel (H, W)."""
    red, green, blue = (frame.linear[..., k] for k in range(3))
    return np.maximum(np.maximum(red, green), blue)


def _softness(weave: Weave, blur: Blur | None, is_seen: bool) -> Reason:
    """Return why the whole photo is too soft; ``Reason.NONE`` where it is sharp enough.

    Edges tell first. Where they are sharp, or there are none, a weave that is seen must not be
    softer: focus may lie behind the part, and noise reduction spares edges and eats texture.
    """
    if blur is not None and _is_soft(blur, weave.pitch / weave.frame.scale):
        return Reason.SHAKE if blur.roundness < SHAKEN else Reason.FOCUS
    bound = weave_blur(weave) if is_seen else None
    if bound is None or bound <= SOFT_WEAVE:
        return Reason.NONE
    return Reason.FOCUS if blur is None else Reason.DENOISE


def _is_soft(blur: Blur, pitch: float) -> bool:
    """Return whether a blur hides the weave; a pitch in pixels of the photo."""
    return blur.most > SOFT_PIXELS and blur.most > SOFT_PITCHES * pitch


def _near_border(weave: Weave) -> tuple[Bool, Bool]:
    """Return the cells that are near the silhouette's border, and those near tape or cord."""
    frame, pitch = weave.frame, weave.pitch
    if not frame.covered.any():
        inside = np.asarray(weave.at_cells(frame.depth))
        return inside < RIM * pitch, np.zeros_like(inside, bool)
    inside, off = (
        np.asarray(weave.at_cells(distance_within(mask)))
        for mask in (frame.laminate | frame.covered, ~frame.covered)
    )
    return inside < RIM * pitch, off < 0.5 * pitch


def _oblique(weave: Weave) -> Bool:
    centre, half = weave.frame.span
    rows, columns = weave.rows, weave.columns
    lane = np.abs(columns[None, :] - centre[rows][:, None]) / half[rows][:, None]
    return np.asarray(np.nan_to_num(lane) > LANE)


def _mostly(mask: Bool, pitch: float, weave: Weave) -> F32:
    """Return the share of a place, half a pitch around, where a mask holds."""
    if not mask.any():
        return np.zeros(weave.visibility.shape, np.float32)
    return weave.pool.blurred(mask.astype(np.float32), 0.4 * pitch)
