"""Synthetic parts under a braid whose pitch, angle, contrast and fading are known.

No renderer: the tone of each crossing is drawn in closed form, on a flat strip or wrapped on a
cylinder or cone seen from afar, then seen through a lens (blur), a veil and a sensor (noise).
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.frame import Frame
from satcheck.light import encode_srgb
from satcheck.model import Side
from satcheck.zones import NUMBER, ON_BRIM, ON_LOCK, split_zones

Float = NDArray[np.float64]
Bool = NDArray[np.bool_]

BODY = 0.2  # linear luminance of the laminate without its weave
AROUND = 0.5  # of the background
BORDER = 0.08  # of the part's length


@dataclass(frozen=True)
class Braid:
    """A braid of two mirror-image tow families at the part's proximal end.

    ``pitch`` is in pixels across the tows, ``angle`` in degrees from the part's axis, ``over`` the
    tows passed over and then under, ``amplitude`` the RMS contrast of linear luminance before any
    fading. ``sheen`` parts the families' tones, against a crown of height 1. ``aperiodic`` draws a
    relief of the same contrast and scale that repeats nowhere, as starved laminate has.
    """

    pitch: float = 10.0
    angle: float = 42.0
    over: int = 1
    amplitude: float = 0.1
    sheen: float = 0.3
    aperiodic: bool = False

    @property
    def repeat(self) -> tuple[float, float]:
        """Return the period across and along the axis in pixels, from the tows' geometry alone."""
        turn = np.radians(self.angle)
        return self.over * self.pitch / np.cos(turn), self.pitch / np.sin(turn)


@dataclass(frozen=True)
class Shape:
    """A strip (flat) or a cylinder or cone, its axis upright, the proximal end up; pixels."""

    width: int = 300
    length: int = 420
    is_round: bool = False
    taper: float = 0.0  # share of the width that is lost down to the distal end


@dataclass(frozen=True)
class View:
    """What the camera adds: blur and noise in pixels and linear luminance, exposure as a factor.

    ``veil`` is light laid over the part, as a share of the body's own.
    """

    blur: float = 0.5
    noise: float = 0.0
    exposure: float = 1.0
    veil: float = 0.0


@dataclass(frozen=True, eq=False)
class Scene:
    """One picture and its truth: linear luminance (H, W), the part and how much weave is left."""

    luminance: Float
    mask: Bool
    fade: Float
    braid: Braid
    shape: Shape = field(default_factory=Shape)

    @property
    def rgb(self) -> NDArray[np.uint8]:
        """Return the photo (H, W, 3), grey, sRGB-encoded."""
        return np.ascontiguousarray(np.repeat(encode_srgb(self.luminance)[..., None], 3, 2))

    def frame(self, distal: Side = "down") -> Frame:
        """Return the frame of this picture as it is: unturned, uncropped, not rounded to codes."""
        zones = split_zones(self.mask, distal)
        brim, lock = (zones.codes & bit > 0 for bit in (ON_BRIM, ON_LOCK))
        linear = np.clip(np.repeat(self.luminance[..., None], 3, 2), 0, 1).astype(np.float32)
        still = np.array([[1.0, 0, 0], [0, 1.0, 0]])
        nothing = np.zeros_like(self.mask)
        zone = zones.codes & np.uint8(NUMBER)
        return Frame(linear, self.mask, zone, brim, lock, nothing, still, 1.0)


def draw(
    rng: np.random.Generator,
    braid: Braid | None = None,
    shape: Shape | None = None,
    view: View | None = None,
    fade: Callable[[Float, Float], Float] | None = None,
) -> Scene:
    """Draw a part.

    ``fade(across, along)`` says how much of the weave's contrast is left, 0 to 1, at -1 to 1 of
    the half width and 0 to 1 of the length.
    """
    braid, shape, view = braid or Braid(), shape or Shape(), view or View()
    across, along, half = _places(shape)
    mask = (np.abs(across) <= half) & (along >= 0) & (along < shape.length)
    lane = np.clip(across / half, -1, 1)
    depth = np.clip(along / shape.length, 0, 1)
    if braid.aperiodic:
        tone = _aperiodic(rng, across.shape, braid.pitch)
    else:
        tone = relief(*_lattice_phase(braid, shape, lane, along, half), braid)
    tone = (tone - tone[mask].mean()) / tone[mask].std()
    left = np.ones_like(lane) if fade is None else fade(lane, depth) * np.ones_like(lane)
    body = np.where(mask, BODY * (1 + braid.amplitude * left * tone), AROUND)
    seen = cv2.GaussianBlur(body, (0, 0), view.blur) if view.blur else body
    light = view.exposure * (seen + view.veil * BODY) + rng.normal(0, view.noise, seen.shape)
    return Scene(light, mask, np.where(mask, left, 0), braid, shape)


def _places(shape: Shape) -> tuple[Float, Float, Float]:
    """Return each pixel's place across (from the axis) and along, and the half width there."""
    border = round(BORDER * shape.length)
    rows, columns = np.mgrid[: shape.length + 2 * border, : shape.width + 2 * border] + 0.5
    along = rows - border
    half = shape.width / 2 * (1 - shape.taper * np.clip(along / shape.length, 0, 1))
    return columns - border - shape.width / 2, along, half


def _lattice_phase(
    braid: Braid, shape: Shape, lane: Float, along: Float, half: Float
) -> tuple[Float, Float]:
    """Return repeats counted across and along the part.

    Distant camera: a place at ``lane`` of the half width lies asin(lane) round the part. The tows
    round the part are as many everywhere and inextensible: sin(angle) goes with the diameter and
    the repeat along with cos(angle).
    """
    wide, long = braid.repeat
    relative = half / half.max()
    across = half.max() * (np.arcsin(lane) if shape.is_round else lane) / wide
    if not shape.is_round and not shape.taper:
        return across, along / long
    start = np.radians(braid.angle)
    step = 1 / (long * np.sqrt(1 - (np.sin(start) * relative[:, :1]) ** 2) / np.cos(start))
    counted = np.cumsum(step, 0)
    return across, np.broadcast_to(counted, across.shape)


def relief(across: Float, along: Float, braid: Braid) -> Float:
    """Return the tone of the tow on top, at places in repeats: a crown, sunk where it dives."""
    over = braid.over
    first, second = over * across - along, over * across + along  # tows counted in either family
    turn = np.floor(first) + np.floor(second)
    is_first = np.mod(turn, 2 * over) < over
    crown = np.sin(np.pi * np.mod(np.where(is_first, first, second), 1))
    sheen = np.where(is_first, braid.sheen, -braid.sheen)  # light runs along one family
    # A float of either family starts and ends where the sum of both counts passes a multiple.
    crossing = np.mod(np.where(is_first, second, first), 1)
    place = np.mod(turn, over) + crossing
    return np.asarray(crown * (0.6 + 0.4 * np.sin(np.pi * place / over)) + sheen)


def _aperiodic(rng: np.random.Generator, shape: tuple[int, ...], pitch: float) -> Float:
    """Return noise between 0.3 and 1.5 cycles per pitch, all directions and phases alike."""
    spectrum = np.fft.rfft2(rng.normal(size=shape))
    radius = pitch * np.hypot(np.fft.fftfreq(shape[0])[:, None], np.fft.rfftfreq(shape[1]))
    return np.asarray(np.fft.irfft2(spectrum * ((radius > 0.3) & (radius < 1.5)), shape))
