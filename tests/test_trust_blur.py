"""How soft a photo is, at edges whose blur is known."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from satcheck.light import encode_srgb
from satcheck.trust.blur import Blur, _band, _within, photo_blur
from satcheck.trust.doubt import SHAKEN, SOFT_PIXELS

F32 = NDArray[np.float32]
Bool = NDArray[np.bool_]

SIDE, FINE = 400, 4  # px of a picture; samples a pixel in which scenes are drawn before their blur
AROUND = 500  # px of plain ground beyond, so that the band beside the outline is as in a photo
LIGHT = 0.5


def places(turn: float, fine: int) -> tuple[F32, F32]:
    """Return how far places lie from the middle, across and along a direction, in pixels."""
    grid = (np.mgrid[: SIDE * fine, : SIDE * fine] + 0.5) / fine - SIDE / 2
    angle = np.radians(turn)
    across = np.cos(angle) * grid[1] + np.sin(angle) * grid[0]
    return across.astype(np.float32), (np.cos(angle) * grid[0] - np.sin(angle) * grid[1])


def square(turn: float) -> Bool:
    """Return a square of half the picture's width, turned by degrees about the middle."""
    across, along = places(turn, 1)
    return np.pad(np.maximum(np.abs(across), np.abs(along)) < SIDE / 4, AROUND)


def seen(
    turn: float,
    sigma: float,
    step: float = 0.5,
    track: F32 | None = None,
    noise: float = 0.0,
) -> F32:
    """Return the square's luminance under a blur (px) and a shake's track.

    ``step`` is how much darker the ground is, as a share of the square's light.
    """
    inside = np.maximum(*np.abs(places(turn, FINE))) < SIDE / 4
    light = np.where(inside, LIGHT, LIGHT * (1 - step)).astype(np.float32)
    light = light if track is None else np.asarray(cv2.filter2D(light, -1, track))
    light = np.asarray(cv2.GaussianBlur(light, (0, 0), sigma * FINE) if sigma else light)
    pixels = np.asarray(cv2.resize(light, (SIDE, SIDE), interpolation=cv2.INTER_AREA))
    rng = np.random.default_rng(1)
    pixels = pixels + rng.normal(0, noise, pixels.shape).astype(np.float32)
    return np.pad(pixels, AROUND, "edge")


def photo(luminance: F32) -> NDArray[np.uint8]:
    """Return the picture as a grey photo, in eight-bit sRGB."""
    return np.repeat(encode_srgb(luminance)[..., None], 3, 2)


def blur_of(picture: F32, turn: float) -> Blur:
    """Return the blur of light that was not rounded to a photo's codes: what the method can do."""
    near = _band(square(turn))
    assert near is not None
    found = _within(picture[near[0]], near[1])
    assert found is not None
    return found


@pytest.mark.parametrize("turn", [0, 20, 45])
@pytest.mark.parametrize("sigma", [1.0, 1.5, 2.0, 3.0, 4.0])
def test_the_blur_of_a_gaussian_edge_is_recovered(sigma: float, turn: float) -> None:
    """Re-blur ratio: Zhuo & Sim 2011, "Defocus map estimation from a single image"."""
    found = blur_of(seen(turn, sigma), turn)
    assert found.roundness == pytest.approx(1, abs=0.1)
    assert found.most == pytest.approx(sigma, rel=0.07)


@pytest.mark.parametrize("enlarged", [1, 4, 6])
@pytest.mark.parametrize("sigma", [1.0, 2.0, 4.0])
def test_a_large_part_is_as_soft_in_its_own_pixels(sigma: float, enlarged: int) -> None:
    """A photo of more pixels, looked at with fewer of them: its blur is given in its own."""
    pixels = encode_srgb(seen(20, sigma)[AROUND - 50 : -AROUND + 50, AROUND - 50 : -AROUND + 50])
    solid = square(20)[AROUND - 50 : -AROUND + 50, AROUND - 50 : -AROUND + 50]
    size = (enlarged * pixels.shape[1], enlarged * pixels.shape[0])
    large = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_CUBIC))
    outline = np.asarray(cv2.resize(solid.view(np.uint8), size, interpolation=cv2.INTER_NEAREST))
    found = photo_blur(np.repeat(large[..., None], 3, 2), outline > 0)
    assert found is not None
    assert found.most == pytest.approx(enlarged * sigma, rel=0.12)


@pytest.mark.parametrize("step", [-0.4, -0.1, 0.05, 0.1, 0.3, 0.5])
def test_the_blur_does_not_depend_on_the_height_of_the_step(step: float) -> None:
    """A light part before a dark ground, or a dark one before a light."""
    found = blur_of(seen(20, 2.0, step), 20)
    assert found.most == pytest.approx(2, rel=0.1)


@pytest.mark.parametrize("exposure", [0.1, 1.8])
def test_the_blur_does_not_depend_on_exposure(exposure: float) -> None:
    found = blur_of(np.float32(exposure) * seen(20, 2.0), 20)
    assert found.most == pytest.approx(2, rel=0.1)


@pytest.mark.parametrize("turn", [0, 20, 45])
def test_a_photo_sharp_to_the_pixel_is_not_called_soft(turn: float) -> None:
    """Its edges are a pixel wide, and not a Gaussian."""
    assert blur_of(seen(turn, 0.0), turn).most < 0.5 * SOFT_PIXELS


@pytest.mark.parametrize("sigma", [1.0, 2.0, 4.0])
def test_a_sensors_noise_does_not_hide_the_blur(sigma: float) -> None:
    assert blur_of(seen(20, sigma, noise=0.003), 20).most == pytest.approx(sigma, rel=0.15)


@pytest.mark.parametrize("turn", [0, 20, 45, 110])
def test_a_shaken_photo_is_soft_along_the_shake_alone(turn: float) -> None:
    """A straight even track of 9 px has the standard deviation 9 / sqrt(12) (uniform law)."""
    across, along = (place[SIDE // 2 * FINE - 40 :, SIDE // 2 * FINE - 40 :][:80, :80]
                     for place in places(turn, FINE))  # fmt: skip
    track = ((np.abs(across) < 4.5) & (np.abs(along) < 0.5)).astype(np.float32)
    found = blur_of(seen(turn, 1.0, track=track / track.sum(), noise=0.001), turn)
    assert found.most == pytest.approx(np.hypot(1, 9 / np.sqrt(12)), rel=0.2)
    assert found.roundness == pytest.approx(1 / found.most, rel=0.25)
    assert found.roundness < SHAKEN


@pytest.mark.parametrize("noise", [0.001, 0.003, 0.01])
@pytest.mark.parametrize("turn", [0, 20, 45])
def test_a_photo_out_of_focus_is_not_called_shaken(turn: float, noise: float) -> None:
    """Noise has sharp edges in every direction, and they are no edges of the part."""
    found = blur_of(seen(turn, 3.0, noise=noise), turn)
    assert found.roundness > SHAKEN


def test_where_no_edge_is_seen_nothing_is_told() -> None:
    """An even picture, and a part that is not there."""
    even = np.full_like(seen(20, 1.0), LIGHT)
    assert photo_blur(photo(even), square(20)) is None
    assert photo_blur(photo(seen(20, 1.0)), np.zeros_like(square(20))) is None
    assert photo_blur(photo(seen(20, 1.0)), square(20)) is not None


def test_an_outline_beside_the_edge_finds_it_still() -> None:
    """Outlines lie some pixels off the true edge: a band of 0.012 of the long side is searched."""
    found = photo_blur(photo(seen(20, 2.0)), np.roll(square(20), 8, 1))
    assert found is not None
    assert found.most == pytest.approx(2, rel=0.1)


@pytest.mark.parametrize("turn", [0, 20])
def test_a_long_shake_is_not_outvoted_by_the_edges_along_it(turn: float) -> None:
    """The edges across a shake are its softest: a 12 px track must not pass for a sharp photo."""
    across, along = (place[SIDE // 2 * FINE - 52 :, SIDE // 2 * FINE - 52 :][:104, :104]
                     for place in places(turn, FINE))  # fmt: skip
    track = ((np.abs(across) < 6) & (np.abs(along) < 0.5)).astype(np.float32)
    found = blur_of(seen(turn, 1.0, track=track / track.sum(), noise=0.001), turn)
    assert found.most > 2.5
    assert found.roundness < SHAKEN


@pytest.mark.parametrize("noise", [0.003, 0.01, 0.03])
def test_noise_does_not_pass_for_the_edges_across_a_long_shake(noise: float) -> None:
    """At the finest smoothing its grain outnumbers them; 14 px even have the deviation 4 px."""
    track = np.zeros((14 * FINE + 1, 14 * FINE + 1), np.float32)
    track[:, 7 * FINE] = 1 / len(track)
    found = blur_of(seen(0, 0.6, track=track, noise=noise), 0)
    assert found.most == pytest.approx(np.hypot(0.6, 14 / np.sqrt(12)), rel=0.2)
    assert found.roundness < SHAKEN
