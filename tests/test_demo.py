"""The demo shop: every photo has its truth, every label agrees with it, and it fits a download."""

import importlib.util
import json
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import ExifTags, Image

from satcheck.calibration.parts_table import LabelledPhoto, read_parts
from satcheck.cli.demo import demo_scenes
from satcheck.model import SCALE, SIDES, STATES, THIRDS, Label
from satcheck.zones import NUMBER, split_zones

FOLDER = Path(__file__).parents[1] / "sample_images"
PHOTOS = sorted(FOLDER.glob("*.jpg"))
SCENES: dict[str, dict[str, Any]] = {
    scene["photo"]: scene
    for scene in json.loads((FOLDER / "scenes.json").read_text(encoding="utf-8"))
}
MEGABYTE = 1_000_000

each_photo = pytest.mark.parametrize("photo", PHOTOS, ids=lambda photo: photo.stem)


def truth_of(photo: Path) -> NDArray[np.uint8]:
    with Image.open(photo.with_suffix(".truth.png")) as image:
        assert image.mode == "L"
        return np.asarray(image)


def labelled() -> tuple[LabelledPhoto, ...]:
    return read_parts(FOLDER / "parts.csv")


def test_there_are_enough_photos_of_enough_fibres() -> None:
    fibres = {scene["fibre"] for scene in SCENES.values() if scene.get("fibre")}
    assert len(PHOTOS) >= 30
    assert len(fibres) >= 3
    assert "carbon" in fibres


def test_the_folder_fits_a_download() -> None:
    """Caches that tools leave behind are kept in no repository."""
    files = (file for file in FOLDER.rglob("*") if file.is_file())
    sizes = [
        file.stat().st_size
        for file in files
        if not any(name.startswith((".", "__")) for name in file.relative_to(FOLDER).parts)
    ]
    assert sum(sizes) < 25 * MEGABYTE
    assert max(sizes) < MEGABYTE


def test_every_photo_is_listed_and_every_listed_photo_is_there() -> None:
    assert set(SCENES) == {photo.name for photo in PHOTOS}
    truths = {file.name.replace(".truth.png", ".jpg") for file in FOLDER.glob("*.truth.png")}
    assert truths == set(SCENES)


@each_photo
def test_the_truth_is_upright_half_the_size_and_in_the_label_codes(photo: Path) -> None:
    with Image.open(photo) as image:
        turned = image.getexif().get(ExifTags.Base.Orientation, 1) >= 5
        width, height = image.size[::-1] if turned else image.size
    truth = truth_of(photo)
    assert truth.shape == (height // 2, width // 2)
    assert set(np.unique(truth)) <= {Label.OUTSIDE, *SCALE}


@each_photo
def test_the_table_of_scenes_says_what_the_truth_shows(photo: Path) -> None:
    """Shares of each state, counted again; a bench without a part has no truth."""
    truth, scene = truth_of(photo), SCENES[photo.name]
    if scene["scenario"] == "none":
        assert not truth.any()
        return
    assert (truth > 0).mean() > 0.03
    for word, share in scene["shares"].items():
        assert (truth[truth > 0] == STATES[word]).mean() == pytest.approx(share, abs=0.02)
    assert scene["distal"] in SIDES


@each_photo
def test_no_photo_says_where_it_was_taken(photo: Path) -> None:
    with Image.open(photo) as image:
        assert image.format == "JPEG"
        assert not image.getexif().get_ifd(ExifTags.IFD.GPSInfo)


def test_the_labelled_parts_are_readable_and_cover_every_fibre() -> None:
    """Each fibre has what a calibration needs: a starved zone, a good one and a rich one."""
    photos = labelled()
    assert {photo.path.name for photo in photos} == {
        name for name, scene in SCENES.items() if scene["role"] == "calibration"
    }
    for fibre in {photo.fibre for photo in photos}:
        states = [s for photo in photos if photo.fibre == fibre for s in photo.zones.values()]
        assert {Label.STARVED, Label.GOOD, Label.RICH} <= set(states), fibre


@pytest.mark.parametrize("photo", labelled(), ids=lambda photo: str(photo.path.stem))
def test_a_labelled_zone_is_mostly_in_its_state(photo: LabelledPhoto) -> None:
    scene = SCENES[photo.path.name]
    assert (photo.part, photo.fibre, photo.distal) == (
        scene["part"], scene["fibre"], scene["distal"],
    )  # fmt: skip
    assert photo.is_accepted == (scene["outcome"] == "accepted")
    truth = truth_of(photo.path)
    number = split_zones(truth > 0, photo.distal).codes & NUMBER
    for zone, state in photo.zones.items():
        assert scene["zones"][zone][state.word] >= 0.8
        here = truth[
            (number + 2) // 3 == 1 + THIRDS.index(zone)
        ]  # counted again, along the part's own axis
        assert (here == state).mean() > 0.7
    starved = scene["shares"]["starved"]
    assert starved == 0 or not photo.is_accepted


def test_no_part_is_both_labelled_and_checked() -> None:
    """Else the demo would show a tool judging what it has been told."""
    parts: dict[str, set[str]] = {"calibration": set(), "check": set()}
    for scene in SCENES.values():
        parts[scene["role"]] |= {scene["part"]} if scene.get("part") else set()
    assert not parts["calibration"] & parts["check"]


def test_the_demo_command_has_photos_of_every_kind_to_show() -> None:
    """Every fibre, a starved part, and photos that must not be judged as if they were good."""
    shown = demo_scenes(FOLDER)
    fibres = {photo.fibre for photo in labelled()}
    assert {scene.get("fibre") for scene in shown} >= fibres
    assert {scene["special"] for scene in shown} >= {"blur", "glare"}
    assert any(scene["scenario"] == "none" for scene in shown)
    for fibre in fibres:
        own = [scene["shares"]["starved"] for scene in shown if scene.get("fibre") == fibre]
        assert max(own) > 0.05, fibre


def laminate() -> ModuleType:
    """Return the model that the photos are rendered by; it needs no renderer."""
    spec = importlib.util.spec_from_file_location("laminate", FOLDER / "laminate.py")
    assert spec is not None
    assert spec.loader is not None
    model = importlib.util.module_from_spec(spec)
    sys.modules["laminate"] = model  # its records look themselves up there
    spec.loader.exec_module(model)
    return model


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("scenario", ["gradient", "patches", "pools", "mixed"])
def test_no_place_is_starved_under_a_pool(scenario: str, seed: int) -> None:
    """Else the truth would say starved where every photo must show rich."""
    model = laminate()
    along, around = np.mgrid[0:240, 0 : 2 * np.pi : 0.02]
    xyz = np.stack([60 * np.cos(around), 60 * np.sin(around), along], 2).astype(np.float32)
    resin = model.pour(np.random.default_rng(seed), scenario, xyz, along / 240)
    codes = model.state_codes(resin)
    heavy = resin.excess >= 0.3
    assert heavy.any()
    assert set(np.unique(codes[heavy])) <= {Label.HEAVY, Label.RICH}
    assert (scenario == "pools") == (not (codes == Label.STARVED).any())
