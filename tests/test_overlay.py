"""The overlay reads in grey and at phone size; the label map keeps its codes."""

from dataclasses import replace
from functools import cache
from io import BytesIO
from itertools import combinations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from records import cells_of, inspection_of

from satcheck.files import OVERLAY_MARK
from satcheck.model import SCALE, Label, Side
from satcheck.overlay import borders
from satcheck.overlay.badges import place_badges
from satcheck.overlay.borders import find_rims, zone_borders
from satcheck.overlay.draw import LONG_SIDE, draw_marks, draw_overlay, label_map_png, overlay_jpeg
from satcheck.overlay.look import COLOURS, LETTERS
from satcheck.overlay.strips import legend, note_lines, verdict_lines
from satcheck.report import DEMO_SHORT

S, L, G, H, R = SCALE
PHONE = 360
Rgb = NDArray[np.uint8]


@cache
def grey_on_a_phone(label: Label, brightness: int) -> NDArray[np.float64]:
    """Return the middle of the overlay of one patch, in grey and 360 pixels wide."""
    size = (720, 540)
    labels = np.full(size[::-1], label, np.uint8)
    photo = np.full((*size[::-1], 3), brightness, np.uint8)
    drawn = draw_overlay(photo, inspection_of(size=size, labels=labels, cells=None))
    scale = PHONE / drawn.shape[1]
    small = cv2.resize(drawn, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    grey = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY).astype(float)
    middle = grey.shape[0] // 2
    return grey[middle - 96 : middle + 96, 8:120]  # beside the badge


def spectrum(picture: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the size of each frequency, without the mean: where the pattern lies is no matter."""
    size = np.abs(np.fft.rfft2(picture - picture.mean()))
    return size / max(float(np.linalg.norm(size)), 1e-9)


@pytest.mark.parametrize("brightness", [12, 120, 235])
def test_patterns_stand_out_in_grey_on_a_phone(brightness: int) -> None:
    """On black, middling and white laminate; good stays as it is."""
    spread = {label: float(grey_on_a_phone(label, brightness).std()) for label in SCALE}
    assert spread[G] < 1
    assert min(spread[S], spread[R]) > 20  # grey levels
    assert min(spread[L], spread[H]) > 8
    assert spread[S] > spread[L], "stronger where it is urgent"
    assert spread[R] > 1.2 * spread[H]


@pytest.mark.parametrize("brightness", [12, 120, 235])
def test_patterns_differ_in_grey_on_a_phone(brightness: int) -> None:
    found = {label: spectrum(grey_on_a_phone(label, brightness)) for label in (S, L, H, R)}
    for one, other in combinations(found, 2):
        assert float((found[one] * found[other]).sum()) < 0.8, (one, other)
    again = spectrum(np.roll(grey_on_a_phone(S, brightness), 3, axis=1))
    assert float((found[S] * again).sum()) > 0.9  # what tells them apart is not the place


@pytest.mark.parametrize("size", [(300, 900), (900, 300), (1200, 1600), (4000, 3000), (333, 301)])
def test_an_overlay_is_at_most_1600_pixels_and_keeps_the_aspect(size: tuple[int, int]) -> None:
    photo = np.full((size[1], size[0], 3), 128, np.uint8)
    labels = np.zeros(size[::-1], np.uint8)
    drawn = draw_overlay(photo, inspection_of(size=size, labels=labels, cells=None))
    assert max(drawn.shape) <= LONG_SIDE
    height = int((np.abs(drawn.astype(int) - 83).max(axis=(1, 2)) < 3).sum())  # 0.65 * 128
    assert height / drawn.shape[1] == pytest.approx(size[1] / size[0], abs=3 / drawn.shape[1])


def test_a_long_verdict_and_no_advice_are_drawn_too() -> None:
    photo = np.full((800, 600, 3), 128, np.uint8)
    odd = {"proximal left": S, "middle right": S, "distal centre": S, "lock": R, "brim": R}
    for inspection in (inspection_of(S, odd, advice=("word " * 80,)), inspection_of(advice=())):
        assert draw_overlay(photo, inspection).shape[1] <= LONG_SIDE


def test_the_notes_say_that_the_part_runs_out_of_the_picture() -> None:
    def notes(*cut: Side) -> str:
        return " ".join(line.text for line in note_lines(inspection_of(cut=cut)))

    assert "runs out of the picture at the left" in notes("left")
    assert "runs out" not in notes()


def test_the_jpeg_says_what_it_is() -> None:
    data = overlay_jpeg(np.full((400, 300, 3), 90, np.uint8), inspection_of(size=(300, 400)))
    assert OVERLAY_MARK in data[:4096]
    assert Image.open(BytesIO(data)).format == "JPEG"


def test_the_label_map_is_8_bit_grey_with_the_codes() -> None:
    inspection = inspection_of(size=(600, 800))
    picture = Image.open(BytesIO(label_map_png(inspection)))
    assert (picture.mode, picture.size) == ("L", (600, 800))
    assert np.array_equal(np.asarray(picture), inspection.labels)


def test_the_label_map_is_at_least_a_quarter_of_the_photo() -> None:
    labels = np.tile(np.array([[0, 3], [9, 1]], np.uint8), (10, 10))
    inspection = inspection_of(size=(403, 403), labels=labels)
    picture = Image.open(BytesIO(label_map_png(inspection)))
    assert picture.size == (101, 101)
    assert set(np.unique(np.asarray(picture))) == {0, 1, 3, 9}


def disc(labels: Rgb, x: int, y: int, radius: int, label: Label) -> None:
    cv2.circle(labels, (x, y), radius, int(label), -1)


def test_a_badge_stands_in_its_patch_or_beside_a_small_urgent_one() -> None:
    labels = np.zeros((600, 600), np.uint8)
    labels[100:500, 200:400] = G
    disc(labels, 300, 400, 40, R)
    disc(labels, 380, 200, 8, S)
    disc(labels, 220, 300, 8, L)
    found = {badge.label: badge for badge in place_badges(labels, 20)}
    assert set(found) == {S, R, G}  # a small lean patch has its pattern only
    assert (found[R].x, found[R].y) == pytest.approx((300, 400), abs=3)
    assert found[S].tip == pytest.approx((380, 200), abs=3)
    assert found[S].x > 400


def test_badges_stay_in_the_picture_and_hide_none_of_each_other() -> None:
    rng = np.random.default_rng(3)
    labels = np.zeros((400, 500), np.uint8)
    for label in (G, H, L, Label.NOT_JUDGED, R, S) * 6:
        x, y, radius = (int(v) for v in rng.integers((0, 0, 3), (500, 400, 50)))
        disc(labels, x, y, radius, label)
    badges = place_badges(labels, 15)
    assert len(badges) > 6
    assert all(0 <= badge.x <= 500 and 0 <= badge.y <= 400 for badge in badges)
    for one, other in combinations(badges, 2):
        assert np.hypot(one.x - other.x, one.y - other.y) > 30


def test_zone_borders_lie_between_the_thirds_and_the_sides() -> None:
    zone = np.zeros((8, 8), np.uint8)  # two cells a third and a side, within a rim of one cell
    zone[1:7, 1:7] = np.kron(np.arange(1, 10).reshape(3, 3), np.ones((2, 2), int))
    thirds, sides = zone_borders(zone)
    assert [set(line[:, 1]) for line in thirds] == [{3.0}, {5.0}]
    assert [set(line[:, 0]) for line in sides] == [{3.0}, {5.0}]
    assert thirds[0][:, 0].tolist() == sides[1][:, 1].tolist() == [1.5, 2.5, 3.5, 4.5, 5.5, 6.5]


def test_zones_are_drawn_where_the_cells_lie() -> None:
    """The ends are named: a wrong guess of the distal end is seen at once."""
    photo = np.full((800, 600, 3), 128, np.uint8)
    with_cells, without = inspection_of(), inspection_of(cells=None)
    changed = (draw_overlay(photo, with_cells) != draw_overlay(photo, without)).any(axis=2)
    rows, columns = np.nonzero(changed)
    top = draw_overlay(photo, without).shape[0] - 800
    assert 0 <= columns.min() < columns.max() < 600
    assert 0 < rows.min() < top + 100  # the word beyond the proximal end
    empty = replace(cells_of(12, 12, 20.0), zone=np.zeros((12, 12), np.uint8))
    assert draw_overlay(photo, inspection_of(cells=empty)).shape[1] == 600


def test_each_label_has_the_first_letter_of_its_word() -> None:
    letters = {label: label.word[0].upper() for label in SCALE}
    assert letters | {Label.NOT_JUDGED: "?"} == LETTERS


def marked(label: Label, colour: tuple[int, int, int] = (120, 120, 120)) -> Rgb:
    """Return a patch of one label, 1200 pixels wide, so that a letter's radius is 40."""
    labels = np.full((600, 1200), label, np.uint8)
    photo = np.full((600, 1200, 3), colour, np.uint8)
    return draw_marks(photo, inspection_of(size=(1200, 600), labels=labels, cells=None))


def test_too_little_is_warm_and_too_much_is_cool() -> None:
    for label, sign in ((S, 1), (L, 1), (H, -1), (R, -1)):
        red, _, blue = marked(label)[:, :200].reshape(-1, 3).mean(axis=0)
        assert sign * (red - blue) > 5, label
    assert len(set(COLOURS.values())) == len(COLOURS)


def test_what_was_not_judged_loses_its_colour_and_good_keeps_it() -> None:
    red = (180, 40, 40)
    assert (marked(G, red)[:, :200] == red).all()
    hidden = marked(Label.NOT_JUDGED, red)[:, :200]
    assert np.ptp(hidden.reshape(-1, 3), axis=1).max() <= 1


@pytest.mark.parametrize(("label", "is_black"), [(S, True), (R, True), (L, False), (G, False)])
def test_a_badge_is_a_disc_in_the_middle_black_where_it_is_urgent(
    label: Label, is_black: bool
) -> None:
    """Within the disc's radius of 34 and beyond the letter's reach of about 20."""
    drawn = cv2.cvtColor(marked(label), cv2.COLOR_RGB2GRAY)
    y, x = np.mgrid[:600, :1200]
    best = []
    for middle in range(250, 951, 4):
        away = np.hypot(x - middle, y - 300)
        best.append(float(drawn[(away > 26) & (away < 31)].mean()))
    assert (min(best) < 40) if is_black else (max(best) > 235)


def test_a_patch_with_a_hole_has_a_rim_around_the_hole_and_urgent_rims_come_last() -> None:
    labels = np.full((100, 100), G, np.uint8)
    disc(labels, 50, 50, 40, S)
    disc(labels, 50, 50, 15, G)
    found = find_rims(labels)
    assert len(found[S]) == 2
    assert list(found)[-2:] == [S, R]


def test_of_the_good_patches_only_the_largest_is_named_and_starved_goes_before_it() -> None:
    labels = np.zeros((300, 600), np.uint8)
    disc(labels, 120, 150, 60, G)
    disc(labels, 400, 150, 90, G)
    (badge,) = place_badges(labels, 20)
    assert badge.x == pytest.approx(400, abs=3)
    disc(labels, 400, 150, 40, S)  # the middle of the good patch is now starved
    starved = next(badge for badge in place_badges(labels, 20) if badge.label is S)
    assert (starved.x, starved.y) == pytest.approx((400, 150), abs=3)


def test_a_speck_is_not_pointed_at() -> None:
    labels = np.zeros((300, 300), np.uint8)
    labels[150, 150] = S
    assert place_badges(labels, 40) == ()


@pytest.mark.parametrize("is_upside_down", [False, True])
def test_the_ends_and_sides_are_named_where_they_lie(
    monkeypatch: pytest.MonkeyPatch, is_upside_down: bool
) -> None:
    """A part 240 by 240 pixels in the photo's middle, drawn at half its size."""
    placed: dict[str, tuple[float, float]] = {}

    def note(_pen: object, word: str, place: tuple[float, float], *_rest: object) -> None:
        placed[word] = place

    monkeypatch.setattr(borders, "_draw_word", note)
    cells = cells_of(14, 14, 20.0)
    turn = -1 if is_upside_down else 1
    start = 340 if is_upside_down else 60
    to_photo = np.array([[20.0 * turn, 0, start], [0, 20.0 * turn, start]])
    labels = np.full((400, 400), G, np.uint8)
    inspection = inspection_of(
        size=(400, 400), labels=labels, cells=replace(cells, to_photo=to_photo)
    )
    draw_marks(np.full((200, 200, 3), 90, np.uint8), inspection)
    middle = 100
    assert turn * (placed["proximal"][1] - middle) < -60
    assert turn * (placed["distal"][1] - middle) > 60
    assert turn * (placed["left"][0] - middle) < -60
    assert turn * (placed["right"][0] - middle) > 60
    for word, axis in (("proximal", 0), ("distal", 0), ("left", 1), ("right", 1)):
        assert placed[word][axis] == pytest.approx(middle, abs=1)


def test_where_nothing_was_judged_the_remedy_stands_beside_the_reason() -> None:
    two = ("The photo is too soft.", "Hold still.")
    unjudged = inspection_of(Label.NOT_JUDGED, advice=two)
    assert "Hold still." in " ".join(line.text for line in verdict_lines(unjudged))
    judged = " ".join(line.text for line in verdict_lines(inspection_of(advice=two)))
    assert "The photo is too soft." in judged
    assert "Hold still." not in judged


def test_a_text_that_is_cut_ends_in_dots() -> None:
    lines = [line.text for line in verdict_lines(inspection_of(advice=("word " * 80,)))]
    assert lines[-1].endswith(" ...")
    assert not any("..." in line for line in lines[:-1])


@pytest.mark.parametrize("is_demo", [True, False])
def test_the_notes_say_that_a_calibration_is_the_demo_s(is_demo: bool) -> None:
    plain = inspection_of()
    facts = replace(plain.calibration, is_demo=is_demo)
    said = " ".join(line.text for line in note_lines(replace(plain, calibration=facts)))
    assert (DEMO_SHORT in said) == is_demo


def test_the_legend_shows_each_pattern_in_its_colour() -> None:
    """Three a row: starved, lean and good above heavy, rich and not judged."""
    drawn = legend((), 900).astype(float)
    pieces = [drawn[y : y + 40, x : x + 40] for y in (20, 86) for x in (80, 362, 644)]
    tone = [piece.reshape(-1, 3).mean(axis=0) for piece in pieces]
    warmth = [float(colour[0] - colour[2]) for colour in tone]
    assert warmth[0] > 10
    assert warmth[1] > 5
    assert warmth[3] < -5
    assert warmth[4] < -10
    assert max(abs(warmth[2]), abs(warmth[5])) < 3
