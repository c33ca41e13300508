"""Visibility against drawn modulations, and its stated uncertainty against the true scatter."""

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scenes import BODY, Braid, Scene, Shape, View, draw

from satcheck.frame import Cutout
from satcheck.judgement.verdict import CELLS_PER_WINDOW
from satcheck.model import Side
from satcheck.weave.lattice import Lattice
from satcheck.weave.measure import CUE_STEP, CUES, Weave, _measured, measure, seek
from satcheck.weave.track import ANNULUS
from satcheck.zones import split_zones

F64 = NDArray[np.float64]

PITCH = 12.0
STRIP = Shape(190, 230)
BRAID = Braid(pitch=PITCH)


def weave_of(scene: Scene) -> Weave:
    """Measure a scene as it is drawn, told its own lattice."""
    braid = scene.braid
    lattice = Lattice(braid.pitch, braid.angle, braid.over, 1.0)
    return _measured(scene.frame(), lattice, braid.pitch)


def sinusoid(
    modulation: float, cycles: float = 1.0, degrees: float = 48, noise: float = 0.0, seed: int = 0
) -> Scene:
    """Return a strip with a wave of a Michelson modulation, so many cycles a pitch, from x."""
    blank = draw(np.random.default_rng(seed), BRAID, STRIP, View(0), lambda *_: np.zeros(1))
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[: blank.mask.shape[0], : blank.mask.shape[1]] + 0.5
    turn = np.radians(degrees)
    place = cycles / PITCH * (x * np.cos(turn) + y * np.sin(turn)) + rng.random()
    wave = np.where(blank.mask, 1 + modulation * np.sin(2 * np.pi * place), 1)
    return replace(blank, luminance=blank.luminance * wave + rng.normal(0, noise, x.shape))


def inner(weave: Weave) -> NDArray[np.bool_]:
    """Return the cells more than three pitches within the part: no window reaches beyond it."""
    mask = weave.frame.laminate.astype(np.uint8)
    far = cv2.distanceTransform(np.pad(mask, 1), cv2.DIST_L2, 5)[1:-1, 1:-1] > 3 * weave.pitch
    return np.asarray(weave.at_cells(far), bool)


def shown(weave: Weave) -> tuple[F64, F64, F64]:
    """Return visibility, uncertainty and floor of the inner cells."""
    where = inner(weave)
    maps = (weave.visibility, weave.uncertainty, weave.floor)
    visibility, uncertainty, floor = (layer[where].astype(float) for layer in maps)
    return visibility, uncertainty, floor


@pytest.mark.parametrize(("cycles", "degrees"), [(1.0, 48), (0.7, 10), (1.3, 80)])
@pytest.mark.parametrize("modulation", [0.01, 0.03, 0.1, 0.3])
def test_the_visibility_of_a_sinusoid_is_its_modulation(
    modulation: float, cycles: float, degrees: float
) -> None:
    """Michelson's, in whatever direction and at whatever scale of the weave it lies."""
    visibility, _, floor = shown(weave_of(sinusoid(modulation, cycles, degrees)))
    assert visibility == pytest.approx(modulation, rel=0.03)
    assert floor.max() < 0.02 * modulation


def floor_of(noise: float) -> float:
    """Return the modulation that noise alone shows in the weave's band.

    Noise of variance v has v pi (high^2 - low^2) / pitch^2 of it in the annulus.
    """
    low, high = ANNULUS
    in_band = (noise / BODY) ** 2 * np.pi * (high**2 - low**2) / PITCH**2
    return float(np.sqrt(2 * in_band))


@pytest.mark.parametrize("noise", [0.002, 0.01])
@pytest.mark.parametrize("modulation", [0.01, 0.03, 0.1])
def test_noise_does_not_bias_visibility_and_the_interval_holds_it(
    modulation: float, noise: float
) -> None:
    """Up to noise that alone would show as much as the faintest wave: 0.016 beside 0.01."""
    seen = [shown(weave_of(sinusoid(modulation, noise=noise, seed=seed))) for seed in range(3)]
    visibility, uncertainty, _ = np.concatenate(seen, 1)
    assert visibility.mean() == pytest.approx(modulation, rel=0.05, abs=0.1 * floor_of(noise))
    assert (np.abs(visibility - modulation) <= 1.96 * uncertainty).mean() >= 0.95


@pytest.mark.parametrize("noise", [0.002, 0.01])
def test_a_blank_strip_shows_nothing_and_its_floor_is_the_noise(noise: float) -> None:
    visibility, uncertainty, floor = shown(weave_of(sinusoid(0, noise=noise)))
    assert floor.mean() == pytest.approx(floor_of(noise), rel=0.05)
    assert (visibility <= 1.96 * uncertainty).mean() >= 0.95
    assert visibility.mean() < 0.3 * floor.mean()


def test_a_strip_without_noise_and_weave_has_no_visibility() -> None:
    visibility, uncertainty, floor = shown(weave_of(sinusoid(0)))
    assert max(visibility.max(), uncertainty.max(), floor.max()) < 1e-4


@cache
def random_texture(noise: float) -> tuple[tuple[F64, F64, F64], ...]:
    """Return what twelve strips show whose relief repeats nowhere."""
    braid = replace(BRAID, amplitude=0.05, aperiodic=True)
    scenes = (draw(np.random.default_rng(k), braid, STRIP, View(noise=noise)) for k in range(12))
    return tuple(shown(weave_of(scene)) for scene in scenes)


@pytest.mark.parametrize("noise", [0.0, 0.004])
def test_the_stated_uncertainty_covers_the_scatter_of_a_random_texture(noise: float) -> None:
    """Cloth whose relief repeats nowhere: each window sees another piece of the same contrast.

    The claim must not be below the true scatter, and is of no use if it is many times as large.
    """
    visibility, uncertainty, _ = np.concatenate(random_texture(noise), 1)
    true = np.sqrt(np.mean(visibility**2))
    error = (visibility - true) / uncertainty
    assert (np.abs(error) < 1.96).mean() >= 0.94
    assert np.sqrt(np.mean(error**2)) > 1 / 3


def test_a_zones_interval_covers_the_scatter_of_its_mean() -> None:
    """The mean of an area's cells, which share windows, from one strip to another."""
    seen = random_texture(0.004)
    means = np.array([visibility.mean() for visibility, *_ in seen])
    cells = [CELLS_PER_WINDOW / visibility.size for visibility, *_ in seen]
    stated = [np.sqrt(np.mean(u**2) * c) for (_, u, _), c in zip(seen, cells, strict=True)]
    assert 0.25 < means.std(ddof=1) / np.mean(stated) < 1.1


@pytest.mark.parametrize("over", [1, 2, 3])
@pytest.mark.parametrize("amplitude", [0.02, 0.1])
def test_most_of_a_braids_contrast_is_within_the_weaves_band(over: int, amplitude: float) -> None:
    """An equal sinusoid has sqrt(2) times the RMS; tow edges finer than the band are left out."""
    braid = replace(BRAID, over=over, amplitude=amplitude)
    visibility, *_ = shown(weave_of(draw(np.random.default_rng(1), braid, STRIP, View(0))))
    assert 0.7 < visibility.mean() / (np.sqrt(2) * amplitude) <= 1


@cache
def plain() -> F64:
    return shown(weave_of(draw(np.random.default_rng(1), BRAID, STRIP, View(noise=0.001))))[0]


@pytest.mark.parametrize("exposure", [0.25, 0.5, 2.0, 4.0])
def test_exposure_does_not_change_visibility(exposure: float) -> None:
    """Four stops; what is left is the sensor's floor within the logarithm, 3 % at the darkest."""
    view = View(noise=0.001 * exposure, exposure=exposure)
    visibility, *_ = shown(weave_of(draw(np.random.default_rng(1), BRAID, STRIP, view)))
    assert visibility == pytest.approx(plain(), rel=0.04)


@pytest.mark.parametrize("left", [0.6, 0.3, 0.1])
def test_visibility_fades_with_the_weave(left: float) -> None:
    def fade(across: F64, along: F64) -> F64:
        return left + 0 * across

    faded = draw(np.random.default_rng(1), BRAID, STRIP, View(noise=0.001), fade)
    assert shown(weave_of(faded))[0] == pytest.approx(left * plain(), rel=0.06)


@pytest.mark.parametrize("veil", [0.5, 1.0])
def test_a_veil_fades_the_weave_as_light_added_does(veil: float) -> None:
    """Added light v times the body's own divides the modulation by 1 + v."""
    veiled = draw(np.random.default_rng(1), BRAID, STRIP, View(noise=0.001, veil=veil))
    assert shown(weave_of(veiled))[0] == pytest.approx(plain() / (1 + veil), rel=0.04)


def test_a_patch_keeps_its_own_visibility() -> None:
    """A place faded to a fifth, eight pitches across: its middle and what is far from it."""
    centre = np.array([STRIP.width, STRIP.length]) / 2

    def fade(across: F64, along: F64) -> F64:
        off = np.hypot(across * centre[0], (along - 0.5) * STRIP.length)
        return np.where(off < 4 * PITCH, 0.2, 1.0)

    weave = weave_of(draw(np.random.default_rng(1), BRAID, STRIP, View(noise=0.001), fade))
    middle = np.array(weave.frame.laminate.shape[::-1]) / 2
    off = np.hypot(weave.columns[None, :] - middle[0], weave.rows[:, None] - middle[1])
    patch = weave.visibility[off < PITCH].mean()
    around = weave.visibility[inner(weave) & (off > 6 * PITCH)].mean()
    assert around == pytest.approx(plain().mean(), rel=0.03)
    assert patch / around == pytest.approx(0.2, abs=0.1)


def whole(rgb: NDArray[np.uint8], mask: NDArray[np.bool_], distal: Side) -> Weave:
    """Return what is measured on a part with no tape on it."""
    return measure(seek(Cutout.of(rgb, mask, split_zones(mask, distal), lambda: mask)))


@cache
def photographed(distal: Side) -> tuple[Scene, Weave]:
    """Return a cone as a photo, and what is measured on it without any hint."""
    shape = Shape(280, 420, is_round=True, taper=0.25)
    scene = draw(np.random.default_rng(3), Braid(pitch=10), shape, View(noise=0.003))
    return scene, whole(scene.rgb, scene.mask, distal)


def test_a_photo_is_measured_without_a_hint() -> None:
    scene, weave = photographed("down")
    assert weave.lattice is not None
    assert weave.pitch / weave.frame.scale == pytest.approx(10, rel=0.1)
    centre = np.abs(weave.columns - weave.columns.mean()) < 3 * weave.pitch
    visibility = weave.visibility[:, centre][inner(weave)[:, centre]].mean()
    assert 0.7 < visibility / (np.sqrt(2) * scene.braid.amplitude) < 1.05


def test_every_map_is_on_the_same_grid_and_every_cue_is_known() -> None:
    _, weave = photographed("down")
    shape = (len(weave.rows), len(weave.columns))
    maps = [weave.visibility, weave.uncertainty, weave.floor, *weave.cues.values()]
    assert {layer.shape for layer in maps} == {shape}
    assert {layer.dtype for layer in maps} == {np.dtype(np.float32)}
    assert set(weave.cues) <= set(CUES)
    where = inner(weave)
    assert all(np.isfinite(layer[where]).all() for layer in maps)


def test_cues_are_in_steps_and_nothing_is_said_off_the_part() -> None:
    """So that a record holds no more digits than a cue has."""
    _, weave = photographed("down")
    off = ~np.asarray(weave.at_cells(weave.frame.laminate), bool)
    assert off.any()
    for layer in (*weave.cues.values(), weave.visibility, weave.uncertainty):
        assert np.isnan(layer[off]).all()
    steps = np.stack(list(weave.cues.values()))[:, inner(weave)] / CUE_STEP
    assert (steps == np.rint(steps)).all()
    assert len(np.unique(steps)) > 1000


@pytest.mark.parametrize("distal", ["down", "up"])
def test_a_cell_lies_in_the_photo_where_its_map_says(distal: Side) -> None:
    """By the exact mask; turned by half a turn, the first row is at the lower end."""
    scene, weave = photographed(distal)
    rows, columns = np.indices(weave.visibility.shape) + 0.5
    places = np.stack([columns, rows, np.ones_like(rows)], -1) @ weave.to_photo.T
    x, y = np.floor(places).astype(int).transpose(2, 0, 1)
    height, width = scene.mask.shape
    on_photo = (x >= 0) & (x < width) & (y >= 0) & (y < height)
    drawn = np.zeros_like(on_photo)
    drawn[on_photo] = scene.mask[y[on_photo], x[on_photo]]
    found = np.asarray(weave.at_cells(weave.frame.laminate), bool)
    assert (drawn == found).mean() > 0.985
    assert (y[0].mean() < y[-1].mean()) == (distal == "down")


@pytest.mark.parametrize("size", [(60, 90), (80, 100)])
def test_a_small_smooth_part_is_measured_as_unknown(size: tuple[int, int]) -> None:
    """No lattice, no visibility; and no crash on its few cells."""
    mask = np.zeros((120, 100), bool)
    mask[10 : 10 + size[1], 10 : 10 + size[0]] = True
    rgb = np.where(mask[..., None], 120, 200).astype(np.uint8) * np.ones(3, np.uint8)
    weave = whole(rgb, mask, "down")
    assert weave.lattice is None
    assert np.isnan(weave.visibility).all()
    assert weave.to_photo.shape == (2, 3)
    assert np.isfinite(weave.to_photo).all()
