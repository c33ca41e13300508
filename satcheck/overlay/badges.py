"""Letters on the picture: where they go, so that none hides another, and how they are drawn."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from satcheck.model import Label
from satcheck.overlay.look import INK, LETTERS, PAPER, URGENT, font_of

Mask = NDArray[np.bool_]

ROOMY = 1.6
"""Badge radii of room that an urgent patch needs for its badge not to hide it."""
SPECK = 0.1
"""Badge radii of room under which a patch is too small to be pointed at."""


@dataclass(frozen=True)
class Badge:
    """A letter on the picture, and the middle of the patch that it speaks of (pixels x, y)."""

    label: Label
    x: float
    y: float
    tip: tuple[float, float]

    def enlarged(self, times: float) -> "Badge":
        """Return its place in a picture that is larger by a factor."""
        tip = (times * self.tip[0], times * self.tip[1])
        return Badge(self.label, times * self.x, times * self.y, tip)


def place_badges(labels: NDArray[np.uint8], radius: float) -> tuple[Badge, ...]:
    """Return where the letters go, so that none hides another.

    Parameters
    ----------
    labels : (H, W) uint8 array
        Label codes.
    radius : float
        Of a badge, in pixels.

    Notes
    -----
    A patch that holds a badge has it in its middle. A starved or rich patch that is too small for
    one has it at its side, away from the middle of the part; other small patches have none. Of
    the good patches only the largest is named.
    """
    placed: list[Badge] = []
    order = (*URGENT, Label.LEAN, Label.HEAVY, Label.NOT_JUDGED, Label.GOOD)
    columns = np.flatnonzero((labels > 0).any(axis=0))
    middle = float(columns.mean()) if columns.size else 0.0
    for label in order:
        for x, y, room in _patches(labels == label)[: 1 if label is Label.GOOD else None]:
            badge = Badge(label, x, y, (x, y))
            if room < (ROOMY if label in URGENT else 1) * radius:
                if label not in URGENT or room < SPECK * radius:
                    continue
                badge = _beside(badge, room + 2 * radius, middle, labels.shape[1], radius)
            if all(math.hypot(badge.x - b.x, badge.y - b.y) > 2.1 * radius for b in placed):
                placed.append(badge)
    return tuple(placed)


def _patches(mask: Mask) -> list[tuple[float, float, float]]:
    """Return the middle x, y of each patch and its distance from the rim, largest patch first."""
    left, top, width, height = cv2.boundingRect(mask.astype(np.uint8))
    if width == 0:
        return []
    here = mask[top : top + height, left : left + width].astype(np.uint8)
    count, parts, stats, _ = cv2.connectedComponentsWithStats(here)
    room = cv2.distanceTransform(np.pad(here, 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    found = []
    for index in sorted(range(1, count), key=lambda i: -stats[i, cv2.CC_STAT_AREA]):
        x, y, w, h = (int(v) for v in stats[index, :4])
        inside = np.where(parts[y : y + h, x : x + w] == index, room[y : y + h, x : x + w], 0)
        row, column = np.unravel_index(int(inside.argmax()), inside.shape)
        x, y = left + x + int(column), top + y + int(row)
        found.append((float(x), float(y), float(inside.max())))
    return found


def _beside(badge: Badge, reach: float, middle: float, width: int, radius: float) -> Badge:
    """Move a badge off its patch, away from the middle of the part, within the picture."""
    away = reach if badge.x >= middle else -reach
    x = min(max(badge.x + away, radius), width - radius)
    return Badge(badge.label, x, badge.y, badge.tip)


def draw_badge(picture: Image.Image, badge: Badge, unit: float) -> None:
    """Draw a letter on a disc: white on black where urgent, else black on white."""
    pen = ImageDraw.Draw(picture)
    disc, letter = (INK, PAPER) if badge.label in URGENT else (PAPER, INK)
    if (badge.x, badge.y) != badge.tip:
        pen.line([badge.tip, (badge.x, badge.y)], PAPER, max(3, round(0.3 * unit)))
        pen.line([badge.tip, (badge.x, badge.y)], INK, max(1, round(0.14 * unit)))
    for radius, colour in ((0.95 * unit, letter), (0.85 * unit, disc)):
        x, y = badge.x, badge.y
        pen.ellipse((x - radius, y - radius, x + radius, y + radius), colour)
    pen.text((badge.x, badge.y), LETTERS[badge.label], letter, font_of(1.25 * unit), anchor="mm")
