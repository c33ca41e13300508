"""Contrast and spectra against closed forms, scipy's spectra and photographed textures."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.signal import periodogram, welch
from scipy.signal.windows import hann as scipy_hann

from satcheck.weave.spectrum import blur, contrast, hann, masked_blur, power

F32 = NDArray[np.float32]
PITCH = 12.0
SIZE = 96


def grating(modulation: float, pitch: float = PITCH, angle: float = 0.6, size: int = 200) -> F32:
    """Return 1 + m sin along a direction in radians, of mean 1."""
    y, x = np.mgrid[:size, :size].astype(float)
    phase = 2 * np.pi * (x * np.cos(angle) + y * np.sin(angle)) / pitch
    return np.asarray(1 + modulation * np.sin(phase), np.float32)


def whole(picture: F32) -> NDArray[np.bool_]:
    return np.ones(picture.shape, bool)


def spectrum(picture: F32, corner: int = 40, size: int = SIZE, padded: int = SIZE) -> F32:
    """Return the spectrum of one window."""
    at = np.array([corner], np.intp)
    result: F32 = power(picture, at, at, size, padded)[0]
    return result


def variance(density: F32) -> float:
    """Integrate a stored half plane: its inner columns stand for their mirror images too."""
    inner = density[:, 1:-1].sum() * 2 + density[:, 0].sum() + density[:, -1].sum()
    return float(inner / density.shape[0] ** 2)


def visibility(luminance: F32) -> float:
    """Return RMS contrast by the whole chain: flattened, windowed, integrated."""
    return float(np.sqrt(variance(spectrum(contrast(luminance, whole(luminance), PITCH)))))


@pytest.mark.parametrize("m", [0.02, 0.05, 0.1, 0.2])
def test_a_sinusoid_has_rms_contrast_m_over_root_two(m: float) -> None:
    """Closed form: Michelson m, RMS m / sqrt(2); ln adds less than m squared, the floor 1 %."""
    assert visibility(0.2 * grating(m)) == pytest.approx(m / np.sqrt(2), rel=0.011 + m**2)


@pytest.mark.parametrize("m", [0.05, 0.2, 0.4])
def test_contrast_keeps_the_michelson_contrast(m: float) -> None:
    """Closed form: the log's range is ln((1 + m) / (1 - m)) = 2 artanh m."""
    flat = contrast(0.8 * grating(m), whole(grating(m)), PITCH)[40:160, 40:160]
    assert np.tanh((flat.max() - flat.min()) / 2) == pytest.approx(m, rel=0.01)


@settings(max_examples=20)
@given(st.floats(0.05, 4.0))
def test_exposure_leaves_contrast_unchanged(exposure: float) -> None:
    """Down to a body of linear 0.01, where the dark floor of 0.002 has to tell."""
    plain, exposed = visibility(0.2 * grating(0.1)), visibility(0.2 * exposure * grating(0.1))
    floor = (1 + 0.002 / 0.2) / (1 + 0.002 / (0.2 * exposure))
    assert exposed / plain == pytest.approx(floor, rel=0.002)


@pytest.mark.parametrize("veil", [0.1, 0.25, 0.5, 1.0])
def test_a_veil_lowers_contrast_by_its_share(veil: float) -> None:
    """Closed form: light of g times the body laid over it leaves 1 / (1 + g)."""
    ratio = visibility(0.2 * (grating(0.1) + np.float32(veil))) / visibility(0.2 * grating(0.1))
    assert ratio == pytest.approx(1 / (1 + veil), rel=0.01)


@pytest.mark.parametrize(("sigma", "left"), [(0.5, 0.951850), (0.7, 0.907808), (1.0, 0.820869)])
def test_blur_lowers_contrast_by_the_gaussian_mtf(sigma: float, left: float) -> None:
    """Closed form exp(-2 pi^2 sigma^2 f^2), here at 0.1 cycles per pixel."""
    sharp = 0.2 * grating(0.1, pitch=10)
    blurred = np.asarray(cv2.GaussianBlur(sharp, (0, 0), sigma), np.float32)
    assert visibility(blurred) / visibility(sharp) == pytest.approx(left, rel=0.01)


@pytest.mark.parametrize("sigma", [6.0, 7.5, 9.0, 20.0, 31.0])
@pytest.mark.parametrize("left", [0.2, 0.5, 0.8])
def test_a_wide_gaussian_on_fewer_pixels_errs_by_less_than_stated(
    sigma: float, left: float
) -> None:
    """Closed form exp(-2 pi^2 sigma^2 f^2), for the wave of which as much should be left."""
    wave = grating(1.0, pitch=np.pi * sigma / np.sqrt(-np.log(left) / 2), size=420) - 1
    soft, seen = blur(wave, sigma)[130:-130, 130:-130], wave[130:-130, 130:-130]
    assert (soft * seen).sum() / (seen**2).sum() == pytest.approx(left, rel=0.008)


def test_slow_shading_is_taken_out() -> None:
    y, x = np.mgrid[:200, :200] / 200
    shaded = (0.1 + 0.3 * x + 0.1 * y).astype(np.float32) * grating(0.1)
    assert visibility(shaded) == pytest.approx(visibility(0.2 * grating(0.1)), rel=0.02)


@pytest.mark.parametrize("pitches", [2, 3, 5, 8])
def test_the_local_mean_spans_a_gaussian_of_1_2_pitches(pitches: int) -> None:
    """Closed form: a wave of period k pitches keeps 1 - exp(-2 pi^2 (1.2 / k)^2)."""
    wave = grating(0.05, pitches * PITCH, 0.0, 480)
    flat = contrast(0.5 * wave, whole(wave), PITCH)[96:384, 96:384]
    left = flat.std() / np.log(wave[96:384, 96:384]).std()
    assert left == pytest.approx(1 - np.exp(-2 * (np.pi * 1.2 / pitches) ** 2), rel=0.02)


def test_the_outline_is_no_contrast() -> None:
    mask = np.zeros((200, 200), bool)
    mask[50:150, 60:140] = True
    picture = np.where(mask, 0.1, 0.9).astype(np.float32)
    assert np.abs(contrast(picture, mask, PITCH)).max() < 1e-3
    assert np.abs(contrast(picture, whole(picture), PITCH)).max() > 0.5
    assert masked_blur(picture, mask.astype(np.float32), 8.0)[mask] == pytest.approx(0.1, rel=1e-4)


@settings(max_examples=25)
@given(st.integers(0, 2**32 - 1), st.sampled_from([8, 31, 64]), st.sampled_from([64, 100]))
def test_the_density_integrates_to_the_windowed_variance(seed: int, size: int, padded: int) -> None:
    """Parseval's theorem, computed here in space: even sizes of the transform, any window."""
    picture = np.random.default_rng(seed).normal(3, 0.5, (64, 64)).astype(np.float32)
    tile = picture[:size, :size].astype(float)
    weighted = (tile - tile.mean()) * hann(size)
    expected = (weighted**2).sum() / (hann(size).astype(float) ** 2).sum()
    density = spectrum(picture, 0, size, padded)
    assert variance(density) == pytest.approx(expected, rel=1e-4)


def test_white_noise_of_variance_v_has_the_mean_v_and_the_median_v_ln_2() -> None:
    picture = np.random.default_rng(4).normal(0, 0.3, (512, 512)).astype(np.float32)
    corners = np.arange(0, 480, 32, dtype=np.intp)
    rows, columns = (c.ravel() for c in np.meshgrid(corners, corners))
    inner = power(picture, rows, columns, 32, 32)[:, 2:-2, 2:-2]
    assert inner.mean() == pytest.approx(0.09, rel=0.02)
    assert np.median(inner) == pytest.approx(0.09 * np.log(2), rel=0.02)  # exponential law


def test_a_separable_picture_has_the_product_of_scipys_periodograms() -> None:
    rng = np.random.default_rng(5)
    rows, columns = rng.normal(size=(2, 64))
    rows -= rows.mean()
    ours = spectrum(np.outer(rows, columns).astype(np.float32), 0, 64, 128)
    taper = scipy_hann(66)[1:-1]
    assert np.outer(taper, taper) == pytest.approx(hann(64), abs=1e-6)
    along, across = (
        periodogram(v, window=taper, nfft=128, detrend=False, return_onesided=False)[1]
        for v in (rows, columns)
    )
    assert ours == pytest.approx(np.outer(along, across)[:, :65], rel=1e-3, abs=1e-6)


def test_the_mean_over_windows_is_scipys_welch() -> None:
    rng = np.random.default_rng(6)
    wave, noise = np.sin(np.arange(64) * 2 * np.pi / 16), rng.normal(size=640)
    columns = np.arange(0, 577, 32, dtype=np.intp)
    picture = np.outer(wave, noise).astype(np.float32)
    ours = power(picture, np.zeros_like(columns), columns, 64, 64).mean(0)
    taper = scipy_hann(66)[1:-1]
    theirs = welch(noise, window=taper, noverlap=32, detrend=False, return_onesided=False)[1]
    scale = ((wave * taper) ** 2).sum() / (taper**2).sum() * 64  # Parseval along the other axis
    assert ours.sum(0) == pytest.approx(theirs[:33] * scale, rel=1e-3)


@pytest.mark.parametrize("down", [-9, -4, 0, 4, 9])
def test_a_wave_stands_at_its_own_frequency_falling_or_rising(down: int) -> None:
    """So many cycles a window down and seven across; a negative number of them rises."""
    y, x = np.mgrid[:SIZE, :SIZE]
    wave = np.sin(2 * np.pi * (7 * x + down * y) / SIZE).astype(np.float32)
    found = spectrum(wave, 0)
    assert divmod(int(np.argmax(found)), found.shape[1]) == (down % SIZE, 7)
