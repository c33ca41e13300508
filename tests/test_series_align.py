"""Two pictures of one drawn part, the camera moved by a known amount."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from grids import grid
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from records import inspection_of
from scenes import Braid, Shape, View, draw
from serial import measured, moved, placed, shown

from satcheck.model import Inspection, Label
from satcheck.series.align import Alignment, align

Rgb = NDArray[np.uint8]


@pytest.fixture(scope="module")
def picture() -> Rgb:
    """Return a tapered round part, 500 px wide and 840 px long, in a wide picture."""
    shape, view = Shape(250, 420, is_round=True, taper=0.25), View(noise=0.003)
    scene = draw(np.random.default_rng(1), Braid(), shape, view)
    wide = cv2.copyMakeBorder(scene.rgb, 60, 60, 80, 80, cv2.BORDER_REPLICATE)
    return np.asarray(cv2.resize(wide, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC), np.uint8)


@pytest.fixture(scope="module")
def earlier(picture: Rgb) -> Inspection:
    return measured(picture)


def to_later(found: Alignment, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return points (n, 2) of the earlier photo as pixels of the later."""
    linear, shift = found.to_earlier[:, :2], found.to_earlier[:, 2]
    return np.asarray(np.linalg.solve(linear, (points - shift).T).T, np.float64)


def error(earlier: Inspection, later: Inspection, matrix: NDArray[np.float64]) -> float:
    """Return the largest error on the part, in pitches of the later photo."""
    y, x = np.nonzero(earlier.labels)
    points = np.stack([x, y], 1)[::97].astype(np.float64) + 0.5
    true = points @ matrix[:, :2].T + matrix[:, 2]
    off = np.hypot(*(to_later(align(earlier, later), points) - true).T)
    assert earlier.cells is not None
    assert earlier.cells.pitch is not None
    return float(off.max() / earlier.cells.pitch)


@pytest.mark.parametrize(
    ("turn", "scale", "squeeze", "shift"),
    [
        (0, 1, 1, (13, -22)),
        (4, 1, 1, (0, 0)),
        (-6, 1.08, 1, (10, 5)),
        (3, 0.8, 1, (20, -30)),
        (2, 0.95, 0.94, (-10, 8)),
    ],
)
def test_a_moved_camera_is_undone_within_a_fifth_of_a_pitch(
    picture: Rgb,
    earlier: Inspection,
    turn: float,
    scale: float,
    squeeze: float,
    shift: tuple[float, float],
) -> None:
    matrix = placed(picture, turn, scale, squeeze, shift)
    later = measured(moved(picture, matrix))
    found = align(earlier, later)
    assert found.problem is None
    assert error(earlier, later, matrix) < 0.2
    assert_allclose(found.scale, 1 / (scale * np.sqrt(squeeze)), rtol=0.01)


def test_without_the_fit_a_moved_camera_would_be_off_by_a_pitch(
    picture: Rgb, earlier: Inspection
) -> None:
    """The control: the same photo taken for unmoved."""
    matrix = placed(picture, turn=4)
    assert error(earlier, earlier, matrix) > 1


def test_a_photo_covers_itself(earlier: Inspection) -> None:
    found = align(earlier, earlier)
    assert found.problem is None
    assert found.residual < 1e-6
    assert_allclose(found.to_earlier, np.eye(2, 3), atol=0.02)


def test_the_residual_is_the_outlines_spread_in_pixels_of_the_earlier_photo() -> None:
    """Wavy flanks on straight ones; a fifth of the outline are the ends, where nothing differs.

    The median of all is then |12 sin| at three eighths of its range, 1.4826 as of a normal spread.
    """
    cells = grid()
    y, x = np.indices((960, 700)) + 0.5
    inside = (y > 80) & (y < 880)
    straight, wavy = (
        inside & (np.abs(x - 350) < 100 + height * np.sin(2 * np.pi * y / 200))
        for height in (0.0, 12.0)
    )
    first, second = (
        inspection_of(size=(700, 960), labels=np.where(mask, 3, 0).astype(np.uint8), cells=cells)
        for mask in (straight, wavy)
    )
    expected = 1.4826 * 12 * np.sin(3 / 8 * np.pi / 2)
    assert align(first, second).residual == pytest.approx(expected, rel=0.1)


def test_a_bite_out_of_the_outline_hardly_moves_the_fit(earlier: Inspection) -> None:
    """A hand before the part: a robust loss lets the rest of the outline decide."""
    labels = earlier.labels.copy()
    y, x = np.nonzero(labels)
    labels[int(y.mean()) : int(y.mean()) + 80, : int(x.min()) + 60] = 0
    found = align(earlier, replace(earlier, labels=labels))
    assert found.problem is None
    assert_allclose(to_later(found, np.array([[500.0, 500.0]])), [[500, 500]], atol=2)


def test_a_band_of_tape_in_one_photo_does_not_shift_the_other(earlier: Inspection) -> None:
    """The band leaves two pieces, the larger of them two thirds of the part."""
    labels = earlier.labels.copy()
    rows = np.flatnonzero(labels.any(1))
    start = rows[0] + len(rows) // 4
    labels[start : start + len(rows) // 14] = 0
    found = align(earlier, replace(earlier, labels=labels))
    assert found.problem is None
    assert_allclose(to_later(found, np.array([[500.0, 500.0]])), [[500, 500]], atol=2)


def test_a_part_of_another_shape_is_not_compared() -> None:
    slim = shown(grid((45, 14), to_photo=np.array([[10.0, 0, 80], [0, 10.0, 50]])))
    notched = replace(slim, labels=slim.labels.copy())
    notched.labels[50:250, 80:150] = 0
    found = align(shown(grid()), notched)
    assert "cover each other by" in (found.problem or "")


def test_without_a_part_nothing_is_aligned(earlier: Inspection) -> None:
    assert align(earlier, inspection_of(cells=None)).problem
    assert align(earlier, replace(earlier, labels=np.zeros((0, 0), np.uint8))).problem


@pytest.mark.parametrize("wide", [1, 2])
@pytest.mark.parametrize("where", [np.s_[60:480, 200], np.s_[200, 90:400]])
def test_an_outline_that_is_a_line_is_not_compared(where: tuple[slice, int], wide: int) -> None:
    """One pixel of the reduced map; a line has no width to stretch the other outline to."""
    whole = shown(grid())
    labels = np.zeros_like(whole.labels)
    labels[where] = Label.GOOD
    labels = labels.repeat(wide, 0).repeat(wide, 1)
    thin = replace(whole, labels=labels)
    for first, second in ((whole, thin), (thin, whole), (thin, thin)):
        assert "the outline is a mere line" in (align(first, second).problem or "")


def test_a_slanting_line_is_not_compared() -> None:
    """Along the part's own axis, where rounding leaves a width of nearly nothing."""
    whole = shown(grid())
    slant = replace(grid(), to_photo=np.array([[7.0, -7.0, 300], [7.0, 7.0, 50]]))
    labels = np.zeros_like(whole.labels)
    labels[range(90, 390), range(390, 90, -1)] = Label.GOOD
    thin = replace(whole, labels=labels, cells=slant)
    assert "the outline is a mere line" in (align(whole, thin).problem or "")


def test_a_part_upside_down_in_the_later_photo_is_turned_back() -> None:
    """Both grids start at the proximal end, wherever it lies in the picture."""
    cells = grid()
    flipped = replace(cells, to_photo=np.array([[-10.0, 0, 460], [0, -10.0, 500]]))
    found = align(shown(cells), shown(flipped))
    assert_allclose(to_later(found, np.array([[100.0, 50.0]])), [[460, 500]], atol=1)


def test_a_part_that_runs_out_of_a_photo_is_not_compared(earlier: Inspection) -> None:
    """Where the picture ends there is no outline, and the part may have been moved along."""
    near = replace(earlier, cut=("up",))
    for first, second in ((earlier, near), (near, earlier)):
        assert "runs out" in (align(first, second).problem or "")


def tapered(scale: int) -> Inspection:
    """Return a photo of a tapered part, every length some times as large."""
    y, x = (np.indices((960 * scale, 700 * scale)) + 0.5) / scale
    mask = (y > 80) & (y < 880) & (np.abs(x - 350) < 100 + 60 * (y - 80) / 800)
    cells = grid(to_photo=np.array([[10.0, 0, 100], [0, 10.0, 50]]) * scale)
    size = (700 * scale, 960 * scale)
    return inspection_of(size=size, labels=np.where(mask, 3, 0).astype(np.uint8), cells=cells)


@pytest.mark.parametrize(("first", "second"), [(1, 2), (2, 1), (2, 2)])
def test_photos_of_other_sizes_are_laid_over_each_other(first: int, second: int) -> None:
    found = align(tapered(first), tapered(second))
    assert found.problem is None
    assert found.scale == pytest.approx(first / second, rel=0.01)
    ends = np.array([[350.0, 80.0], [350.0, 880.0], [250.0, 80.0]])
    assert_allclose(to_later(found, ends * first), ends * second, atol=1.5 * second)


def test_a_smaller_label_map_is_laid_over_its_own_photo() -> None:
    """The map may be half of the photo's size: the map between the photos stays the same."""
    whole = tapered(1)
    half = replace(whole, labels=whole.labels[::2, ::2])
    for first, second in ((whole, half), (half, whole)):
        ends = np.array([[350.0, 80.0], [350.0, 880.0]])
        assert_allclose(to_later(align(first, second), ends), ends, atol=2)
