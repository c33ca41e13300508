"""From a table of labelled parts to bounds that judge parts nobody labelled."""

import hashlib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest
from drawn_shop import CREATED, PARTS, DrawnShop, draw_part, write_photo
from grids import SHAPE, grid
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from satcheck.calibration.file import Calibration
from satcheck.calibration.fitting import LEAN_RANGE, RICH_RANGE, STARVED_RANGE, _bounds, _light
from satcheck.calibration.label_findings import cut_findings
from satcheck.calibration.labelled import study_table
from satcheck.calibration.measured import Evidence, measured_photo
from satcheck.calibration.parts_table import LabelledPhoto, read_parts
from satcheck.errors import TableError
from satcheck.flags import Reason
from satcheck.inspection import Settings, inspect
from satcheck.judgement.labelling import unspoiled
from satcheck.judgement.saturation import Saturation
from satcheck.measurement import Measurement
from satcheck.model import SCALE, STATES, Cells, Inspection, Label
from satcheck.photo.read import read_photo
from satcheck.weave.measure import CUES

STARVED, GOOD, RICH = range(3)


def test_a_calibration_says_what_it_rests_on(shop: DrawnShop) -> None:
    made, facts = shop.calibration, shop.calibration.facts("basalt")
    files = [shop.table.with_name(f"{k}.png") for k in range(len(PARTS))]
    digests = [hashlib.sha256(file.read_bytes()).hexdigest() for file in files]
    assert sorted(made.photos) == sorted(digests)
    assert (made.created, facts.parts, facts.is_demo) == (CREATED, len(PARTS), False)
    bounds = list(facts.bounds.values())
    assert bounds == sorted(bounds)


def test_the_visibility_of_the_classes_falls_with_the_weave_that_is_left(shop: DrawnShop) -> None:
    """Drawn contrasts of 15 %, 5 % and 1 %: the middle halves do not meet."""
    shown = shop.calibration.bounds_for("basalt").visibility
    for more, less in pairwise(("starved", "good", "rich")):
        assert shown[more][0] > shown[less][2]
    assert shown["starved"][1] / shown["good"][1] == pytest.approx(1 / 0.35, rel=0.1)


def test_progress_is_told_photo_by_photo(shop: DrawnShop) -> None:
    count = len(PARTS)
    names = [f"{k}.png" for k in range(count)]
    assert shop.progress == (
        *((k, count, name) for k, name in enumerate(names)),
        (count, count, ""),
    )


def judged(shop: DrawnShop, tmp_path: Path, thirds: tuple[str, str, str], seed: int) -> Inspection:
    photo = write_photo(tmp_path / "new.png", draw_part(thirds, seed, 1.05), seed)
    return inspect(read_photo(photo), shop.calibration, Settings("basalt", distal="down"))


@pytest.mark.parametrize(
    "thirds",
    [("good", "starved", "rich"), ("good", "good", "good"), ("starved", "starved", "starved")],
    ids=["of each", "all good", "all starved"],
)
def test_a_new_part_is_judged_as_it_was_drawn(
    shop: DrawnShop, tmp_path: Path, thirds: tuple[str, str, str]
) -> None:
    """A uniform part has nothing to be compared with but what the shop has seen."""
    found = judged(shop, tmp_path, thirds, seed=50)
    centres = [zone.verdict.word for zone in found.zones[1:9:3]]
    assert centres == list(thirds)
    assert found.share_judged > 0.8
    assert found.verdict.word == ("starved" if "starved" in thirds else "good")


def one_row(tmp_path: Path, row: str, image: NDArray[np.uint8] | None = None) -> Path:
    """Write a table of one row, after a photo a.png of 480 x 520 pixels."""
    grey = np.full((520, 480, 3), 90, np.uint8)
    cv2.imwrite(str(tmp_path / "a.png"), grey if image is None else image)
    table = tmp_path / "parts.csv"
    table.write_text(f"photo,part,fibre,outcome,zone,state,marks\n{row}\n")
    return table


def refusal(table: Path, parent: Calibration | None = None) -> str:
    with pytest.raises(TableError) as refused:
        study_table(table, lambda *_: None, parent=parent)
    assert refused.value.line == 2
    return str(refused.value)


def test_a_photo_without_a_part_is_named_by_its_line(tmp_path: Path) -> None:
    assert "no part was found in a.png" in refusal(one_row(tmp_path, "a.png,P,basalt,accepted,,,"))


@pytest.fixture
def measured(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a grid over the middle of a.png be what every photo shows."""
    show(monkeypatch, grid(cues=measured_cues()))


def show(monkeypatch: pytest.MonkeyPatch, cells: Cells) -> None:
    nothing = np.zeros((1, 1), bool)
    made = Measurement(cells, nothing, nothing, "down", False)
    monkeypatch.setattr("satcheck.calibration.measured.measure_photo", lambda *_: made)


def measured_cues(shape: tuple[int, int] = SHAPE) -> dict[str, NDArray[np.float32]]:
    return {name: np.zeros(shape, np.float32) for name in CUES}


@pytest.mark.parametrize("zones", [True, False])
def test_zone_labels_of_a_part_that_runs_out_of_its_photo_are_asked_about(zones: bool) -> None:
    (made, _), (whole, _) = (evidence(seed, (STARVED, GOOD, GOOD), False) for seed in (1, 2))
    labels = {"proximal": Label.STARVED} if zones else {}
    near = replace(made.photo, path=Path("near.jpg"), zones=labels)
    far = replace(whole.photo, path=Path("far.jpg"), zones=labels)
    found = cut_findings([(near, ("up", "left")), (far, ())])
    assert found == (
        ("near.jpg: the part runs out of the picture at the top and at the left, so its zones are "
         "those of what shows; are they labelled so?",) if zones else ()
    )  # fmt: skip


def test_that_a_part_runs_out_of_its_photo_is_kept_with_its_cells(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    nothing = np.zeros((1, 1), bool)
    made = Measurement(grid(), nothing, nothing, "down", False, ("up",))
    monkeypatch.setattr("satcheck.calibration.measured.measure_photo", lambda *_: made)
    table = one_row(tmp_path, "a.png,P,basalt,rejected,distal,starved,")
    (photo,) = read_parts(table)
    assert measured_photo(table, photo).cut == ("up",)


def prior_of(table: Path) -> NDArray[np.float64]:
    (photo,) = read_parts(table)
    return measured_photo(table, photo).prior


@pytest.mark.usefixtures("measured")
@pytest.mark.parametrize("state", STATES)
def test_a_zones_word_tells_the_class_of_its_cells_alone(tmp_path: Path, state: str) -> None:
    """Lean and heavy lie between two classes; the rest of a rejected part may be anything."""
    prior = prior_of(one_row(tmp_path, f"a.png,P,basalt,rejected,middle centre,{state},"))
    inside = grid().zone == 5
    likeliest = {
        "starved": {STARVED}, "lean": {STARVED, GOOD}, "good": {GOOD}, "heavy": {GOOD, RICH},
        "rich": {RICH},
    }[state]  # fmt: skip
    place = prior[20, 18]
    assert set(np.argsort(place)[-len(likeliest) :]) == likeliest
    assert place[list(likeliest)].sum() > 0.85
    assert (prior[inside] == place).all()
    assert prior[~inside] == pytest.approx(1 / 3)
    assert prior.sum(-1) == pytest.approx(1)


@pytest.mark.usefixtures("measured")
def test_a_third_is_its_three_zones(tmp_path: Path) -> None:
    prior = prior_of(one_row(tmp_path, "a.png,P,basalt,rejected,distal,rich,"))
    assert ((prior[..., RICH] > 0.5) == (grid().zone >= 7)).all()


@pytest.mark.usefixtures("measured")
def test_an_accepted_part_is_likely_good_but_not_surely(tmp_path: Path) -> None:
    prior = prior_of(one_row(tmp_path, "a.png,P,basalt,accepted,,,"))
    assert (prior.argmax(-1) == GOOD).all()
    assert (prior[..., STARVED] > 0).all()


@pytest.mark.usefixtures("measured")
@pytest.mark.parametrize("scale", [1, 2, 4])
def test_painted_marks_tell_cell_by_cell(tmp_path: Path, scale: int) -> None:
    """Marks of the photo's size or smaller; they outweigh the zone's word where they are."""
    table = one_row(tmp_path, "a.png,P,basalt,rejected,proximal,good,marks.png")
    marks = np.zeros((520 // scale, 480 // scale), np.uint8)
    marks[100 // scale : 200 // scale, 160 // scale : 260 // scale] = Label.STARVED
    marks[300 // scale : 400 // scale, 160 // scale : 260 // scale] = Label.NOT_JUDGED
    cv2.imwrite(str(tmp_path / "marks.png"), marks)
    prior = prior_of(table)
    starved = np.zeros(prior.shape[:2], bool)
    starved[5:15, 6:16] = True  # cells of 10 px from (100, 50)
    assert ((prior[..., STARVED] > 0.5) == starved).all()
    assert ((prior[..., GOOD] > 0.5) == ((grid().zone <= 3) & ~starved)).all()


@pytest.mark.usefixtures("measured")
@pytest.mark.parametrize(
    ("marks", "words"),
    [
        (np.ones((520, 480, 3), np.uint8), "marks.png cannot be used"),
        (np.ones((520, 480), np.uint16), "marks.png cannot be used"),
        (None, "marks.png cannot be used"),
        (b"", "marks.png cannot be used"),
        (np.full((520, 480), 255, np.uint8), "marks.png hold the code 255; 0, 1, 2, 3, 4, 5, 9 "),
        (np.zeros((520, 480), np.uint8), "marks.png name no state"),
        (np.full((520, 480), 9, np.uint8), "marks.png name no state"),
        (np.ones((480, 520), np.uint8), "are 520 x 480; the upright photo's 480 x 520"),
        (np.ones((520, 240), np.uint8), "are 240 x 520"),
    ],
    ids=[
        "colour",
        "16 bit",
        "no picture",
        "no byte",
        "code",
        "blank",
        "not judged",
        "turned",
        "squeezed",
    ],
)
def test_marks_that_cannot_be_used_are_named(
    tmp_path: Path, marks: NDArray[np.uint8] | bytes | None, words: str
) -> None:
    table = one_row(tmp_path, "a.png,P,basalt,rejected,,,marks.png")
    (tmp_path / "marks.png").write_bytes(marks if isinstance(marks, bytes) else b"painted")
    if isinstance(marks, np.ndarray):
        cv2.imwrite(str(tmp_path / "marks.png"), marks)
    message = refusal(table)
    assert "line 2" in message
    assert words in message


@pytest.mark.usefixtures("measured")
@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("a.png,P,basalt,accepted,,,", "no starved zone"),
        ("a.png,P,basalt,rejected,distal,starved,", "no good zone"),
        ("a.png,P,basalt,rejected,distal,lean,", "no starved zone"),
    ],
)
def test_a_fibre_needs_a_starved_and_a_good_zone(tmp_path: Path, row: str, words: str) -> None:
    assert words in refusal(one_row(tmp_path, row))


def test_a_starved_zone_that_no_photo_lets_be_judged_teaches_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The shop's only starved photo is blurred: that is said, and no bound is made up."""
    show(monkeypatch, blurred())
    table = one_row(tmp_path, "a.png,P,basalt,rejected,distal,starved,")
    assert "no starved zone or part that can be judged" in refusal(table)


def blurred() -> Cells:
    reasons = np.full((12, 9), Reason.FOCUS, np.uint32)
    return grid((12, 9), cues=measured_cues((12, 9)), reasons=reasons)


def test_parts_without_a_lattice_teach_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two smooth parts, one starved and one accepted: no cell has every cue."""
    cues = measured_cues()
    show(monkeypatch, grid(cues={**cues, "order": np.full_like(cues["order"], np.nan)}))
    table = one_row(tmp_path, "a.png,P,basalt,rejected,distal,starved,")
    cv2.imwrite(str(tmp_path / "b.png"), np.full((520, 480, 3), 91, np.uint8))
    table.write_text(table.read_text() + "b.png,Q,basalt,accepted,,,\n")
    message = refusal(table)
    assert "fibre basalt has no starved zone or part that can be judged; label at least" in message
    assert "one starved zone in a sharp photo that shows the weave" in message


def test_new_parts_that_cannot_be_judged_are_not_added(
    shop: DrawnShop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They would count as parts and photos on which the bounds rest."""
    show(monkeypatch, blurred())
    table = one_row(tmp_path, "a.png,P,basalt,rejected,distal,starved,")
    assert "fibre basalt has no new photo that can be judged" in refusal(table, shop.calibration)


def evidence(seed: int, states: tuple[int, ...], accepted: bool) -> tuple[Evidence, Saturation]:
    """Return a part whose thirds are surely of some classes, with any indices at all."""
    cells = grid((12, 9))
    prior = np.full((12, 9, 3), 0.04)
    for third, state in enumerate(states):
        prior[4 * third : 4 * third + 4, :, state] = 0.92
    photo = LabelledPhoto(Path("a.png"), f"P{seed}", "basalt", accepted, None, {}, None, 2)
    index = np.random.default_rng(seed).uniform(-1, 1, (12, 9)).astype(np.float32)
    return Evidence(photo, "", cells, prior), Saturation(
        index, np.full_like(index, np.nan), is_usual=True
    )


@given(
    st.lists(
        st.tuples(st.tuples(*[st.sampled_from([STARVED, GOOD, RICH])] * 3), st.booleans()),
        max_size=4,
    )
)
def test_bounds_ascend_whatever_the_parts_show(parts: list[tuple[tuple[int, ...], bool]]) -> None:
    needed: tuple[tuple[int, ...], bool] = ((STARVED, GOOD, GOOD), False)
    held_out = [evidence(seed, *part) for seed, part in enumerate([needed, *parts])]
    bounds = _bounds(held_out)
    assert list(bounds) == sorted(bounds)
    assert bounds[0] < 0 < bounds[3]
    for bound, (low, high) in zip(bounds[:2], (STARVED_RANGE, LEAN_RANGE), strict=True):
        assert low <= bound <= high  # few parts cannot move it farther
    assert bounds[0] >= -1
    assert bounds[3] <= 1
    if not any(RICH in states for states, _ in parts):
        assert bounds[3] == 1  # a shop that showed no rich part is not told of any
    else:
        assert RICH_RANGE[0] <= bounds[3] <= RICH_RANGE[1]
    assert len(bounds) == len(SCALE) - 1


def indexed(
    states: tuple[int, ...], index: NDArray[np.floating], *, accepted: bool = False
) -> tuple[Evidence, Saturation]:
    """Return a part whose thirds are surely of some classes, with an index (12, 9)."""
    made, found = evidence(0, states, accepted)
    return made, replace(found, index=index.astype(np.float32))


def test_bounds_are_quantiles_of_parts_that_count_alike() -> None:
    """Three of 36 good cells look dry, of the other part's 72 none: by the part 4 %, by cell 2.8 %.

    Four of 72 starved cells look best; nothing good looks rich, so heavy and rich begin earliest.
    """
    dry, plain = np.zeros((12, 9)), np.zeros((12, 9))
    dry[:8] = plain[:4] = -0.9
    dry[8, :3] = -0.2
    dry[0, :4] = -0.03
    held_out = [
        indexed((STARVED, RICH, GOOD), dry),
        indexed((STARVED, GOOD, GOOD), plain),
    ]
    assert _bounds(held_out) == pytest.approx((-0.2, -0.03, 0.42, 0.5))


@pytest.mark.parametrize(("accepted", "starved"), [(False, -0.22), (True, STARVED_RANGE[1])])
def test_good_zones_of_rejected_parts_count_only_where_no_part_was_accepted(
    accepted: bool, starved: float
) -> None:
    """They may hold starved spots: here a whole third that looks dry."""
    dry, plain = np.full((12, 9), -0.9), np.zeros((12, 9))
    held_out = [
        indexed((STARVED, STARVED, GOOD), dry),
        indexed((GOOD, GOOD, GOOD), plain, accepted=accepted),
    ]
    assert _bounds(held_out)[0] == pytest.approx(starved)


def test_the_light_of_the_labelled_photos_is_that_of_the_darkest_and_the_brightest() -> None:
    """Without each photo's last few per cent, and without the cells that were doubted."""
    shown = []
    for middle in (-3.0, -1.0):
        made, _ = evidence(0, (STARVED, GOOD, GOOD), accepted=False)
        light = np.full((12, 9), middle, np.float32)
        light[:, 0], light[0, 1], light[0, 2] = -9, middle - 3, middle + 3
        reasons = np.zeros((12, 9), np.uint32)
        reasons[:, 0] = Reason.DARK
        cells = replace(made.cells, cues={**made.cells.cues, "light": light}, reasons=reasons)
        shown.append(replace(made, cells=cells))
    assert _light(shown) == (-3, -1)


@pytest.mark.parametrize(
    ("reason", "teaches"),
    [(Reason.NO_WEAVE, True), (Reason.VEIL, True), (Reason.FOCUS, False), (Reason.GLARE, False)],
)
def test_a_part_without_weave_or_under_a_veil_teaches_and_a_doubted_one_does_not(
    reason: Reason, teaches: bool
) -> None:
    """Rich all over, a part shows no weave, and that is what it teaches; veils are of every day."""
    cells = grid((6, 6), reasons=np.full((6, 6), reason, np.uint32))
    assert (unspoiled(cells.reasons) == teaches).all()
    both = replace(cells, reasons=cells.reasons | np.uint32(Reason.NO_WEAVE | Reason.EDGE))
    assert not unspoiled(both.reasons).any()
