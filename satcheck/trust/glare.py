"""Mirrored light on the film: where it lies, how much of what is seen it makes up, what it hides.

The film mirrors lamps and windows. Mirrored light adds to the body's own and carries no weave, so
that a share v of it leaves 1 - v of the weave's contrast: a sheen g of the body's light leaves
1 / (1 + g). It is recognised and not corrected: under a rough film it has a texture of its own.

Two measures of the share, chosen by the body's own colour. On a coloured body (amber film, brown
basalt) the colour tells: mirrored light has the lamp's (dichromatic reflection model, Shafer
1985). On a neutral one (carbon, glass) it cannot; there the light must rise above what the round
body shows beside it (white top-hat across the part, and along it for a veil), and fall off to both
sides of where it does (hysteresis, Canny 1986).
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.quantile import median
from satcheck.frame import Frame, span
from satcheck.light import luminance
from satcheck.weave.measure import Weave
from satcheck.weave.spectrum import DARK_FLOOR, masked_blur

F32 = NDArray[np.float32]
Bool = NDArray[np.bool_]

COLOURED = 0.3  # (largest - smallest) / largest channel of the body; rendered glass and carbon
# reach 0.28, basalt starts at 0.33 (rendered photos of ours and a second renderer's)
MIDDLE = 0.8  # of the half width: the flanks mirror the room and not the body's colour
FINE_PITCH = 4.0  # px: mirrored light is looked at with so many pixels to a pitch
POOLED = 0.45  # pitches (sigma): tows' own colours even out
STREAK = 6.0  # pitches: wider brightness is shading or paler laminate
# Share of mirrored light from which the weave is doubted: three fifths of the contrast are left. At
# a half, wetted and lean laminate under a lamp or a veil was called good in up to a quarter of it
# (tests/sweep_trust.py, basalt).
VEILED = 0.4
VEILED_NEUTRAL = 0.25  # the same, of the top-hat; a wider sheen rises less above what is beside it
# A lamp's skirts on a neutral body: pitches of the line that sees over them, the share of mirrored
# light there, and the share that a streak must have for them to be its own; without one, a broad
# rise is shading. On 15 check photos of carbon and glass (render.py, seeds 20 and 1001, and a
# second renderer's) under the mirrored lamps of tests/sweep_trust.py (0.1, 0.3, 1.0) starved was
# called good or richer in 2.5, 5.6 and 7.4 % of its places, so in 0.9, 1.9 and 2.4; as taken 10.9 %
# are not judged, without 10.2. A line of 12 pitches wins nothing under the weaker two.
SKIRTS, SKIRT, SKIRTED = 18.0, 0.35, 0.5
GLARING = 0.75  # share from which nothing is left to judge, whatever stands out
GLARING_RISE = 0.6  # top-hat that glare on a coloured body has as well; pale dry tows have it alone
GROWN = 0.5  # pitches by which glare is grown: its rim looks like texture


@dataclass(frozen=True, eq=False)
class Mirrored:
    """Cells (R, C), bool, of which mirrored light hides all, or so much that weave is doubted."""

    glare: Bool
    veil: Bool


def mirrored(weave: Weave) -> Mirrored:
    """Return the cells of a part that mirror too much light.

    A veil hides weave and makes none, so that what shows dry under it can be believed.
    """
    if not weave.frame.laminate.any():
        nothing = np.zeros(weave.visibility.shape, bool)
        return Mirrored(nothing, nothing)
    step = max(1, round(weave.pitch / FINE_PITCH))
    linear, part = _reduced(weave.frame, step)
    pitch = weave.pitch / step
    weight = part.astype(np.float32)
    pooled = masked_blur(linear, weight, POOLED * pitch)
    light = luminance(pooled)
    rise = rise_across(light, part, pitch)
    body = body_colour(pooled, part)
    if saturation(body) >= COLOURED:
        share = mirrored_share(pooled, body)
        veil, glare = share >= VEILED, (share >= GLARING) & (rise >= GLARING_RISE)
    else:
        # A lamp may lie across the part too; pale dry tows then pass for a veil, which hides none.
        along = rise_across(light.T, part.T, pitch).T
        veil, glare = np.maximum(rise, along) >= VEILED_NEUTRAL, rise >= GLARING
        veil |= _skirts(light, part, pitch, rise >= SKIRTED)
    reach = 2 * round(GROWN * pitch) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    grown = np.asarray(cv2.dilate((glare & part).astype(np.uint8), disc)) > 0
    places = np.ix_(weave.rows // step, weave.columns // step)
    return Mirrored((grown & part)[places], (veil & ~grown & part)[places])


def _reduced(frame: Frame, step: int) -> tuple[F32, Bool]:
    """Return linear light and the laminate with every ``step`` pixels as one."""
    part = np.ascontiguousarray(frame.laminate[::step, ::step])
    if step == 1:
        return frame.linear, part
    linear = cv2.resize(frame.linear, part.shape[::-1], interpolation=cv2.INTER_AREA)
    return np.asarray(linear, np.float32), part


def body_colour(pooled: F32, part: Bool) -> F32:
    """Return the body's colour (3,), luminance 1: of the darker half of the part's middle."""
    centre, half = span(part)
    columns = np.arange(part.shape[1])
    lane = np.abs(columns - centre[:, None]) / half[:, None]
    middle = part & (lane < MIDDLE)
    light = luminance(pooled)
    dark = middle & (light <= median(light[middle]))
    return np.asarray(median(pooled[dark] / np.maximum(light[dark], 1e-4)[:, None], 0), np.float32)


def saturation(colour: F32) -> float:
    """Return how far a colour is from grey, 0 to 1: (largest - smallest) / largest channel."""
    return float(1 - colour.min() / max(float(colour.max()), 1e-6))


def mirrored_share(linear: F32, body: F32) -> F32:
    """Return the share of luminance (H, W), 0 to 1, that has the lamp's colour and not the body's.

    Each pixel is b * body + s * white, solved for b and s by least squares; the share is
    s / (b + s). White is the photo's own: phones balance it for the light.

    Parameters
    ----------
    linear : (H, W, 3) float32 array
    body : (3,) float32 array
        The body's colour with luminance 1, not grey.
    """
    parts = linear @ np.linalg.pinv(np.stack([body, np.ones(3, np.float32)], 1)).T
    whole = np.maximum(parts.sum(2), 1e-4)
    return np.asarray(np.clip(parts[..., 1] / whole, 0, 1), np.float32)


def _skirts(light: F32, part: Bool, pitch: float, streaks: Bool) -> Bool:
    """Return streaks with what rises broadly around them, (H, W): where a lamp's light fades out.

    Nothing of a broad rise that no streak touches.
    """
    if not streaks.any():
        return streaks
    broad = streaks | (rise_across(light, part, pitch, SKIRTS) >= SKIRT)
    count, names = cv2.connectedComponents(broad.astype(np.uint8))
    lit = np.zeros(count, bool)
    lit[names[streaks]] = True
    return np.asarray(lit[names])


def rise_across(light: F32, part: Bool, pitch: float, width: float = STREAK) -> F32:
    """Return the share of light (H, W), 0 to 1, by which streaks rise above what lies beside them.

    White top-hat (opening residue, Serra 1982) of log luminance with a line across the part,
    ``width`` pitches long: a short one leaves out shading, which turns over the whole width.
    """
    log = np.log(np.maximum(light, 0) + DARK_FLOOR).astype(np.float32)
    line = np.ones((1, round(width * pitch) | 1), np.uint8)
    low = np.where(part, cv2.erode(np.where(part, log, np.float32(9)), line), np.float32(-9))
    opened = np.asarray(cv2.dilate(low.astype(np.float32), line))
    return np.where(part, 1 - np.exp(np.minimum(opened - log, 0)), 0).astype(np.float32)
