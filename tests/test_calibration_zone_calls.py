"""From which bound on a labelled zone is no longer called good: what a promise rests on."""

import numpy as np
import pytest
from grids import SHAPE, grid

from satcheck.calibration.evidence import EDGES
from satcheck.calibration.zone_calls import edges, with_lean
from satcheck.judgement.saturation import Saturation

BOUNDS = (-0.3, -0.2, 0.3, 0.6)
ZONES = ("middle left", "distal", "lock")


@pytest.mark.parametrize(
    ("index", "edge"),
    [
        (EDGES[0] - 0.1, EDGES[0]),  # lean or starved under every bound
        (EDGES[3] - 0.001, EDGES[3]),
        (EDGES[3] + 0.001, EDGES[4]),
        (EDGES[-1] + 0.001, np.inf),  # good under every bound
    ],
)
def test_the_edge_is_the_smallest_bound_under_which_a_zone_is_not_good(
    index: float, edge: float
) -> None:
    """A part of one index all over is lean from the first bound at or above it on."""
    even = np.full(SHAPE, index, np.float32)
    found = Saturation(even, np.full_like(even, np.nan), is_usual=True)
    assert edges(grid(), found, BOUNDS, (-1.0, 1.0), ZONES) == dict.fromkeys(ZONES, edge)


@pytest.mark.parametrize(
    ("lean", "bounds"),
    [
        (0.1, (-0.3, 0.1, 0.3, 0.6)),
        (0.4, (-0.3, 0.4, 0.4, 0.6)),
        (0.7, (-0.3, 0.7, 0.7, 0.7)),
        (-0.5, (-0.5, -0.5, 0.3, 0.6)),
    ],
)
def test_the_other_bounds_give_way_to_the_one_that_moves(
    lean: float, bounds: tuple[float, ...]
) -> None:
    assert with_lean(BOUNDS, lean) == bounds
