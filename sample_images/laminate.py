"""The demo laminate: a braid, its resin, and what both look like. NumPy only.

This is our own model, not a measurement. Every assumption is named here:

* Resin state is two fields: fill S (0 dry .. 1 full) and excess e (mm of resin above the tows).
  starved S < 0.7; lean S < 0.9; good; heavy e >= 0.3 mm; rich e >= 0.5 mm. The five words are
  common practice; the limits are ours (common practice, no source).
* What stands above the tows has filled them: no place is starved under a pool (own assumption).
* Surface = relief * (1 - 0.85 S) * exp(-e / 0.35 mm) + e: resin fills the valleys, then buries
  the crowns. The taut film spans the gaps as they fill, so the relief itself softens too (own
  assumption).
* Dry tows stand 0.25..0.35 mm above and below their mean (own assumption), and no two floats of
  a tow are alike: each is a little higher or lower, tilted, brighter or darker.
* What is seen of the differences between tows, and of the shadow in the gaps, fades as
  (1 - 0.66 S) * exp(-e / 0.6 mm): in good laminate 0.3 of the dry contrast is left, in rich
  laminate a tenth (common practice, no source: bold check, soft pattern, smooth).
* Starved laminate is matte with broken highlights; the film over good laminate is glossy (common
  practice, no source). Excess resin tints the colour slightly (own assumption).
* Tow colour turns from dry to wet while S goes from 0.1 to 0.6 (own assumption), so starved
  laminate comes both pale and dry, and wetted but lean.
* Sleeve geometry is the trellis of inextensible tows: sin(angle) is proportional to the radius
  (closed form). The angle is held within 28..52 degrees, where tows lock or slip instead
  (common practice, no source).
* The sheen of the filaments fades with resin. Its direction, which sets the two tow families
  apart, fades further, least in carbon (own assumption).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
Colour = tuple[float, float, float]

STATES = ("starved", "lean", "good", "heavy", "rich")
STEP = 0.25  # mm between the points of the grid
KEYS = 65536  # floats that differ from one another
FULL = 0.92  # least fill of good laminate
RESIN = (0.20, 0.15, 0.08)  # linear-light colour of deep resin (own assumption)
SCENARIOS = ("good", "starved", "rich", "gradient", "patches", "pools", "mixed")


@dataclass(frozen=True)
class Fibre:
    """Linear-light albedo, dry and wet, and the anisotropic sheen of its filaments.

    glint is the share of the sheen's direction that full laminate keeps. All values are chosen by
    eye (own assumption).
    """

    dry: Colour
    wet: Colour
    sheen_colour: Colour
    sheen: float
    glint: float


FIBRES = {
    "basalt": Fibre((0.44, 0.34, 0.17), (0.052, 0.036, 0.021), (0.50, 0.40, 0.26), 0.16, 0.10),
    "glass": Fibre((0.76, 0.76, 0.74), (0.27, 0.29, 0.28), (0.80, 0.80, 0.80), 0.17, 0.10),
    "carbon": Fibre((0.030, 0.030, 0.032), (0.018, 0.018, 0.020), (0.42, 0.42, 0.44), 0.80, 0.30),
    "aramid": Fibre((0.74, 0.60, 0.24), (0.50, 0.32, 0.07), (0.70, 0.60, 0.30), 0.16, 0.10),
    "flax": Fibre((0.50, 0.43, 0.31), (0.19, 0.13, 0.065), (0.50, 0.45, 0.35), 0.08, 0.10),
}


@dataclass(frozen=True)
class Braid:
    """A sleeve: interlacing ("1/1" or "2/2"), tow width (mm) and angle (degrees) at mid height."""

    weave: str
    tow_mm: float
    angle_deg: float


@dataclass(frozen=True)
class Tows:
    """The braid laid on a grid of the surface; every array is (rows along, columns around).

    relief: mm above the valleys; bridged: the same under a film that spans the gaps; over: True
    where the right-handed family lies on top; brightness: relative, 1 on a mean tow's crown, dark
    in the gaps; uv: (rows, columns, family, 2), chosen so that the first coordinate runs across
    the tows of that family.
    """

    relief: Array
    bridged: Array
    over: NDArray[np.bool_]
    brightness: Array
    uv: Array


@dataclass(frozen=True)
class Resin:
    """Fill (0..1) and excess (mm) on the same grid."""

    fill: Array
    excess: Array


@dataclass(frozen=True)
class Look:
    """How the laminate reflects, on the same grid.

    albedo (rows, columns, 3); sheen: weight of the filaments' sheen; alpha (rows, columns, 2):
    its roughness across and along the filaments; matte: 0 where the film is glossy .. 1.
    """

    albedo: Array
    sheen: Array
    alpha: Array
    matte: Array


def smoothstep(low: float, high: float, x: Array) -> Array:
    """0 below low, 1 above high, smooth between (low may exceed high)."""
    t = np.clip((x - low) / (high - low), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)


def noise(rng: np.random.Generator, xyz: Array, scale_mm: float, terms: int = 24) -> Array:
    """Smooth random field of unit variance at points xyz (..., 3), by random Fourier features.

    Source: Rahimi and Recht, Random features for large-scale kernel machines, NIPS 2007.
    """
    waves = rng.normal(0, 1 / scale_mm, (3, terms)).astype(np.float32)
    phase = rng.uniform(0, 2 * np.pi, terms).astype(np.float32)
    coarse = np.ascontiguousarray(xyz[::4, ::4])
    field = np.cos(coarse @ waves + phase).sum(-1) * np.sqrt(2 / terms)
    return np.asarray(cv2.resize(field, xyz.shape[1::-1], interpolation=cv2.INTER_LINEAR))


def braid_angles(radius: Array, middle: float, angle_deg: float) -> Array:
    """Braid angle (radians) at each radius: the trellis, held between 28 and 52 degrees."""
    sine = np.sin(np.radians(angle_deg)) * radius / middle
    held = np.clip(sine, np.sin(np.radians(28)), np.sin(np.radians(52)))
    return np.asarray(np.arcsin(held))


def _over(i: Array, j: Array, weave: str) -> Array:
    if weave == "1/1":
        return np.where((i + j) % 2 < 1, 1, -1).astype(np.float32)
    return np.where((i + j) % 4 < 2, 1, -1).astype(np.float32)


def _tow_surface(across: Array, along: Array, here: Array, beside: Array) -> Array:
    """Height of one family: a domed section carried on its crimp (units of the crimp)."""
    share = 0.5 * smoothstep(0.35, 1.0, np.abs(along) * 2)
    crimp = here * (1 - share) + beside * share
    inside = 1 - (across / 0.47) ** 2  # tows cover 94 % of their pitch
    return np.where(inside > 0, crimp + 1.3 * np.sqrt(np.maximum(inside, 0)), -1.2)


def lay(
    rng: np.random.Generator,
    braid: Braid,
    xyz: Array,
    z: Array,
    theta: Array,
    mean_z: Array,
    mean_r: Array,
) -> Tows:
    """Lay the sleeve over a form.

    xyz (rows, columns, 3), z and theta (rows, columns) describe the grid; mean_z and mean_r
    (n,) its mean profile, mm.
    """
    middle = float(np.interp(mean_z.mean(), mean_z, mean_r))
    angle = braid_angles(mean_r, middle, braid.angle_deg)
    pitch = braid.tow_mm * 1.06
    count = 2 * round(np.pi * middle * np.cos(np.radians(braid.angle_deg)) / pitch)
    step = np.gradient(mean_z) * np.hypot(1, np.gradient(mean_r, mean_z)) / mean_r
    twist = np.interp(z, mean_z, np.cumsum(np.tan(angle) * step)).astype(np.float32)
    turn = np.interp(z, mean_z, np.cumsum(step / np.tan(angle))).astype(np.float32)
    unit = np.float32(count / (2 * np.pi))
    p = unit * (theta - twist) + 0.12 * noise(rng, xyz, 18)
    q = unit * (theta + twist) + 0.12 * noise(rng, xyz, 18)

    bare, across, over, key = _interlace(p, q, braid.weave)
    height, tilt, tone = rng.normal(0, 1, (3, KEYS)).astype(np.float32)
    bare = bare * (1 + 0.15 * height[key] + 0.25 * tilt[key] * across)
    bare = np.clip(cv2.GaussianBlur(bare, (0, 0), 0.6), 0, 1.5)
    relief = 2 * float(rng.uniform(0.25, 0.35)) * bare
    bridged = cv2.GaussianBlur(relief, (0, 0), 0.2 * braid.tow_mm / STEP)
    shade = 0.08 + 0.92 * smoothstep(0.15, 0.9, bare)
    brightness = shade * np.exp(0.15 * tone[key]) * _tow_tones(rng, count, p, q, over)
    uv = np.stack([np.stack([p, theta + turn], -1), np.stack([q, theta - turn], -1)], 2)
    return Tows(relief.astype(np.float32), bridged, over, brightness.astype(np.float32), uv)


def _interlace(
    p: Array, q: Array, weave: str
) -> tuple[Array, Array, NDArray[np.bool_], NDArray[np.intp]]:
    """Interlace even tows at the families' coordinates p and q, in tows.

    Returns height (0 valley .. 1 crown), place across the float on top (-0.5..0.5), whether that
    is right-handed, and its number.
    """
    i, j = np.floor(p), np.floor(q)
    x, y = p - i - 0.5, q - j - 0.5
    here = _over(i, j, weave)
    right = _tow_surface(x, y, here, _over(i, j + np.sign(y), weave))
    left = _tow_surface(y, x, -here, -_over(i + np.sign(x), j, weave))
    height = (np.maximum(np.maximum(right, left), -1.2) + 1.2) / 3.5
    return height, np.where(here > 0, x, y), right > left, _float_keys(i, j, here, weave)


def _float_keys(i: Array, j: Array, here: Array, weave: str) -> NDArray[np.intp]:
    """Give each float a number below KEYS, for all places that it covers."""
    tow = np.where(here > 0, i, j + 5003)
    run = np.floor((i + j) / 2) if weave == "2/2" else i + j
    return np.asarray((tow * 7919 + run * 613) % KEYS, np.intp)


def _tow_tones(
    rng: np.random.Generator, count: int, p: Array, q: Array, over: NDArray[np.bool_]
) -> Array:
    """Brightness per tow and, finer, per strand of filaments within it."""
    place = np.where(over, p, q + 7777.0)
    tow = rng.normal(1, 0.05, 4096)[np.floor(place).astype(int) % count]
    strand = rng.normal(1, 0.05, 65536)[np.floor(place * 7).astype(int) % 65536]
    return np.asarray(tow * strand, np.float32)


def pour(rng: np.random.Generator, scenario: str, xyz: Array, height: Array) -> Resin:
    """Resin for a scenario; height is 0 at the distal end and 1 at the brim."""
    fill = np.maximum(0.965 + 0.018 * noise(rng, xyz, 22), FULL)
    excess = rng.uniform(0.08, 0.17) + 0.04 * noise(rng, xyz, 25)
    wander = 0.07 * noise(rng, xyz, 45)
    if scenario == "starved":
        level = rng.uniform(0.3, 0.5)
        fill = np.clip(level + 0.14 * noise(rng, xyz, 30), 0.05, 0.67)
        excess = 0 * excess
    elif scenario == "rich":
        excess = rng.uniform(0.68, 0.85) + 0.08 * noise(rng, xyz, 30)
    elif scenario in ("gradient", "mixed"):
        course = height + wander
        course = 1 - course if rng.random() < 0.35 else course
        dry = rng.uniform(0.15, 0.6)
        edge = rng.uniform(0.55, 0.72)
        fill = fill - (fill - dry) * smoothstep(edge - 0.05, edge + 0.3, course)
        excess = excess * (course < edge) + rng.uniform(0.5, 0.9) * smoothstep(0.42, 0.08, course)
    if scenario in ("pools", "mixed"):
        excess = excess + rng.uniform(0.7, 1.0) * smoothstep(0.36, 0.16, height + wander)
    if scenario in ("patches", "mixed"):
        fill, excess = _patches(rng, xyz, fill, excess)
        # A pool may have come over what was dry; elsewhere it stands on full tows anyway.
        fill = np.maximum(fill, FULL * smoothstep(0.1, 0.25, excess))
    return Resin(np.clip(fill, 0, 1).astype(np.float32), np.maximum(excess, 0).astype(np.float32))


def _patches(
    rng: np.random.Generator, xyz: Array, fill: Array, excess: Array
) -> tuple[Array, Array]:
    """Patches of 3..30 mm: two thirds starved, the rest rich."""
    for n in range(16):
        centre = xyz[tuple(rng.integers(0, size) for size in xyz.shape[:2])]
        radius = rng.uniform(3, 30)
        away = np.linalg.norm(xyz - centre, axis=-1) / radius
        mask = smoothstep(1.3, 0.75, away * (1 + 0.3 * noise(rng, xyz, radius * 0.5, 8)))
        if n % 3 < 2:
            fill = fill + (rng.choice([0.2, 0.58]) - fill) * mask
            excess = excess * (1 - mask)
        else:
            excess = excess + (rng.uniform(0.6, 0.95) - excess) * mask
    return fill, excess


def state_codes(resin: Resin) -> NDArray[np.uint8]:
    """Label codes: 1 starved, 2 lean, 3 good, 4 heavy, 5 rich."""
    codes = np.full(resin.fill.shape, 3, np.uint8)
    codes[resin.excess >= 0.3] = 4
    codes[resin.excess >= 0.5] = 5
    codes[resin.fill < 0.9] = 2
    codes[resin.fill < 0.7] = 1
    return codes


def surface(tows: Tows, resin: Resin) -> Array:
    """Height of the film above the form, mm."""
    span = smoothstep(0.6, 0.95, resin.fill)
    relief = tows.relief * (1 - span) + tows.bridged * span
    shown = (1 - 0.85 * resin.fill) * np.exp(-resin.excess / 0.35)
    return np.asarray(relief * shown + resin.excess, np.float32)


def appearance(fibre: Fibre, tows: Tows, resin: Resin) -> Look:
    """Return what the laminate looks like under its film."""
    fill, excess = resin.fill, resin.excess
    wet = smoothstep(0.1, 0.6, fill)[..., None]
    colour = np.array(fibre.dry) * (1 - wet) + np.array(fibre.wet) * wet
    mean = float(tows.brightness.mean())  # what fades is the difference, not the mean
    tone = mean + (tows.brightness - mean) * (1 - 0.66 * fill) * np.exp(-excess / 0.6)
    haze = (0.35 * (1 - np.exp(-excess)))[..., None]
    cloud = 0.75 * np.array(fibre.wet) + 0.25 * np.array(RESIN)
    albedo = colour * (tone / mean)[..., None] * (1 - haze) + cloud * haze
    sheen = fibre.sheen * (1 - 0.85 * fill) * np.exp(-excess / 0.5) * tone / mean
    turned = (1 - (1 - fibre.glint) * fill) * np.exp(-excess / 0.5)
    alpha = 0.26 * np.stack([1 + 0.75 * turned, 1 - 0.5 * turned], -1)
    return Look(
        np.clip(albedo, 0.003, 0.9).astype(np.float32),
        np.clip(sheen, 0, 1).astype(np.float32),
        alpha.astype(np.float32),
        smoothstep(0.88, 0.6, fill),
    )
