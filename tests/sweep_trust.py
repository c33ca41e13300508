"""Spoil rendered photos step by step, and plot how much is answered against how much is wrong.

usage: python tests/sweep_trust.py OUT [FOLDER] [--calibration FILE] [--only WORD ...]

FOLDER holds scenes.json, photos and NAME.truth.png as sample_images does (the default). Only
photos whose role is "check" are spoiled; none of them helped to calibrate. The outline comes from
the unspoiled photo, so that the table tells of trust alone. Writes OUT/sweep.csv and
OUT/sweep.png; shares are of pixels of the truth maps, as in tests/measure_truth.py. All of it
takes most of an hour; ``--only motion JPEG`` spoils by what has such a word in its name.
"""

import argparse
import csv
import json
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from matplotlib.figure import Figure
from measure_truth import compare
from numpy.typing import NDArray

from satcheck.calibration.file import Calibration, read_calibration
from satcheck.inspection import Settings, inspect
from satcheck.light import encode_srgb, linear_light
from satcheck.model import Side
from satcheck.photo.read import Photo, read_photo

F32 = NDArray[np.float32]
Pixels = NDArray[np.uint8]
HERE = Path(__file__).resolve().parent.parent

# A phone's sensor, developed photo in: photons at full scale and read noise, as the demo's phone.
PHOTONS, READ_NOISE = 6000.0, 0.0012
SPECIAL = ("blurred.jpg", "glary.jpg")  # spoiled by their renderer
QUALITY = 90  # JPEG quality of a spoiled photo where JPEG is not what spoils it


@dataclass(frozen=True, eq=False)
class Scene:
    """One photo to spoil: linear light, its truth map (any size), and the tow pitch in pixels."""

    photo: Photo
    linear: F32
    truth: Pixels
    pitch: float
    fibre: str
    distal: Side | None
    outline: NDArray[np.float64]


Spoil = Callable[[Scene, float, np.random.Generator], F32]


def gaussian(scene: Scene, strength: float, rng: np.random.Generator) -> F32:
    """Blur by a Gaussian, ``strength`` its standard deviation in pitches."""
    sigma = strength * scene.pitch
    return np.asarray(cv2.GaussianBlur(scene.linear, (0, 0), sigma)) if sigma else scene.linear


def disc(scene: Scene, strength: float, rng: np.random.Generator) -> F32:
    """Put the lens out of focus: a disc whose standard deviation is ``strength`` pitches.

    An even disc of radius r has the standard deviation r / 2 along any line.
    """
    return _filtered(scene.linear, _disc(2 * strength * scene.pitch))


def motion(scene: Scene, strength: float, rng: np.random.Generator) -> F32:
    """Shake along a line of any direction whose standard deviation is ``strength`` pitches."""
    length = strength * scene.pitch * np.sqrt(12)
    return _filtered(scene.linear, _track(length, float(rng.uniform(0, np.pi))))


def behind(scene: Scene, strength: float, rng: np.random.Generator) -> F32:
    """Focus on the background: the part alone is out of focus, its edge with it."""
    soft = _disc(2 * strength * scene.pitch)
    size = (scene.linear.shape[1], scene.linear.shape[0])
    part = cv2.resize((scene.truth > 0).astype(np.float32), size)[..., None]
    bench = _filled(scene.linear, part[..., 0] > 0.5)
    cover = _filtered(np.repeat(part, 3, 2), soft)
    return np.asarray(_filtered(scene.linear * part, soft) + bench * (1 - cover), np.float32)


def near_end(scene: Scene, strength: float, rng: np.random.Generator) -> F32:
    """Lose focus down the picture: sharp at its top, ``strength`` pitches at its foot."""
    down = np.linspace(0, 1, scene.linear.shape[0], dtype=np.float32)[:, None, None]
    steps = np.linspace(0, strength, 6)
    layers = [_filtered(scene.linear, _disc(2 * s * scene.pitch)) for s in steps]
    result = np.zeros_like(scene.linear)
    for k, layer in enumerate(layers):
        result += layer * np.maximum(0, 1 - np.abs(down * (len(steps) - 1) - k))
    return result


def exposure(scene: Scene, strength: float, rng: np.random.Generator) -> F32:
    """Expose by ``strength`` stops more."""
    return np.asarray(scene.linear * np.float32(2**strength), np.float32)


def veil(scene: Scene, strength: float, rng: np.random.Generator) -> F32:
    """Lay an even white sheen over the middle third: ``strength`` of the body's median light.

    Contrast there falls by 1 / (1 + strength).
    """
    height = scene.linear.shape[0]
    place = (np.arange(height, dtype=np.float32) / height - 0.5) / 0.15
    soft = np.exp(-(place**4))[:, None, None]
    return np.asarray(scene.linear + np.float32(strength) * _body(scene) * soft, np.float32)


def lamp(scene: Scene, strength: float, rng: np.random.Generator) -> F32:
    """Mirror a long lamp in the film, ``strength`` of white at its middle."""
    height, width = scene.linear.shape[:2]
    y, x = np.mgrid[:height, :width].astype(np.float32)
    truth = np.argwhere(scene.truth > 0).mean(0) * (height / scene.truth.shape[0])
    across = (x - truth[1] - 0.2 * (y - truth[0])) / (2.5 * scene.pitch)
    along = (y - truth[0]) / (0.18 * height)
    light = np.exp(-(across**2) / 2 - along**4 / 2)[..., None]
    return np.asarray(scene.linear + np.float32(strength) * light, np.float32)


def _filtered(linear: F32, kernel: F32) -> F32:
    return np.asarray(cv2.filter2D(linear, -1, kernel, borderType=cv2.BORDER_REPLICATE), np.float32)


def _disc(radius: float) -> F32:
    """Return an even disc of a radius in pixels, its rim shared out over the pixels it cuts."""
    side = int(np.ceil(radius)) + 1
    grid = (np.arange(8 * (2 * side + 1)) + 0.5) / 8 - side - 0.5
    fine = (np.hypot(grid[:, None], grid[None, :]) <= max(radius, 0.3)).astype(np.float32)
    kernel = np.asarray(cv2.resize(fine, (2 * side + 1,) * 2, interpolation=cv2.INTER_AREA))
    return np.asarray(kernel / kernel.sum(), np.float32)


def _track(length: float, angle: float) -> F32:
    """Return an even line of a length in pixels, one pixel wide."""
    side = int(np.ceil(length / 2)) + 1
    grid = (np.arange(8 * (2 * side + 1)) + 0.5) / 8 - side - 0.5
    along = np.cos(angle) * grid[None, :] + np.sin(angle) * grid[:, None]
    across = -np.sin(angle) * grid[None, :] + np.cos(angle) * grid[:, None]
    fine = ((np.abs(along) <= max(length, 0.3) / 2) & (np.abs(across) <= 0.5)).astype(np.float32)
    kernel = np.asarray(cv2.resize(fine, (2 * side + 1,) * 2, interpolation=cv2.INTER_AREA))
    return np.asarray(kernel / kernel.sum(), np.float32)


def _body(scene: Scene) -> float:
    """Return the part's median luminance."""
    size = (scene.linear.shape[1], scene.linear.shape[0])
    part = cv2.resize(scene.truth, size, interpolation=cv2.INTER_NEAREST) > 0
    return float(np.median(scene.linear[part].mean(1)))


def _filled(linear: F32, hole: NDArray[np.bool_]) -> F32:
    """Return the bench with the part taken out, each row filled from what lies beside it."""
    wide = cv2.dilate(hole.astype(np.uint8), np.ones((15, 15), np.uint8))
    small = cv2.resize(encode_srgb(linear), None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    gap = cv2.resize(wide, (small.shape[1], small.shape[0]), interpolation=cv2.INTER_NEAREST)
    bench = cv2.inpaint(small, gap, 3, cv2.INPAINT_TELEA)
    size = (linear.shape[1], linear.shape[0])
    large = linear_light(np.asarray(cv2.resize(bench, size), np.uint8))
    return np.where(wide[..., None] > 0, large, linear).astype(np.float32)


SPOILS: Mapping[str, tuple[Spoil, tuple[float, ...]]] = {
    "gaussian blur, pitches": (gaussian, (0, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5)),
    "disc blur, pitches": (disc, (0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5)),
    "motion, pitches": (motion, (0.05, 0.1, 0.15, 0.2, 0.3, 0.5)),
    "focus on the background, pitches": (behind, (0.1, 0.15, 0.2, 0.3)),
    "focus lost down the picture, pitches": (near_end, (0.1, 0.2, 0.4)),
    "exposure, stops": (exposure, (-4, -3, -2, -1, 1, 2, 3)),
    "veil over the body's light": (veil, (0.15, 0.3, 0.6, 1.0, 2.0)),
    "mirrored lamp": (lamp, (0.1, 0.3, 1.0, 3.0)),
}
AFTERWARDS: Mapping[str, tuple[float, ...]] = {
    "JPEG quality": (70, 50, 30, 15),
    "non-local means": (3, 5, 8, 12),
    "bilateral": (10, 20, 40, 60),
}


def develop(linear: F32, rng: np.random.Generator, kind: str = "", strength: float = 0) -> Pixels:
    """Return the 8-bit photo of linear light: noise, what the phone does, JPEG."""
    light = np.clip(linear, 0, 4)
    noise = rng.normal(size=light.shape) * np.sqrt(light / PHOTONS + READ_NOISE**2)
    picture = encode_srgb(np.clip(light + noise, 0, 1))
    if kind == "non-local means":
        picture = np.asarray(
            cv2.fastNlMeansDenoisingColored(picture, None, strength, strength, 5, 15), np.uint8
        )
    elif kind == "bilateral":
        picture = np.asarray(cv2.bilateralFilter(picture, 9, strength, 3.0), np.uint8)
    quality = int(strength) if kind == "JPEG quality" else QUALITY
    kept = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return np.asarray(np.asarray(cv2.imdecode(kept, cv2.IMREAD_COLOR))[..., ::-1], np.uint8)


def spoiled(scene: Scene, only: Sequence[str] = ()) -> Iterator[tuple[str, float, Photo]]:
    """Yield what spoils, how much, and the photo."""
    for number, (kind, (spoil, strengths)) in enumerate(SPOILS.items()):
        for strength in strengths if _is_wanted(kind, only) else ():
            rng = np.random.default_rng([number, round(100 * abs(strength))])
            pixels = develop(spoil(scene, strength, rng), rng)
            yield kind, strength, replace(scene.photo, rgb=np.ascontiguousarray(pixels))
    for kind, strengths in AFTERWARDS.items():
        for strength in strengths if _is_wanted(kind, only) else ():
            pixels = develop(scene.linear, np.random.default_rng(1), kind, strength)
            yield kind, strength, replace(scene.photo, rgb=np.ascontiguousarray(pixels))


def _is_wanted(kind: str, only: Sequence[str]) -> bool:
    return not only or any(word in kind for word in only)


def read_scenes(folder: Path) -> Iterator[Scene]:
    """Yield the sharp check photos of a folder."""
    for entry in json.loads((folder / "scenes.json").read_text()):
        if entry["role"] != "check" or not entry.get("fibre") or entry["photo"] in SPECIAL:
            continue
        photo = read_photo(folder / entry["photo"])
        name = folder / f"{Path(entry['photo']).stem}.truth.png"
        truth = np.asarray(cv2.imread(str(name), cv2.IMREAD_UNCHANGED), np.uint8)
        yield Scene(
            photo,
            linear_light(photo.rgb),
            truth,
            entry["tow_width_mm"] * entry["px_per_mm"],
            entry["fibre"],
            entry["distal"],
            outline_of(truth, photo),
        )


def outline_of(truth: Pixels, photo: Photo) -> NDArray[np.float64]:
    """Return the (n, 2) outline of the part in stored pixels, tape and cord inside."""
    part = (truth > 0).astype(np.uint8)
    whole = cv2.morphologyEx(part, cv2.MORPH_CLOSE, np.ones((41, 41), np.uint8))
    found, _ = cv2.findContours(whole, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    largest = max(found, key=cv2.contourArea)
    outline = cv2.approxPolyDP(largest, 1.0, closed=True)[:, 0].astype(np.float64)
    return np.asarray((outline + 0.5) * photo.width / truth.shape[1])


Row = tuple[str, float, Counter[str]]
COLUMNS = {
    "starved found %": ("starved found", "starved"),
    "UNSAFE %": ("starved called good or rich", "starved"),
    "falsely starved %": ("falsely starved", "not starved"),
    "not judged %": ("not judged", "scored"),
}


def sweep(scenes: Sequence[Scene], calibration: Calibration, only: Sequence[str]) -> list[Row]:
    """Return the counts of every kind and strength over all scenes."""
    totals: dict[tuple[str, float], Counter[str]] = {}
    for scene in scenes:
        settings = Settings(fibre=scene.fibre, distal=scene.distal, outline=scene.outline)
        for kind, strength, photo in spoiled(scene, only):
            labels = inspect(photo, calibration, settings).labels
            size = (scene.truth.shape[1], scene.truth.shape[0])
            small = cv2.resize(labels, size, interpolation=cv2.INTER_NEAREST)
            found = compare(scene.truth, np.asarray(small, np.uint8))
            totals[kind, strength] = totals.get((kind, strength), Counter()) + found
    return [(kind, strength, total) for (kind, strength), total in totals.items()]


def _share(total: Counter[str], column: str) -> float:
    what, of = COLUMNS[column]
    return 100 * total[what] / total[of] if total[of] else float("nan")


def write_table(path: Path, rows: Sequence[Row]) -> None:
    """Write one line a kind and strength, and print it."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["spoiled by", "strength", "answered %", *COLUMNS])
        for kind, strength, total in rows:
            shares = [_share(total, column) for column in COLUMNS]
            values = [f"{v:.1f}" for v in (100 - shares[-1], *shares)]
            writer.writerow([kind, f"{strength:g}", *values])
            named = zip(["answered %", *COLUMNS], values, strict=True)
            print(f"{kind} {strength:g}: " + ", ".join(f"{name} {v}" for name, v in named))


def draw_plot(path: Path, rows: Sequence[Row]) -> None:
    """Plot for every kind what is answered and what is unsafe, against strength."""
    kinds = list(dict.fromkeys(kind for kind, _, _ in rows))
    figure = Figure(figsize=(12, 3.2 * ((len(kinds) + 2) // 3)), layout="constrained")
    axes = figure.subplots((len(kinds) + 2) // 3, 3, squeeze=False, sharey=True).ravel()
    for axis, kind in zip(axes, kinds, strict=False):
        own = sorted((s, total) for k, s, total in rows if k == kind)
        strengths = [s for s, _ in own]
        answered = [100 - _share(total, "not judged %") for _, total in own]
        unsafe = [_share(total, "UNSAFE %") for _, total in own]
        axis.plot(strengths, answered, "o-", color="#1f5f8b", label="answered, % of the part")
        axis.plot(strengths, unsafe, "s--", color="#b3261e", label="UNSAFE, % of starved")
        axis.set(title=kind, ylim=(0, 100))
        axis.grid(alpha=0.3)
    for axis in axes[len(kinds) :]:
        axis.remove()
    axes[0].legend(fontsize="small")
    figure.savefig(path, dpi=110)


def main() -> None:
    """Sweep, and write the table and the plot."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("out", type=Path)
    parser.add_argument("folder", nargs="?", type=Path, default=HERE / "sample_images")
    parser.add_argument("--calibration", type=Path, default=HERE / "calibration" / "demo.toml")
    parser.add_argument("--only", nargs="*", default=())
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    scenes = list(read_scenes(arguments.folder))
    rows = sweep(scenes, read_calibration(arguments.calibration), arguments.only)
    write_table(arguments.out / "sweep.csv", rows)
    draw_plot(arguments.out / "sweep.png", rows)


if __name__ == "__main__":
    main()
