"""Render the demo shop: photos, truth maps, scenes.json and parts.csv.

    python sample_images/render.py                     # the demo set, into this folder
    python sample_images/render.py --out DIR --set-seed 7 --count 24 --fibres carbon aramid

An invented workshop with invented parts. laminate.py states the physical model, form.py the
socket's form, shop.py the surroundings, scene.py puts them before the camera, phone.py turns
light into a JPEG. Everything follows from the seeds; photos already in scenes.json are kept.

Truth maps (NAME.truth.png): upright, half the photo's size, 8-bit grey: 0 outside the part, on
tape or cord, or flatter than 80 degrees to the view; 1 starved, 2 lean, 3 good, 4 heavy, 5 rich.
A part is accepted when under 1 % of what shows is starved and under 3 % rich, and a zone gets a
state in parts.csv when at least 80 % of it is in that state (our own rules).
"""

from __future__ import annotations

import argparse
import csv
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import drjit as dr
import numpy as np
from laminate import FIBRES, STATES
from numpy.typing import NDArray
from phone import Phone, develop, save
from PIL import Image
from scene import Picture, Shot, take

HERE = Path(__file__).parent
DEMO_SEED = 20
CALIBRATION = (
    "good",
    "good",
    "good",
    "starved",
    "rich",
    "gradient",
    "gradient",
    "patches",
    "pools",
)
CHECK = ("gradient", "mixed", "good", "patches")
VIEWS = {"anterior": 0.0, "lateral": 90.0, "posterior": 180.0, "medial": 270.0}
COLUMNS = ("photo", "part", "view", "fibre", "outcome", "zone", "state", "marks", "distal")
ZONES = ("distal", "middle", "proximal")
CLEAR = 0.8  # share of a zone that must be in one state to label it


def _shot(
    rng: np.random.Generator,
    number: int,
    name: str,
    fibre: str | None,
    scenario: str,
    role: str,
    special: str = "",
    size: tuple[int, int] = (1080, 1440),
) -> Shot:
    view = str(rng.choice(list(VIEWS)))
    seed, part_seed = (int(v) for v in rng.integers(1, 2**31, 2))
    facing = math.radians(VIEWS[view] + rng.normal(0, 12))
    return Shot(
        name,
        seed,
        part_seed,
        fibre,
        scenario,
        role,
        special,
        f"QM-{number}",
        view,
        facing,
        size,
        32 if special == "glare" else 64 if fibre == "glass" else 12,  # grain shows on pale glass
    )


def plan_fibre(rng: np.random.Generator, fibre: str, count: int, first: int) -> list[Shot]:
    """Calibration and check shots of one fibre, three or four to one; part numbers from first."""
    checks = count // 4
    scenarios = [(CALIBRATION[n % 9], "calibration") for n in range(count - checks)]
    scenarios += [(CHECK[n % 4], "check") for n in range(checks)]
    shots = [
        _shot(rng, first + n, f"{fibre}_{n + 1:02d}", fibre, scenario, role)
        for n, (scenario, role) in enumerate(scenarios)
    ]
    if count > 2:  # the third photo shows the second one's part from behind
        back = {
            "anterior": "posterior",
            "posterior": "anterior",
            "lateral": "medial",
            "medial": "lateral",
        }[shots[1].view]
        shots[2] = replace(
            shots[2],
            part_seed=shots[1].part_seed,
            part=shots[1].part,
            view=back,
            facing=shots[1].facing + math.pi,
        )
    return shots


def plan_demo() -> list[Shot]:
    """Twelve photos of each of three fibres, a blurred and a glary one, two of no part."""
    rng = np.random.default_rng(DEMO_SEED)
    shots = [
        shot
        for n, fibre in enumerate(("basalt", "glass", "carbon"))
        for shot in plan_fibre(rng, fibre, 12, 1100 + 100 * n)
    ]
    return [
        *shots,
        _shot(rng, 1401, "blurred", "basalt", "good", "check", "blur"),
        _shot(rng, 1402, "glary", "glass", "gradient", "check", "glare"),
        _shot(rng, 0, "bench_1", None, "none", "check"),
        _shot(rng, 0, "bench_2", None, "none", "check"),
    ]


def plan_random(seed: int, count: int, fibres: list[str]) -> list[Shot]:
    """Plan a set with the demo's proportions; two fibres at random when none is named."""
    rng = np.random.default_rng(seed)
    fibres = fibres or [str(f) for f in rng.choice(sorted(FIBRES), 2, replace=False)]
    shares = [count // len(fibres) + (n < count % len(fibres)) for n in range(len(fibres))]
    return [
        shot
        for n, (fibre, share) in enumerate(zip(fibres, shares, strict=True))
        for shot in plan_fibre(rng, fibre, share, 2000 + 100 * n)
    ]


def choose_phone(rng: np.random.Generator, special: str) -> Phone:
    """Draw the settings of one exposure; some files are stored turned, some dated."""
    day = rng.integers([2024, 1, 1, 8, 0, 0], [2026, 13, 29, 17, 60, 60])
    taken = "{:04d}:{:02d}:{:02d} {:02d}:{:02d}:{:02d}".format(*day)
    return Phone(
        blur_px=float(rng.uniform(0.5, 0.7)),
        defocus_px=5.0 if special == "blur" else 0.0,
        photons=float(rng.uniform(3000, 12000)),
        stops=float(rng.normal(0.8 if special == "glare" else 0, 0.2)),
        quality=int(rng.integers(84, 90)),
        orientation=int(rng.choice([1, 6, 8], p=[0.6, 0.25, 0.15])),
        taken=taken if rng.random() < 0.5 else "",
    )


def zone_shares(picture: Picture) -> dict[str, dict[str, float]]:
    """Share of each state in each third of what shows of the part, along its axis."""
    rows, cols = np.indices(picture.codes.shape)
    along = np.asarray(cols * picture.axis[0] - rows * picture.axis[1])
    low, high = along[picture.on_part].min(), along[picture.on_part].max()
    third = np.asarray(np.clip((along - low) / (high - low) * 3, 0, 2.999)).astype(int)
    return {
        zone: _shares(picture.codes[(third == n) & (picture.codes > 0)])
        for n, zone in enumerate(ZONES)
    }


def _shares(codes: NDArray[np.uint8]) -> dict[str, float]:
    counts = np.bincount(codes.ravel(), minlength=6)[1:] / max(codes.size, 1)
    return {state: round(float(c), 4) for state, c in zip(STATES, counts, strict=True)}


def make(shot: Shot, folder: Path) -> dict[str, Any]:
    """Render one shot into folder; returns its entry for scenes.json."""
    picture = take(shot)
    dr.flush_malloc_cache()
    rng = np.random.default_rng(shot.seed + 1)
    phone = choose_phone(rng, shot.special)
    Image.fromarray(picture.codes).save(folder / f"{shot.name}.truth.png", optimize=True)
    save(folder / f"{shot.name}.jpg", develop(rng, picture.light, phone), phone)
    entry = picture.facts | {"exif_orientation": phone.orientation}
    if shot.fibre:
        shown = _shares(picture.codes[picture.codes > 0])
        accepted = shown["starved"] < 0.01 and shown["rich"] < 0.03
        entry |= {
            "outcome": "accepted" if accepted else "rejected",
            "shares": shown,
            "zones": zone_shares(picture),
        }
    return entry


def parts_rows(scenes: list[dict[str, Any]]) -> list[dict[str, str]]:
    """Rows of parts.csv: the calibration photos, zone by zone where a zone is clear."""
    rows = []
    for scene in scenes:
        if scene["role"] != "calibration":
            continue
        base = {key: str(scene.get(key, "")) for key in COLUMNS}
        clear = [
            (zone, state)
            for zone in reversed(ZONES)
            for state, share in scene["zones"][zone].items()
            if share >= CLEAR
        ]
        rows += [base | {"zone": zone, "state": state} for zone, state in clear or [("", "")]]
    return [row | {"marks": ""} for row in rows]


def write_tables(folder: Path, scenes: list[dict[str, Any]]) -> None:
    """Write scenes.json, one photo a line, and parts.csv, both by the photos' names."""
    scenes = sorted(scenes, key=lambda scene: str(scene["photo"]))
    lines = ",\n".join(json.dumps(scene) for scene in scenes)
    (folder / "scenes.json").write_text(f"[\n{lines}\n]\n", encoding="utf-8")
    with (folder / "parts.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, COLUMNS)
        writer.writeheader()
        writer.writerows(parts_rows(scenes))


def main() -> None:
    """Read the command line; render what is missing."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write to")
    parser.add_argument("--set-seed", type=int, help="render a random set, not the demo")
    parser.add_argument("--count", type=int, default=24, help="photos in a random set")
    parser.add_argument("--fibres", nargs="*", default=[], choices=sorted(FIBRES))
    args = parser.parse_args()
    if args.set_seed is None:
        shots = plan_demo()
    else:
        shots = plan_random(args.set_seed, args.count, args.fibres)
    args.out.mkdir(parents=True, exist_ok=True)
    table = args.out / "scenes.json"
    scenes = json.loads(table.read_text(encoding="utf-8")) if table.exists() else []
    done = {scene["photo"] for scene in scenes}
    for shot in shots:
        if f"{shot.name}.jpg" not in done:
            scenes.append(make(shot, args.out))
            write_tables(args.out, scenes)
            print(scenes[-1]["photo"], flush=True)


if __name__ == "__main__":
    main()
