"""Between codes and light: the published transfer function, lightness, luminance and L*a*b*."""

import numpy as np
import pytest
from skimage.color import rgb2lab

from satcheck.light import (
    cielab,
    encode_srgb,
    lightness,
    linear_codes,
    linear_light,
    luminance,
)

# IEC 61966-2-1 transfer function; L* by CIE 15 for its white
SRGB_LINEAR_LIGHTNESS = [
    (0, 0.0, 0.0),
    (10, 0.0030353, 2.7417),  # the last code on the straight part
    (11, 0.0033465, 3.0229),  # the first on the power curve
    (64, 0.0512695, 27.0934),
    (118, 0.1811642, 49.6370),
    (119, 0.1844750, 50.0344),
    (128, 0.2158605, 53.5850),
    (188, 0.5028865, 76.2461),
    (200, 0.5775804, 80.6041),
    (254, 0.9911021, 99.6549),
    (255, 1.0, 100.0),
]


def test_linear_codes_are_linear_light_to_half_a_step() -> None:
    codes = np.arange(256, dtype=np.uint8).reshape(16, 16)
    steps = linear_codes(codes)
    assert steps.dtype == np.uint16
    assert (np.diff(steps.ravel().astype(int)) >= 19).all()  # no two codes become one
    assert np.abs(steps / 65535 - linear_light(codes)).max() <= 0.51 / 65535


@pytest.mark.parametrize(("code", "linear", "lstar"), SRGB_LINEAR_LIGHTNESS)
def test_linear_light_and_lightness_follow_their_standards(
    code: int, linear: float, lstar: float
) -> None:
    light = linear_light(np.full((2, 3, 3), code, np.uint8))
    assert light.dtype == np.float32
    assert light.shape == (2, 3, 3)
    np.testing.assert_allclose(light, linear, atol=6e-8)
    np.testing.assert_allclose(lightness(luminance(light)), lstar, atol=1e-4)


def test_lab_is_that_of_a_reference_library() -> None:
    """Every seventeenth code of each channel, against scikit-image (D65, sRGB)."""
    steps = np.arange(0, 256, 17, dtype=np.uint8)
    codes = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(len(steps), -1, 3)
    expected = rgb2lab(codes)
    np.testing.assert_allclose(cielab(linear_light(codes)), expected, atol=0.03)


@pytest.mark.parametrize("gain", [0.5, 1.0, 2.0])
def test_a_gain_on_the_codes_stops_at_white(gain: float) -> None:
    codes = np.arange(256, dtype=np.uint8)[None, :, None].repeat(3, 2)
    raised = np.minimum(gain * codes / 255, 1)
    expected = np.where(raised <= 0.04045, raised / 12.92, ((raised + 0.055) / 1.055) ** 2.4)
    np.testing.assert_allclose(linear_light(codes, gain), expected, atol=1e-6)


# CIE 15: the two branches meet at Y = (6/29)^3, L* = 8
@pytest.mark.parametrize(
    ("y", "lstar"), [(0.18, 49.4961), (0.5, 76.0693), (0.01, 8.9914), ((6 / 29) ** 3, 8.0)]
)
def test_lightness_of_known_luminances(y: float, lstar: float) -> None:
    assert float(lightness(y)) == pytest.approx(lstar, abs=1e-4)


# IEC 61966-2-1 inverse: 0.5 -> 187.52, 0.18 -> 117.65 of 255
@pytest.mark.parametrize(("linear", "code"), [(0.5, 188), (0.18, 118), (-0.2, 0), (1.7, 255)])
def test_encode_srgb_of_known_light(linear: float, code: int) -> None:
    assert encode_srgb(linear) == code


def test_every_code_survives_the_way_to_light_and_back() -> None:
    codes = np.arange(256, dtype=np.uint8)
    np.testing.assert_array_equal(encode_srgb(linear_light(codes)), codes)


def test_linear_light_keeps_any_shape() -> None:
    for shape in [(5,), (4, 5), (4, 3), (2, 4, 3), (0, 3)]:
        assert linear_light(np.zeros(shape, np.uint8)).shape == shape


def test_luminance_weighs_the_primaries_by_bt709() -> None:
    primaries = np.eye(3, dtype=np.float32)[None]
    np.testing.assert_allclose(luminance(primaries), [[0.2126, 0.7152, 0.0722]], rtol=1e-6)
