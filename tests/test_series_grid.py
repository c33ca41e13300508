"""Labels read back at the cells, and the surface unrolled: closed forms."""

from dataclasses import replace

import numpy as np
from grids import SHAPE, grid, labels_of, place
from numpy.testing import assert_allclose, assert_array_equal
from records import inspection_of
from serial import shown

from satcheck.model import Label
from satcheck.series.grid import cell_area, cell_labels, disjoint_zones, surface

PATCHES = {Label.STARVED: place(SHAPE, 20, 5, 10, 9), Label.RICH: place(SHAPE, 2, 20, 5, 7)}
TURN = np.radians(25)
TURNED = np.array(
    [[10 * np.cos(TURN), -10 * np.sin(TURN), 300], [10 * np.sin(TURN), 10 * np.cos(TURN), 60]]
)


def test_labels_come_back_cell_by_cell_from_the_label_map() -> None:
    cells = grid()
    assert_array_equal(cell_labels(shown(cells, PATCHES)), labels_of(cells, PATCHES))


def test_labels_come_back_from_a_turned_part_too() -> None:
    cells = grid(to_photo=TURNED)
    assert_array_equal(cell_labels(shown(cells, PATCHES)), labels_of(cells, PATCHES))


def test_a_smaller_label_map_gives_the_same_labels() -> None:
    """The map may be a quarter of the photo; samples every second pixel hold the same centres."""
    cells = grid()
    full = shown(cells, PATCHES)
    half = replace(full, labels=full.labels[::2, ::2])
    assert_array_equal(cell_labels(half), labels_of(cells, PATCHES))


def test_without_a_part_there_is_no_label() -> None:
    assert cell_labels(inspection_of(cells=None)).size == 0


def test_a_cell_lies_as_far_round_the_part_as_the_circle_says() -> None:
    """A part of radius 18 cells, seen from afar."""
    found = surface(grid())
    assert_allclose(found.round[0, 17:19], [-0.5, 0.5], atol=1e-3)
    assert_allclose(found.round[0, 27], 18 * np.arcsin(9.5 / 18))
    assert_allclose(found.round[0, 35], 18 * np.arcsin(17.5 / 18))
    assert_allclose(found.along[:, 4], np.arange(45) + 0.5)


def test_a_cell_is_a_quarter_of_a_square_pitch_or_what_the_scale_says() -> None:
    assert cell_area(grid()) == (0.25, "pitches²")
    assert cell_area(grid(pitch=None)) == (0.25, "pitches²")
    assert cell_area(grid(mm_per_px=0.2)) == (4.0, "mm²")


def test_each_cell_of_the_part_is_in_exactly_one_zone() -> None:
    cells = grid()
    count = np.sum(list(disjoint_zones(cells).values()), axis=0)
    assert_array_equal(count, cells.part.astype(int))


def test_the_surface_ends_where_it_turns_away() -> None:
    """Of a part 100 cells wide the outermost lies at 0.99 of the half width; 0.98 is the last."""
    wide = grid((9, 100))
    found = surface(wide)
    assert_allclose(found.round[0, 99], 50 * np.arcsin(0.98))
    assert_allclose(found.round[0, 0], -50 * np.arcsin(0.98))
    assert_allclose(found.round[0, 97], 50 * np.arcsin(0.95))


def test_brim_and_lock_take_their_cells_from_the_thirds() -> None:
    """3 rows of brim and 4 of lock, of 45 by 36 cells: the thirds keep 12, 15 and 11 rows."""
    counts = {name: int(mask.sum()) for name, mask in disjoint_zones(grid()).items()}
    assert (counts["brim"], counts["lock"]) == (3 * 36, 4 * 36)
    thirds = [counts[f"{third} centre"] for third in ("proximal", "middle", "distal")]
    assert thirds == [12 * 12, 15 * 12, 11 * 12]


def test_on_a_short_part_the_brim_takes_what_is_lock_too() -> None:
    made = grid()
    short = disjoint_zones(replace(made, lock=made.lock | made.brim))
    assert (int(short["brim"].sum()), int(short["lock"].sum())) == (3 * 36, 4 * 36)
