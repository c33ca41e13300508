"""The weave of one part, measured: photo pixels and outline in, a grid of cells out."""

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from satcheck.beside import beside
from satcheck.frame import Cutout, Frame
from satcheck.weave.lattice import PITCH_PER_WIDTH, Lattice, find_lattice, pitch_range
from satcheck.weave.pooling import Pool
from satcheck.weave.spectrum import DARK_FLOOR, contrast
from satcheck.weave.texture import (
    amplitude,
    bands,
    low_quantile,
    noise_gain,
    noise_level,
    tint,
    two_way,
    without_noise,
)
from satcheck.weave.track import Windows, track

F32 = NDArray[np.float32]
Maps = dict[str, F32]

SEARCH_WIDTH = 224  # px of a part in which the lattice is searched: a pitch of about 7
WORKING_PITCH = 8.0  # px: finer ones find no more (DEVELOPERS, Speed), and the weave fits into few
CELL = 0.5  # pitches
BROAD = 3  # cells to each side: what a rich area is told by over 3.5 pitches
CALM = 0.3  # quantile that glints and wrinkles cannot reach
POOLED = 0.8  # pitches (sigma) over which windows are averaged
# Cues are rounded to this, a four-hundredth of what they scatter by over a part or less: a record
# of them takes two thirds of the bytes and of the time.
CUE_STEP = np.float32(2.0**-12)
# Degrees of freedom behind the variance of a cell. The annulus of one window has 40 of white noise,
# a cell is the mean of several that overlap: with 60 the uncertainty covers the scatter
# (test_weave.py).
INDEPENDENT = 60.0

# What each cue is, for reports. All are natural logs or differences of logs.
CUES: dict[str, str] = {
    "fine": "contrast of tow edges",
    "medium": "contrast of tows",
    "coarse": "contrast of the interlacing",
    "crosswise": "interlacing contrast across its main direction",
    "order": "share of the texture that follows the lattice",
    "light": "luminance",
    "red_blue": "red over blue",
    "red_green": "red over green",
    "calm_medium": "contrast of tows, noise removed, over a wider calm area",
    "calm_coarse": "contrast of the interlacing, noise removed, over a wider calm area",
    "broad_order": "lattice's share over a wider area",
    "broad_red_green": "red over green over a wider area",
    "tint": "colour contrast of the interlacing over its contrast of light",
    "coherence": "how one-directional the texture is, 0 to 1",
}


@dataclass(frozen=True, eq=False)
class Weave:
    """The weave of one part on a grid of cells; all maps are (R, C).

    Attributes
    ----------
    frame : Frame
        At working scale.
    lattice : Lattice or None
        In pixels of the frame; None where the part is too small to search.
    pitch : float
        Pitch that was worked with, in pixels of the frame: the lattice's, or what the part's
        width suggests.
    columns, rows : (C,), (R,) int arrays
        Cell centres in the frame.
    visibility, uncertainty, floor : float32 maps
        Modulation (Michelson, of an equal sinusoid) of luminance within the weave's band, noise
        removed; its standard uncertainty; the modulation that the noise alone would show.
    cues : dict of float32 maps
        By the names of ``CUES``.
    flat : (H, W) float32 array
        The frame's flattened contrast, from ``spectrum.contrast``.
    """

    frame: Frame
    lattice: Lattice | None
    pitch: float
    columns: NDArray[np.intp]
    rows: NDArray[np.intp]
    visibility: F32
    uncertainty: F32
    floor: F32
    cues: Maps
    flat: F32

    @cached_property
    def pool(self) -> Pool:
        """Where the cells are, for means over the laminate."""
        return Pool(self.frame.laminate, self.rows, self.columns)

    def at_cells(self, layer: NDArray[np.generic]) -> NDArray[np.generic]:
        """Return a frame layer (H, W) at the cell centres."""
        return layer[np.ix_(self.rows, self.columns)]

    @property
    def to_photo(self) -> NDArray[np.float64]:
        """Return the (2, 3) affine map from cell (column + 0.5, row + 0.5) to photo pixels."""
        step = float(self.columns[1] - self.columns[0])
        corner = np.array([self.columns[0] + 0.5, self.rows[0] + 0.5]) - step / 2
        matrix = self.frame.to_photo
        return np.column_stack([matrix[:, :2] * step, matrix[:, :2] @ corner + matrix[:, 2]])


@dataclass(frozen=True, eq=False)
class Sought:
    """A part cut out of a photo, and the lattice that was found in it.

    Attributes
    ----------
    cutout : Cutout
    lattice : Lattice or None
        In pixels of the photo; None where the part is too small to search.
    pitch : float
        The lattice's, or what a person or the part's width suggests; in pixels of the photo.
    pitches : (float, float)
        The least and the largest that could be found, in pixels of the photo.
    """

    cutout: Cutout
    lattice: Lattice | None
    pitch: float
    pitches: tuple[float, float]

    @property
    def is_coarse(self) -> bool:
        """Whether the photo has fewer pixels to a pitch than the weave is measured at."""
        return self.pitch < WORKING_PITCH


def seek(cutout: Cutout, pitch: float | None = None) -> Sought:
    """Look for the lattice of a part's weave.

    Parameters
    ----------
    cutout : Cutout
    pitch : float, optional
        Tow pitch in pixels of the photo, where the user or the card tells it.
    """
    search = cutout.sketched(SEARCH_WIDTH / cutout.width)
    lattice = find_lattice(search, None if pitch is None else pitch * search.scale)
    width = 2 * search.half_width
    least, most = pitch_range(width) if width > 0 else (0.0, math.inf)
    pitches = least / search.scale, most / search.scale
    if lattice is None:
        return Sought(cutout, None, pitch or PITCH_PER_WIDTH * cutout.width, pitches)
    known = lattice.pitch / search.scale
    return Sought(cutout, replace(lattice, pitch=known), known, pitches)


def measure(sought: Sought) -> Weave:
    """Measure the weave of a part."""
    frame = sought.cutout.straightened(WORKING_PITCH / sought.pitch)
    pitch, lattice = sought.pitch * frame.scale, sought.lattice
    return _measured(frame, None if lattice is None else replace(lattice, pitch=pitch), pitch)


def _measured(frame: Frame, lattice: Lattice | None, pitch: float) -> Weave:
    """Return all maps of a frame on its grid of cells."""
    step = max(2, round(CELL * pitch))
    height, width = frame.laminate.shape
    rows = np.arange(step // 2, max(height, step // 2 + step + 1), step)
    columns = np.arange(step // 2, max(width, step // 2 + step + 1), step)
    pool = Pool(frame.laminate, np.minimum(rows, height - 1), np.minimum(columns, width - 1))
    flat = contrast(frame.light, frame.laminate, pitch)
    with beside() as second:
        texture = second.submit(_texture, frame, flat, pool, pitch)
        shown = _followed(frame, flat, lattice, pool, pitch)
        cues = texture.result() | shown
    part = np.asarray(pool.at(frame.laminate), bool)
    return Weave(
        frame,
        lattice,
        pitch,
        pool.columns,
        pool.rows,
        _on(part, shown["visibility"]),
        _on(part, shown["uncertainty"]),
        shown["floor"],
        {name: _on(part, _rounded(cues[name])) for name in CUES},
        flat,
    )


def _rounded(layer: F32) -> F32:
    """Return a cue in steps of ``CUE_STEP``."""
    return np.asarray(np.rint(layer / CUE_STEP) * CUE_STEP, np.float32)


def _on(part: NDArray[np.bool_], layer: F32) -> F32:
    """Return a layer on the part alone; off it nothing was measured, and NaN says so."""
    return np.where(part, layer, np.float32(np.nan))


def _texture(frame: Frame, flat: F32, pool: Pool, pitch: float) -> Maps:
    """Return the cues that need no lattice, (R, C) each."""
    log_light = np.log(pool.mean(frame.light, 0.45 * pitch) + np.float32(DARK_FLOOR))
    noise = noise_level(flat, pool, log_light, pitch)
    maps: Maps = {"light": log_light}
    for name, part in bands(flat, frame.laminate, pitch).items():
        size = amplitude(part, pool, pitch)
        maps[name] = np.log(size + np.float32(1e-4))
        maps[f"clean_{name}"] = np.log(without_noise(size, noise * noise_gain(pitch, name)))
        if name == "coarse":
            maps["crosswise"], maps["coherence"] = two_way(part, pool, pitch, name)
            maps["tint"] = tint(frame.linear, part, pool, pitch)
    red, green, blue = (
        np.log(pool.mean(frame.linear[..., k], 0.6 * pitch) + np.float32(DARK_FLOOR))
        for k in range(3)
    )
    maps["red_blue"], maps["red_green"] = red - blue, red - green
    inside = np.asarray(pool.at(frame.laminate), bool)
    return maps | {
        "calm_medium": low_quantile(maps["clean_medium"], inside, BROAD, CALM),
        "calm_coarse": low_quantile(maps["clean_coarse"], inside, BROAD, CALM),
        "broad_red_green": low_quantile(maps["red_green"], inside, BROAD, 0.5),
    }


def _followed(frame: Frame, flat: F32, lattice: Lattice | None, pool: Pool, pitch: float) -> Maps:
    """Return what the lattice tells, (R, C) each: NaN where there is none."""
    windows = track(frame, flat, lattice) if lattice else None
    if windows is None:
        nothing = np.full((pool.rows.size, pool.columns.size), np.nan, np.float32)
        shown = dict.fromkeys(("order", "visibility", "uncertainty", "floor"), nothing)
    else:
        shown = _windows_at_cells(windows, pool, pitch)
    known = np.asarray(pool.at(frame.laminate), bool) & ~np.isnan(shown["order"])
    return shown | {"broad_order": low_quantile(shown["order"], known, BROAD, 0.5)}


def _windows_at_cells(windows: Windows, pool: Pool, pitch: float) -> Maps:
    """Return window measures at the cells: each is the mean of the windows near it."""
    values = {
        "order": np.log((windows.at_nodes + 1e-9) / (windows.between + 1e-9)),
        "signal": windows.variance - windows.noise,
        "noise": windows.noise,
    }

    def near(value: NDArray[np.floating]) -> F32:
        return pool.scattered(windows.y, windows.x, value.astype(np.float32), POOLED * pitch)

    weight = near(np.ones(windows.x.size))
    known = weight * pitch**2 > 0.02
    maps: Maps = {name: np.where(known, near(value) / np.maximum(weight, np.float32(1e-9)),
                                 np.float32(np.nan)) for name, value in values.items()}  # fmt: skip
    return {"order": maps["order"], **_visibility(maps["signal"], maps["noise"])}


def _visibility(signal: F32, noise: F32) -> Maps:
    """Return visibility, its standard uncertainty and its noise floor from variances.

    A sinusoid of modulation m has the variance m^2 / 2. A variance estimated from n independent
    values has the relative standard uncertainty sqrt(2 / n); signal and noise both fluctuate.
    """
    visibility = np.sqrt(2 * np.maximum(signal, 0))
    floor = np.sqrt(2 * np.maximum(noise, 0))
    spread = (np.maximum(signal, 0) + 2 * noise) * np.sqrt(2 / INDEPENDENT)
    uncertainty = spread / np.maximum(visibility, np.sqrt(2 * spread) / 2 + 1e-6)
    return {
        "visibility": visibility.astype(np.float32),
        "floor": floor.astype(np.float32),
        "uncertainty": uncertainty.astype(np.float32),
    }
