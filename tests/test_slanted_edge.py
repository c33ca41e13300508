"""Slanted edges: against closed forms, and the cases in which nothing may be measured."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.special import erf

from satcheck.card.slanted_edge import EdgeMtf, edge_mtf

FloatArray = NDArray[np.float64]
MTF50_GAUSSIAN = 0.187391
"""MTF50 of a Gaussian of sigma 1: sqrt(ln 2 / 2) / pi (closed form)."""


def distances(degrees: float, height: int = 100, width: int = 120) -> FloatArray:
    """Signed distance of each pixel's centre from an edge with its normal at an angle."""
    y, x = np.mgrid[:height, :width].astype(np.float64)
    turn = math.radians(degrees)
    centre_x, centre_y = width / 2 - 0.2, height / 2 - 0.5
    return np.asarray((x - centre_x) * math.cos(turn) + (y - centre_y) * math.sin(turn))


def gaussian_edge(sigma: float, degrees: float, low: float = 0.1, high: float = 0.7) -> FloatArray:
    rise = 0.5 * (1 + erf(distances(degrees) / (sigma * math.sqrt(2))))
    return np.asarray(low + (high - low) * rise)


def aperture_edge(degrees: float, sigma: float = 0.0) -> FloatArray:
    """Return an edge averaged over square pixels: two boxes convolved on a fine grid."""
    turn = math.radians(degrees)
    grid = np.arange(-12.0, 12.0, 0.002)
    line: FloatArray = np.exp(-0.5 * (grid / sigma) ** 2) if sigma else (np.abs(grid) < 1e-3) * 1.0
    for width in (abs(math.cos(turn)), abs(math.sin(turn))):
        box = (np.abs(grid[np.abs(grid) <= width]) <= width / 2) * 1.0
        line = np.convolve(line, box, mode="same")
    spread = np.cumsum(line) / line.sum()
    return np.asarray(0.1 + 0.6 * np.interp(distances(degrees), grid, spread))


def measured(linear: FloatArray, mask: NDArray[np.bool_] | None = None) -> EdgeMtf:
    result = edge_mtf(linear, mask)
    assert isinstance(result, EdgeMtf), result
    return result


@pytest.mark.parametrize("degrees", [5, 8, 20, 40, 85, 130, 175])
@pytest.mark.parametrize("sigma", [0.5, 0.7, 1.0, 2.0])
def test_gaussian_edge_gives_its_closed_form_mtf(sigma: float, degrees: float) -> None:
    # ISO 12233 e-SFR; closed form exp(-2 pi^2 sigma^2 f^2). At 20 degrees a missing cosine
    # correction would cost 6 %.
    result = measured(gaussian_edge(sigma, degrees))
    assert result.mtf50 == pytest.approx(MTF50_GAUSSIAN / sigma, rel=0.01)
    for frequency in (0.1, 0.25):
        expected = math.exp(-2 * (math.pi * sigma * frequency) ** 2)
        assert result.at(frequency) == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("degrees", [5, 95])
def test_pixel_aperture_gives_the_sinc(degrees: float) -> None:
    # Closed form: sinc(0.25) = 0.900316, sinc(0.5) = 0.636620, MTF50 at 0.603355.
    result = measured(aperture_edge(degrees))
    assert result.at(0.25) == pytest.approx(0.900316, rel=0.01)
    assert result.at(0.5) == pytest.approx(0.636620, rel=0.01)
    assert result.mtf50 == pytest.approx(0.603355, rel=0.01)


@pytest.mark.parametrize(("sigma", "mtf50"), [(0.5, 0.323088), (1.0, 0.179964)])
def test_gaussian_times_aperture(sigma: float, mtf50: float) -> None:
    # Computed from the product of the two closed forms.
    assert measured(aperture_edge(5, sigma)).mtf50 == pytest.approx(mtf50, rel=0.01)


@pytest.mark.parametrize("degrees", [5.0, 33.0, 85.0, 120.0, 174.0])
def test_angle_is_that_of_the_normal(degrees: float) -> None:
    assert math.degrees(measured(gaussian_edge(1.0, degrees)).angle) == pytest.approx(
        degrees, abs=0.05
    )


def test_rise_is_from_10_to_90_percent() -> None:
    # Closed form: 2.563103 sigma.
    assert measured(gaussian_edge(3.0, 5)).rise == pytest.approx(2.563103 * 3, rel=0.03)


def test_mask_keeps_what_lies_beside_out_of_the_measurement() -> None:
    scene = gaussian_edge(1.0, 50)
    mask = np.abs(distances(50)) < 25
    mask &= np.abs(distances(140)) < 35
    scene[~mask] = 0.5
    assert measured(scene, mask).mtf50 == pytest.approx(MTF50_GAUSSIAN, rel=0.01)
    whole = edge_mtf(scene)  # negative control: what lies beside does matter without the mask
    assert not whole or measured(scene).mtf50 != pytest.approx(MTF50_GAUSSIAN, rel=0.01)


def test_noise_of_two_percent_leaves_mtf50_within_three() -> None:
    generator = np.random.default_rng(1)
    edge = gaussian_edge(1.0, 5)
    values = [
        measured(edge + generator.normal(0, 0.02 * 0.6, edge.shape)).mtf50 or 0 for _ in range(12)
    ]
    assert np.mean(values) == pytest.approx(MTF50_GAUSSIAN, rel=0.015)
    assert np.std(values) < 0.03 * MTF50_GAUSSIAN


def test_codes_taken_for_light_miss_the_closed_form() -> None:
    # Negative control: the same edge without linearisation.
    codes = gaussian_edge(1.0, 5, low=0.02, high=0.9) ** (1 / 2.2)
    assert abs((measured(codes).mtf50 or 0) / MTF50_GAUSSIAN - 1) > 0.03


@given(low=st.floats(0.0, 0.3), step=st.floats(0.1, 0.6), falling=st.booleans())
@settings(max_examples=20)
def test_contrast_and_polarity_have_no_effect(low: float, step: float, falling: bool) -> None:
    low, high = (low + step, low) if falling else (low, low + step)
    result = measured(gaussian_edge(1.0, 5, low, high))
    assert result.mtf50 == pytest.approx(MTF50_GAUSSIAN, rel=0.01)


@pytest.mark.parametrize(
    ("linear", "reason"),
    [
        (gaussian_edge(1.0, 5, 0.5, 0.55), "too little contrast"),
        (np.zeros((60, 60)), "too little contrast"),
        (gaussian_edge(1.0, 5, 0.1, 1.2).clip(0, 1), "the bright side is clipped"),
        (gaussian_edge(1.0, 5)[:12], "the edge is too short"),
        (gaussian_edge(20.0, 5), "the edge is too blurred for its field"),
        (gaussian_edge(1.0, 0), "the edge lies along the pixels"),
        (gaussian_edge(1.0, 45), "the edge lies along the pixels"),
    ],
)
def test_unfit_edges_are_not_measured(linear: FloatArray, reason: str) -> None:
    result = edge_mtf(linear)
    assert not result
    assert getattr(result, "reason", None) == reason


@pytest.mark.parametrize(("columns", "is_clipped"), [(1, False), (5, True)])
def test_one_clipped_pixel_in_fifty_is_too_many(columns: int, is_clipped: bool) -> None:
    """Of 120 columns: 0.8 % of the pixels, and 4 %."""
    linear = gaussian_edge(1.0, 5)
    linear[:, -columns:] = 1.0
    reason = getattr(edge_mtf(linear), "reason", "")
    assert (reason == "the bright side is clipped") == is_clipped


def test_pure_noise_is_not_measured() -> None:
    noise = np.random.default_rng(2).uniform(0.1, 0.9, (80, 80))
    assert not edge_mtf(noise)
