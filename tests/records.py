"""Hand-made inspections, for the tests of what comes after judgement."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from satcheck.model import (
    ZONES,
    CalibrationFacts,
    Cells,
    Evenness,
    Inspection,
    Interval,
    Label,
    Patch,
    PhotoFacts,
    ZoneVerdict,
)

BOUNDS = {"starved/lean": 0.2, "lean/good": 0.35, "good/heavy": 0.7, "heavy/rich": 0.85}


def zones_of(
    verdicts: Mapping[str, Label], reasons: Mapping[str, Mapping[str, float]] | None = None
) -> tuple[ZoneVerdict, ...]:
    """Return all zones: good, but for those named."""
    return tuple(
        ZoneVerdict(
            name=name,
            verdict=verdicts.get(name, Label.GOOD),
            visibility=Interval(0.124, 0.118, 0.13),
            share_judged=0.973,
            reasons=dict((reasons or {}).get(name, {})),
        )
        for name in ZONES
    )


def cells_of(rows: int, columns: int, step: float, left: float = 0, top: float = 0) -> Cells:
    """Return a grid with a value of its own in every array."""
    rng = np.random.default_rng(5)
    zone = np.zeros((rows, columns), np.uint8)
    third, side = np.arange(rows) * 3 // rows, np.arange(columns) * 3 // columns
    zone[1:-1, 1:-1] = (1 + 3 * third[:, None] + side)[1:-1, 1:-1]
    visibility = rng.normal(0.1, 0.02, zone.shape).astype(np.float32)
    visibility[zone == 0] = np.nan
    return Cells(
        to_photo=np.array([[step, 0, left], [0, step, top]]),
        pitch=21.5,
        mm_per_px=None,
        zone=zone,
        brim=zone == 1,
        lock=zone == 9,
        visibility=visibility,
        uncertainty=np.full_like(visibility, 0.01),
        cues={"contrast": visibility * 2, "lightness": visibility + 1},
        reasons=np.where(zone > 0, 0, 1 << 13).astype(np.uint32),
    )


def inspection_of(
    verdict: Label = Label.GOOD,
    verdicts: Mapping[str, Label] | None = None,
    *,
    name: str = "part.jpg",
    size: tuple[int, int] = (600, 800),
    flagged: Sequence[Patch] = (),
    **changes: Any,
) -> Inspection:
    """Return an inspection of a photo of some size (width, height), with its fields changed."""
    width, height = size
    labels = np.zeros((height, width), np.uint8)
    labels[height // 8 : -height // 8, width // 4 : -width // 4] = Label.GOOD
    made = Inspection(
        photo=PhotoFacts(name, "0123456789abcdef" * 4, width, height, "2026-03-04T05:06:07"),
        calibration=CalibrationFacts("c0ffee12", "basalt", BOUNDS, 9, False, "No promise."),
        verdict=verdict,
        evenness=Evenness(0.91, "even"),
        zones=zones_of(verdicts or {}),
        flagged=tuple(flagged),
        reasons={"glare": 0.03},
        advice=("Every judged zone is good: leave it.",),
        distal="down",
        distal_guessed=False,
        share_judged=0.96,
        labels=labels,
        cells=cells_of(round(height * 0.75 / 20), width // 40, 20.0, width / 4, height / 8),
        version="0.1.0",
    )
    return replace(made, **changes)
