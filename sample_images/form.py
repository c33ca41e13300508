"""The demo socket's form: a tapered body, flared brim with ears, narrow lock end. NumPy only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from laminate import STEP, Array, smoothstep
from scipy.interpolate import PchipInterpolator

# Fraction of the length from the distal end, radius in mm (own design).
PROFILES = {
    "trans-tibial": (
        (0, 24),
        (0.09, 25),
        (0.14, 33),
        (0.24, 44),
        (0.45, 50),
        (0.65, 55),
        (0.82, 55),
        (0.93, 59),
        (1, 68),
        (1.25, 74),
    ),
    "trans-femoral": (
        (0, 25),
        (0.07, 26),
        (0.11, 37),
        (0.2, 49),
        (0.4, 57),
        (0.7, 66),
        (0.88, 69),
        (0.95, 75),
        (1, 84),
        (1.25, 92),
    ),
}


@dataclass(frozen=True)
class Form:
    """A grid over the bare form, part frame: z up from the distal end, mm.

    xyz and normal (rows, columns, 3); z and theta (rows, columns); mean_z, mean_r (n,).
    Row 0 is the distal edge, the last row the trimline; the columns close the circle and lie
    closest together around theta = facing.
    """

    xyz: Array
    normal: Array
    z: Array
    theta: Array
    mean_z: Array
    mean_r: Array

    @property
    def length(self) -> float:
        """From the distal edge to the tip of the higher ear, mm."""
        return float(self.z.max())

    @property
    def lock_radius(self) -> float:
        """Mean radius at the distal edge, mm."""
        return float(self.mean_r[0])


def grid_normals(xyz: Array) -> Array:
    """Outward unit normals of a (rows, columns, 3) grid."""
    along, around = np.gradient(xyz, axis=(0, 1))
    normal = np.cross(around, along)
    return np.asarray(normal / np.linalg.norm(normal, axis=-1, keepdims=True), np.float32)


def _angles(facing: float, step: float, radius: float) -> Array:
    """Column angles: fine within 100 degrees of the viewer, eight times coarser behind."""
    fine = int(np.radians(200) * radius / step)
    front = np.linspace(-np.radians(100), np.radians(100), fine)
    back = np.linspace(np.radians(100), np.radians(260), max(24, fine // 10))
    return np.asarray(facing + np.concatenate([front, back[1:]]), np.float32)


def make_form(rng: np.random.Generator, facing: float, step: float = STEP) -> Form:
    """Make a random socket; facing (radians) is the angle the camera will look at."""
    kind = rng.choice(sorted(PROFILES))
    length = rng.uniform(195, 245) if kind == "trans-tibial" else rng.uniform(240, 290)
    knots = np.array(PROFILES[str(kind)])
    radii = knots[:, 1] * rng.uniform(0.92, 1.05) * rng.normal(1, 0.012, len(knots))
    profile = PchipInterpolator(knots[:, 0] * length, radii)
    ears = [(a + rng.normal(0, 0.2), rng.uniform(15, 42)) for a in (0.5 * np.pi, 1.5 * np.pi)]
    lobes = rng.uniform(0.02, 0.055, 2), rng.uniform(0, 2 * np.pi, 2)

    theta = _angles(facing, step, float(radii[:-1].max()))[None]
    t = np.linspace(0, 1, int((length + 20) / step), dtype=np.float32)[:, None]
    rise = sum(
        h * np.exp(-((((theta - a + np.pi) % (2 * np.pi) - np.pi) / 0.6) ** 2)) for a, h in ears
    )
    z = t * length + smoothstep(0.55, 1.0, t) * t * rise
    body = smoothstep(0.1, 0.3, z / length)
    shape = 1 + body * sum(
        a * np.cos(n * (theta - b)) for n, a, b in zip((2, 3), *lobes, strict=True)
    )
    theta = np.broadcast_to(theta, z.shape)
    radius = profile(z) * shape
    xyz = np.stack([radius * np.cos(theta), radius * np.sin(theta), z], -1).astype(np.float32)
    mean_z = np.linspace(0, float(z.max()), 800, dtype=np.float32)
    return Form(
        xyz,
        grid_normals(xyz),
        z.astype(np.float32),
        theta,
        mean_z,
        profile(mean_z).astype(np.float32),
    )
