"""A shop whose parts are drawn: how much of the weave is left is known, third by third."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scenes import Braid, Scene, Shape, View, draw

from satcheck.calibration.file import Calibration
from satcheck.calibration.labelled import study_table
from satcheck.light import encode_srgb

LEFT = {"starved": 1.0, "good": 0.35, "rich": 0.05}
"""Share of the weave's contrast that is left. Drawn, not measured on laminate."""

PARTS: tuple[tuple[str, str, str], ...] = (
    ("starved", "good", "rich"),
    ("good", "good", "good"),
    ("good", "starved", "good"),
    ("rich", "good", "starved"),
    ("good", "rich", "rich"),
)
"""Proximal, middle and distal third of each labelled part."""

CREATED = "2026-03-04T05:06:07Z"


@dataclass(frozen=True, eq=False)
class DrawnShop:
    """A table of labelled photos and the calibration made from it."""

    table: Path
    calibration: Calibration
    progress: tuple[tuple[int, int, str], ...]


def draw_part(thirds: Sequence[str], seed: int, exposure: float = 1.0) -> Scene:
    """Draw a tapered round part, its distal end down."""

    def fade(across: NDArray[np.float64], along: NDArray[np.float64]) -> NDArray[np.float64]:
        first, second, third = (LEFT[state] for state in thirds)
        return np.select([along < 1 / 3, along < 2 / 3], [first, second], third) + 0 * across

    shape, view = Shape(250, 420, is_round=True, taper=0.25), View(noise=0.003, exposure=exposure)
    braid = Braid(pitch=9.0, amplitude=0.15)
    return draw(np.random.default_rng(seed), braid, shape, view, fade)


def write_photo(path: Path, scene: Scene, seed: int) -> Path:
    """Write a drawn part as a PNG, under a lamp of its own colour and with noise of colour."""
    rng = np.random.default_rng(1000 + seed)
    lamp = np.array([1.02, 1.0, 0.93]) * np.exp(rng.normal(0, [0.04, 0, 0.06]))
    linear = scene.luminance[..., None] * lamp
    rgb = encode_srgb(linear + rng.normal(0, 0.003, linear.shape))
    cv2.imwrite(str(path), np.ascontiguousarray(rgb[..., ::-1]))
    return path


def make_shop(folder: Path) -> DrawnShop:
    """Draw the parts, label them by thirds and calibrate."""
    rows = ["photo,part,fibre,outcome,zone,state,distal"]
    for seed, (thirds, exposure) in enumerate(zip(PARTS, (1, 1.3, 0.8, 1.1, 0.9), strict=True)):
        write_photo(folder / f"{seed}.png", draw_part(thirds, seed, exposure), seed)
        outcome = "accepted" if set(thirds) == {"good"} else "rejected"
        for zone, state in zip(("proximal", "middle", "distal"), thirds, strict=True):
            rows.append(f"{seed}.png,P-{seed},basalt,{outcome},{zone},{state},down")
    table = folder / "parts.csv"
    table.write_text("\n".join(rows) + "\n")
    progress: list[tuple[int, int, str]] = []
    made = study_table(table, lambda *now: progress.append(now), created=CREATED)
    return DrawnShop(table, made.calibration, tuple(progress))
