"""The weave's lattice: its scale from the photo alone, and how much of the texture follows it.

A braid of two mirror-image tow families is a rectangular lattice in its own axes: it repeats after
``over * pitch / cos(angle)`` across the part and after ``pitch / sin(angle)`` along it, for an
over/under of 1, 2 or 3. Its strongest spectral peak is often not the tow but the interlacing, so
the whole lattice is matched, against the places between its nodes.
"""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.cell_grid import medians
from satcheck.frame import Frame
from satcheck.weave.spectrum import contrast, masked_blur, power

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

# Nodes (across, along) that carry the power of an over/under weave, and how much each counts.
NODES: dict[int, tuple[tuple[int, int, float], ...]] = {
    1: ((1, 0, 1.0), (1, 1, 1.5), (0, 1, 0.5), (2, 0, 0.5), (2, 1, 0.5), (1, 2, 0.5), (2, 2, 0.5)),
    2: ((1, 0, 1.5), (1, 1, 1.2), (2, 1, 1.5), (3, 2, 0.8), (2, 0, 0.4), (3, 1, 0.4)),
    3: ((1, 0, 1.5), (2, 1, 1.2), (3, 1, 1.5), (4, 1, 0.8), (2, 0, 0.4), (3, 0, 0.4)),
}
BETWEEN = (
    (0.5, 0.0), (0.0, 0.5), (0.5, 0.5), (1.5, 0.0), (1.5, 0.5), (0.5, 1.0),
    (1.5, 1.0), (1.0, 0.5), (2.0, 0.5), (2.5, 1.0), (2.0, 1.5), (1.0, 1.5),
)  # fmt: skip

# Common practice, no source: tows of 2 to 4 mm on parts 70 to 120 mm wide; braids near 45 degrees.
PITCH_PER_WIDTH = 0.033
PITCH_SPREAD = 0.28  # natural log
ANGLE, ANGLE_SPREAD = 42.0, 7.0  # degrees from the axis
ANGLES = np.arange(30.0, 56.0, 1.5)  # that are tried
REACH = 30  # steps of pitch that are tried to either side, over 2.5 spreads
RARITY = {1: 0.0, 2: 0.0, 3: 3.0}  # 3/3 sleeves are rare; natural log of the odds
CLEARNESS = 0.4  # of a stretch's strength against its correlation: on 60 sharp rendered photos of
# four fibres 0.3 to 0.5 find the lattice on 58, none (all stretches as one) on 54
LEAST_PITCH = 4.0  # px; below, the frequencies that tell twill from plain are not in the picture
FEWEST_REPEATS = 2  # pitches that a window must hold (own rule): one is no period
AS_WIDE = 0.1  # of the median width, within which a stretch has the pitch of the middle (own rule)
PRIOR_WEIGHT = 0.1  # of the log prior against the correlation's own scatter

WINDOW = 0.28  # of the part's width: about eight pitches
LANES = (-0.3, 0.0, 0.3)  # of the half width, on which windows lie, a third of one apart
PADDED = 144
LEAST_CONTRAST = 1e-3  # RMS, natural log; an 8-bit code is three times as much
SMOOTH = 0.5  # of unit variance; a window below it holds less than ``LEAST_CONTRAST``
LOBE = 0.75  # standard deviation of a node in steps of 1 / window: Hann's 0.58, blurred
PEAK_CAP = 4.0  # natural log; one strong peak must not stand for a lattice


@dataclass(frozen=True)
class Lattice:
    """The braid's lattice at the middle of the part.

    Attributes
    ----------
    pitch : float
        Distance between neighbouring tows of one family, across them, in pixels of the frame.
    angle : float
        Between a tow and the part's axis, degrees.
    over : {1, 2, 3}
        Tows that a tow passes over, then under.
    strength : float
        Mean natural log of the power at the nodes over that between them; about 0 where there is
        no weave, 0.5 to 2 where there is.
    """

    pitch: float
    angle: float
    over: int
    strength: float

    @property
    def repeat(self) -> tuple[float, float]:
        """Return the lattice's period across and along the axis, in pixels of the frame."""
        angle = np.deg2rad(self.angle)
        return float(self.over * self.pitch / np.cos(angle)), float(self.pitch / np.sin(angle))


def find_lattice(frame: Frame, pitch: float | None = None) -> Lattice | None:
    """Estimate the weave's lattice from the middle of a part.

    Parameters
    ----------
    frame : Frame
        At any scale that leaves at least 4 pixels a pitch.
    pitch : float, optional
        Known pitch in pixels of the frame; the estimate then stays within a few per cent of it.

    Returns
    -------
    Lattice or None
        None where fewer than three windows fit on the part or show any texture, or where the
        pitch expected has fewer than 4 pixels or fits less than twice into a window.
    """
    width = 2 * frame.half_width
    expected, spread = (PITCH_PER_WIDTH * width, PITCH_SPREAD) if pitch is None else (pitch, 0.03)
    if not width > 0:
        return None
    least, most = pitch_range(width)
    if not least <= expected <= most:
        return None
    stretches = _stretches(frame, width)
    if pitch is not None:  # that of the middle: elsewhere it is another
        stretches = [s for s in stretches if abs(s.width - 1) < AS_WIDE]
    if not stretches:
        return None
    step = 2.5 * spread / REACH
    # Parts of about the same size are searched on the same grid: what it looks like is then known.
    middle = round(np.log(expected) / step) * step
    pitches = np.exp(middle + step * np.arange(-REACH, REACH + 1))
    prior = -0.5 * (np.log(pitches / expected)[:, None] / spread) ** 2
    prior = prior - 0.5 * ((ANGLES[None, :] - ANGLE) / ANGLE_SPREAD) ** 2
    best, best_value = None, -np.inf
    seen = _Seen.of(stretches, pitches)
    for over in NODES:
        weighed = PRIOR_WEIGHT * (prior - RARITY[over])
        found = _best_match(seen, pitches, over, weighed, _window(width))
        for stretch, (value, i, j) in zip(stretches, found, strict=True):
            place = float(pitches[i]), float(ANGLES[j])
            strength = _strength(stretch.whitened, *place, over)
            if value + CLEARNESS * strength > best_value:
                best_value = value + CLEARNESS * strength
                there = Lattice(*place, over, strength)
                best = there if pitch is not None else _at_the_middle(there, stretch.width)
    return best


def pitch_range(width: float) -> tuple[float, float]:
    """Return the least and the largest pitch that a search can find on a part of a width, px."""
    return LEAST_PITCH, _window(width) / FEWEST_REPEATS


@dataclass(frozen=True, eq=False)
class _Seen:
    """Stretches' whitened spectra, peaks capped, and what every other pitch would see of them.

    ``capped`` is (n, ...); ``thinned`` has one array (n, places) a pitch: the places of its ring,
    as ``_normed``.
    """

    capped: F32
    thinned: list[F32]

    @classmethod
    def of(cls, stretches: "list[_Stretch]", pitches: F64) -> "_Seen":
        """Look at the stretches with the pitches of a grid."""
        whitened = np.maximum([s.whitened for s in stretches], np.float32(0))
        capped = np.asarray(PEAK_CAP * np.tanh(whitened / PEAK_CAP), np.float32)
        return cls(capped, [_normed(capped, float(p), 2) for p in pitches[::2]])


def _best_match(
    seen: _Seen, pitches: F64, over: int, prior: F64, size: int
) -> list[tuple[float, int, int]]:
    """Return each stretch's best match and the places of its pitch and angle on their grids.

    Every other pitch, angle and frequency is tried, then the neighbours of the best: a node is
    four steps of either grid wide.
    """
    every = range(0, len(ANGLES), 2)
    coarse = np.stack([
        normed @ _known(float(p), every, over, size, 2).T
        for p, normed in zip(pitches[::2], seen.thinned, strict=True)
    ], 1)  # fmt: skip
    coarse = coarse + prior[::2, ::2]
    found = []
    for capped, values in zip(seen.capped, coarse, strict=True):
        i, j = (2 * int(k) for k in np.unravel_index(np.argmax(values), values.shape))
        rows, columns = (
            range(max(k - 1, 0), min(k + 2, n)) for k, n in zip((i, j), prior.shape, strict=True)
        )
        near = np.concatenate([
            _normed(capped[None], p, 1) @ _template(p, columns, over, size, 1).T
            for p in pitches[list(rows)].tolist()
        ])  # fmt: skip
        near = near + prior[np.ix_(rows, columns)]
        i, j = (int(k) for k in np.unravel_index(np.argmax(near), near.shape))
        found.append((float(near[i, j]), rows[i], columns[j]))
    return found


def _at_the_middle(lattice: Lattice, width: float) -> Lattice:
    """Return the lattice where the part is as wide as its median, from where it is ``width`` of it.

    The number of tows is fixed and they do not stretch: the repeat across grows with the diameter,
    and so does the sine of the angle (trellis geometry).
    """
    across = lattice.repeat[0] / width
    angle = np.arcsin(np.clip(np.sin(np.deg2rad(lattice.angle)) / width, 0.2, 0.95))
    pitch = float(across * np.cos(angle) / lattice.over)
    return Lattice(pitch, float(np.rad2deg(angle)), lattice.over, lattice.strength)


def _window(width: float) -> int:
    """Return the side of a window in pixels, for a part's width."""
    return max(16, int(WINDOW * width) // 4 * 4)


def _frequencies(pitch: float, thin: int) -> F32:
    """Return the frequencies, cycles per pixel, at which a pitch is looked for along each axis.

    One in ``thin`` is looked at.
    """
    count = min(int(2.2 / pitch * PADDED / thin) + 2, PADDED // 2 // thin)
    return (np.arange(count) / (PADDED / thin)).astype(np.float32)


@lru_cache(maxsize=512)
def _ring(pitch: float, thin: int) -> tuple[int, NDArray[np.intp]]:
    """Return a quadrant's side and which of its places could show a pitch's nodes, row by row."""
    frequency = _frequencies(pitch, thin)
    radius = np.float32(pitch) * np.hypot(frequency[:, None], frequency[None, :])
    return frequency.size, np.flatnonzero((radius > 0.2) & (radius < 2.2))


def _template(pitch: float, angles: range, over: int, size: int, thin: int) -> F32:
    """Return what a lattice's spectrum looks like at some of ``ANGLES``, (angles, places).

    In the places of its ring, of mean 0 and length 1. Nodes are drawn as wide as a window of
    ``size`` pixels shows them: where it holds few repeats they run into each other, and single
    places between them tell nothing.
    """
    radians = np.deg2rad(ANGLES[list(angles)])
    frequency = _frequencies(pitch, thin)
    i, j, weight = (np.array(each, np.float32)[:, None] for each in zip(*NODES[over], strict=True))
    across = frequency - (i * np.cos(radians) / (over * pitch))[..., None].astype(np.float32)
    along = frequency - (j * np.sin(radians) / pitch)[..., None].astype(np.float32)
    narrow = np.float32(-0.5 * (size / LOBE) ** 2)
    # Held to 1e-13: arithmetic is slow with numbers that are smaller still.
    rows, columns = (np.exp(np.maximum(narrow * f**2, np.float32(-30))) for f in (along, across))
    rows *= np.sqrt(weight)[..., None]
    drawn = (rows[..., :, None] * columns[..., None, :]).max(0)
    return _unit(drawn.reshape(len(drawn), -1).take(_ring(pitch, thin)[1], 1))


_known = lru_cache(maxsize=512)(_template)


def _normed(capped: F32, pitch: float, thin: int) -> F32:
    """Return (n, places) of capped spectra in a pitch's ring, of mean 0 and length 1.

    A product with a template is then their correlation.
    """
    side, places = _ring(pitch, thin)
    seen = capped[:, : thin * side : thin, : thin * side : thin]
    return _unit(seen.reshape(len(seen), -1).take(places, 1))


def _unit(rows: F32) -> F32:
    """Return rows (n, places) of mean 0 and length 1."""
    centred = rows - rows.mean(1, keepdims=True)
    length = np.sqrt(np.einsum("np,np->n", centred, centred))
    return np.asarray(centred / np.maximum(length, np.float32(1e-9))[:, None], np.float32)


def _window_corners(
    frame: Frame, size: int, step: int, lanes: tuple[float, ...]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return upper left corners of windows that lie on the laminate, lanes as shares of width."""
    centre, half = frame.span
    filled = cv2.boxFilter(frame.laminate.astype(np.float32), -1, (size, size))
    height, width = frame.laminate.shape
    corners = []
    for y in range(size // 2, height - size // 2, step):
        if not np.isfinite(half[y]) or 2 * half[y] < size:
            continue
        for lane in lanes:
            x = int(centre[y] + lane * half[y])
            inside = size // 2 <= x < width - size // 2
            if inside and filled[y, x] > 0.98:
                corners.append((y - size // 2, x - size // 2))
    found = np.array(corners, np.intp).reshape(-1, 2)
    return found[:, 0], found[:, 1]


@dataclass(frozen=True, eq=False)
class _Stretch:
    """What persists over a stretch of the part.

    ``whitened`` is its log power (PADDED // 2, PADDED // 2 + 1) less the radial trend, ``width``
    how wide the part is there, over its median.
    """

    whitened: F32
    width: float


def _stretches(frame: Frame, width: float) -> list[_Stretch]:
    """Return the spectra of the whole part and of its thirds along the axis, where they show any.

    The weave may be gone from most of a part, and its scale changes along it.
    """
    size = _window(width)
    rows, columns = _window_corners(frame, size, max(1, size // 3), LANES)
    if len(rows) < 3 or size > PADDED:
        return []
    spectra = power(_evened(frame, width), rows, columns, size, PADDED)
    textured = spectra.mean((1, 2)) > SMOOTH
    spectra /= np.maximum(spectra.mean((1, 2), keepdims=True), np.float32(1e-12))
    spectra += np.float32(1e-9)
    log = cv2.log(spectra)
    middle = rows + size // 2
    third = np.minimum(3 * (middle - middle.min()) // max(1, np.ptp(middle)), 2)
    wide = frame.span[1][middle] / frame.half_width
    found = []
    for here in (textured, *(textured & (third == k) for k in range(3))):
        if here.sum() >= 3:
            mean = 1.0 if here is textured else float(wide[here].mean())
            found.append(_Stretch(_whitened(log[here].mean(0)), mean))
    return found


def _evened(frame: Frame, width: float) -> F32:
    """Return the laminate's contrast over its own local strength."""
    scale = 0.045 * width
    flat = contrast(frame.light, frame.laminate, scale / 1.2)
    weight = frame.laminate.astype(np.float32)
    local = masked_blur(flat * flat, weight, 1.5 * scale)
    even = np.clip(flat / np.sqrt(local + LEAST_CONTRAST**2), -2.5, 2.5) * weight
    return np.asarray(even, np.float32)


def _whitened(log: F32) -> F32:
    """Return the log power of what persists in windows, less its radial trend.

    The geometric mean (``log``, averaged) keeps what is everywhere (the weave) and drops what is
    in a few (wrinkles, reflections). Both tow directions are folded on one quadrant.
    """
    half = PADDED // 2
    folded = np.logaddexp(log[:half], log[-np.arange(half) % PADDED]) - np.log(2)
    return np.asarray(cv2.GaussianBlur(folded - _radial(folded), (0, 0), 0.7), np.float32)


def _radial(log: F32) -> F32:
    """Return the median of a quadrant's log power over rings, at each of its places."""
    radius = np.hypot(*np.mgrid[: log.shape[0], : log.shape[1]])
    ring = (radius / 2.3).astype(int)
    return np.asarray(medians(log, ring, int(ring.max()))[ring], np.float32)


def _strength(whitened: F32, pitch: float, angle: float, over: int) -> float:
    """Return node power less power between nodes, for a pitch in pixels and an angle in degrees.

    -9 where fewer than three nodes lie within what was measured.
    """
    radians = np.deg2rad(angle)
    across, along = over * pitch / np.cos(radians), pitch / np.sin(radians)
    peak = cv2.dilate(whitened, np.ones((3, 3), np.uint8))
    height, width = peak.shape

    def at(i: F64, j: F64) -> tuple[F32, NDArray[np.bool_]]:
        x, y = (np.rint(k * PADDED / by).astype(int) for k, by in ((i, across), (j, along)))
        value = peak[np.minimum(y, height - 1), np.minimum(x, width - 1)]
        return np.minimum(value, np.float32(PEAK_CAP)), (x < width - 2) & (y < height - 2)

    i, j, weight = np.array(NODES[over]).T
    node, is_known = at(i, j)
    between, is_seen = at(*np.array(BETWEEN).T)
    if is_known.sum() < 3:
        return -9.0
    on = (node * weight)[is_known].sum() / weight[is_known].sum()
    return float(on - between[is_seen].sum() / max(is_seen.sum(), 1))
