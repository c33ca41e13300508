"""Likeness on flat fields whose answer is known."""

import numpy as np
import pytest
from numpy.typing import NDArray

from satcheck.outline.frame import Frame, straighten
from satcheck.outline.likeness import likeness
from satcheck.outline.ribbon import Ribbon

HEIGHT, WIDTH = 200, 160
WALL, PART, STREAK = (60.0, 0.0, -4.0), (40.0, 2.0, 8.0), (66.0, 0.0, -4.0)


def laid() -> Frame:
    """Lay a frame along an upright ribbon over the columns 60 to 100."""
    corners = np.array([[60, 40], [60, 100], [60, 160], [100, 160], [100, 100], [100, 40]])
    polygon = (corners / [WIDTH, HEIGHT]).astype(np.float32)
    return straighten(Ribbon(polygon, 1.0, 0.0), (HEIGHT, WIDTH))


def field(streak: bool = False) -> NDArray[np.float32]:
    """Draw the part over those columns, with a pale streak along its right flank if asked for."""
    lab = np.full((HEIGHT, WIDTH, 3), WALL, np.float32)
    lab[40:160, 60:100] = PART
    if streak:
        lab[40:160, 94:100] = STREAK
    noise = np.random.default_rng(0).normal(0, 0.2, lab.shape)
    return (lab + noise).astype(np.float32)


def middle(values: NDArray[np.generic], frame: Frame, first: float, last: float) -> float:
    """Return the mean over the picture's columns ``first`` to ``last`` and its middle rows."""
    inside = (frame.x > first) & (frame.x < last) & (frame.y > 80) & (frame.y < 120)
    return float(np.asarray(values)[inside].mean())


def test_part_is_part_and_wall_is_wall() -> None:
    frame = laid()
    like = likeness(frame.sample(field()), frame, frame.ribbon, ~frame.inside)
    for values in (like.foreign, like.ratio):
        assert middle(values, frame, 64, 96) > 0.9
        assert middle(values, frame, 48, 57) < -0.4
        assert np.abs(values).max() <= 1


def test_a_streak_is_nearer_to_the_wall_and_yet_foreign_to_it() -> None:
    frame = laid()
    like = likeness(frame.sample(field(streak=True)), frame, frame.ribbon, ~frame.inside)
    assert middle(like.foreign, frame, 95.5, 98.5) > 0.9
    assert middle(like.ratio, frame, 95.5, 98.5) < 0


def test_barred_cells_are_background() -> None:
    frame = laid()
    barred = ~frame.inside | (frame.x > 80)
    like = likeness(frame.sample(field()), frame, frame.ribbon, barred)
    assert like.foreign[barred].max() == like.ratio[barred].max() == pytest.approx(-1)


def test_with_nothing_to_learn_from_belief_stands() -> None:
    frame = laid()
    like = likeness(frame.sample(field()), frame, np.ones_like(frame.ribbon), ~frame.inside)
    assert (like.ratio[frame.inside] == 1).all()
