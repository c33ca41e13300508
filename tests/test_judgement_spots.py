"""A spot as a whole: too weak to be starved, hardly smoother than its surroundings."""

import numpy as np
import pytest
from grids import place
from numpy.typing import NDArray

from satcheck.judgement.spots import (
    AROUND,
    EVIDENCE,
    FEWEST_AROUND,
    GOOD_TO,
    LIT,
    MOST_OF_PART,
    ONE_WAY_COST,
    SMOOTHER,
    STARVED_FROM,
    with_contrast,
    with_evidence,
    with_weave,
)
from satcheck.model import Label

SHAPE = (40, 40)
SPOT = place(SHAPE, 12, 12, 10, 10)
OTHER = place(SHAPE, 28, 28, 8, 8)


def painted(where: NDArray[np.bool_], label: Label) -> NDArray[np.uint8]:
    return np.where(where, label, Label.GOOD).astype(np.uint8)


def layer(where: NDArray[np.bool_], inside: float, outside: float = 0.0) -> NDArray[np.float32]:
    return np.where(where, inside, outside).astype(np.float32)


@pytest.mark.parametrize(
    ("mean", "label"), [(EVIDENCE - 0.01, Label.STARVED), (EVIDENCE + 0.01, Label.LEAN)]
)
def test_a_spot_is_starved_by_what_all_of_it_shows(mean: float, label: Label) -> None:
    """Half of the spot is certain, half is not: its mean decides; another spot is not touched."""
    half = place(SHAPE, 12, 12, 5, 10)
    index = layer(SPOT, mean + 0.2) - layer(half, 0.4) - layer(OTHER, 0.95)
    labels = with_evidence(painted(SPOT | OTHER, Label.STARVED), index, np.zeros(SHAPE, np.float32))
    assert (labels[SPOT] == label).all()
    assert (labels[OTHER] == Label.STARVED).all()
    assert (labels[~SPOT & ~OTHER] == Label.GOOD).all()


@pytest.mark.parametrize(
    ("usual", "label"), [(0.2, Label.LEAN), (0.5, Label.STARVED), (0.9, Label.STARVED)]
)
def test_a_texture_more_one_way_than_the_parts_counts_against_it(
    usual: float, label: Label
) -> None:
    """The cloth of some braids is one-way all over: that says nothing of a spot."""
    index = layer(SPOT, EVIDENCE - ONE_WAY_COST * 0.2)
    labels = with_evidence(painted(SPOT, Label.STARVED), index, layer(SPOT, 0.6, usual))
    assert (labels[SPOT] == label).all()


def test_a_part_that_is_starved_all_over_has_no_rest_to_be_held_to() -> None:
    everywhere = np.ones(SHAPE, bool)
    coherence = np.full(SHAPE, 0.9, np.float32)
    labels = with_evidence(painted(everywhere, Label.STARVED), layer(everywhere, -0.7), coherence)
    assert (labels == Label.STARVED).all()


@pytest.mark.parametrize(
    ("step", "label"), [(SMOOTHER - 0.01, Label.RICH), (SMOOTHER + 0.01, Label.HEAVY)]
)
def test_a_rich_spot_is_smoother_than_what_lies_around_it(step: float, label: Label) -> None:
    """Whatever the photo's own contrast: only the difference counts. NaN is no measure."""
    for level in (-6.0, -3.0):
        crosswise = layer(SPOT, level + step, level)
        crosswise[13, 13] = np.nan
        labels = with_contrast(painted(SPOT, Label.RICH), crosswise)
        assert (labels[SPOT] == label).all()
        assert (labels[~SPOT] == Label.GOOD).all()


def test_the_surroundings_begin_where_a_window_no_longer_sees_the_spot() -> None:
    """Cells at the spot's border mix both: they would hide how smooth it is."""
    near, far = AROUND
    border = place(SHAPE, 12 - near, 12 - near, 10 + 2 * near, 10 + 2 * near)
    crosswise = layer(border, SMOOTHER - 0.1)
    assert (with_contrast(painted(SPOT, Label.RICH), crosswise)[SPOT] == Label.RICH).all()
    beyond = place(SHAPE, 12 - far, 12 - far, 10 + 2 * far, 10 + 2 * far)
    assert (
        with_contrast(painted(SPOT, Label.RICH), layer(beyond, -1.0))[SPOT] == Label.HEAVY
    ).all()


def test_a_part_that_is_mostly_rich_is_rich_without_surroundings() -> None:
    rows = round(MOST_OF_PART * SHAPE[0])
    flat = np.zeros(SHAPE, np.float32)
    for height, label in ((rows + 1, Label.RICH), (rows - 1, Label.HEAVY)):
        here = place(SHAPE, 0, 0, height, SHAPE[1])
        assert (with_contrast(painted(here, Label.RICH), flat)[here] == label).all()


def test_a_spot_whose_surroundings_cannot_be_judged_is_only_heavy() -> None:
    labels = np.full(SHAPE, Label.NOT_JUDGED, np.uint8)
    labels[-8:] = Label.GOOD
    labels[SPOT] = Label.RICH
    crosswise = layer(SPOT, -3.0)
    assert (with_contrast(labels, crosswise)[SPOT] == Label.HEAVY).all()
    beside = np.zeros(SHAPE, bool)
    beside[8, 12 : 12 + FEWEST_AROUND] = True
    labels[beside] = Label.GOOD
    assert (with_contrast(labels, crosswise)[SPOT] == Label.RICH).all()


def test_without_the_cue_nothing_is_softened() -> None:
    labels = painted(SPOT, Label.RICH)
    assert (with_contrast(labels, None) == labels).all()


@pytest.mark.parametrize(
    ("odds", "label"), [(STARVED_FROM - 0.1, Label.LEAN), (STARVED_FROM + 0.1, Label.STARVED)]
)
def test_light_alone_makes_nothing_starved_that_the_weave_speaks_against(
    odds: float, label: Label
) -> None:
    """By the starved cells nearby, whatever lies around them; the unmeasured keep their label."""
    weave = layer(SPOT, odds, -20.0) + layer(OTHER, 22.0)
    weave[12:14, 12:22] = np.nan
    labels = with_weave(painted(SPOT | OTHER, Label.STARVED), weave)
    assert (labels[14:22, 12:22] == label).all()
    assert (labels[12:14, 12:22] == Label.STARVED).all()
    assert (labels[OTHER] == Label.STARVED).all()
    assert (labels[~SPOT & ~OTHER] == Label.GOOD).all()


@pytest.mark.parametrize(("width", "label"), [(4, Label.STARVED), (5, Label.LEAN)])
def test_a_small_place_is_no_lit_flank(width: int, label: Label) -> None:
    spot = place(SHAPE, 12, 12, 8, width)
    assert (spot.sum() >= LIT) == (label == Label.LEAN)
    labels = with_weave(painted(spot, Label.STARVED), layer(spot, -9.0, -9.0))
    assert (labels[spot] == label).all()


@pytest.mark.parametrize("called", [Label.GOOD, Label.HEAVY, Label.RICH])
@pytest.mark.parametrize(("odds", "is_lean"), [(GOOD_TO - 0.1, False), (GOOD_TO + 0.1, True)])
def test_light_alone_makes_nothing_good_that_the_weave_calls_starved(
    called: Label, odds: float, is_lean: bool
) -> None:
    """Starved cells beside it, however starved their weave, do not speak for it."""
    labels = painted(OTHER, Label.STARVED)
    labels[SPOT] = called
    shown = np.where(SPOT, odds, -9.0) + layer(OTHER, 29.0)
    shown[~SPOT & ~OTHER] = np.nan
    softened = with_weave(labels, shown.astype(np.float32))
    assert (softened[SPOT] == (Label.LEAN if is_lean else called)).all()
    assert (softened[OTHER] == Label.STARVED).all()
    assert (softened[~SPOT & ~OTHER] == Label.GOOD).all()
