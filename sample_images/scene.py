"""One photo of the demo shop: builds the part and its surroundings, renders light and truth.

Path tracing with mitsuba 3. The film is a dielectric gloss over the laminate's albedo; the
filaments' sheen is an anisotropic lobe turned with the tow on top. Truth comes from rays
through the pixel centres of the same camera, so it needs no registration.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from engine import mi
from form import Form, grid_normals, make_form
from laminate import (
    FIBRES,
    Array,
    Braid,
    Fibre,
    Look,
    Resin,
    Tows,
    appearance,
    lay,
    noise,
    pour,
    smoothstep,
    state_codes,
    surface,
)
from numpy.typing import NDArray
from shop import LIGHTS, Item, Room, glare_lamp, lamps, surroundings

Place = mi.ScalarTransform4f

PASS_SPP = 16  # samples a pixel in one pass: bounds memory
MATTE = 0.6  # roughness of starved laminate
DULL = 0.75  # share of starved laminate that has no film's gloss
GRAZING = np.cos(np.radians(80))  # flatter than 80 degrees to the view: no truth
DOWN = {"down": 0, "up": 180, "left": -90, "right": 90}  # turn of the part in the picture


@dataclass(frozen=True)
class Shot:
    """What one photo shows. part_seed fixes form, braid and resin; seed the rest."""

    name: str
    seed: int
    part_seed: int
    fibre: str | None
    scenario: str
    role: str
    special: str
    part: str
    view: str
    facing: float
    size: tuple[int, int]
    spp: int


@dataclass(frozen=True)
class Picture:
    """Linear light (rows, columns, 3), label codes at half resolution, on-part mask, facts."""

    light: Array
    codes: NDArray[np.uint8]
    on_part: NDArray[np.bool_]
    axis: tuple[float, float]
    facts: dict[str, Any]


@dataclass(frozen=True)
class Part:
    """The part in its own frame, ready to be placed."""

    form: Form
    braid: Braid
    tows: Tows
    resin: Resin
    fibre: Fibre
    look: Look
    tape: NDArray[np.bool_]
    tape_colour: Array
    xyz: Array


@dataclass(frozen=True)
class Pose:
    """Where the part and the camera stand, in the picture frame (see shop.py)."""

    distal: str
    rotation: Array
    distance: float
    px_per_mm: float
    size: tuple[int, int]


def build_part(shot: Shot) -> Part:
    """Form, braid, resin, wrinkles, seam and tape from the part's own seed."""
    assert shot.fibre is not None
    rng = np.random.default_rng(shot.part_seed)
    braid = Braid(
        str(rng.choice(["1/1", "2/2"])), float(rng.uniform(1.8, 3.5)), float(rng.uniform(37, 46))
    )
    form = make_form(rng, shot.facing)
    tows = lay(rng, braid, form.xyz, form.z, form.theta, form.mean_z, form.mean_r)
    resin = pour(rng, shot.scenario, form.xyz, form.z / form.length)
    tape, tape_colour = _tape(rng, form)
    height = np.where(tape, 0.5 + 0.15 * tows.relief, surface(tows, resin))
    height += _ridges(rng, form)
    fibre = FIBRES[shot.fibre]
    return Part(
        form,
        braid,
        tows,
        resin,
        fibre,
        appearance(fibre, tows, resin),
        tape,
        tape_colour,
        form.xyz + form.normal * height[..., None],
    )


def _tape(rng: np.random.Generator, form: Form) -> tuple[NDArray[np.bool_], Array]:
    """Bands of dark or cream tape near the lock, or near the brim, or none."""
    wander = 1.5 * noise(rng, form.xyz, 30)
    tape = np.zeros(form.z.shape, bool)
    for place in (0.06, 0.8):
        if rng.random() < 0.35:
            start = (place + rng.uniform(0, 0.05)) * form.length
            tape |= np.abs(form.z + wander - start) < rng.uniform(5, 11)
    dark = rng.random() < 0.5
    return tape, np.array([0.03, 0.03, 0.035] if dark else [0.62, 0.55, 0.38])


def _ridges(rng: np.random.Generator, form: Form) -> Array:
    """Wrinkles of the film (thin ridges) and its welded seam, mm."""
    height = np.zeros_like(form.z)
    wander = noise(rng, form.xyz, 35)
    radius = np.hypot(form.xyz[..., 0], form.xyz[..., 1])
    for _ in range(rng.integers(0, 6)):
        angle, slope = rng.uniform(0, 2 * np.pi), rng.normal(0, 0.25)
        middle, reach = rng.uniform(0.1, 0.9) * form.length, rng.uniform(15, 60)
        turn = (form.theta - angle + np.pi) % (2 * np.pi) - np.pi
        away = radius * turn - slope * (form.z - middle) + 3 * wander
        ends = smoothstep(1.0, 0.5, np.abs(form.z - middle) / reach)
        height += rng.uniform(0.3, 0.9) * np.exp(-((away / rng.uniform(0.6, 1.4)) ** 2)) * ends
    if rng.random() < 0.4:
        turn = (form.theta - rng.uniform(0, 2 * np.pi) + np.pi) % (2 * np.pi) - np.pi
        height += 0.25 * smoothstep(2.4, 1.7, np.abs(radius * turn + 2 * wander))
    return height


def choose_pose(rng: np.random.Generator, part: Part | None, size: tuple[int, int]) -> Pose:
    """Part upright in either sense, sometimes sideways; the camera 350..700 mm away."""
    distal = str(rng.choice(list(DOWN), p=[0.44, 0.4, 0.08, 0.08]))
    tilt = rng.normal(0, 14 if rng.random() < 0.2 else 4)
    turn, lean = np.radians(DOWN[distal] + tilt), np.radians(rng.normal(0, 6))
    up = np.array([-np.sin(turn), np.cos(turn), 0])
    front = np.array([0, 0, 1.0])
    up, front = up * np.cos(lean) - front * np.sin(lean), front * np.cos(lean) + up * np.sin(lean)
    rotation = np.stack([front, np.cross(up, front), up], 1).astype(np.float32)
    sideways = distal in ("left", "right")
    size = (size[1], size[0]) if sideways else size
    length = part.form.length if part else 280.0
    width = 2 * float(part.form.mean_r.max()) if part else 140.0
    along, across = (size[0], size[1]) if sideways else (size[1], size[0])
    reach = rng.uniform(1.05, 1.3) if rng.random() < 0.15 else rng.uniform(0.72, 0.97)
    px_per_mm = min(reach * along / length, 0.96 * across / width)
    return Pose(distal, rotation, float(rng.uniform(350, 700)), float(px_per_mm), size)


def _attribute(name: str) -> Item:
    return {"type": "mesh_attribute", "name": f"vertex_{name}"}


def _laminate_bsdf(fibre: Fibre, gloss: float) -> Any:
    """Film over albedo, dull where dry, with the sheen of filaments: narrow along, wide across."""
    film = {
        "type": "principled",
        "base_color": _attribute("albedo"),
        "roughness": _attribute("rough"),
        "eta": 1.5 + gloss,
    }
    dull = {"type": "diffuse", "reflectance": _attribute("albedo")}
    body = {"type": "blendbsdf", "weight": _attribute("dull"), "film": film, "tows": dull}
    sheen = {
        "type": "roughconductor",
        "material": "none",
        "distribution": "ggx",
        "alpha_u": _attribute("across"),
        "alpha_v": _attribute("along"),
        "specular_reflectance": {"type": "rgb", "value": list(fibre.sheen_colour)},
    }
    blend = {"type": "blendbsdf", "weight": _attribute("sheen"), "body": body, "filaments": sheen}
    return mi.load_dict({"type": "twosided", "laminate": blend})


def _mesh(bsdf: Any, faces: NDArray[np.intp], fields: dict[str, Array]) -> Any:
    """Build a mesh of the vertices that faces (n, 3) use; fields (vertices, k) by name."""
    wanted = np.zeros(len(fields["positions"]), bool)
    wanted[faces.ravel()] = True
    used, index = np.flatnonzero(wanted), np.cumsum(wanted)[faces] - 1
    props = mi.Properties()
    props["bsdf"] = bsdf
    mesh = mi.Mesh(
        "part",
        len(used),
        len(faces),
        props=props,
        has_vertex_normals=True,
        has_vertex_texcoords=True,
    )
    for name, values in fields.items():
        flat: Any = np.ascontiguousarray(values[used], np.float32).ravel()
        if name not in ("positions", "normals", "texcoords"):
            mesh.add_attribute(f"vertex_{name}", values.shape[1], flat)
    params = mi.traverse(mesh)
    for name in ("positions", "normals", "texcoords"):
        params[f"vertex_{name}"] = np.ascontiguousarray(fields[name][used], np.float32).ravel()
    params["faces"] = index.reshape(-1).astype(np.uint32)
    params.update()
    return mesh


def part_meshes(part: Part, pose: Pose, rough: float, gloss: float) -> Item:
    """Build the laminate as two meshes, one a tow family, each with its anisotropy frame."""
    rows, cols = part.form.z.shape
    corner = np.arange(rows * cols).reshape(rows, cols)
    a, b, c, d = (
        corner[s, t].ravel()
        for s in (slice(0, -1), slice(1, None))
        for t in (slice(0, -1), slice(1, None))
    )
    faces = np.stack([a, b, d, a, d, c], 1)
    look = part.look
    centre = np.array([0, 0, part.form.length / 2], np.float32)
    judged = np.where(part.tape, 0.25, 1)
    fields = {
        "positions": (part.xyz - centre) @ pose.rotation.T,
        "normals": grid_normals(part.xyz) @ pose.rotation.T,
        "bare": part.form.normal @ pose.rotation.T,
        "albedo": np.where(part.tape[..., None], part.tape_colour, look.albedo),
        "sheen": np.where(part.tape, 0, look.sheen),
        "dull": np.where(part.tape, 0, DULL * look.matte),
        "across": look.alpha[..., 0],
        "along": look.alpha[..., 1],
        "rough": np.where(part.tape, 0.6, rough + (MATTE - rough) * look.matte),
        "truth": np.stack([part.resin.fill, part.resin.excess, judged], -1),
    }
    flat = {k: np.asarray(v, np.float32).reshape(rows * cols, -1) for k, v in fields.items()}
    bsdf = _laminate_bsdf(part.fibre, gloss)
    family = part.tows.over[:-1, :-1].ravel()
    meshes = {}
    for n, chosen in enumerate((family, ~family)):
        uv = part.tows.uv[:, :, n].reshape(-1, 2)
        meshes[f"tows{n}"] = _mesh(bsdf, faces[chosen].reshape(-1, 3), flat | {"texcoords": uv})
    return meshes


def fittings(rng: np.random.Generator, part: Part, pose: Pose) -> Item:
    """Plaster in the brim, the lock's end, the mandrel pipe, perhaps a tied cord."""
    frame = np.eye(4)
    frame[:3, :3] = pose.rotation
    half = part.form.length / 2
    place = Place(frame.tolist())
    brim = float(part.form.z[-1].min()) - half
    plaster = {"type": "diffuse", "reflectance": {"type": "rgb", "value": [0.62, 0.6, 0.56]}}
    steel = {"type": "roughconductor", "material": "Cr", "alpha": 0.25}
    black = {
        "type": "principled",
        "base_color": {"type": "rgb", "value": [0.03] * 3},
        "roughness": 0.35,
    }
    lock = part.form.lock_radius + 0.5
    items: Item = {
        "plaster": _plug(part, pose, mi.load_dict({"type": "twosided", "side": plaster})),
        "end": {
            "type": "disk",
            "bsdf": black,
            "to_world": place.translate([0, 0, -half]).rotate([1, 0, 0], 180).scale(lock),
        },
        "pipe": {
            "type": "cylinder",
            "p0": [0, 0, brim - 20],
            "p1": [0, 0, half + 500],
            "radius": 12.7,
            "to_world": place,
            "bsdf": steel,
        },
    }
    if rng.random() < 0.5:
        items["dummy"] = {
            "type": "cylinder",
            "p0": [0, 0, -half - 14],
            "p1": [0, 0, -half],
            "radius": lock * 0.7,
            "to_world": place,
            "bsdf": black,
        }
        items["dummy_end"] = {
            "type": "disk",
            "bsdf": black,
            "to_world": place.translate([0, 0, -half - 14])
            .rotate([1, 0, 0], 180)
            .scale(lock * 0.7),
        }
    if rng.random() < 0.45:
        items |= _cord(rng, part, place, half)
    return items


def _plug(part: Part, pose: Pose, bsdf: Any) -> Any:
    """Build the plaster cast inside the brim: a shallow funnel from the trimline to the axis."""
    rim = part.form.xyz[-1]
    middle = np.array([[0, 0, part.form.z[-1].min() - 5]], np.float32)
    points = np.concatenate([rim * [0.995, 0.995, 1], middle]) - [0, 0, part.form.length / 2]
    around = np.arange(len(rim) - 1)
    faces = np.stack([around, around + 1, np.full_like(around, len(rim))], 1)
    slope = np.cross(np.gradient(points[:-1], axis=0), points[-1] - points[:-1])
    slope = np.concatenate([slope / np.linalg.norm(slope, axis=-1, keepdims=True), [[0, 0, 1]]])
    return _mesh(
        bsdf,
        faces,
        {
            "positions": points @ pose.rotation.T,
            "texcoords": points[:, :2],
            "normals": slope @ pose.rotation.T,
        },
    )


def _cord(rng: np.random.Generator, part: Part, place: Any, half: float) -> Item:
    """Three turns of cord round the lock and two loose ends: a chain of small balls."""
    colour = [0.7, 0.66, 0.55] if rng.random() < 0.6 else rng.uniform(0.05, 0.6, 3).tolist()
    bsdf = mi.load_dict({"type": "diffuse", "reflectance": {"type": "rgb", "value": colour}})
    thick, level = rng.uniform(0.9, 1.6), rng.uniform(8, 16)
    angle = np.linspace(0, 6 * np.pi, 480)
    ring = part.form.lock_radius + 0.8
    turns = np.stack([ring * np.cos(angle), ring * np.sin(angle), level + angle / np.pi * 1.0], -1)
    run = np.linspace(0, 1, 60)
    ends = [
        np.stack([ring + 3 * run, s * (3 + 18 * run), level - 22 * run**2], -1) for s in (-1, 0.4)
    ]
    beads = np.concatenate([turns, *ends]) - [0, 0, half]
    grid = np.stack(
        np.meshgrid(np.linspace(0, np.pi, 7), np.linspace(0, 2 * np.pi, 9), indexing="ij"), -1
    )
    ball = thick * np.stack(
        [
            np.sin(grid[..., 0]) * np.cos(grid[..., 1]),
            np.sin(grid[..., 0]) * np.sin(grid[..., 1]),
            np.cos(grid[..., 0]),
        ],
        -1,
    ).reshape(-1, 3)
    corner = np.arange(63).reshape(7, 9)
    a, b, c, d = (
        corner[s, t].ravel()
        for s in (slice(0, -1), slice(1, None))
        for t in (slice(0, -1), slice(1, None))
    )
    one = np.stack([a, c, d, a, d, b], 1).reshape(-1, 3)
    faces = (one[None] + 63 * np.arange(len(beads))[:, None, None]).reshape(-1, 3)
    rotation = np.array(place.matrix)[:3, :3]
    points = (beads[:, None] + ball[None]).reshape(-1, 3) @ rotation.T
    normals = np.tile(ball / thick, (len(beads), 1)) @ rotation.T
    return {
        "cord": _mesh(
            bsdf,
            faces,
            {"positions": points, "normals": normals, "texcoords": np.zeros((len(points), 2))},
        )
    }


def _sensor(rng: np.random.Generator, pose: Pose, depth: float) -> Item:
    """Place a phone camera focused on the front of the part."""
    cols, rows = pose.size
    at = [float(v) for v in (*rng.normal(0, 18, 2), pose.distance + depth)]
    aim = [float(v) for v in (*rng.normal(0, 6, 2), 0)]
    tall = 2 * np.degrees(np.arctan(rows / 2 / pose.px_per_mm / pose.distance))
    return {
        "type": "thinlens",
        "aperture_radius": 0.7,
        "focus_distance": pose.distance + 8,
        "fov_axis": "y",
        "fov": float(tall),
        "near_clip": 10,
        "far_clip": 10000,
        "to_world": Place().look_at(at, aim, [0, 1, 0]),
        "sampler": {"type": "multijitter"},
        "film": {
            "type": "hdrfilm",
            "width": cols,
            "height": rows,
            "rfilter": {"type": "gaussian"},
            "component_format": "float32",
        },
    }


def take(shot: Shot) -> Picture:
    """Render one photo's light and truth."""
    rng = np.random.default_rng(shot.seed)
    part = build_part(shot) if shot.fibre else None
    pose = choose_pose(rng, part, shot.size)
    up = pose.rotation[:, 2]
    axis = (float(up[0]), float(up[1]))
    depth = float(np.median(part.form.mean_r)) if part else 55.0
    widest = float(part.form.mean_r.max()) if part else 0.0
    light = str(rng.choice(LIGHTS))
    room = Room(
        widest,
        part.form.length / 2 if part else 140.0,
        axis,
        pose.distance + depth,
        _colours(part) if part else np.zeros((0, 3)),
    )
    scene: Item = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": 3},
        "sensor": _sensor(rng, pose, depth),
    }
    scene |= surroundings(rng, room, empty=part is None)
    scene |= lamps(rng, light, pose.distance)
    if shot.special == "glare":
        scene["glare"] = glare_lamp(rng, axis, pose.distance + depth)
    if part:
        rough = 0.11 if shot.special == "glare" else float(rng.uniform(0.1, 0.27))
        scene |= part_meshes(part, pose, rough, 0.15)
        scene |= fittings(rng, part, pose)
    loaded = mi.load_dict(scene)
    codes, on_part = _truth(loaded, pose.size)
    return Picture(_render(loaded, shot), codes, on_part, axis, _facts(shot, part, pose, light))


def _colours(part: Part) -> Array:
    """Colours (n, 3) that the laminate shows, in which no background may be."""
    shown = part.look.albedo + 0.5 * part.look.sheen[..., None] * np.array(part.fibre.sheen_colour)
    return np.asarray(np.percentile(shown.reshape(-1, 3)[::16], (15, 50, 85), axis=0))


def _render(scene: Any, shot: Shot) -> Array:
    passes = max(1, shot.spp // PASS_SPP)
    spp = min(shot.spp, PASS_SPP)
    seed = shot.seed % 100000
    images = [
        np.asarray(mi.render(scene, spp=spp, seed=mi.UInt32(seed + 7919 * n)))
        for n in range(passes)
    ]
    return np.asarray(np.mean(images, 0), np.float32)


def _truth(scene: Any, size: tuple[int, int]) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Label codes and on-part mask at half resolution, from rays through pixel centres."""
    cols, rows = size[0] // 2, size[1] // 2
    y, x = np.mgrid[0:rows, 0:cols].reshape(2, -1) + 0.5
    spot = mi.Point2f(mi.Float(x / cols), mi.Float(y / rows))
    rays, _ = scene.sensors()[0].sample_ray(0.0, 0.5, spot, mi.Point2f(0.5, 0.5))
    hit = scene.ray_intersect(rays)
    fill, excess, judged = np.asarray(hit.shape.eval_attribute_3("vertex_truth", hit))
    normal = np.asarray(hit.shape.eval_attribute_3("vertex_bare", hit))
    facing = -(normal * np.asarray(rays.d)).sum(0)
    codes = state_codes(Resin(fill, excess))
    codes[(judged < 0.9) | (facing < GRAZING)] = 0
    return codes.reshape(rows, cols), (judged > 0.1).reshape(rows, cols)


def _facts(shot: Shot, part: Part | None, pose: Pose, light: str) -> dict[str, Any]:
    facts: dict[str, Any] = {
        "photo": f"{shot.name}.jpg",
        "seed": shot.seed,
        "role": shot.role,
        "scenario": shot.scenario,
        "special": shot.special,
        "light": light,
    }
    if part:
        facts |= {
            "part": shot.part,
            "part_seed": shot.part_seed,
            "view": shot.view,
            "fibre": shot.fibre,
            "weave": part.braid.weave,
            "tow_width_mm": round(part.braid.tow_mm, 2),
            "braid_angle_deg": round(part.braid.angle_deg, 1),
            "px_per_mm": round(pose.px_per_mm, 3),
            "distal": pose.distal,
            "distance_mm": round(pose.distance),
        }
    return facts
