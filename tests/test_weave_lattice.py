"""The lattice of braids whose pitch, angle and interlacing are known, and of what is no braid."""

from dataclasses import replace
from functools import cache
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scenes import BODY, Braid, Scene, Shape, View, draw, relief
from skimage import data

from satcheck.light import linear_light
from satcheck.trust.doubt import LEAST_WEAVE
from satcheck.weave.lattice import NODES, Lattice, _strength, find_lattice

BODY_SHAPE = Shape(300, 330, is_round=True)
SEEN = View(noise=0.01)  # a twentieth of the body's light


def braid(over: int, pitch: float = 10.0, angle: float = 42.0, known: bool = False) -> Lattice:
    """Return the lattice found on a drawn braid of 10 % contrast."""
    rng = np.random.default_rng(round(100 * pitch + angle))
    frame = draw(rng, Braid(pitch, angle, over), BODY_SHAPE, SEEN).frame()
    found = find_lattice(frame, pitch if known else None)
    assert found is not None
    return found


def strip(luminance: NDArray[np.floating]) -> Lattice | None:
    """Return what is found on a strip cut from any picture."""
    mask = np.zeros(luminance.shape, bool)
    mask[20:-20, 90:-90] = True
    light = luminance.astype(float)
    return find_lattice(Scene(light, mask, np.ones(mask.shape), Braid()).frame())


@given(st.sampled_from([1, 2, 3]), st.floats(4, 40), st.floats(30, 56))
def test_the_repeat_is_that_of_the_tows_geometry(over: int, pitch: float, angle: float) -> None:
    """Both tow families, pitch apart, must fall on nodes: (over, 1) is a tow's own wave vector."""
    across, along = Lattice(pitch, angle, over, 1.0).repeat
    wave = np.array([over / across, 1 / along])
    assert np.hypot(*wave) == pytest.approx(1 / pitch)
    assert np.degrees(np.arctan2(wave[1], wave[0])) == pytest.approx(angle)


@pytest.mark.parametrize("over", [1, 2, 3])
def test_the_nodes_hold_the_power_of_a_drawn_braid(over: int) -> None:
    """Fourier's sum over one repeat, drawn without the table of nodes; a shifted table loses it."""
    y, x = (np.mgrid[:240, :240] + 0.5) / 240
    tone = relief(x, y, Braid(over=over))
    power = np.abs(np.fft.fft2(tone - tone.mean())) ** 2
    nodes = {(sign * i, j) for i, j, _ in NODES[over] for sign in (1, -1)}
    nodes |= {(i, -j) for i, j in nodes}
    assert sum(power[j, i] for i, j in nodes) > 0.75 * power.sum()


@pytest.mark.parametrize("pitch", [1.0, 3.9, 60.0, 400.0])
@pytest.mark.filterwarnings("error")
def test_a_told_pitch_that_no_window_can_show_finds_nothing(pitch: float) -> None:
    frame = draw(np.random.default_rng(1), Braid(), BODY_SHAPE, SEEN).frame()
    assert find_lattice(frame, 10.0) is not None
    assert find_lattice(frame, pitch) is None


@pytest.mark.parametrize("seed", [1, 5])
@pytest.mark.parametrize("shown", [0.08, 0.2])
def test_a_told_pitch_is_kept_where_weave_shows_at_the_narrow_end(seed: int, shown: float) -> None:
    """There it is another: taken for that of the middle, it was corrected by the taper."""
    tapered = replace(BODY_SHAPE, taper=0.6, length=420)
    scene = draw(
        np.random.default_rng(seed), Braid(10.0), tapered, SEEN,
        lambda _, along: np.where(along > 0.6, 1.0, shown),
    )  # fmt: skip
    found = find_lattice(scene.frame(), 10.0)
    assert found is not None
    assert found.pitch == pytest.approx(10.0, rel=0.05)


@pytest.mark.parametrize("angle", [38, 42, 46])
@pytest.mark.parametrize("pitch", [8.5, 10, 11.5])
def test_a_plain_braid_is_found_without_a_hint(pitch: float, angle: float) -> None:
    found = braid(1, pitch, angle)
    assert found.over == 1
    assert found.pitch == pytest.approx(pitch, rel=0.08)
    assert found.angle == pytest.approx(angle, abs=4)
    assert found.strength > 1.2


@pytest.mark.parametrize("over", [1, 2, 3])
@pytest.mark.parametrize("angle", [38, 46])
def test_a_known_pitch_is_kept_and_gives_the_angle(over: int, angle: float) -> None:
    found = braid(over, 10.0, angle, known=True)
    assert found.pitch == pytest.approx(10, rel=0.05)
    assert found.angle == pytest.approx(angle, abs=6)
    assert found.strength > 1.2


def no_weave() -> dict[str, NDArray[np.floating]]:
    rng = np.random.default_rng(3)
    y, x = np.mgrid[:440, :480]
    return {
        "noise": BODY + rng.normal(0, 0.02, x.shape),
        "faint noise": BODY + rng.normal(0, 0.002, x.shape),
        "relief": draw(rng, Braid(aperiodic=True), Shape(320, 380), SEEN).luminance,
        "constant": np.full(x.shape, BODY),
        "black": np.zeros(x.shape),
        "ramp": 0.05 + y / 1000 + x / 4000,
    }


@pytest.mark.parametrize("name", no_weave())
def test_where_there_is_no_weave_none_is_found(name: str) -> None:
    """A search for the best of thousands of lattices reads up to 0.3 in noise; a braid over 1.2."""
    found = strip(no_weave()[name])
    assert found is None or abs(found.strength) < 0.45


@pytest.mark.parametrize("over", [1, 2, 3])
def test_power_that_is_everywhere_scores_nothing(over: int) -> None:
    everywhere = np.full((128, 129), 1.7, np.float32)
    for pitch, angle in product((8.0, 10.0, 13.0), (35.0, 45.0)):
        assert _strength(everywhere, pitch, angle, over) == pytest.approx(0, abs=1e-6)


@cache
def texture(name: str) -> float:
    """Return the strength on a photographed texture that scikit-image brings along."""
    found = strip(linear_light(getattr(data, name)()))
    assert found is not None
    return found.strength


def test_photographed_brick_has_a_lattice_and_gravel_and_grass_have_none() -> None:
    """A running bond repeats on a centred rectangular lattice, though no braid's; the rest do not.

    Pictures of scikit-image's data module.
    """
    assert texture("brick") > LEAST_WEAVE
    assert max(texture("gravel"), texture("grass")) < LEAST_WEAVE


def test_a_part_too_small_for_three_windows_has_no_lattice() -> None:
    small = draw(np.random.default_rng(0), Braid(4.0), Shape(14, 60), View())
    assert find_lattice(small.frame()) is None
