"""The lattice carried over a part, and what of the texture follows it, on scenes of known truth."""

from collections.abc import Callable
from functools import cache

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scenes import Braid, Scene, Shape, View, draw

from satcheck.light import luminance
from satcheck.weave.lattice import Lattice
from satcheck.weave.spectrum import contrast, hann
from satcheck.weave.track import WINDOW, Windows, _carried, track

Float = NDArray[np.float64]
Fade = Callable[[Float, Float], Float]
ROUND = Shape(260, 360, is_round=True)
SEEN = View(noise=0.003)
OVERS = pytest.mark.parametrize("over", [1, 2, 3])


def scene(braid: Braid, shape: Shape = ROUND, fade: Fade | None = None, view: View = SEEN) -> Scene:
    return draw(np.random.default_rng(8), braid, shape, view, fade)


def tracked(drawn: Scene, over: int | None = None) -> Windows:
    """Follow a drawn braid, told its own lattice."""
    frame, braid = drawn.frame(), drawn.braid
    flat = contrast(luminance(frame.linear), frame.laminate, braid.pitch)
    return track(frame, flat, Lattice(braid.pitch, braid.angle, over or braid.over, 1.0))


@cache
def unfaded(over: int) -> tuple[Scene, Windows]:
    drawn = scene(Braid(over=over))
    return drawn, tracked(drawn)


def order(windows: Windows) -> Float:
    """Return the natural log of power at the nodes over that between: 0 where there is no weave."""
    return np.asarray(np.log(windows.at_nodes / windows.between))


def weave_variance(windows: Windows) -> Float:
    return np.asarray(windows.variance - windows.noise)


def middle(drawn: Scene, windows: Windows, share: float = 0.7) -> NDArray[np.bool_]:
    """Return which windows lie within a share of the half width, off the ends."""
    height, width = drawn.mask.shape
    lane = np.abs(windows.x - width / 2) / (drawn.shape.width / 2)
    return np.asarray((lane < share) & (np.abs(windows.y - height / 2) < 0.4 * drawn.shape.length))


def left_of(drawn: Scene, windows: Windows) -> Float:
    """Return the share of weave variance that the fade map leaves in each window (Hann squared)."""
    kernel = hann(round(WINDOW * drawn.braid.pitch)).astype(float) ** 2
    mean = cv2.filter2D(drawn.fade**2, -1, kernel / kernel.sum())
    return np.asarray(mean[windows.y, windows.x])


@pytest.mark.parametrize(
    ("diameter", "degrees", "length"),
    [
        (70.7107, 30.0, 1.224745),
        (80, 34.449902, 1.166190),
        (90, 39.523608, 1.090871),
        (110, 51.061176, 0.888819),
        (120, 58.051941, 0.748331),
    ],
)
def test_a_sleeve_follows_braid_geometry(diameter: float, degrees: float, length: float) -> None:
    """Inextensible tows: sin(angle) goes with the diameter, the length with cos(angle).

    A sleeve of 100 mm at 45 degrees; textbook geometry, values computed from the closed form.
    """
    start = Lattice(10.0, 45.0, 2, 1.0).repeat
    across, along = _carried(Lattice(10.0, 45.0, 2, 1.0), np.zeros(1), np.array([diameter / 100]))
    assert along[0] / start[1] == pytest.approx(length, rel=1e-5)
    assert across[0] / start[0] == pytest.approx(diameter / 100, rel=1e-6)
    assert np.degrees(np.arctan(across[0] / 2 / along[0])) == pytest.approx(degrees, abs=1e-3)


@pytest.mark.parametrize(
    ("degrees", "left"), [(30, 0.866025), (45, 0.707107), (60, 0.5), (70, 0.342020)]
)
def test_a_round_body_narrows_the_repeat_by_the_cosine(degrees: float, left: float) -> None:
    """Distant camera: the repeat along is unchanged, tan(angle) is seen times cos(phi)."""
    lattice = Lattice(10.0, 45.0, 1, 1.0)
    across, along = _carried(lattice, np.sin(np.radians([degrees])), np.ones(1))
    assert across[0] / lattice.repeat[0] == pytest.approx(left, rel=1e-5)
    assert along[0] == pytest.approx(lattice.repeat[1])
    assert across[0] / along[0] == pytest.approx(left, rel=1e-5)  # 0.5, 26.565 degrees, at 60


@given(st.floats(0.05, 5.0), st.floats(-0.95, 0.95), st.floats(30, 56))
def test_a_diameter_beyond_the_braids_reach_still_gives_a_repeat(
    width: float, lane: float, angle: float
) -> None:
    """Above 1 / sin(angle) no real braid angle is left; an outline may say so all the same."""
    for repeat in _carried(Lattice(10.0, angle, 1, 1.0), np.array([lane]), np.array([width])):
        assert np.isfinite(repeat[0])
        assert repeat[0] > 0


@OVERS
def test_a_braid_follows_its_lattice_and_noise_and_relief_do_not(over: int) -> None:
    """On 0 in the mean: noise within 0.1, starved-like relief of full contrast within 0.45."""
    drawn, windows = unfaded(over)
    woven, inside = order(windows), middle(drawn, windows)
    noise = order(tracked(scene(Braid(over=over, amplitude=1e-6), view=View(noise=0.02))))
    relief = order(tracked(scene(Braid(over=over, aperiodic=True))))
    assert np.percentile(woven[inside], 5) > 1.2
    assert abs(np.median(noise[inside])) < 0.1
    assert abs(np.median(relief[inside])) < 0.45
    assert np.percentile(relief[inside], 95) < np.percentile(woven[inside], 5)


@OVERS
def test_a_braid_is_followed_down_a_taper_and_towards_the_flanks(over: int) -> None:
    drawn = scene(Braid(over=over), Shape(260, 360, is_round=True, taper=0.25))
    windows = tracked(drawn)
    side = np.abs(windows.x - drawn.mask.shape[1] / 2)
    for place in (windows.y < 130, windows.y > 290, side > 80):
        assert np.median(order(windows)[place]) > 1.2


FADES: dict[str, Fade] = {
    "left half": lambda across, _: np.where(across < 0, 0.3, 1.0),
    "distal half": lambda _, along: np.where(along < 0.5, 1.0, 0.3),
    "slope": lambda _, along: 1 - 0.8 * along,
    "spot": lambda across, along: np.where(np.hypot(130 * across, 360 * along - 180) < 30, 0.1, 1),
}


@OVERS
@pytest.mark.parametrize("name", FADES)
def test_contrast_follows_the_fade_map(over: int, name: str) -> None:
    """Contrast fades by the map, variance by its square; against the same braid unfaded.

    A window holds four pitches: three repeats of a plain braid across, but one of a 3/3, where at
    the fading's edge it matters which part of the repeat is hidden.
    """
    drawn = scene(Braid(over=over), fade=FADES[name])
    windows, full = tracked(drawn), unfaded(over)[1]
    inside = middle(drawn, windows)
    ratio = (weave_variance(windows) / weave_variance(full))[inside]
    error = np.sqrt(np.maximum(ratio, 0)) - np.sqrt(left_of(drawn, windows)[inside])
    assert np.abs(error).max() < 0.13
    assert np.percentile(np.abs(error), 90) < 0.04
    assert abs(np.median(error)) < 0.005


@OVERS
def test_a_rich_area_reads_no_weave_of_its_neighbours(over: int) -> None:
    """The lattice is carried into the faded half, not searched there: nothing comes back."""
    drawn = scene(Braid(over=over), fade=lambda _, along: np.where(along < 0.5, 1.0, 0.0))
    windows = tracked(drawn)
    clear = middle(drawn, windows) & (left_of(drawn, windows) < 1e-6)
    full = np.median(weave_variance(unfaded(over)[1]))
    assert clear.sum() > 100
    assert np.abs(weave_variance(windows)[clear]).max() < 0.005 * full
    assert abs(np.median(order(windows)[clear])) < 0.2


def test_the_noise_above_the_band_tells_the_noise_within_it() -> None:
    """White noise: the variance within the annulus is all noise, at any strength."""
    for sigma in (0.004, 0.02):
        view = View(blur=0, noise=sigma)
        windows = tracked(scene(Braid(amplitude=1e-6), view=view))
        assert np.median(windows.noise / windows.variance) == pytest.approx(1, abs=0.05)


def test_a_veil_and_an_exposure_change_the_variance_as_they_must() -> None:
    """Closed form: exposure leaves it, a veil of g leaves 1 / (1 + g) squared."""
    plain, dark, veiled = (
        weave_variance(tracked(scene(Braid(), view=view)))
        for view in (View(), View(exposure=0.5), View(veil=0.4))
    )
    assert np.median(dark / plain) == pytest.approx(1, abs=0.025)  # 0.02 of it: the dark floor
    assert np.median(veiled / plain) == pytest.approx(1 / 1.4**2, rel=0.02)


@OVERS
def test_the_rim_reads_as_the_middle_does(over: int) -> None:
    """A window half off the part holds half the texture; what it misses is made up for."""
    drawn = scene(Braid(over=over), Shape(260, 360))
    windows = tracked(drawn)
    rows = np.flatnonzero(drawn.mask.any(1))
    depth = np.minimum(windows.y - rows[0], rows[-1] - windows.y)
    rim = (depth < 10) & (np.abs(windows.x - drawn.mask.shape[1] / 2) < 90)
    variance = weave_variance(windows)
    inside = np.median(variance[middle(drawn, windows)])
    assert rim.sum() > 10
    assert np.median(variance[rim]) / inside == pytest.approx(1.07, abs=0.22)


def test_a_part_smaller_than_a_window_has_no_windows() -> None:
    windows = tracked(scene(Braid(pitch=40.0), Shape(90, 120)))
    assert len(windows.x) == len(windows.y) == len(windows.variance) == 0
