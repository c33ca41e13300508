"""The printed reference card: finding it in a photo and reading it.

The card gives a photo its scale, its white balance and exposure, and tells what the camera did to
fine detail: slanted edges in eight directions for the modulation transfer (MTF), and weaves of
1 to 8 % modulation that a phone's noise reduction smooths away while it spares the strong edges.

Any one of the six markers tells scale and pose, each by its own number; a number holds the card's
design too, so that a card of another design is recognised and not misread. Everything else is
checked before it is believed, since a hand or the part may cover it.

Card coordinates are millimetres from the card's top left corner, x right, y down; picture
coordinates are pixels, centres at whole numbers, x right, y down.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.card.layout import LAYOUT, Weave
from satcheck.card.markers import (
    Marker,
    detect_markers,
    fit_homography,
    group_markers,
    jacobian,
    project,
)
from satcheck.card.slanted_edge import CLIPPED_LIGHT, EdgeMtf, NotMeasured, edge_mtf
from satcheck.errors import UsageError
from satcheck.light import linear_light, luminance

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
RgbArray = NDArray[np.uint8]
T = TypeVar("T", bound=np.generic)

PRINTED_SCALES = (0.9, 1.1)
"""Length of the check ruler over 100 mm that a printer's scaling may explain."""
PHOTO_SIDES = (60.0, 4000.0)
"""Plausible length of the photo's long side in mm at the card."""
SAME_SCALE = 1.1
"""Ratio of two cards' scales up to which they lie beside the same part (our choice)."""
MAX_BENDING = 0.6
"""Standard deviation of the marker corners in mm from which the card counts as bent."""
MIN_PATCH_PIXELS = 100
MAX_GREY_PIXELS = 1500
MAX_WEAVE_PIXELS = 12000
"""Pixels that are used of a patch: with noise of 3 %, 1 % of modulation is known to 5 %."""
MIN_QR_CONTRAST = 20
"""Range of 8-bit codes in the QR field under which it is blank."""
MIN_GREYS = 3
"""Different greys that the exposure needs."""
MAX_GREY_ERROR = 0.3
"""Distance from the fit, ln units, from which a patch counts as covered or in glare."""
GREY_SLOPES = (0.5, 2.0)
"""Log-log slopes that tone curves, dot gain and veil explain."""
MAX_CLIPPED = 0.02
MAX_EDGE_LENGTH = 120.0
MAX_EDGE_HALF_WIDTH = 40.0
"""Pixels of an edge that are used: more would cost time and gain nothing."""
MTF_FLOOR = 0.01
"""What an edge tells below this is noise."""
MTF_RINGS = 13
"""Frequencies between which the MTF is interpolated."""
MIN_SPREAD = 0.3
"""Least singular value of the angular fit over the root of the edges' number; even spread: .71."""
MIN_MTF = 0.3
"""Below, a weave's lost modulation is not put down to the lens with any certainty."""
MAX_WEAVE_FREQUENCY = 0.2
"""Five pixels per pitch: finer weaves alias."""
MAX_NOISE = 0.1
"""Standard error, of the expected modulation, above which a weave does not tell."""
MIN_SPECTRUM_SIDE = 48
SCREEN_PEAK = 9.0
"""Amplitude over the ring's median: in noise, the highest of 10 000 reaches 3.7."""
SCREEN_MODULATION = 0.002
FUNDAMENTAL = 8 / math.pi**2
"""First Fourier coefficient of a diamond check of modulation 1, along either diagonal."""


@dataclass(frozen=True, eq=False)
class Exposure:
    """How the photo renders the card's greys.

    ln measured = ln white + slope * ln nominal, over the patches that are neither covered nor
    clipped.

    Attributes
    ----------
    nominal, measured : (n,) float64
        Reflectance relative to paper, and luminance in the photo (0 to 1), of each patch kept.
    white : float
        Luminance of the paper by the fit; above 1, the paper is blown out.
    slope : float
        1 for a camera without tone curve and a printer without dot gain.
    residual : float
        Standard deviation about the fit in ln units: uneven light, glare, tone curve.
    """

    nominal: FloatArray
    measured: FloatArray
    white: float
    slope: float
    residual: float

    def local(self, nominal: float) -> tuple[float, float]:
        """Return the luminance and the log-log slope at a nominal reflectance."""
        x, y = np.log(self.nominal / nominal), np.log(self.measured)
        slope, level = np.polyfit(x, y, 1, w=np.exp(-0.5 * (x / 0.5) ** 2))
        return float(np.exp(level)), float(slope)


@dataclass(frozen=True, eq=False)
class Card:
    """One card in a photo and what was read off it; None or empty where it could not be read.

    Attributes
    ----------
    markers : tuple of int
        Indices of the markers seen. One or two give an approximate pose only.
    corners : (4, 2) float64
        Corners of the card in pixels, clockwise from its top left; may lie outside the photo.
    homography : (3, 3) float64
        True millimetres on the card to pixels.
    px_per_mm : float
        At the card's centre: the square root of the scale of area, so less on a tilted card.
    residual : float
        Standard deviation of the marker corners about the homography, millimetres: bending.
    part : str or None
        The part's number from the QR field.
    white_gains : (3,) float64 or None
        Gains of linear R, G, B that make the card's greys neutral; green is 1.
    exposure : Exposure or None
    edges : tuple of EdgeMtf
        One for each edge that could be measured.
    edge_failures : tuple of str
        The reason for each that could not.
    texture_transfer : mapping of float to float
        For each contrast (.01, .02, .04, .08) of the weave of 3 mm pitch: modulation in the photo
        over what the greys and the MTF lead to expect. Under .8: noise reduction or hard JPEG
        compression. A contrast that noise hides is missing.
    fine_texture_transfer : mapping of float to float
        The same for the weave of 1.5 mm pitch.
    is_screen : bool or None
        Whether the white field shows a screen's pixel grid; None where that cannot be told.
    """

    markers: tuple[int, ...]
    corners: FloatArray
    homography: FloatArray
    px_per_mm: float
    residual: float
    part: str | None
    white_gains: FloatArray | None
    exposure: Exposure | None
    edges: tuple[EdgeMtf, ...]
    edge_failures: tuple[str, ...]
    texture_transfer: Mapping[float, float]
    fine_texture_transfer: Mapping[float, float]
    is_screen: bool | None

    def mask(self, shape: tuple[int, int], margin_mm: float = 3.0) -> BoolArray:
        """Return the card's area, grown by a margin, as a bool array of (height, width)."""
        mm = project(np.asarray(np.linalg.inv(self.homography)), self.corners)
        grown = project(self.homography, mm + margin_mm * np.sign(mm - mm.mean(axis=0)))
        area = np.zeros(shape, np.uint8)
        cv2.fillConvexPoly(area, np.rint(grown).astype(np.int32), 1)
        return area.astype(bool)

    def mtf(self, frequency_px: float, angle_rad: float) -> float | None:
        """Return the system MTF at a frequency, interpolated over direction.

        Parameters
        ----------
        frequency_px : float
            Cycles per pixel, 0 to 0.5.
        angle_rad : float
            Direction in which the pattern varies, in the picture (x right, y down).

        Returns
        -------
        float or None
            None without edges in at least three well spread directions, and above 0.5.

        Notes
        -----
        ln MTF = a + b cos 2 phi + c sin 2 phi by least squares over the edges: exact for a
        Gaussian blur of any ellipse. The print's own edges are part of the system.
        """
        return _angular_mtf(self.edges, frequency_px, angle_rad)

    def mtf_error(self, frequency_px: float) -> float | None:
        """Return by how much one edge departs from `mtf` at a frequency, natural log units."""
        fit = _angular_fit(self.edges, frequency_px)
        return None if fit is None else fit[1]

    def mtf_map(self, fx: FloatArray, fy: FloatArray) -> FloatArray | None:
        """Return the system MTF at many frequencies (cycles per pixel); None as for `mtf`."""
        radius, angle = np.hypot(fx, fy), np.arctan2(fy, fx)
        rings = np.linspace(0, float(radius.max()), MTF_RINGS)
        fits = [_angular_fit(self.edges, float(ring)) for ring in rings]
        terms = [fit[0] for fit in fits if fit is not None]
        if len(terms) < len(rings):
            return None
        a, b, c = (np.interp(radius, rings, term) for term in np.transpose(terms))
        return np.asarray(np.exp(a + b * np.cos(2 * angle) + c * np.sin(2 * angle)))


@dataclass(frozen=True)
class CardSighting:
    """The cards found in a photo, and one sentence where something is wrong with them."""

    cards: tuple[Card, ...]
    problem: str | None

    @property
    def usable(self) -> Card | None:
        """The card to go by: of several the one that shows most; none where something is wrong."""
        if self.problem is not None or not self.cards:
            return None
        return max(self.cards, key=lambda card: (len(card.markers), len(card.edges)))


def find_cards(rgb: RgbArray, printed_scale: float = 1.0) -> CardSighting:
    """Find the reference cards in a photo and read them.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
        The upright photo, sRGB-encoded.
    printed_scale : float, optional
        True length of the card's check ruler over 100 mm.

    Returns
    -------
    CardSighting
        No cards where none was found.

    Raises
    ------
    UsageError
        If the printed scale is not a positive number.
    """
    if not (math.isfinite(printed_scale) and printed_scale > 0):
        raise UsageError(f"printed scale {printed_scale:g} is no length; allowed: about 1")
    found = detect_markers(rgb)
    own = [m for m in found if m.design == LAYOUT.design and m.index < len(LAYOUT.markers)]
    readings = (_read_card(rgb, group, printed_scale) for group in group_markers(own))
    cards = tuple(card for card in readings if card is not None)
    foreign = [m.design for m in found if m.design != LAYOUT.design]
    return CardSighting(cards, _problem(cards, foreign, printed_scale, max(rgb.shape[:2])))


def _problem(
    cards: tuple[Card, ...], foreign: list[int], printed_scale: float, photo_side: int
) -> str | None:
    """Return one sentence on what is wrong, the gravest first."""
    parts = sorted({card.part for card in cards if card.part is not None})
    repeated = [design for design in foreign if foreign.count(design) > 1]
    if not PRINTED_SCALES[0] <= printed_scale <= PRINTED_SCALES[1]:
        return (
            f"A printed scale of {printed_scale:g} is implausible: the card's ruler must measure "
            f"{100 * PRINTED_SCALES[0]:g} to {100 * PRINTED_SCALES[1]:g} mm; print it at 100 %."
        )
    if repeated:
        return (
            f"The card in the photo is of design {repeated[0]}, this version reads design "
            f"{LAYOUT.design}; print a new card."
        )
    if len(parts) > 1:
        return f"There are cards of different parts in one photo: {', '.join(parts)}."
    scales = [card.px_per_mm for card in cards]
    if scales and max(scales) > SAME_SCALE * min(scales):
        return "There are cards at different distances; leave the one beside the part."
    for card in cards:
        side = photo_side / card.px_per_mm
        if not PHOTO_SIDES[0] <= side <= PHOTO_SIDES[1]:
            return f"By the card the photo would be {side:.0f} mm wide: its scale is implausible."
        if card.residual > MAX_BENDING:
            return "The card is bent, or its print is distorted; lay it flat."
        if card.is_screen:
            return "The card was photographed from a screen; only the printed card has a scale."
    return None


def _read_card(rgb: RgbArray, group: list[Marker], printed_scale: float) -> Card | None:
    """Read everything off one card, or None where its markers do not make a card."""
    homography = fit_homography(group)
    if homography is None:
        return None
    sheet = _Sheet(rgb, homography)
    centre = LAYOUT.outline.corners().mean(axis=0)
    scale = math.sqrt(abs(float(np.linalg.det(jacobian(homography, centre)))))
    expected = np.vstack([LAYOUT.marker(marker.index).corners() for marker in group])
    error = project(homography, expected) - np.vstack([marker.corners for marker in group])
    exposure, gains = _read_greys(sheet)
    edges, failures = _read_edges(sheet)
    transfers = _read_weaves(sheet, exposure, edges)
    return Card(
        markers=tuple(sorted(marker.index for marker in group)),
        corners=project(homography, LAYOUT.outline.corners()),
        homography=homography @ np.diag([1 / printed_scale, 1 / printed_scale, 1.0]),
        px_per_mm=scale / printed_scale,
        residual=float(np.sqrt(np.mean(np.sum(error**2, axis=1)))) / scale * printed_scale,
        part=_read_part(sheet),
        white_gains=gains,
        exposure=exposure,
        edges=edges,
        edge_failures=failures,
        texture_transfer=transfers[LAYOUT.pitches[0]],
        fine_texture_transfer=transfers[LAYOUT.pitches[1]],
        is_screen=_shows_pixel_grid(sheet),
    )


@dataclass(frozen=True, eq=False)
class _Crop:
    """The pixels of one field: linear (h, w, 3), those inside (h, w), the corner's place."""

    linear: NDArray[np.float32]
    inside: BoolArray
    left: int
    top: int


@dataclass(frozen=True, eq=False)
class _Sheet:
    """A photo and where the card lies in it."""

    rgb: RgbArray
    homography: FloatArray

    def crop(self, field_mm: FloatArray) -> _Crop | None:
        """Cut a (4, 2) field out; None unless all of it is in the photo and it has area."""
        quad = project(self.homography, field_mm)
        left, top = np.floor(quad.min(axis=0)).astype(int)
        right, bottom = np.ceil(quad.max(axis=0)).astype(int) + 1
        if min(left, top) < 0 or bottom > self.rgb.shape[0] or right > self.rgb.shape[1]:
            return None
        inside = np.zeros((bottom - top, right - left), np.uint8)
        cv2.fillConvexPoly(inside, np.rint(quad - (left, top)).astype(np.int32), 1)
        linear = linear_light(self.rgb[top:bottom, left:right])
        return _Crop(linear, inside.astype(bool), int(left), int(top))


def _thinned(values: NDArray[T], most: int) -> NDArray[T]:
    """Keep every k-th row, so that at most this many are left."""
    return values[:: math.ceil(len(values) / most)]


def _read_greys(sheet: _Sheet) -> tuple[Exposure | None, FloatArray | None]:
    """Fit the exposure and the white gains over the patches neither covered nor clipped."""
    nominal, colours = [], []
    for grey in (*LAYOUT.greys, LAYOUT.white):
        crop = sheet.crop(grey.rect.corners(inset=1.5))
        if crop is None or np.count_nonzero(crop.inside) < MIN_PATCH_PIXELS:
            continue
        pixels = _thinned(crop.linear[crop.inside], MAX_GREY_PIXELS)
        colour = np.median(pixels, axis=0).astype(np.float64)
        if colour.min() > 0 and np.mean(pixels.max(axis=1) >= CLIPPED_LIGHT) <= MAX_CLIPPED:
            nominal.append(grey.reflectance)
            colours.append(colour)
    return _fit_greys(np.array(nominal), np.array(colours).reshape(-1, 3))


def _fit_greys(
    nominal: FloatArray, colours: FloatArray
) -> tuple[Exposure | None, FloatArray | None]:
    """Fit ln luminance over ln nominal to the largest set of patches that lie on one line.

    Each pair of patches proposes a line. Patches under one and the same cover agree too, but on
    a line far flatter than any camera's.
    """
    if len(np.unique(nominal)) < MIN_GREYS:
        return None, None
    x = np.log(nominal)
    y = np.log(luminance(colours.astype(np.float32)[None])[0].astype(np.float64))
    first, second = np.nonzero(x[:, None] - x > 0)
    slopes = (y[first] - y[second]) / (x[first] - x[second])
    errors = np.abs(y - y[first, None] - slopes[:, None] * (x - x[first, None]))
    agree = (errors <= MAX_GREY_ERROR) & (slopes > GREY_SLOPES[0])[:, None]
    agree &= (slopes < GREY_SLOPES[1])[:, None]
    cost = np.sum(np.where(agree, errors / MAX_GREY_ERROR, 1.0), axis=1)
    kept = agree[np.argmin(cost)]
    if len(np.unique(nominal[kept])) < MIN_GREYS:
        return None, None
    slope, level = np.polyfit(x[kept], y[kept], 1)
    spread = float(np.std(y[kept] - level - slope * x[kept]))
    exposure = Exposure(nominal[kept], np.exp(y[kept]), math.exp(level), float(slope), spread)
    return exposure, np.median(colours[kept, 1:2] / colours[kept], axis=0)


def _read_edges(sheet: _Sheet) -> tuple[tuple[EdgeMtf, ...], tuple[str, ...]]:
    """Measure every slanted edge in the photo; the reasons of those that fail."""
    edges: list[EdgeMtf] = []
    failures: list[str] = []
    for square in LAYOUT.squares:
        centre = np.array((square.x, square.y))
        scale = math.sqrt(abs(float(np.linalg.det(jacobian(sheet.homography, centre)))))
        length = min(LAYOUT.edge_length, MAX_EDGE_LENGTH / scale)
        half_width = min(LAYOUT.edge_half_width, MAX_EDGE_HALF_WIDTH / scale)
        for field_mm in square.edge_fields(length, half_width):
            crop = sheet.crop(field_mm)
            if crop is None:
                failures.append("outside the photo")
                continue
            result = edge_mtf(luminance(crop.linear), crop.inside)
            if isinstance(result, NotMeasured):
                failures.append(result.reason)
            else:
                edges.append(result)
    return tuple(edges), tuple(failures)


def _angular_mtf(edges: tuple[EdgeMtf, ...], frequency: float, angle: float) -> float | None:
    """Return the MTF in a direction from the fit over the edges."""
    fit = _angular_fit(edges, frequency)
    if fit is None:
        return None
    return float(np.exp(fit[0] @ (1.0, math.cos(2 * angle), math.sin(2 * angle))))


def _angular_fit(edges: tuple[EdgeMtf, ...], frequency: float) -> tuple[FloatArray, float] | None:
    """Fit ln MTF = a + b cos 2 phi + c sin 2 phi; return the terms and the edges' scatter."""
    if not 0 <= frequency <= 0.5 or len(edges) < 3:
        return None
    phi = 2 * np.array([edge.angle for edge in edges])
    design = np.column_stack([np.ones(phi.size), np.cos(phi), np.sin(phi)])
    log_mtf = np.log(np.maximum([edge.at(frequency) for edge in edges], MTF_FLOOR))
    for _ in range(2):
        if np.linalg.svd(design, compute_uv=False)[-1] < MIN_SPREAD * math.sqrt(len(design)):
            return None
        terms = np.linalg.lstsq(design, log_mtf, rcond=None)[0]
        error = np.abs(log_mtf - design @ terms)
        kept = error <= max(4 * float(np.median(error)), 0.05)
        scatter = math.sqrt(float(error[kept] @ error[kept]) / max(int(kept.sum()) - 3, 1))
        design, log_mtf = design[kept], log_mtf[kept]
    return np.asarray(terms), scatter


def _read_weaves(
    sheet: _Sheet, exposure: Exposure | None, edges: tuple[EdgeMtf, ...]
) -> dict[float, dict[float, float]]:
    """Return the transfer of each weave that tells: by pitch, then by contrast."""
    transfers: dict[float, dict[float, float]] = {pitch: {} for pitch in LAYOUT.pitches}
    if exposure is None:
        return transfers
    for weave in LAYOUT.weaves:
        transfer = _weave_transfer(sheet, weave, exposure, edges)
        if transfer is not None:
            transfers[weave.pitch][weave.contrast] = transfer
    return transfers


def _weave_transfer(
    sheet: _Sheet, weave: Weave, exposure: Exposure, edges: tuple[EdgeMtf, ...]
) -> float | None:
    """Return the measured over the expected modulation of one weave, or None if unfit."""
    crop = sheet.crop(weave.rect.corners(inset=1.0))
    if crop is None or np.count_nonzero(crop.inside) < MIN_PATCH_PIXELS:
        return None
    centre = weave.rect.corners().mean(axis=0)
    inverse = np.linalg.inv(jacobian(sheet.homography, centre))
    waves = inverse.T / weave.pitch
    expected: list[float] = []
    for wave in waves.T:
        frequency = float(np.hypot(*wave))
        mtf = _angular_mtf(edges, frequency, math.atan2(wave[1], wave[0]))
        if mtf is None or mtf < MIN_MTF or frequency > MAX_WEAVE_FREQUENCY:
            return None
        expected.append(mtf)
    level, slope = exposure.local(weave.reflectance)
    mean, modulations, noise = _modulation(sheet.homography, crop, weave.pitch)
    target = weave.modulation * FUNDAMENTAL * slope * np.array(expected)
    if abs(math.log(max(mean, 1e-6) / level)) > MAX_GREY_ERROR or noise > MAX_NOISE * target.min():
        return None
    return float(np.mean(modulations / target))


def _modulation(
    homography: FloatArray, crop: _Crop, pitch: float
) -> tuple[float, FloatArray, float]:
    """Return the mean, the modulation along the card's two axes, and its standard error.

    Least squares of a plane and the two waves on the pixels inside; what noise adds to the
    square of an amplitude on average, twice its variance, is taken off.
    """
    y, x = _thinned(np.argwhere(crop.inside), MAX_WEAVE_PIXELS).T
    values = luminance(crop.linear[y, x][None])[0].astype(np.float64)
    pixels = np.column_stack([x + crop.left, y + crop.top]).astype(np.float64)
    mm = project(np.asarray(np.linalg.inv(homography)), pixels)
    mm -= mm.mean(axis=0)
    phase = 2 * math.pi / pitch * mm
    columns = [np.ones(len(mm)), *mm.T, *np.cos(phase).T, *np.sin(phase).T]
    design = np.column_stack(columns)
    terms = np.linalg.solve(design.T @ design, design.T @ values)
    variance = 2 * float(np.mean((values - design @ terms) ** 2)) / len(values)
    power = np.maximum(terms[3:5] ** 2 + terms[5:7] ** 2 - 2 * variance, 0.0)
    return float(terms[0]), np.sqrt(power) / terms[0], math.sqrt(variance) / float(terms[0])


def _read_part(sheet: _Sheet) -> str | None:
    """Read the QR field, straightened to 10 pixels per millimetre."""
    field_mm = LAYOUT.qr.corners(inset=-2.5)
    crop = sheet.crop(field_mm)
    if crop is None:
        return None
    side = int(10 * (LAYOUT.qr.width + 5))
    square = np.array([(0, 0), (side, 0), (side, side), (0, side)], np.float32)
    quad = project(sheet.homography, field_mm).astype(np.float32)
    warp = cv2.getPerspectiveTransform(quad, square)
    upright = cv2.warpPerspective(sheet.rgb, warp, (side, side), flags=cv2.INTER_LINEAR)
    grey = cv2.cvtColor(upright, cv2.COLOR_RGB2GRAY)
    if np.ptp(grey[25:-25, 25:-25]) < MIN_QR_CONTRAST:
        return None
    reader = cv2.QRCodeDetector()
    expected = (square[None] - side / 2) * (LAYOUT.qr.width / (LAYOUT.qr.width + 5)) + side / 2
    text, _ = reader.decode(grey, expected)
    if not text:  # an approximate pose: let the reader find the code's corners itself
        text, _, _ = reader.detectAndDecode(grey)
    return text or None


def _shows_pixel_grid(sheet: _Sheet) -> bool | None:
    """Look for a sharp peak in the white field's spectrum; None where there is none to look at.

    Paper and sensor noise have a smooth spectrum; a screen's grid, or its moire with the
    sensor, stands out as single frequencies. JPEG's blocks lie at multiples of 1/8 cycle on the
    axes and are left out, as are the lowest frequencies and the neighbourhood of Nyquist.
    """
    crop = sheet.crop(LAYOUT.white.rect.corners(inset=1.0))
    if crop is None:
        return None
    rows, columns = np.nonzero(crop.inside)
    side = int(0.6 * math.sqrt(rows.size))
    top, left = int(rows.mean() - side / 2), int(columns.mean() - side / 2)
    field_ = luminance(crop.linear)[top : top + side, left : left + side].astype(np.float64)
    if side < MIN_SPECTRUM_SIDE or np.mean(field_ >= CLIPPED_LIGHT) > 10 * MAX_CLIPPED:
        return None
    window = np.outer(np.hanning(side), np.hanning(side))
    amplitude = np.abs(np.fft.fft2((field_ / field_.mean() - 1) * window)) * 2 / window.sum()
    f = np.abs(np.fft.fftfreq(side))
    fy, fx = np.meshgrid(f, f, indexing="ij")
    radius = np.hypot(fx, fy)
    on_axis = np.minimum(fx, fy) < 2.5 / side
    is_block = on_axis & (np.abs(8 * np.maximum(fx, fy) % 1 - 0.5) > 0.5 - 20 / side)
    is_looked_at = (radius > 0.06) & (np.maximum(fx, fy) < 0.45) & ~is_block
    ring = (radius * 20).astype(int)
    for number in np.unique(ring[is_looked_at]):
        values = amplitude[is_looked_at & (ring == number)]
        if values.max() > max(SCREEN_PEAK * float(np.median(values)), SCREEN_MODULATION):
            return True
    return False
