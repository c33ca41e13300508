"""The saturation index against its closed form, and by what it must do across a part."""

from dataclasses import replace

import numpy as np
import pytest
from grids import grid, mixture, place
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.special import expit
from scipy.stats import multivariate_t
from scipy.stats import t as student_t

from satcheck.judgement.mixture import FREEDOM
from satcheck.judgement.saturation import CAUTION, LIGHT, saturation, usable, values

F64 = NDArray[np.float64]

DRY = mixture(("dry",), [3.0, 0.0, 0.0])
FULL = mixture(("full",), [0.0, 0.0, 3.0])
LEFT, RIGHT = place((30, 36), 0, 0, 30, 12), place((30, 36), 0, 24, 30, 12)


def index_of(dry: NDArray[np.floating], full: NDArray[np.floating]) -> F64:
    cues = {"dry": dry.astype(np.float32), "full": full.astype(np.float32)}
    found = saturation(grid(dry.shape, cues=cues), DRY, FULL).index
    return np.asarray(found, np.float64)


@settings(max_examples=25)
@given(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5))
def test_the_index_runs_from_starved_by_good_to_rich(dry: float, full: float) -> None:
    """Whatever a photo's own offsets, as far as photos differ."""
    index = index_of(3.0 * LEFT + dry, 3.0 * RIGHT + full)
    assert index[:, 3:9].max() < -0.9
    assert np.abs(index[:, 15:21]).max() < 0.1
    assert index[:, 27:33].min() > 0.9
    assert np.abs(index).max() <= 1


@pytest.mark.parametrize("dry", [0.0, 1.2, 1.5, 1.8, 3.0])
@pytest.mark.parametrize("full", [0.0, 1.5, 3.0])
def test_the_index_of_an_even_photo_is_its_closed_form(dry: float, full: float) -> None:
    """Densities of Student's t from scipy, for a shop whose photos do not differ at all."""
    still = [replace(made, between=np.full((1, 1), 1e-9)) for made in (DRY, FULL)]
    cues = {name: np.full((9, 9), v, np.float32) for name, v in (("dry", dry), ("full", full))}
    index = saturation(grid((9, 9), cues=cues), *still).index
    wide = np.sqrt(DRY.scatter[0, 0, 0])
    (starved, *others), (_, good, rich) = (
        student_t.pdf(value, FREEDOM, made.means[:, 0], wide)
        for value, made in ((dry, DRY), (full, FULL))
    )
    u = expit(np.log(starved / sum(others)) / CAUTION)
    v = expit(np.log(rich / good) / CAUTION)
    assert index == pytest.approx(v * (1 - u) - u, abs=1e-4)


def test_the_index_falls_as_a_place_turns_dry() -> None:
    """A slow change of the cue across the part: no step back on the way from good to starved."""
    ramp = np.tile(np.linspace(0, 3, 36), (30, 1))
    index = index_of(ramp, np.zeros_like(ramp))
    assert (np.diff(index, axis=1) <= 1e-6).all()
    assert index[0, 0] - index[0, -1] > 0.9


def test_a_dry_patch_may_be_small_and_a_pool_of_resin_may_not() -> None:
    """Two pitches across is a starved place; a rich one of that size is a glint, and good."""
    small, large = place((30, 36), 13, 4, 4, 4), place((30, 36), 4, 14, 20, 20)
    nothing = np.zeros((30, 36))
    assert index_of(3.0 * small, nothing)[14:16, 5:7].max() < -0.6
    assert index_of(nothing, 3.0 * small)[14:16, 5:7].max() < 0.4
    assert index_of(nothing, 3.0 * large)[13:15, 23:25].min() > 0.6


def test_a_place_without_a_cue_has_no_index() -> None:
    dry = np.zeros((30, 36))
    dry[4, 5], dry[6, 7] = np.nan, np.inf
    index = index_of(dry, np.zeros_like(dry))
    assert set(zip(*np.nonzero(np.isnan(index)), strict=True)) == {(4, 5), (6, 7)}
    assert np.isnan(index_of(np.full((30, 36), np.nan), dry)).all()


def test_usable_cells_lie_on_the_part_and_have_every_cue() -> None:
    cues = {"a": np.array([[1, np.nan, 3, 4]]), "b": np.array([[5, 6, 7, np.inf]])}
    cells = grid((1, 4), cues=cues, zone=np.array([[1, 1, 0, 1]], np.uint8))
    where = usable(cells, ("b", "a"))
    assert where.tolist() == [[True, False, False, False]]
    assert values(cells, ("b", "a"), where).tolist() == [[5, 1]]


@pytest.mark.parametrize("light", LIGHT)
def test_the_weaves_own_odds_are_those_of_the_marginal_densities(light: str) -> None:
    """Student t marginals from scipy; the lamp's cue, however far off, changes nothing in them."""
    rng = np.random.default_rng(4)
    spread = np.array([[0.3, 0.1, -0.12], [0.1, 0.2, 0.05], [-0.12, 0.05, 0.4]])
    dry = replace(
        mixture(("medium", "order", light), np.array([[2, 1, 3], [0, 0, 0], [-2, -1, -1]])),
        scatter=np.stack([spread, 2 * spread, spread]),
        between=1e-9 * np.eye(3),
    )
    shape = (12, 12)
    cues = {name: rng.normal(0, 1, shape).astype(np.float32) for name in dry.cues}
    cues["full"] = np.zeros(shape, np.float32)
    weave = saturation(grid(shape, cues=cues), dry, FULL).weave
    points = np.stack([cues["medium"], cues["order"]], -1)
    densities = [
        multivariate_t(dry.means[k, :2], dry.scatter[k, :2, :2], FREEDOM).pdf(points)
        for k in range(3)
    ]
    expected = np.log(densities[0] / (densities[1] + densities[2]))
    assert weave == pytest.approx(expected, abs=1e-3)
    brighter = cues | {light: cues[light] + 3}
    lit, unlit = (saturation(grid(shape, cues=shown), dry, FULL) for shown in (brighter, cues))
    assert lit.weave == pytest.approx(unlit.weave, abs=1e-3)
    assert lit.index.mean() < unlit.index.mean() - 0.2  # the control
