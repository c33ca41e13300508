"""A lesson about drawn parts, whose states are known third by third."""

import csv
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from drawn_shop import PARTS, DrawnShop, draw_part

from satcheck.lesson.specimens import Specimen, read_specimens
from satcheck.model import STATES


def paint_truth(shop: DrawnShop) -> None:
    """Paint the drawn states beside each photo, as STEM.truth.png at half the photo's size."""
    for seed, thirds in enumerate(PARTS):
        mask = draw_part(thirds, seed).mask
        rows = np.flatnonzero(mask.any(1))
        third = np.clip((np.arange(mask.shape[0]) - rows[0]) * 3 // len(rows), 0, 2)
        codes = np.array([STATES[state] for state in thirds], np.uint8)[third][:, None] * mask
        half = np.ascontiguousarray(codes[::2, ::2].astype(np.uint8))
        cv2.imwrite(str(shop.table.with_name(f"{seed}.truth.png")), half)


@cache
def _specimens(table: Path, shop: DrawnShop) -> tuple[Specimen, ...]:
    return read_specimens(table, shop.calibration, lambda *_: None)


def specimens_of(shop: DrawnShop) -> tuple[Specimen, ...]:
    """Return the drawn shop's labelled photos, measured once."""
    paint_truth(shop)
    return _specimens(shop.table, shop)


def rows_of(text: str) -> list[dict[str, str]]:
    """Return the rows of a CSV text."""
    return list(csv.DictReader(text.splitlines()))
