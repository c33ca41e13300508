"""The one composition: what comes out for a part, for no part, and again from a record."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cards import card_of
from drawn_shop import DrawnShop, draw_part, write_photo
from numpy.testing import assert_array_equal
from numpy.typing import NDArray

from satcheck import __version__
from satcheck.card.find import CardSighting
from satcheck.errors import UsageError
from satcheck.flags import EXPLANATIONS, Reason
from satcheck.inspection import Settings, inspect
from satcheck.judgement.labelling import label_cells
from satcheck.judgement.verdict import judge
from satcheck.light import encode_srgb
from satcheck.model import ZONES, Inspection, Label
from satcheck.photo.read import Photo, read_photo
from satcheck.record import inspection_from_json, inspection_to_json

BASALT = Settings("basalt", distal="down")
OUTLINE = np.array([[60, 40], [270, 40], [240, 445], [95, 445]], float)
THIRDS = ("starved", "good", "rich")


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Photo:
    """Return a photo of a part whose thirds are starved, good and rich."""
    file = tmp_path_factory.mktemp("photo") / "part.png"
    return read_photo(write_photo(file, draw_part(THIRDS, seed=60), seed=60))


@pytest.fixture(scope="module")
def found(shop: DrawnShop, photo: Photo) -> Inspection:
    return inspect(photo, shop.calibration, BASALT)


def photo_of(rgb: NDArray[np.uint8]) -> Photo:
    height, width = rgb.shape[:2]
    return Photo("blank.png", "0" * 64, width, height, None, rgb)


def as_text(inspection: Inspection) -> str:
    return json.dumps(inspection_to_json(inspection), allow_nan=False)


def test_the_facts_are_those_of_the_photo_and_the_calibration(
    shop: DrawnShop, photo: Photo, found: Inspection
) -> None:
    assert (found.photo.name, found.photo.sha256) == ("part.png", photo.sha256)
    assert (found.photo.width, found.photo.height) == (photo.width, photo.height)
    assert found.calibration == shop.calibration.facts("basalt")
    assert (found.distal, found.distal_guessed, found.version) == ("down", False, __version__)
    assert [zone.name for zone in found.zones] == list(ZONES)


def test_the_label_map_is_the_drawn_part_in_the_drawn_states(found: Inspection) -> None:
    """Against the drawn truth, pixel by pixel, away from the borders between the thirds."""
    scene = draw_part(THIRDS, seed=60)
    assert found.labels.shape == scene.mask.shape
    assert ((found.labels > 0) == scene.mask).mean() > 0.98
    for left, label in ((1.0, Label.STARVED), (0.35, Label.GOOD), (0.05, Label.RICH)):
        truth = (np.abs(scene.fade - left) < 0.01) & scene.mask
        inside = truth & np.roll(truth, 20, 0) & np.roll(truth, -20, 0)
        here = found.labels[inside & (found.labels != Label.NOT_JUDGED)]
        assert (here == label).mean() > 0.85
    starved = (scene.fade > 0.99) & scene.mask
    assert (found.labels[starved] == Label.GOOD).mean() < 0.05  # the worst that can be said


def test_the_same_input_gives_the_same_inspection(
    shop: DrawnShop, photo: Photo, found: Inspection
) -> None:
    assert as_text(inspect(photo, shop.calibration, BASALT)) == as_text(found)


def test_a_record_comes_back_whole(found: Inspection) -> None:
    back = inspection_from_json(json.loads(as_text(found)))
    assert as_text(back) == as_text(found)
    assert (back.zones, back.flagged, back.evenness) == (found.zones, found.flagged, found.evenness)
    assert_array_equal(back.labels, found.labels)


def test_a_record_is_judged_again_without_its_photo(shop: DrawnShop, found: Inspection) -> None:
    """The same bounds, the same verdict: cells as they were stored are all that it needs."""
    cells = inspection_from_json(json.loads(as_text(found))).cells
    assert cells is not None
    again = judge(cells, *label_cells(cells, shop.calibration.bounds_for("basalt")))
    assert (again.verdict, again.zones, again.flagged) == (
        found.verdict, found.zones, found.flagged,
    )  # fmt: skip
    assert again.share_judged == found.share_judged


@pytest.mark.parametrize("noise", [0.0, 0.05])
def test_no_part_is_a_value_with_a_reason(shop: DrawnShop, noise: float) -> None:
    rng = np.random.default_rng(0)
    rgb = encode_srgb(np.clip(0.3 + rng.normal(0, noise, (300, 400, 3)), 0, 1))
    found = inspect(photo_of(rgb), shop.calibration, Settings("basalt"))
    assert found.verdict is Label.NOT_JUDGED
    assert found.reasons == {EXPLANATIONS[Reason.NO_PART].word: 1.0}
    assert (found.zones, found.flagged, found.evenness, found.cells) == ((), (), None, None)
    assert found.share_judged == 0
    assert found.advice
    assert found.labels.shape == (300, 400)
    assert not found.labels.any()
    assert as_text(inspection_from_json(json.loads(as_text(found)))) == as_text(found)


@pytest.mark.parametrize(("code", "reason"), [(253, Reason.CLIPPED), (6, Reason.DARK), (120, None)])
def test_of_a_white_or_black_photo_the_exposure_is_said(
    shop: DrawnShop, code: int, reason: Reason | None
) -> None:
    rgb = np.full((300, 400, 3), code, np.uint8)
    rgb[:, :100] = 120
    found = inspect(photo_of(rgb), shop.calibration, Settings("basalt"))
    assert found.advice[0] == EXPLANATIONS[Reason.NO_PART].sentence
    assert found.advice[1] == EXPLANATIONS[reason or Reason.NO_PART].remedy
    known = {} if reason is None else {EXPLANATIONS[reason].word: pytest.approx(0.75, abs=0.02)}
    assert found.reasons == {EXPLANATIONS[Reason.NO_PART].word: 1.0, **known}


def test_an_unknown_fibre_is_refused_before_anything_is_measured(
    shop: DrawnShop, photo: Photo, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("satcheck.inspection.measure_photo", None)
    with pytest.raises(UsageError, match="'hemp' is not in the calibration; it holds basalt"):
        inspect(photo, shop.calibration, Settings("hemp"))


def test_a_box_that_holds_no_part_is_wrong_usage(shop: DrawnShop) -> None:
    """The user said that a part is there, so it is an error and not a value."""
    blank = photo_of(np.full((300, 400, 3), 120, np.uint8))
    with pytest.raises(UsageError, match="box"):
        inspect(blank, shop.calibration, Settings("basalt", box=(50, 50, 200, 250)))


def test_a_hopeless_photo_of_a_part_is_not_called_good(shop: DrawnShop, tmp_path: Path) -> None:
    """The trap: a starved part in a photo so dark that its weave is lost."""
    scene = draw_part(("starved",) * 3, seed=61, exposure=0.004)
    file = write_photo(tmp_path / "dark.png", scene, seed=61)
    settings = Settings("basalt", "down", outline=OUTLINE)
    found = inspect(read_photo(file), shop.calibration, settings)
    assert found.verdict in (Label.NOT_JUDGED, Label.STARVED)


@pytest.mark.parametrize(
    ("other", "same", "words"),
    [
        ({"part": "4711"}, {"part": "L-204/7"}, "says part L-204/7, typed was 4711: the typed one"),
        ({"mm_per_px": 0.3}, {"mm_per_px": 0.42}, "0.4 mm per pixel, typed was 0.3: the typed one"),
    ],
)
def test_what_is_typed_is_held_against_the_card(
    shop: DrawnShop,
    photo: Photo,
    monkeypatch: pytest.MonkeyPatch,
    other: dict[str, Any],
    same: dict[str, Any],
    words: str,
) -> None:
    sighting = CardSighting((card_of(2.5),), None)
    monkeypatch.setattr("satcheck.measurement.find_cards", lambda *_: sighting)
    told = replace(BASALT, outline=OUTLINE)
    (said,) = inspect(photo, shop.calibration, replace(told, **other)).warnings
    assert words in said
    assert inspect(photo, shop.calibration, replace(told, **same)).warnings == ()


def test_a_ruler_that_was_measured_of_a_card_that_is_not_seen_is_said(
    shop: DrawnShop, photo: Photo, found: Inspection
) -> None:
    told = replace(BASALT, card_ruler=97.0)
    (said,) = inspect(photo, shop.calibration, told).warnings
    assert said == "No card was found in the photo: the 97 mm typed for its ruler were not used."
    assert found.warnings == ()


def test_a_given_pitch_and_scale_are_used(shop: DrawnShop, photo: Photo) -> None:
    """Sizes then are millimetres, and the lattice stays where it was told to be."""
    found = inspect(photo, shop.calibration, Settings("basalt", "down", pitch=9.0, mm_per_px=0.4))
    assert found.cells is not None
    assert found.cells.pitch == pytest.approx(9, rel=0.08)
    assert found.cells.mm_per_px == 0.4
    assert {patch.unit for patch in found.flagged} == {"mm"}
    largest = max(patch.size for patch in found.flagged)
    assert 0.4 * 140 < largest < 0.4 * 300  # a third of the part, 140 by 250 pixels, and less
