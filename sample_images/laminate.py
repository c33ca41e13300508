"""The demo laminate: a braid, its resin, and what both look like. NumPy only.

This is our own model, not a measurement. Every assumption is named here:

* Resin state is two fields: fill S (0 dry .. 1 full) and excess e (mm of resin above the tows).
  starved S < 0.7; lean S < 0.9; good; heavy e >= 0.3 mm; rich e >= 0.5 mm. The five words are
  common practice; the limits are ours (common practice, no source).
* Surface = relief * (1 - 0.85 S) * exp(-e / 0.35 mm) + e: resin fills the valleys, then buries
  the crowns (own assumption).
* Tow colour turns from dry to wet while S goes from 0.1 to 0.6 (own assumption), so starved
  laminate comes both pale and dry, and wetted but lean.
* Sleeve geometry is the trellis of inextensible tows: sin(angle) is proportional to the radius
  (closed form). The angle is held within 28..52 degrees, where tows lock or slip instead
  (common practice, no source).
* Differences between tows fade with excess as exp(-e / 0.45 mm), for cured resin is slightly
  hazy; the sheen of the filaments fades likewise (own assumption).
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
SCENARIOS = ("good", "starved", "rich", "gradient", "patches", "pools", "mixed")


@dataclass(frozen=True)
class Fibre:
    """Linear-light albedo, dry and wet, and the anisotropic sheen of its filaments.

    All colours are chosen by eye (own assumption).
    """

    dry: Colour
    wet: Colour
    sheen_colour: Colour
    sheen: float


FIBRES = {
    "basalt": Fibre((0.44, 0.34, 0.17), (0.052, 0.036, 0.021), (0.50, 0.40, 0.26), 0.16),
    "glass": Fibre((0.76, 0.76, 0.74), (0.27, 0.29, 0.28), (0.80, 0.80, 0.80), 0.17),
    "carbon": Fibre((0.030, 0.030, 0.032), (0.018, 0.018, 0.020), (0.42, 0.42, 0.44), 0.50),
    "aramid": Fibre((0.74, 0.60, 0.24), (0.50, 0.32, 0.07), (0.70, 0.60, 0.30), 0.16),
    "flax": Fibre((0.50, 0.43, 0.31), (0.19, 0.13, 0.065), (0.50, 0.45, 0.35), 0.08),
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

    relief: mm above the valleys; over: True where the right-handed family lies on top;
    brightness: relative, mean about 1; uv: (rows, columns, family, 2), chosen so that the
    first coordinate runs across the tows of that family.
    """

    relief: Array
    over: NDArray[np.bool_]
    brightness: Array
    uv: Array


@dataclass(frozen=True)
class Resin:
    """Fill (0..1) and excess (mm) on the same grid."""

    fill: Array
    excess: Array


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


def lay(rng: np.random.Generator, braid: Braid, xyz: Array, z: Array, theta: Array,
        mean_z: Array, mean_r: Array) -> Tows:
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

    i, j = np.floor(p), np.floor(q)
    x, y = p - i - 0.5, q - j - 0.5
    here = _over(i, j, braid.weave)
    right = _tow_surface(x, y, here, _over(i, j + np.sign(y), braid.weave))
    left = _tow_surface(y, x, -here, -_over(i + np.sign(x), j, braid.weave))
    local = np.interp(z, mean_z, 2 * np.pi * mean_r / count * np.cos(angle)).astype(np.float32)
    # Relief over pitch 0.2: two lens-shaped tows of aspect about 10 (common practice, no source).
    relief = 0.2 * local * (np.maximum(np.maximum(right, left), -1.2) + 1.2) / 3.5
    over = right > left
    tone = _tow_tones(rng, count, p, q, over)
    gap = smoothstep(0.05, 0.45, relief / (0.2 * local))
    uv = np.stack([np.stack([p, theta + turn], -1), np.stack([q, theta - turn], -1)], 2)
    return Tows(relief.astype(np.float32), over, tone * (0.45 + 0.55 * gap), uv)


def _tow_tones(rng: np.random.Generator, count: int, p: Array, q: Array,
               over: NDArray[np.bool_]) -> Array:
    """Brightness per tow and, finer, per strand of filaments within it."""
    place = np.where(over, p, q + 7777.0)
    tow = rng.normal(1, 0.05, 4096)[np.floor(place).astype(int) % count]
    strand = rng.normal(1, 0.05, 65536)[np.floor(place * 7).astype(int) % 65536]
    return np.asarray(tow * strand, np.float32)


def pour(rng: np.random.Generator, scenario: str, xyz: Array, height: Array) -> Resin:
    """Resin for a scenario; height is 0 at the distal end and 1 at the brim."""
    fill = np.maximum(0.965 + 0.018 * noise(rng, xyz, 22), 0.92)
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
    return Resin(np.clip(fill, 0, 1).astype(np.float32), np.maximum(excess, 0).astype(np.float32))


def _patches(rng: np.random.Generator, xyz: Array, fill: Array,
             excess: Array) -> tuple[Array, Array]:
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
    shown = (1 - 0.85 * resin.fill) * np.exp(-resin.excess / 0.35)
    return np.asarray(tows.relief * shown + resin.excess, np.float32)


def appearance(fibre: Fibre, tows: Tows, resin: Resin) -> tuple[Array, Array]:
    """Albedo (rows, columns, 3) and weight of the filaments' sheen (rows, columns)."""
    wet = smoothstep(0.1, 0.6, resin.fill)[..., None]
    colour = np.array(fibre.dry) * (1 - wet) + np.array(fibre.wet) * wet
    clear = np.exp(-resin.excess / 0.45) * (1 - 0.45 * resin.fill)
    tone = 1 + (tows.brightness - 1) * clear
    haze = (0.25 * (1 - np.exp(-resin.excess / 1.5)))[..., None]
    cloud = np.array(fibre.wet) * 1.2 + 0.01
    albedo = colour * tone[..., None] * (1 - haze) + cloud * haze
    sheen = fibre.sheen * (1 - 0.75 * resin.fill) * np.exp(-resin.excess / 0.5)
    return np.clip(albedo, 0.004, 0.9).astype(np.float32), sheen.astype(np.float32)
