"""From labelled photos to a lesson: drawn parts, whose states are known place by place."""

from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import pytest
from drawn_shop import PARTS, DrawnShop
from lessons import rows_of, specimens_of
from numpy.typing import NDArray
from PIL import Image

from satcheck.errors import TableError, UsageError
from satcheck.lesson.build import build_lesson
from satcheck.lesson.crops import SIDE, best_spot, contrast, cut, exposed, spoiled
from satcheck.lesson.model import Lesson
from satcheck.lesson.picks import Pick, propose, read_picks, write_picks
from satcheck.lesson.specimens import Specimen, read_specimens
from satcheck.lesson.texts import LOOKS, TO_DO, TRICKS
from satcheck.light import linear_light, luminance
from satcheck.model import SCALE, STATES, Label


@pytest.fixture(scope="module")
def specimens(shop: DrawnShop) -> tuple[Specimen, ...]:
    return specimens_of(shop)


@pytest.fixture(scope="module")
def made(shop: DrawnShop, specimens: tuple[Specimen, ...]) -> Lesson:
    return build_lesson(specimens, propose(specimens), shop.calibration, "Drawn.")


def test_the_truth_of_a_specimen_is_what_was_painted(specimens: tuple[Specimen, ...]) -> None:
    for specimen, thirds in zip(specimens, PARTS, strict=True):
        rows = np.flatnonzero(specimen.cells.part.any(1))
        for k, state in enumerate(thirds):
            row = rows[0] + round((k + 0.5) / 3 * len(rows))
            here = specimen.truth[row][specimen.cells.part[row]]
            assert (here == STATES[state]).mean() > 0.95


def test_without_a_painted_map_the_shops_zones_are_the_truth(
    shop: DrawnShop, specimens: tuple[Specimen, ...], tmp_path: Path
) -> None:
    table = tmp_path / "parts.csv"
    lines = shop.table.read_text().splitlines()[:4]
    table.write_text("\n".join(lines) + "\n")
    (tmp_path / "0.png").write_bytes(shop.table.with_name("0.png").read_bytes())
    (alone,) = read_specimens(table, shop.calibration, lambda *_: None)
    np.testing.assert_array_equal(alone.truth, alone.shop)
    assert set(np.unique(alone.shop)) == {0, *(STATES[state] for state in PARTS[0])}


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda marks: np.ascontiguousarray(marks[:, : marks.shape[1] // 2]), "of this shape"),
        (lambda marks: marks * 50, "hold the code"),
        (lambda marks: cv2.merge([marks, marks, marks]), "an 8-bit grey PNG"),
    ],
)
@pytest.mark.parametrize("column", ["0.marks.png", ""])
def test_a_painted_map_that_calibrate_refuses_is_no_truth(
    shop: DrawnShop,
    tmp_path: Path,
    column: str,
    spoil: Callable[[NDArray[np.uint8]], NDArray[np.uint8]],
    says: str,
) -> None:
    """Learners were scored against the map of another picture, or against nothing."""
    photo = cv2.imread(str(shop.table.with_name("0.png")))
    assert photo is not None
    (tmp_path / "0.png").write_bytes(shop.table.with_name("0.png").read_bytes())
    marks = np.ones(photo.shape[:2], np.uint8)
    cv2.imwrite(str(tmp_path / (column or "0.truth.png")), spoil(marks))
    table = tmp_path / "parts.csv"
    fibre = next(iter(shop.calibration.fibres))
    table.write_text(f"photo,part,fibre,outcome,marks\n0.png,P,{fibre},rejected,{column}\n")
    with pytest.raises(TableError, match=f"line 2: .*{says}"):
        read_specimens(table, shop.calibration, lambda *_: None)


def test_photos_of_one_name_in_two_folders_stay_apart(shop: DrawnShop, tmp_path: Path) -> None:
    """Part 0 shows starved and rich, part 1 is good: taken for each other, a pick has no place."""
    rows = []
    for number, part in (("0", "a"), ("1", "b")):
        (tmp_path / part).mkdir()
        photo = shop.table.with_name(f"{number}.png")
        (tmp_path / part / "IMG.png").write_bytes(photo.read_bytes())
        lines = [line for line in shop.table.read_text().splitlines() if line.startswith(number)]
        rows += [line.replace(f"{number}.png", f"{part}/IMG.png") for line in lines]
    table = tmp_path / "parts.csv"
    table.write_text("\n".join([shop.table.read_text().splitlines()[0], *rows]) + "\n")
    found = read_specimens(table, shop.calibration, lambda *_: None)
    assert [specimen.name for specimen in found] == ["a/IMG.png", "b/IMG.png"]
    made = build_lesson(found, propose(found), shop.calibration, "Drawn.")
    assert {stop.photo for fibre in made.fibres for stop in fibre.stops} == {
        "a/IMG.png", "b/IMG.png",
    }  # fmt: skip


def test_a_table_without_a_fibre_of_the_calibration_is_refused(
    shop: DrawnShop, tmp_path: Path
) -> None:
    table = tmp_path / "parts.csv"
    (tmp_path / "0.png").write_bytes(shop.table.with_name("0.png").read_bytes())
    table.write_text("photo,part,fibre,outcome\n0.png,P-0,hemp,accepted\n")
    with pytest.raises(TableError, match="photos of basalt"):
        read_specimens(table, shop.calibration, lambda *_: None)


@pytest.mark.parametrize("state", ["starved", "good", "rich"])
def test_a_piece_shows_the_state_that_it_is_to_show(
    specimens: tuple[Specimen, ...], state: str
) -> None:
    spot = best_spot(specimens[0], STATES[state])
    assert spot is not None
    near = specimens[0].truth[spot.row - 4 : spot.row + 5, spot.column - 4 : spot.column + 5]
    assert (near == STATES[state]).mean() > 0.9


def test_a_state_that_a_part_does_not_show_has_no_piece(specimens: tuple[Specimen, ...]) -> None:
    assert best_spot(specimens[1], Label.RICH) is None
    assert best_spot(specimens[0], Label.LEAN) is None


@pytest.mark.parametrize("trick", TRICKS)
def test_every_trick_hides_contrast(specimens: tuple[Specimen, ...], trick: str) -> None:
    spot = best_spot(specimens[2], Label.STARVED)
    assert spot is not None
    clear = cut(specimens[2], spot.row, spot.column)
    assert clear.shape == (SIDE, SIDE, 3)
    assert contrast(spoiled(clear, trick)) < 0.85 * contrast(clear)


def test_a_trick_that_nobody_knows_is_refused() -> None:
    with pytest.raises(ValueError, match="blur, glare or distance"):
        spoiled(np.zeros((SIDE, SIDE, 3), np.uint8), "fog")


def test_pieces_are_brightened_alike_and_keep_their_order() -> None:
    dark, pale = (np.full((8, 8, 3), code, np.uint8) for code in (60, 90))
    means = [float(luminance(linear_light(piece)).mean()) for piece in exposed([dark, pale])]
    before = [float(luminance(linear_light(piece)).mean()) for piece in (dark, pale)]
    assert means[1] / means[0] == pytest.approx(before[1] / before[0], rel=0.05)
    assert np.mean(means) == pytest.approx(0.18, rel=0.1)


def test_the_slider_runs_from_dry_to_full_and_visibility_falls(made: Lesson) -> None:
    (fibre,) = made.fibres
    assert [stop.state for stop in fibre.stops] == [Label.STARVED, Label.GOOD, Label.RICH]
    seen = [stop.visibility for stop in fibre.stops]
    assert seen == sorted(seen, reverse=True)
    assert fibre.top > max(seen)


def test_each_starved_piece_is_spoiled_in_every_way(made: Lesson) -> None:
    assert [pair.trick for pair in made.pairs] == list(TRICKS)
    assert all(0 < pair.kept < 1 for pair in made.pairs)


def test_what_a_bad_photo_keeps_is_measured_in_its_picture(made: Lesson) -> None:
    """By the two pictures as sent: JPEG changes either a little."""
    for pair in made.pairs:
        spoiled, clear = (
            np.asarray(Image.open(BytesIO(picture)).convert("RGB"))
            for picture in (pair.spoiled, pair.clear)
        )
        assert pair.kept == pytest.approx(contrast(spoiled) / contrast(clear), rel=0.1)


def test_the_slider_shows_between_what_good_zones_lie(shop: DrawnShop, made: Lesson) -> None:
    (fibre,) = made.fibres
    quartiles = shop.calibration.bounds_for("basalt").visibility["good"]
    assert fibre.good == (min(quartiles), max(quartiles))
    starved, _, rich = (stop.visibility for stop in fibre.stops)
    assert rich < fibre.good[0] < fibre.good[1] < starved


def test_a_search_tells_truth_tool_and_table_apart(
    specimens: tuple[Specimen, ...], made: Lesson
) -> None:
    """The truth is as painted, third by third; its shares are of good, starved and rich."""
    by_name = {specimen.name: specimen for specimen in specimens}
    assert made.searches
    for search in made.searches:
        specimen, thirds = by_name[search.name], PARTS[int(search.name[0])]
        rows = np.array_split(search.truth[np.flatnonzero((search.truth > 0).any(1))], 3)
        for state, part in zip(thirds, rows, strict=True):
            known = part[np.isin(part, SCALE)]
            assert (known == STATES[state]).mean() > 0.8
        shares = [np.mean([state == word for state in thirds]) for word in ("good", "starved")]
        assert search.exercise.shares[:2] == pytest.approx(shares, abs=0.1)
        for grid, cells in ((search.tool, specimen.tool), (search.shop, specimen.shop)):
            for label in (Label.GOOD, Label.NOT_JUDGED):
                here = [float((each[each > 0] == label).mean()) for each in (grid, cells)]
                assert here[0] == pytest.approx(here[1], abs=0.05)


def test_the_reasons_say_which_end_has_too_much_and_which_too_little(made: Lesson) -> None:
    """Part 0 is starved at the proximal third and rich at the distal one."""
    first = next(decision for decision in made.decisions if decision.name == "0.png")
    much, little, *_ = first.reasons
    assert much.startswith("Too much resin: distal")
    assert "proximal" not in much
    assert little.startswith("Too little: proximal")
    assert "distal" not in little


def test_searches_hold_the_truth_on_a_grid_over_the_picture(made: Lesson) -> None:
    for search in made.searches:
        assert search.truth.shape == search.tool.shape == search.shop.shape
        assert search.truth.shape[0] / search.truth.shape[1] == pytest.approx(
            search.height / search.width, rel=0.05
        )
        assert sum(search.exercise.shares) == pytest.approx(1)
        picture = cv2.imdecode(np.frombuffer(search.picture, np.uint8), cv2.IMREAD_COLOR)
        assert picture is not None
        assert picture.shape[:2] == (search.height, search.width)


def test_the_answer_follows_from_the_drawn_states(made: Lesson) -> None:
    """Part 0: starved above, good, rich below; part 3 the other way round."""
    asked = {decision.name: decision for decision in made.decisions}
    first, third = asked["0.png"], asked["3.png"]
    assert " proximally to the " in first.options[first.answer]
    assert " distally to the " in third.options[third.answer]
    assert all(len(set(decision.options)) == 4 for decision in made.decisions)
    assert any("common practice" in reason for reason in first.reasons)


def test_an_even_part_is_to_be_left_alone(made: Lesson) -> None:
    even = next(decision for decision in made.decisions if decision.name == "1.png")
    assert even.options[even.answer].startswith("Stop")


def test_the_same_photos_give_the_same_lesson(
    shop: DrawnShop, specimens: tuple[Specimen, ...], made: Lesson
) -> None:
    again = build_lesson(specimens, propose(specimens), shop.calibration, "Drawn.")
    assert again.fibres == made.fibres
    assert again.decisions == made.decisions


def test_proposals_name_why_and_a_second_choice(specimens: tuple[Specimen, ...]) -> None:
    rows = rows_of(write_picks(propose(specimens)))
    find = [row["why"] for row in rows if row["part_of_lesson"] == "find"]
    assert find == ["clearest", "borderline", "misjudged"]
    assert {row["use"] for row in rows if row["part_of_lesson"] == "see"} == {"yes", "no"}


def test_the_trainers_table_comes_back_as_it_was_written(
    specimens: tuple[Specimen, ...], tmp_path: Path
) -> None:
    noted = tuple(replace(p, note='soft, "pale" <b>') for p in propose(specimens))
    path = tmp_path / "picks.csv"
    path.write_text(write_picks(noted))
    assert read_picks(path) == noted


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("maybe,see,0.png,basalt,good", "line 2: use 'maybe' .* yes, no"),
        ("yes,sing,0.png,basalt,good", "line 2: part_of_lesson 'sing'"),
        ("yes,see,0.png,basalt,", "line 2: state is blank"),
        ("yes,see,,basalt,good", "line 2: photo is blank"),
    ],
)
def test_a_bad_row_of_the_trainers_table_is_named(tmp_path: Path, row: str, words: str) -> None:
    path = tmp_path / "picks.csv"
    path.write_text(f"use,part_of_lesson,photo,fibre,state\n{row}\n")
    with pytest.raises(TableError, match=words):
        read_picks(path)


@pytest.mark.parametrize(
    ("pick", "words"),
    [
        (Pick("find", "none.png", "basalt", None, ""), "no basalt photo of the table"),
        (Pick("see", "1.png", "basalt", Label.RICH, ""), "shows no rich place"),
        (Pick("find", "1.png", "basalt", None, "", use=False), "no example is picked"),
    ],
)
def test_a_pick_that_cannot_be_shown_is_named(
    shop: DrawnShop, specimens: tuple[Specimen, ...], pick: Pick, words: str
) -> None:
    with pytest.raises(UsageError, match=words):
        build_lesson(specimens, [pick], shop.calibration, "Drawn.")


def test_a_decision_on_a_part_that_is_hardly_labelled_is_refused(
    shop: DrawnShop, specimens: tuple[Specimen, ...]
) -> None:
    """Its right answer was that too little of the part was judged to plan."""
    cells = specimens[0].cells
    truth = np.where(cells.part, np.where(cells.lock, Label.RICH, Label.NOT_JUDGED), Label.OUTSIDE)
    barely = replace(specimens[0], truth=truth.astype(np.uint8))
    pick = Pick("decide", "0.png", "basalt", None, "")
    with pytest.raises(UsageError, match=r"pick 0\.png: .* too little .*; 25 % of it and more is"):
        build_lesson([barely], [pick], shop.calibration, "Drawn.")


def test_notes_reach_the_learner(shop: DrawnShop, specimens: tuple[Specimen, ...]) -> None:
    picks = [replace(p, note="Look at the gap.") for p in propose(specimens)]
    made = build_lesson(specimens, picks, shop.calibration, "Drawn.")
    notes = [s.note for f in made.fibres for s in f.stops] + [s.note for s in made.searches]
    assert set(notes) == {"Look at the gap."}


def test_all_states_have_words() -> None:
    assert set(LOOKS) == set(TO_DO) == set(SCALE)
