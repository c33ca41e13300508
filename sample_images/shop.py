"""The demo shop around the part: bench, wall, clutter and lamps, as mitsuba dictionaries.

Picture frame: x right, y up, z towards the camera, mm, the part at the origin. All sizes,
colours and lamp strengths are invented (own assumption).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from engine import mi
from laminate import Array

Place = mi.ScalarTransform4f
Item = dict[str, Any]

WARM, NEUTRAL, COOL = (1.0, 0.72, 0.42), (1.0, 0.96, 0.9), (0.78, 0.9, 1.0)
LIGHTS = ("window", "tubes", "bulb", "window and tubes")
APART = 0.3  # between the cube roots of two colours: about a third in lightness
GROUNDS = ("wood", "grey", "mat", "paint", "cloth")


@dataclass(frozen=True)
class Room:
    """Space and contrast the part needs.

    Half its size across and along (mm), its axis in the picture, how far the camera stands (mm),
    and the colours (n, 3) that it shows.
    """

    half_width: float
    half_length: float
    axis: tuple[float, float]
    camera: float
    colours: Array

    @property
    def reach(self) -> float:
        """Half the width of the part in the picture, mm."""
        across, along = abs(self.axis[1]), abs(self.axis[0])
        return across * self.half_width + along * self.half_length


def _rgb(colour: Any) -> Item:
    return {"type": "rgb", "value": [float(c) for c in colour]}


def _base(rng: np.random.Generator, kind: str) -> Array:
    """Draw the mean colour of a ground."""
    if kind == "wood":
        return np.array([0.42, 0.26, 0.13]) * rng.uniform(0.5, 1.3)
    if kind == "mat":
        return np.array([0.02, 0.13, 0.09])
    hue = np.ones(3) if kind == "grey" else rng.uniform(0.7, 1, 3)
    return np.asarray(rng.uniform(0.08, 0.65) * hue)


def _texture(rng: np.random.Generator, kind: str, base: Array) -> Item:
    """Draw a seamless-enough 768 x 768 texture round a mean colour."""
    n = 768
    grain = rng.normal(0, 1, (n, n)).astype(np.float32)
    if kind == "wood":
        streak = cv2.GaussianBlur(grain, (0, 0), sigmaX=60, sigmaY=1.5) * 14
        wave = cv2.GaussianBlur(grain, (0, 0), sigmaX=90, sigmaY=14) * 40
        tone = 1 + 0.12 * streak + 0.12 * np.sin(4 * wave)
    elif kind == "mat":
        tone = np.ones((n, n)) + 0.04 * grain
        for k in range(0, n, 48):
            tone[k : k + 2] = tone[:, k : k + 2] = 2.0
    elif kind == "cloth":
        rows = np.sin(np.arange(n) * 2 * np.pi / 8)
        tone = 1 + 0.08 * rows[:, None] * rows[None] + 0.06 * grain
    else:
        blotch = cv2.GaussianBlur(grain, (0, 0), 30) * 30
        tone = 1 + 0.06 * blotch + (0.1 if kind == "grey" else 0.02) * grain
    pixels = np.clip(tone[..., None] * base, 0.005, 0.9).astype(np.float32)
    scale = float(rng.uniform(2, 4))
    return {
        "type": "bitmap",
        "bitmap": mi.Bitmap(pixels),
        "raw": True,
        "to_uv": Place().scale([scale, scale, 1]),
    }


def _ground(rng: np.random.Generator, room: Room, tries: int = 40) -> Item:
    """Draw a bench top or a wall that the part stands out from.

    Colours are compared by their cube roots, about as the eye does.
    """
    drawn = [(kind, _base(rng, kind)) for kind in map(str, rng.choice(GROUNDS, tries))]
    away = [
        np.linalg.norm(np.cbrt(room.colours) - np.cbrt(base), axis=-1).min(initial=1)
        for _, base in drawn
    ]
    first = next((n for n, d in enumerate(away) if d > APART), int(np.argmax(away)))
    return _texture(rng, *drawn[first])


def _finish(rng: np.random.Generator) -> Item:
    """Pick a random paint or plastic, some with a pattern."""
    pick = rng.random()
    if pick < 0.1:
        colour: Item = {
            "type": "checkerboard",
            "color0": _rgb(rng.uniform(0.02, 0.7, 3)),
            "color1": _rgb(rng.uniform(0.02, 0.7, 3)),
            "to_uv": Place().scale([float(rng.integers(2, 14)), 6, 1]),
        }
    elif pick < 0.3:
        kind = str(rng.choice(GROUNDS))
        colour = _texture(rng, kind, _base(rng, kind))
    else:
        colour = _rgb(rng.uniform(0.02, 0.75, 3) ** rng.uniform(0.8, 2))
    surface = {
        "type": "roughplastic",
        "diffuse_reflectance": colour,
        "alpha": float(rng.uniform(0.08, 0.5)),
    }
    return {"type": "twosided", "surface": surface}


def _flat(place: Any, texture: Item, roughness: float) -> Item:
    surface = {"type": "principled", "base_color": texture, "roughness": roughness}
    return {"type": "rectangle", "to_world": place, "surface": surface}


def _object(rng: np.random.Generator, at: Array, up: Array, size: float) -> Item:
    """Make a box, roll or ball of about `size` mm resting at `at` on the plane of normal `up`."""
    turn = Place().translate(at.tolist()).rotate(up.tolist(), float(rng.uniform(0, 360)))
    shape = rng.choice(["cube", "cylinder", "sphere"], p=[0.55, 0.33, 0.12])
    half = size * rng.uniform(0.25, 0.6, 3)
    lift = turn.translate((up * float(half.min())).tolist())
    if shape == "cube":
        place = lift.scale(half.tolist())
    elif shape == "sphere":
        place = lift.scale([float(half.min())] * 3)
    else:
        lying = [0, 0, 1] if up[1] else [1, 0, 0]
        radius = float(half.min())
        place = lift.rotate([0, 1, 0], 90.0 if lying[0] else 0.0).scale(
            [radius, radius, float(half.max() * 2)]
        )
    return {"type": str(shape), "to_world": place, "surface": _finish(rng)}


def _bench(rng: np.random.Generator, room: Room, things: int) -> Item:
    """Seen from above: a bench top close behind the part, things lying beside it."""
    depth = -room.half_width - rng.uniform(1, 6)
    ground = Place().translate([0, 0, depth]).rotate([0, 0, 1], float(rng.uniform(-90, 90)))
    items: Item = {
        "ground": _flat(
            ground.scale([1100, 1100, 1]), _ground(rng, room), float(rng.uniform(0.4, 0.9))
        )
    }
    axis = np.array(room.axis)
    across = np.array([-axis[1], axis[0]])
    for n in range(things):
        size = rng.uniform(25, 110)
        side = rng.choice([-1, 1]) * (room.half_width + 0.9 * size + rng.uniform(20, 160))
        spot = across * side + axis * rng.uniform(-1.2, 1.2) * room.half_length
        at = np.array([*spot, depth], np.float32)
        items[f"thing{n}"] = _object(rng, at, np.array([0, 0, 1], np.float32), size)
    return items


def _stand(rng: np.random.Generator, room: Room, things: int) -> Item:
    """Seen from the side: a wall behind, a bench top below, things on it."""
    wall = -rng.uniform(180, 650) - room.half_width
    extent = abs(room.axis[1]) * room.half_length + abs(room.axis[0]) * room.half_width
    below = -extent - rng.uniform(20, 140)
    level = Place().translate([0, below, wall + 550]).rotate([1, 0, 0], -90)
    items: Item = {
        "wall": _flat(
            Place().translate([0, 0, wall]).scale([1600, 1600, 1]), _ground(rng, room), 0.8
        ),
        "top": _flat(level.scale([1400, 550, 1]), _ground(rng, room), float(rng.uniform(0.3, 0.8))),
    }
    for n in range(things):
        size = rng.uniform(40, 200)
        nearest = min(-room.half_width - 0.7 * size, wall + 400)
        back = nearest - rng.uniform(0, 1) * max(nearest - wall - 0.5 * size, 0)
        clear = 0.0 if n == 0 else (room.reach + 10) * (room.camera - back) / room.camera
        aside = rng.choice([-1, 1]) * (clear + 0.6 * size + rng.uniform(0, 250))
        at = np.array([aside, below, back], np.float32)
        items[f"thing{n}"] = _object(rng, at, np.array([0, 1, 0], np.float32), size)
    return items


def surroundings(rng: np.random.Generator, room: Room, empty: bool = False) -> Item:
    """Bench or stand, tidy or cluttered; more clutter when the picture shows no part."""
    things = 14 if empty else 0 if rng.random() < 0.2 else int(rng.integers(3, 13))
    return (_bench if rng.random() < 0.5 else _stand)(rng, room, things)


def _sky(rng: np.random.Generator, strength: float) -> Item:
    """Paint the unseen rest of the room: ceiling, walls, floor, soft patches; fills shadows."""
    rows = np.linspace(1.4, 0.25, 32, dtype=np.float32)[:, None, None]
    blotches = cv2.GaussianBlur(rng.uniform(0, 1, (32, 64, 3)).astype(np.float32), (0, 0), 2.5)
    blotches = 0.3 * blotches + 0.7 * blotches.mean(-1, keepdims=True)
    pixels = rows * (0.3 + 2.2 * (blotches - 0.35)).clip(0.05) * np.array(NEUTRAL) * strength
    return {"type": "envmap", "bitmap": mi.Bitmap(pixels.astype(np.float32)), "scale": 1.0}


def _panel(
    rng: np.random.Generator,
    at: Array,
    half: tuple[float, float],
    colour: Any,
    radiance: float,
    roll: float = 0.0,
) -> Item:
    place = Place().look_at(at.tolist(), rng.normal(0, 40, 3).tolist(), [0.02, 1, 0.05])
    return {
        "type": "rectangle",
        "to_world": place.rotate([0, 0, 1], roll).scale([half[0], half[1], 1]),
        "light": {"type": "area", "radiance": _rgb(np.array(colour) * radiance)},
    }


def lamps(rng: np.random.Generator, kind: str, distance: float) -> Item:
    """Lamps of one kind of light, more from the side than from the front.

    distance is the camera's, mm.
    """
    items: Item = {"sky": _sky(rng, float(rng.uniform(0.25, 0.6)))}
    side = float(rng.choice([-1, 1]))
    if "window" in kind:
        at = np.array([side * rng.uniform(600, 1100), rng.uniform(-100, 500), rng.uniform(50, 500)])
        items["window"] = _panel(
            rng, at, (rng.uniform(130, 280), rng.uniform(250, 450)), COOL, rng.uniform(11, 18)
        )
    if "tubes" in kind:
        roll = float(rng.choice([0, 90]) + rng.normal(0, 8))
        tint = COOL if rng.random() < 0.5 else NEUTRAL
        spot = np.array([rng.uniform(-700, 700), rng.uniform(600, 1100), rng.uniform(50, 500)])
        for n in range(rng.integers(1, 3)):
            at = spot + np.array([0, 60, -130]) * n
            items[f"tube{n}"] = _panel(rng, at, (600, 18), tint, rng.uniform(55, 85), roll)
    if kind == "bulb":
        at = np.array(
            [side * rng.uniform(300, 750), rng.uniform(200, 700), distance * rng.uniform(0.15, 0.7)]
        )
        items["bulb"] = {
            "type": "sphere",
            "center": at.tolist(),
            "radius": 32,
            "light": {"type": "area", "radiance": _rgb(np.array(WARM) * 450)},
        }
    return items


def glare_lamp(rng: np.random.Generator, axis: tuple[float, float], distance: float) -> Item:
    """Hang a hard strip lamp by the phone, along the part: its reflection crosses the part."""
    across = np.array([-axis[1], axis[0], 0])
    at = across * rng.uniform(60, 110) + np.array([0, 0, distance * 0.9])
    roll = float(np.degrees(np.arctan2(axis[1], axis[0])))
    place = Place().look_at(at.tolist(), [0, 0, 0], [0, 1, 0]).rotate([0, 0, 1], -roll)
    return {
        "type": "rectangle",
        "to_world": place.scale([220, 16, 1]),
        "light": {"type": "area", "radiance": _rgb(np.array(NEUTRAL) * 600)},
    }
