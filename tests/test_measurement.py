"""From a photo to its cells: what a person may tell about it, and in whose pixels."""

import re
from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from cards import card_of, edges_of, gaussian
from grids import grid
from numpy.testing import assert_array_equal
from numpy.typing import NDArray
from PIL import Image
from scenes import Braid, Shape, View, draw

from satcheck import measurement
from satcheck.card.find import CardSighting
from satcheck.errors import UsageError
from satcheck.measurement import Hints, Measurement, measure_photo, spread
from satcheck.model import Label
from satcheck.photo.read import Photo, closer, decode_photo

SCENE = draw(np.random.default_rng(3), Braid(pitch=9.0, amplitude=0.15), Shape(190, 300), View(0.7))
ROWS, COLUMNS = np.nonzero(SCENE.mask)
X0, X1, Y0, Y1 = COLUMNS.min(), COLUMNS.max(), ROWS.min(), ROWS.max()
OUTLINE = np.array([[X0, Y0], [X1, Y0], [X1, Y1], [X0, Y1]], float)


def photo_of(rgb: NDArray[np.uint8], stored: int = 1) -> Photo:
    """Return a photo that was stored so many times as large as its pixels were read."""
    height, width = rgb.shape[:2]
    return Photo("a.png", "0" * 64, stored * width, stored * height, None, rgb)


def measured(stored: int = 1, **hints: object) -> Measurement:
    """Measure the scene within its true outline, told in stored pixels."""
    told = replace(Hints(distal="down", outline=stored * OUTLINE), **hints)  # type: ignore[arg-type]
    found = measure_photo(photo_of(SCENE.rgb, stored), told)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def plain() -> Measurement:
    return measured()


def test_a_drawn_part_is_measured_where_it_lies(plain: Measurement) -> None:
    assert (plain.silhouette != SCENE.mask).mean() < 0.01
    assert plain.cells.pitch == pytest.approx(9, rel=0.08)
    assert (plain.distal, plain.distal_guessed) == ("down", False)
    assert plain.cells.mm_per_px is None
    rows, columns = np.nonzero(plain.cells.part)
    x, y = plain.cells.to_photo @ np.stack([columns + 0.5, rows + 0.5, np.ones(len(rows))])
    assert SCENE.mask[y.astype(int), x.astype(int)].mean() > 0.99


def test_lengths_are_pixels_of_the_stored_photo(plain: Measurement) -> None:
    """The same pixels, read from a photo stored three times as large: nothing else changes."""
    large = measured(3)
    assert_array_equal(large.silhouette, plain.silhouette)
    assert_array_equal(large.cells.visibility, plain.cells.visibility)
    assert large.cells.to_photo == pytest.approx(3 * plain.cells.to_photo)
    assert large.cells.step == pytest.approx(3 * plain.cells.step)
    assert plain.cells.pitch is not None
    assert large.cells.pitch == pytest.approx(3 * plain.cells.pitch)


def in_a_large_photo(enlarged: int) -> tuple[Photo, NDArray[np.floating]]:
    """Return the scene in the corner of a 12 megapixel PNG, and its outline there."""
    part = np.repeat(np.repeat(SCENE.rgb, enlarged, 0), enlarged, 1)
    canvas = np.full((3024, 4032, 3), SCENE.rgb[0, 0], np.uint8)
    canvas[: part.shape[0], : part.shape[1]] = part
    stream = BytesIO()
    Image.fromarray(canvas).save(stream, "PNG", compress_level=1)
    return decode_photo(stream.getvalue(), "large.png"), enlarged * OUTLINE


@pytest.mark.parametrize(("enlarged", "height"), [(1, 3024), (4, 1512)])
def test_a_part_that_is_small_in_a_large_photo_is_looked_at_closely(
    enlarged: int, height: int
) -> None:
    """A photo of so many megapixels is halved as it is read: four pixels a pitch are too few."""
    photo, outline = in_a_large_photo(enlarged)
    assert photo.rgb.shape == (1512, 2016, 3)
    found = measure_photo(photo, Hints(distal="down", outline=outline))
    assert found is not None
    assert found.laminate.shape[0] == height
    assert found.cells.pitch == pytest.approx(9 * enlarged, rel=0.08)
    rows, columns = np.nonzero(found.cells.part)
    x, y = found.cells.to_photo @ np.stack([columns + 0.5, rows + 0.5, np.ones(len(rows))])
    assert SCENE.mask[(y / enlarged).astype(int), (x / enlarged).astype(int)].mean() > 0.99


def test_a_photo_read_whole_or_without_its_file_has_no_more_pixels() -> None:
    photo, _ = in_a_large_photo(1)
    near = closer(photo)
    assert near is not None
    assert (near.scale, near.sha256) == (1, photo.sha256)
    assert closer(near) is None
    assert closer(replace(photo, data=b"")) is None


def test_a_part_without_weave_has_the_pitch_that_was_told_or_none() -> None:
    """What a search makes of plain noise is no size to measure other photos by."""
    noise = np.random.default_rng(4).normal(110, 4, (*SCENE.mask.shape, 1))
    bare = photo_of(np.where(SCENE.mask[..., None], noise, SCENE.rgb).astype(np.uint8))
    for told in (None, 9.0):
        found = measure_photo(bare, Hints(distal="down", outline=OUTLINE, pitch=told))
        assert found is not None
        assert found.cells.pitch == (None if told is None else pytest.approx(told, rel=0.08))


@pytest.mark.parametrize("stored", [1, 3])
@pytest.mark.parametrize("pitch", [9.0, 13.0])
def test_a_told_pitch_is_of_the_stored_photo_and_is_kept_to(stored: int, pitch: float) -> None:
    """A wrong one too: who tells the pitch knows the sleeve."""
    found = measured(stored, pitch=stored * pitch).cells.pitch
    assert found == pytest.approx(stored * pitch, rel=0.08)


@pytest.mark.parametrize("stored", [1, 3])
@pytest.mark.parametrize("pitch", [1e-300, 3.9, 27.0, 5000.0, 1e307])
@pytest.mark.filterwarnings("error")
def test_a_told_pitch_that_no_part_of_this_width_has_is_refused(stored: int, pitch: float) -> None:
    """The least is what a search resolves, the largest fits twice into a window."""
    words = rf"a\.png: a pitch of .* pixels wide; {4 * stored} to {26 * stored} pixels"
    with pytest.raises(UsageError, match=words):
        measured(stored, pitch=stored * pitch)


@pytest.mark.parametrize(
    ("cards", "told", "expected"),
    [(1, None, 0.2), (1, 0.3, 0.3), (0, 0.3, 0.3), (0, None, None), (2, None, 0.2)],
)
def test_a_card_tells_the_scale_unless_a_person_does(
    monkeypatch: pytest.MonkeyPatch, cards: int, told: float | None, expected: float | None
) -> None:
    """2.5 px a millimetre as read, 5 as stored."""
    sighting = CardSighting((card_of(2.5),) * cards, None)
    monkeypatch.setattr(measurement, "find_cards", lambda *_: sighting)
    found = measured(2, mm_per_px=told)
    assert found.cells.mm_per_px == expected
    assert (found.card is None) == (cards == 0)


@pytest.mark.parametrize(
    ("sighting", "words"),
    [
        (CardSighting((card_of(50.0),), None), "makes the part .* 40 to 700 mm"),
        (CardSighting((card_of(0.9),), None), "makes a tow .* 1 to 8 mm"),
        (CardSighting((card_of(2.5),), "The card is bent."), "The card is bent."),
        (CardSighting((), "The card in the photo is of design 0."), "of design 0"),
    ],
)
def test_a_card_that_is_not_believed_is_named_and_changes_nothing(
    monkeypatch: pytest.MonkeyPatch, plain: Measurement, sighting: CardSighting, words: str
) -> None:
    """A scale of a fiftieth would make every starved patch too small to matter."""
    monkeypatch.setattr(measurement, "find_cards", lambda *_: sighting)
    found = measured()
    assert found.card is not None
    assert re.search(f"{words}.* The card was not used.", found.card.problem or "")
    assert found.cells.mm_per_px is None
    assert_array_equal(found.cells.reasons, plain.cells.reasons)
    assert_array_equal(found.cells.visibility, plain.cells.visibility)


@pytest.mark.parametrize("mm_per_px", [0.01, 3.0])
def test_an_implausible_scale_that_a_person_tells_is_refused(mm_per_px: float) -> None:
    with pytest.raises(UsageError, match=r"^a\.png: a scale of .* mm is allowed$"):
        measured(mm_per_px=mm_per_px)


def test_the_rulers_length_reaches_the_card(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[float] = []

    def find(_: object, printed_scale: float) -> CardSighting:
        told.append(printed_scale)
        return CardSighting((card_of(2.5),), None)

    monkeypatch.setattr(measurement, "find_cards", find)
    found = measured(card_ruler=97.0)
    assert told == [0.97]
    assert found.card is not None
    assert found.card.ruler == 97


def test_a_card_corrects_visibility_and_leaves_the_cues(
    monkeypatch: pytest.MonkeyPatch, plain: Measurement
) -> None:
    card = card_of(2.5, edges_of(gaussian(1.0)))
    monkeypatch.setattr(measurement, "find_cards", lambda *_: CardSighting((card,), None))
    cells = measured().cells
    known = np.isfinite(plain.cells.visibility)
    assert (cells.visibility[known] > 1.05 * plain.cells.visibility[known]).all()
    assert cells.shared_uncertainty > 0
    for name, cue in plain.cells.cues.items():
        assert_array_equal(cells.cues[name], cue)


def test_a_card_is_no_part(monkeypatch: pytest.MonkeyPatch) -> None:
    """The search is told where cards lie, and finds nothing where they cover the part."""
    masks: list[NDArray[np.bool_] | None] = []
    card = card_of(1.0)
    monkeypatch.setattr(measurement, "find_cards", lambda *_: CardSighting((card,), None))
    monkeypatch.setattr(measurement, "find_part", lambda _, exclude, **__: masks.append(exclude()))
    assert measure_photo(photo_of(SCENE.rgb), Hints()) is None
    assert masks[0] is not None
    assert_array_equal(masks[0], card.mask(SCENE.mask.shape))
    assert masks[0].any()


def test_an_outline_off_the_picture_is_refused() -> None:
    with pytest.raises(UsageError, match=r"off the picture.*\b\d+ x \d+"):
        measured(outline=OUTLINE + 5000)


@pytest.mark.parametrize("stored", [1, 2])
def test_where_no_part_is_seen_there_is_none_but_a_box_must_hold_one(stored: int) -> None:
    blank = photo_of(np.full((300, 400, 3), 120, np.uint8), stored)
    assert measure_photo(blank, Hints()) is None
    box = (50.0 * stored, 50.0 * stored, 200.0 * stored, 250.0 * stored)
    with pytest.raises(UsageError, match="holds no part") as refused:
        measure_photo(blank, Hints(box=box))
    assert str(box) in str(refused.value)  # as the user typed it
    assert str(refused.value).startswith(f"{blank.name}: ")  # of several photos which


@pytest.mark.parametrize("stored", [1, 2])
@pytest.mark.parametrize("turn", [0, 30, 180])
def test_labels_come_to_the_pixels_that_their_cells_cover(stored: int, turn: float) -> None:
    """Against each pixel centre's own cell, through the inverse of the stated map."""
    angle, size = np.radians(turn), 12.0 * stored
    axes = size * np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    middle = stored * np.array([100.0, 90.0])
    shape = (10, 8)
    corner = middle - axes @ [4, 5]
    cells = grid(shape, to_photo=np.column_stack([axes, corner]))
    labels = np.random.default_rng(0).integers(1, 6, shape, np.uint8)
    photo = photo_of(np.zeros((180, 200, 3), np.uint8), stored)
    everywhere = np.ones((180, 200), bool)
    drawn = spread(labels, cells, photo, everywhere, everywhere)
    y, x = stored * (np.mgrid[:180, :200].reshape(2, -1) + 0.5)
    column, row = np.linalg.solve(axes, np.stack([x, y]) - corner[:, None])
    inside = (row >= 0) & (row < 10) & (column >= 0) & (column < 8)
    at = row[inside].astype(int), column[inside].astype(int)
    expected = np.full(180 * 200, Label.NOT_JUDGED, np.uint8)
    expected[inside] = labels[at]
    assert (drawn.ravel() == expected).mean() > 0.995  # borders of cells may fall on a centre
    assert drawn.dtype == np.uint8


def test_a_label_map_ends_with_the_laminate() -> None:
    """Tape is no laminate; cells that say outside leave laminate not judged."""
    laminate = np.zeros((60, 60), bool)
    laminate[10:50, 10:50] = True
    laminate[28:32] = False  # a strip of tape
    silhouette = laminate | False
    silhouette[10:50, 10:50] = True
    cells = grid((6, 6), to_photo=np.array([[10.0, 0, 0], [0, 10.0, 0]]))
    labels = np.full((6, 6), Label.RICH, np.uint8)
    labels[4] = Label.OUTSIDE
    drawn = spread(labels, cells, photo_of(np.zeros((60, 60, 3), np.uint8)), laminate, silhouette)
    assert ((drawn > 0) == laminate).all()
    assert (drawn[40:50, 10:50] == Label.NOT_JUDGED).all()
    assert (drawn[10:28, 10:50] == Label.RICH).all()
