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

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.card.crops import PlacedCard
from satcheck.card.edges import mtf_error, mtf_map, mtf_towards, read_edges
from satcheck.card.greys import Exposure, read_greys
from satcheck.card.layout import LAYOUT
from satcheck.card.markers import (
    Marker,
    detect_markers,
    fit_homography,
    group_markers,
    jacobian,
    project,
)
from satcheck.card.part_code import read_part
from satcheck.card.screen import shows_pixel_grid
from satcheck.card.slanted_edge import EdgeMtf
from satcheck.card.weaves import read_weaves
from satcheck.errors import UsageError

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
RgbArray = NDArray[np.uint8]

PRINTED_SCALES = (0.9, 1.1)
"""Length of the check ruler over 100 mm that a printer's scaling may explain."""
PHOTO_SIDES = (60.0, 4000.0)
"""Plausible length of the photo's long side in mm at the card."""
SAME_SCALE = 1.1
"""Ratio of two cards' scales up to which they lie beside the same part (our choice)."""
MAX_BENDING = 0.6
"""Standard deviation of the marker corners in mm from which the card counts as bent."""


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
        return mtf_towards(self.edges, frequency_px, angle_rad)

    def mtf_error(self, frequency_px: float) -> float | None:
        """Return by how much one edge departs from `mtf` at a frequency, natural log units."""
        return mtf_error(self.edges, frequency_px)

    def mtf_map(self, fx: FloatArray, fy: FloatArray) -> FloatArray | None:
        """Return the system MTF at many frequencies (cycles per pixel); None as for `mtf`."""
        return mtf_map(self.edges, fx, fy)


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
            return (
                f"By the card the photo's longer side would be {side:.0f} mm: its scale is "
                "implausible."
            )
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
    placed = PlacedCard(rgb, homography)
    centre = LAYOUT.outline.corners().mean(axis=0)
    scale = math.sqrt(abs(float(np.linalg.det(jacobian(homography, centre)))))
    expected = np.vstack([LAYOUT.marker(marker.index).corners() for marker in group])
    error = project(homography, expected) - np.vstack([marker.corners for marker in group])
    exposure, gains = read_greys(placed)
    edges, failures = read_edges(placed)
    transfers = read_weaves(placed, exposure, edges)
    return Card(
        markers=tuple(sorted(marker.index for marker in group)),
        corners=project(homography, LAYOUT.outline.corners()),
        homography=homography @ np.diag([1 / printed_scale, 1 / printed_scale, 1.0]),
        px_per_mm=scale / printed_scale,
        residual=float(np.sqrt(np.mean(np.sum(error**2, axis=1)))) / scale * printed_scale,
        part=read_part(placed),
        white_gains=gains,
        exposure=exposure,
        edges=edges,
        edge_failures=failures,
        texture_transfer=transfers[LAYOUT.pitches[0]],
        fine_texture_transfer=transfers[LAYOUT.pitches[1]],
        is_screen=shows_pixel_grid(placed),
    )
