"""An outline mended by taps, on a rendered photo and a drawn bench whose parts are known."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from satcheck.errors import UsageError
from satcheck.outline.find import find_part
from satcheck.photo.read import Photo, read_photo
from satcheck.web import mending
from satcheck.web.mending import mended_outline

SAMPLES = Path(__file__).parent.parent / "sample_images"


@pytest.fixture(scope="module")
def photo() -> Photo:
    return read_photo(SAMPLES / "carbon_03.jpg")


def truth(photo: Photo) -> NDArray[np.bool_]:
    part = cv2.imread(str(SAMPLES / "carbon_03.truth.png"), cv2.IMREAD_GRAYSCALE)
    assert part is not None
    return np.asarray(cv2.resize(part, (photo.width, photo.height)) > 0)


def overlap(outline: NDArray[np.float64] | None, part: NDArray[np.bool_]) -> float:
    assert outline is not None
    drawn = np.zeros(part.shape, np.uint8)
    cv2.fillPoly(drawn, [np.round(outline).astype(np.int32)], 1)
    return float(((drawn > 0) & part).sum() / ((drawn > 0) | part).sum())


def amid(part: NDArray[np.bool_]) -> tuple[float, float]:
    y, x = np.nonzero(part)
    return float(x.mean()), float(y.mean())


@pytest.mark.parametrize("elsewhere", [False, True])
def test_one_tap_on_a_part_that_was_not_found_finds_it(
    elsewhere: bool, photo: Photo, monkeypatch: pytest.MonkeyPatch
) -> None:
    part, wrong = find_part(photo.rgb), None
    assert part is not None
    if elsewhere:  # a box beside the part was taken for it
        corner = np.zeros_like(part.silhouette)
        corner[:100, :60] = True
        wrong = replace(part, silhouette=corner)
    monkeypatch.setattr(mending, "find_part", lambda _: wrong)
    tap = amid(truth(photo))
    assert overlap(mended_outline(photo, [tap], []), truth(photo)) > 0.8
    monkeypatch.setattr(mending, "part_at", lambda *_: None)
    assert overlap(mended_outline(photo, [tap], []), truth(photo)) < 0.6  # the control


def test_a_tap_where_nothing_stands_out_takes_what_is_around_it() -> None:
    wall = np.random.default_rng(3).normal(128, 2, (640, 480, 3)).astype(np.uint8)
    bare = Photo("bare.png", "0" * 64, 480, 640, None, wall)
    assert mended_outline(bare, [], []) is None
    assert mended_outline(bare, [(240, 320), (480, 640)], []) is not None


@pytest.mark.parametrize("tap", [(481.0, 320.0), (240.0, 640.5), (99_999.0, 1.0), (-1.0, 5.0)])
@pytest.mark.parametrize("is_inside", [False, True])
def test_a_tap_beside_the_picture_is_refused_in_a_sentence(
    is_inside: bool, tap: tuple[float, float]
) -> None:
    wall = np.full((640, 480, 3), 128, np.uint8)
    bare = Photo("bare.png", "0" * 64, 480, 640, None, wall)
    with pytest.raises(UsageError, match=r"beside the picture: taps on its 480 x 640 pixels"):
        mended_outline(bare, *(([tap], []) if is_inside else ([], [tap])))
