"""Which examples a lesson proposes, of specimens made by hand, labelled cell by cell."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from grids import SHAPE, grid, place

from satcheck.calibration.parts_table import LabelledPhoto
from satcheck.errors import UsageError
from satcheck.lesson.build import build_lesson
from satcheck.lesson.crops import best_spot
from satcheck.lesson.picks import Pick, propose, read_picks, write_picks
from satcheck.lesson.specimens import Specimen
from satcheck.model import Label

STARVED, GOOD, RICH, UNKNOWN = Label.STARVED, Label.GOOD, Label.RICH, Label.NOT_JUDGED
TOP, MIDDLE, END = (place(SHAPE, row, 0, 15, 36) for row in (0, 15, 30))


def specimen(name: str, *thirds: Label, wrong: bool = False, **changes: Any) -> Specimen:
    """Return a part labelled third by third; ``wrong``: satcheck calls all of it heavy."""
    truth = np.select([TOP, MIDDLE], thirds[:2], thirds[2]).astype(np.uint8)
    tool = np.full_like(truth, Label.HEAVY) if wrong else truth
    photo = LabelledPhoto(Path(name), name, "basalt", False, None, {}, None, 2)
    return Specimen(
        name, cast("Any", None), photo, cast("Any", None), grid(**changes), truth, truth, tool
    )


def proposed(part: str, *specimens: Specimen) -> list[tuple[str, str]]:
    return [(pick.photo, pick.why) for pick in propose(specimens) if pick.part == part]


def test_a_decision_is_asked_where_most_is_to_move_and_where_all_is_even() -> None:
    parts = [
        specimen("dry", STARVED, GOOD, GOOD),
        specimen("both", STARVED, GOOD, RICH),
        specimen("nearly even", GOOD, GOOD, STARVED),
        specimen("full", RICH, RICH, STARVED),
        specimen("even", GOOD, GOOD, GOOD),
    ]
    assert proposed("decide", *parts) == [
        ("full", "clearest"), ("both", "clearest"), ("even", "clearest"),
    ]  # fmt: skip
    assert [name for name, _ in proposed("decide", *parts[:4])] == ["full", "both"]


def test_no_decision_is_asked_of_a_part_that_is_hardly_labelled() -> None:
    """The right answer would have been that too little of the part was judged."""
    barely = specimen("lock", UNKNOWN, UNKNOWN, UNKNOWN)
    barely.truth[barely.cells.lock] = STARVED
    assert proposed("decide", barely) == []
    assert proposed("find", barely) == [("lock", "clearest")]
    barely.truth[barely.cells.lock] = GOOD
    assert proposed("decide", barely) == []


def test_the_clearest_is_seen_as_it_is_labelled_and_the_misjudged_is_not() -> None:
    parts = [
        specimen("wrong", STARVED, GOOD, RICH, wrong=True),
        specimen("right", STARVED, GOOD, RICH),
        specimen("heavy", STARVED, Label.HEAVY, GOOD),
        specimen("good", GOOD, GOOD, GOOD),
    ]
    assert proposed("find", *parts) == [
        ("right", "clearest"), ("heavy", "borderline"), ("wrong", "misjudged"),
    ]  # fmt: skip


def test_a_state_is_shown_where_it_is_not_spoiled() -> None:
    """Of two parts alike the one in shade is the second choice; it is not used."""
    spoiled = np.ones(SHAPE, np.uint32)
    parts = [
        specimen("doubted", STARVED, STARVED, GOOD, reasons=spoiled),
        specimen("clear", STARVED, STARVED, GOOD),
    ]
    picks = [pick for pick in propose(parts) if pick.state is STARVED]
    assert [(pick.photo, pick.use) for pick in picks] == [("clear", True), ("doubted", False)]


def test_a_place_large_enough_is_found_though_a_smaller_one_is_clearer() -> None:
    """The larger patch lies in glare; the smaller, which shows too little, was the only one tried.

    Patches of 12 and of 9 cells a side, in a square of 13: 144 of 169, less a half, and 81.
    """
    shape = (80, 80)
    large, small = place(shape, 14, 14, 12, 12), place(shape, 60, 60, 9, 9)
    made = specimen("two", GOOD, GOOD, GOOD)
    truth = np.full(shape, GOOD, np.uint8)
    truth[large | small] = RICH
    glare = place(shape, 0, 0, 40, 40).astype(np.uint32)
    two = Specimen(**vars(made) | {"cells": grid(shape, reasons=glare), "truth": truth})
    spot = best_spot(two, RICH)
    assert spot is not None
    assert (spot.row, spot.column) == pytest.approx((20, 20), abs=4)
    truth[large] = GOOD
    assert best_spot(two, RICH) is None


def test_no_cell_of_the_trainers_table_is_a_formula(tmp_path: Path) -> None:
    pick = Pick("find", "=1+1.png", "basalt", None, "clearest", "-really")
    path = tmp_path / "picks.csv"
    path.write_text(write_picks([pick]))
    assert "'=1+1.png" in path.read_text()
    assert read_picks(path) == (pick,)


def test_a_photo_is_no_example_of_another_fibre() -> None:
    made = specimen("0.png", STARVED, GOOD, RICH)
    calibration = cast("Any", SimpleNamespace(id="ab"))
    with pytest.raises(UsageError, match=r"no carbon photo of the table has this name"):
        build_lesson([made], [Pick("find", "0.png", "carbon", None, "")], calibration, "")
