"""The weave's own blur, on spectra in closed form and on drawn weaves."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scenes import Braid, View, draw

from satcheck.flags import Reason
from satcheck.trust.blur import Blur
from satcheck.trust.doubt import SOFT_WEAVE, doubt
from satcheck.trust.harmonics import BLURS, EDGES, upper_blur, weave_blur
from satcheck.weave.lattice import Lattice
from satcheck.weave.measure import Weave
from satcheck.weave.spectrum import contrast

RADIUS = np.sqrt(EDGES[1:] * EDGES[:-1])
PITCH = 12.0
F64 = NDArray[np.float64]


def density(blur: float, slope: float = 2.0, height: float = 0.1, noise: float = 1e-4) -> F64:
    """Return a relief's power under a Gaussian blur (pitches), whose MTF is squared, and noise."""
    mtf = np.exp(-2 * (np.pi * blur * RADIUS) ** 2)
    return np.asarray(height * RADIUS**-slope * mtf**2 + noise)


@given(st.floats(0, 0.4), st.floats(1.5, 3.5), st.floats(-4, -1))
@settings(max_examples=40, deadline=None)
def test_the_bound_holds_whatever_slope_and_noise(blur: float, slope: float, noise: float) -> None:
    """The cell of the blurs' grid that holds the truth counts as covered."""
    assert upper_blur(density(blur, slope, noise=10**noise)) >= blur - BLURS[1]


@pytest.mark.parametrize("fade", [1.0, 0.3, 0.1])
def test_a_sharp_weave_is_known_to_be_sharp_however_faint(fade: float) -> None:
    """Resin fades every harmonic alike: the power by the fade's square."""
    assert upper_blur(density(0.05, height=0.1 * fade**2, noise=1e-5)) < SOFT_WEAVE


@pytest.mark.parametrize("blur", [0.2, 0.3, 0.4])
@pytest.mark.parametrize("fade", [1.0, 0.3])
def test_a_blurred_weave_is_never_certified(blur: float, fade: float) -> None:
    assert upper_blur(density(blur, height=0.1 * fade**2)) > SOFT_WEAVE


@pytest.mark.parametrize(("blur", "slope"), [(0.15, 2.0), (0.2, 2.0), (0.3, 3.0), (0.4, 3.0)])
def test_the_bound_is_in_pitches_and_lies_close_to_a_blur_that_shows(
    blur: float, slope: float
) -> None:
    """Were the MTF not squared in the power, the bound would lie 1.4 times as high."""
    assert upper_blur(density(blur, slope, noise=1e-9)) == pytest.approx(blur + 0.02, abs=0.035)


def test_a_weave_below_its_noise_is_not_certified_sharp() -> None:
    """The trap: nothing but noise falls off as little as the sharpest weave."""
    assert upper_blur(np.full(len(RADIUS), 1e-3)) > SOFT_WEAVE
    assert upper_blur(density(0.0, height=1e-5, noise=1e-3)) > SOFT_WEAVE


@given(st.floats(1e-6, 1e3))
@settings(max_examples=20, deadline=None)
def test_the_bound_does_not_depend_on_the_unit_of_contrast(unit: float) -> None:
    found = upper_blur(unit**2 * density(0.1, noise=1e-3))
    assert found == pytest.approx(upper_blur(density(0.1, noise=1e-3)), abs=1e-6) or unit < 1e-3


def drawn(blur: float) -> Weave:
    """Return a relief that repeats nowhere, blurred by pitches, in a noisy picture."""
    scene = draw(
        np.random.default_rng(3),
        Braid(pitch=PITCH, amplitude=0.2),
        view=View(blur=blur * PITCH, noise=0.002),
    )
    frame = scene.frame()
    rows, columns = (np.arange(3, n, 6) for n in frame.laminate.shape)
    nothing = np.full((len(rows), len(columns)), np.nan, np.float32)
    lattice = Lattice(PITCH, 42, 1, 1.0)
    flat = contrast(frame.light, frame.laminate, PITCH)
    return Weave(frame, lattice, PITCH, columns, rows, nothing, nothing, nothing, {}, flat)


def test_a_drawn_weave_is_known_to_be_sharp_or_not() -> None:
    bounds = {blur: weave_blur(drawn(blur)) for blur in (0.05, 0.3)}
    assert bounds[0.05] is not None
    assert bounds[0.3] is not None
    assert bounds[0.05] < SOFT_WEAVE < bounds[0.3]


@pytest.mark.parametrize(
    ("blur", "edges", "reason"),
    [
        (0.05, Blur(0.7, 0.8), Reason.NONE),
        (0.3, Blur(0.7, 0.8), Reason.DENOISE),
        (0.3, None, Reason.FOCUS),
        (0.3, Blur(3.5, 0.8), Reason.FOCUS),
    ],
)
def test_a_soft_weave_between_sharp_edges_is_doubted(
    blur: float, edges: Blur | None, reason: Reason
) -> None:
    """Focus that lies behind the part, or noise reduction: edges alone would pass it."""
    weave = drawn(blur)
    soft = np.uint32(Reason.DENOISE | Reason.FOCUS | Reason.SHAKE)
    part = np.asarray(weave.at_cells(weave.frame.laminate), bool)
    found = doubt(weave, edges).reasons[part] & soft
    assert (found == np.uint32(reason)).all()


def test_without_a_lattice_or_room_for_a_window_nothing_is_told() -> None:
    weave = drawn(0.05)
    bare = replace(weave.frame, laminate=np.zeros_like(weave.frame.laminate))
    assert weave_blur(replace(weave, lattice=None)) is None
    assert weave_blur(replace(weave, frame=bare)) is None


def test_below_6_4_px_a_pitch_the_highest_ring_cannot_be_seen() -> None:
    """3.2 cycles a pitch are half a cycle a pixel there."""
    weave = drawn(0.05)
    assert weave_blur(replace(weave, pitch=6.3)) is None
    assert weave_blur(replace(weave, pitch=6.5)) is not None
