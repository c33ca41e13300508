"""Local contrast cues against closed forms, kernels and a reference library."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scenes import Braid, relief

from satcheck.light import luminance
from satcheck.weave.pooling import Pool
from satcheck.weave.spectrum import contrast
from satcheck.weave.texture import (
    BANDS,
    amplitude,
    bands,
    low_quantile,
    noise_gain,
    noise_level,
    tint,
    two_way,
    without_noise,
)

F32 = NDArray[np.float32]

SIZE = 160
MASK = np.ones((SIZE, SIZE), bool)
PIXELS = np.arange(SIZE)
POOL = Pool(MASK, PIXELS, PIXELS)
PITCH = 12.0
INNER = np.s_[40:-40, 40:-40]


def wave(cycles_per_pitch: float, degrees: float, height: float = 0.1) -> F32:
    """Return a sinusoid whose wave vector lies at an angle from the x axis."""
    y, x = np.mgrid[:SIZE, :SIZE]
    turn = np.radians(degrees)
    phase = 2 * np.pi * cycles_per_pitch / PITCH * (x * np.cos(turn) + y * np.sin(turn))
    return np.asarray(height * np.sin(phase), np.float32)


def noise(spread: float, seed: int = 4) -> F32:
    return np.random.default_rng(seed).normal(0, spread, MASK.shape).astype(np.float32)


def braid(contrast: float = 0.1) -> F32:
    """Return a plain braid's tone with an RMS contrast, its axis upright."""
    y, x = np.mgrid[:SIZE, :SIZE] + 0.5
    made = Braid(pitch=PITCH)
    wide, long = made.repeat
    tone = relief(x / wide, y / long, made)
    return np.asarray(contrast * (tone - tone.mean()) / tone.std(), np.float32)


@pytest.mark.parametrize("name", BANDS)
@pytest.mark.parametrize("pitch", [12.0, 20.0])
def test_the_noise_gain_is_the_norm_of_the_bands_kernel(name: str, pitch: float) -> None:
    """The band of a single bright pixel, squared and summed, at a working pitch."""
    point = np.zeros((301, 301), np.float32)
    point[150, 150] = 1
    kernel = bands(point, np.ones(point.shape, bool), pitch)[name]
    assert noise_gain(pitch, name) == pytest.approx(np.linalg.norm(kernel), rel=2e-3)


@pytest.mark.parametrize("name", BANDS)
def test_a_band_passes_a_wave_as_two_gaussians_would(name: str) -> None:
    """exp(-2 (pi f a)^2) - exp(-2 (pi f b)^2) for sigmas a and b."""
    a, b = BANDS[name]
    for frequency in (0.4, 0.8, 1.3):
        passed = bands(wave(frequency, 30), MASK, PITCH)[name][INNER]
        square = -2 * (np.pi * frequency) ** 2
        gain = np.exp(square * a * a) - np.exp(square * b * b)
        assert passed.std() * np.sqrt(2) == pytest.approx(0.1 * gain, rel=0.04)


def test_the_coarser_band_holds_the_coarser_wave() -> None:
    for name, frequency in (("coarse", 0.4), ("fine", 1.6)):
        passed = {n: bands(wave(frequency, 0), MASK, PITCH)[n][INNER].std() for n in BANDS}
        assert max(passed, key=lambda n: passed[n]) == name


def test_the_amplitude_of_noise_is_its_standard_deviation() -> None:
    assert amplitude(noise(0.05), POOL, PITCH)[INNER].mean() == pytest.approx(0.05, rel=0.03)


@pytest.mark.parametrize("factor", [0.1, 0.5, 3.0])
def test_an_amplitude_is_proportional_to_the_contrast(factor: float) -> None:
    one, other = (amplitude(bands(braid(c), MASK, PITCH)["medium"], POOL, PITCH)
                  for c in (0.1, 0.1 * factor))  # fmt: skip
    assert other[INNER] == pytest.approx(factor * one[INNER], rel=1e-4)


@pytest.mark.parametrize("degrees", [0, 30, 45, 90, 135])
def test_a_single_direction_is_told_from_a_weave(degrees: float) -> None:
    """A fold as strong as the weave has a tenth of its contrast across; turned as you like."""
    across, coherence = two_way(bands(wave(0.8, degrees), MASK, PITCH)["coarse"],
                                POOL, PITCH, "coarse")  # fmt: skip
    woven, two = two_way(bands(braid(), MASK, PITCH)["coarse"], POOL, PITCH, "coarse")
    assert coherence[INNER].min() > 0.97
    assert two[INNER].max() < 0.5
    assert across[INNER].max() < woven[INNER].min() + np.log(0.25)


def test_two_crossed_waves_alike_have_no_main_direction() -> None:
    crossed = wave(0.8, 45) + wave(0.8, -45)
    _, coherence = two_way(bands(crossed, MASK, PITCH)["coarse"], POOL, PITCH, "coarse")
    assert coherence[INNER].mean() < 0.1


@pytest.mark.parametrize("name", BANDS)
def test_the_texture_across_is_the_slope_of_either_wave_over_the_bands_finer_sigma(
    name: str,
) -> None:
    """Height h, k radians a pixel: h k sigma / sqrt(2); Sobel's mask takes 3 % of a slope here."""
    crosswise, _ = two_way(wave(0.6, 45) + wave(0.6, -45), POOL, PITCH, name)
    slope = 0.1 * 2 * np.pi * 0.6 / PITCH / np.sqrt(2)
    expected = np.log(slope * BANDS[name][0] * PITCH)
    assert crosswise[INNER].mean() == pytest.approx(expected, abs=0.05)


def test_noise_has_no_main_direction_and_nothing_has_none() -> None:
    """Nothing at all must give 0, not a division by zero."""
    _, coherence = two_way(bands(noise(0.05), MASK, PITCH)["coarse"], POOL, PITCH, "coarse")
    assert np.median(coherence[INNER]) < 0.6
    flat = np.zeros(MASK.shape, np.float32)
    crosswise, none = two_way(flat, POOL, PITCH, "coarse")
    assert (none == 0).all()
    assert np.isfinite(crosswise).all()


def coloured(relief: float, colour: float, lamp: tuple[float, ...] = (0.3, 0.25, 0.2)) -> F32:
    """Return linear light: relief that shades all channels alike, across it blue against red."""
    shade, hue = wave(0.8, 0, relief), wave(0.8, 90, colour)
    red, green, blue = lamp
    return np.stack([red * np.exp(shade + hue), green * np.exp(shade), blue * np.exp(shade - hue)],
                    2).astype(np.float32)  # fmt: skip


def tint_of(linear: F32, mask: NDArray[np.bool_] = MASK) -> F32:
    flat = contrast(luminance(linear), mask, PITCH)
    pool = Pool(mask, PIXELS, PIXELS)
    return tint(linear, bands(flat, mask, PITCH)["coarse"], pool, PITCH)


@pytest.mark.parametrize(("relief", "colour"), [(0.1, 0.05), (0.05, 0.02), (0.2, 0.01)])
def test_the_tint_is_the_colours_contrast_over_the_lights(relief: float, colour: float) -> None:
    """Red over blue swings by 2 c, red over green by c: together c sqrt(5), against the shade.

    Of light the hue moves what is red less what is blue, as the channels' shares have it.
    """
    red, green, blue = (w * k for w, k in zip((0.2126, 0.7152, 0.0722), (0.3, 0.25, 0.2),
                                              strict=True))  # fmt: skip
    lifted = colour * (red - blue) / (red + green + blue)
    expected = np.log(np.sqrt(5) * colour / np.hypot(relief, lifted))
    assert tint_of(coloured(relief, colour))[INNER].mean() == pytest.approx(expected, abs=0.05)


def test_a_dimmer_or_redder_lamp_and_one_that_shows_all_contrast_less_leave_the_tint() -> None:
    """A grey weave under the same lamps has next to none."""
    first = tint_of(coloured(0.1, 0.03))[INNER]
    for other in (
        coloured(0.1, 0.03, (0.15, 0.125, 0.1)),
        coloured(0.1, 0.03, (0.36, 0.25, 0.15)),
        coloured(0.05, 0.015),
    ):
        assert tint_of(other)[INNER] == pytest.approx(first, abs=0.1)
    assert tint_of(coloured(0.1, 0.0))[INNER].max() < first.min() - 3


def test_relief_that_resin_levels_raises_the_tint_by_as_much() -> None:
    dry, full = (tint_of(coloured(height, 0.01))[INNER].mean() for height in (0.2, 0.05))
    assert full - dry == pytest.approx(np.log(4), abs=0.05)


def test_what_lies_beside_the_laminate_lends_it_no_colour() -> None:
    """A strip of blue tape; without the mask its edge would be the strongest colour of all."""
    mask = MASK.copy()
    mask[:, 100:] = False
    plain = coloured(0.1, 0.03)
    taped = plain.copy()
    taped[~mask] = (0.02, 0.05, 0.4)
    beside = np.s_[40:-40, 80:98]
    assert tint_of(taped, mask)[beside] == pytest.approx(tint_of(plain, mask)[beside], abs=0.02)
    assert tint_of(taped)[beside].max() > tint_of(plain)[beside].max() + 1


@pytest.mark.parametrize("spread", [0.003, 0.01, 0.05])
@pytest.mark.parametrize("contrast", [0.0, 0.1])
def test_the_noise_level_is_found_beside_a_weave(spread: float, contrast: float) -> None:
    """The calmest tenth lies a little below the mean; tow edges through a lens add some.

    What the tow edges add is a few per cent of what a band shows of the weave.
    """
    light = np.full(MASK.shape, -1.6, np.float32)
    seen = cv2.GaussianBlur(braid(contrast), (0, 0), 0.8)
    found = float(noise_level(noise(spread) + seen, POOL, light, PITCH).mean())
    assert 0.8 * spread < found < 1.05 * spread + 0.1 * contrast
    shown = amplitude(bands(braid(contrast), MASK, PITCH)["medium"], POOL, PITCH)[INNER].mean()
    assert (found - spread) * noise_gain(PITCH, "medium") <= 0.03 * shown


def test_the_noise_level_follows_the_brightness() -> None:
    """Half of the picture three times as noisy, and darker, as a sensor's is."""
    right = np.arange(SIZE) >= SIZE // 2
    light = np.tile(np.where(right, -3.0, -1.0), (SIZE, 1)).astype(np.float32)
    uneven = noise(1.0) * np.where(right, 0.03, 0.01).astype(np.float32)
    found = noise_level(uneven, POOL, light, PITCH)
    assert found[:, 120:].mean() / found[:, :40].mean() == pytest.approx(3, rel=0.15)


def test_a_part_too_small_to_tell_its_noise_has_the_least() -> None:
    dot = np.zeros(MASK.shape, bool)
    dot[80:84, 80:84] = True
    assert (
        noise_level(
            noise(0.1), Pool(dot, PIXELS, PIXELS), np.zeros(MASK.shape, np.float32), PITCH
        ).max()
        < 1e-3
    )


@pytest.mark.parametrize("name", ["medium", "coarse"])
@pytest.mark.parametrize("spread", [0.02, 0.1])
def test_a_bands_amplitude_less_its_noise_is_the_weaves(name: str, spread: float) -> None:
    """The noise known: what is left is what the clean picture shows; in quadrature."""
    clean = amplitude(bands(braid(), MASK, PITCH)[name], POOL, PITCH)
    seen = amplitude(bands(braid() + noise(spread), MASK, PITCH)[name], POOL, PITCH)
    level = np.full_like(seen, spread * noise_gain(PITCH, name))
    left = without_noise(seen, level)[INNER].mean()
    assert left == pytest.approx(clean[INNER].mean(), rel=0.07)
    assert left < seen[INNER].mean()


@given(st.floats(0, 1), st.floats(0, 1))
def test_what_is_left_of_noise_is_small_but_never_nothing(measured: float, level: float) -> None:
    """A logarithm follows: nothing would be minus infinity."""
    left = float(without_noise(np.array([measured], np.float32), np.array([level], np.float32))[0])
    assert left > 0
    assert left <= max(measured, 0.25 * level) + 2e-4
    if measured > 2 * level:
        assert left == pytest.approx(np.sqrt(measured**2 - level**2), abs=2e-4)


@settings(max_examples=40)
@given(st.integers(0, 2**32 - 1), st.integers(1, 3), st.sampled_from([0.0, 0.3, 0.5, 1.0]))
def test_a_low_quantile_is_numpys_over_the_usable_neighbours(
    seed: int, reach: int, share: float
) -> None:
    rng = np.random.default_rng(seed)
    values = rng.normal(0, 1, (9, 7)).astype(np.float32)
    usable = rng.random((9, 7)) < 0.7
    found = low_quantile(values, usable, reach, share)
    for row, column in np.ndindex(values.shape):
        near = np.s_[
            max(0, row - reach) : row + reach + 1, max(0, column - reach) : column + reach + 1
        ]
        known = values[near][usable[near]]
        expected = np.quantile(known, share, method="lower") if known.size else np.inf
        assert found[row, column] == np.float32(expected)


def test_a_glint_does_not_reach_a_low_quantile() -> None:
    calm = np.zeros((15, 15), np.float32)
    glint = calm.copy()
    glint[7, 6:9] = 9
    assert (low_quantile(glint, calm == 0, 3, 0.3) == 0).all()
    assert low_quantile(glint, calm == 0, 3, 1.0).max() == 9
