"""The weave's size carried to a photo that cannot tell its own: drawn parts, known scale."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from grids import grid
from numpy.typing import NDArray
from records import inspection_of
from scenes import Braid, Shape, View, draw
from serial import measured, moved, placed, shown

from satcheck.flags import Reason
from satcheck.measurement import Hints
from satcheck.model import Inspection
from satcheck.series.align import Alignment
from satcheck.series.reference import carry, carry_aligned, clarity, clearest

PITCH = 9.0
SCALE = 0.9


def drawn(left: float, amplitude: float = 0.15) -> NDArray[np.uint8]:
    """Draw a part with a share of its weave left, in a wide picture."""
    scene = draw(
        np.random.default_rng(3),
        Braid(pitch=PITCH, amplitude=amplitude),
        Shape(250, 420, is_round=True, taper=0.25),
        View(noise=0.003),
        lambda _, along: left + 0 * along,
    )
    wide = cv2.copyMakeBorder(scene.rgb, 40, 40, 60, 60, cv2.BORDER_REPLICATE)
    return np.asarray(wide, np.uint8)


@pytest.fixture(scope="module")
def clear() -> Inspection:
    return measured(drawn(1.0))


@pytest.fixture(scope="module")
def smooth() -> NDArray[np.uint8]:
    """Return the same part with its weave all but gone, from farther away."""
    rgb = drawn(0.02)
    return moved(rgb, placed(rgb, 2, SCALE, 1, (6, -9)))


def test_a_smooth_photo_gets_the_pitch_of_the_clear_one(
    clear: Inspection, smooth: NDArray[np.uint8]
) -> None:
    """Against the drawn scale, whatever the smooth photo believed by itself."""
    assert clear.cells is not None
    assert clear.cells.pitch is not None
    seen = measured(smooth)
    assert seen.cells is not None
    found = carry([clear], replace(seen, cells=replace(seen.cells, pitch=None)))
    assert found.pitch == pytest.approx(clear.cells.pitch * SCALE, rel=0.015)
    assert "carried from" in found.sentence


def test_the_carried_pitch_is_what_the_later_photo_is_then_measured_by(
    clear: Inspection, smooth: NDArray[np.uint8]
) -> None:
    found = measured(smooth, hints=Hints(distal="down", pitch=PITCH * SCALE))
    assert found.cells is not None
    assert found.cells.pitch == pytest.approx(PITCH * SCALE, rel=0.05)


def test_the_clearest_photo_is_the_one_with_most_weave(
    clear: Inspection, smooth: NDArray[np.uint8]
) -> None:
    faded = measured(drawn(0.3))
    assert clearest([faded, clear, measured(smooth)]) is clear
    assert clarity(clear) > clarity(faded) > clarity(measured(smooth))


def test_a_found_pitch_far_from_the_carried_one_is_overruled() -> None:
    """Half the pitch is a known slip; it would make starved look good."""
    best = shown(grid())
    assert best.cells is not None
    doubt = (best.cells.uncertainty * 3).astype(np.float32)
    noisy = replace(best.cells, pitch=10.0, uncertainty=doubt)
    found = carry_aligned(best, replace(best, cells=noisy), Alignment(np.eye(2, 3), 0.0))
    assert found.pitch == 20.0
    assert "10.0 px, where 20.0 px are expected" in found.sentence


def test_a_clearer_photo_keeps_its_own_pitch() -> None:
    best = shown(grid())
    assert best.cells is not None
    doubt = (best.cells.uncertainty / 3).astype(np.float32)
    sharper = replace(best.cells, pitch=10.0, uncertainty=doubt)
    found = carry_aligned(best, replace(best, cells=sharper), Alignment(np.eye(2, 3), 0.0))
    assert found.pitch is None


def test_nothing_is_carried_from_a_series_that_shows_no_weave(clear: Inspection) -> None:
    assert carry([], clear).pitch is None
    assert carry([inspection_of(cells=None)], clear).pitch is None
    dim = shown(grid(uncertainty=np.full((45, 36), 0.1).astype(np.float32)))
    assert carry([dim], clear).sentence.startswith("No earlier photo shows")
    lost = shown(grid(reasons=np.full((45, 36), Reason.NO_WEAVE, np.uint32)))
    assert carry([lost], clear).sentence.startswith("No earlier photo shows")
    assert carry([shown(grid())], clear).sentence != carry([lost], clear).sentence


def test_nothing_is_carried_between_views_that_do_not_match() -> None:
    refused = Alignment(np.eye(2, 3), 0.0, "Another view.")
    found = carry_aligned(shown(grid()), shown(grid()), refused)
    assert (found.pitch, found.sentence) == (None, "Another view.")


def pitched(own: float | None, doubt: float) -> Inspection:
    """Return a photo with a pitch of its own, and a visibility of 0.1 with some doubt."""
    return shown(grid(pitch=own, uncertainty=np.full((45, 36), doubt).astype(np.float32)))


@pytest.mark.parametrize(
    ("own", "carried"), [(17.3, 20.0), (17.5, None), (22.9, None), (23.1, 20.0), (None, 20.0)]
)
def test_a_pitch_is_overruled_from_15_percent_on_either_way(
    own: float | None, carried: float | None
) -> None:
    """20 / 1.15 = 17.39 px and 20 x 1.15 = 23 px."""
    found = carry_aligned(pitched(20.0, 0.02), pitched(own, 0.03), Alignment(np.eye(2, 3), 0.0))
    assert found.pitch == carried


def test_of_two_equally_clear_photos_each_keeps_its_own_pitch() -> None:
    found = carry_aligned(pitched(20.0, 0.02), pitched(10.0, 0.02), Alignment(np.eye(2, 3), 0.0))
    assert found.pitch is None


@pytest.mark.parametrize(("doubt", "is_clear"), [(0.034, False), (0.033, True)])
def test_three_standard_uncertainties_are_clear(doubt: float, is_clear: bool) -> None:
    assert (clearest([pitched(20.0, doubt)]) is not None) is is_clear
    assert clarity(pitched(20.0, doubt)) == pytest.approx(0.1 / doubt, rel=1e-5)


def test_the_pitch_goes_with_the_scale() -> None:
    """The later photo is from half as far: a pitch of 20 px is 40 there."""
    nearer = Alignment(np.array([[0.5, 0, 0], [0, 0.5, 0]]), 0.0)
    found = carry_aligned(pitched(20.0, 0.02), pitched(None, 0.1), nearer)
    assert found.pitch == pytest.approx(40.0)


def test_cells_off_the_part_tell_nothing_of_its_clarity() -> None:
    made = grid(uncertainty=np.where(np.arange(36) < 20, 0.001, 0.05).astype(np.float32)
                * np.ones((45, 1), np.float32))  # fmt: skip
    off = np.broadcast_to(np.arange(36) < 20, (45, 36))
    part = replace(made, zone=np.where(off, 0, made.zone).astype(np.uint8))
    assert clarity(shown(part)) == pytest.approx(2.0, rel=1e-5)
