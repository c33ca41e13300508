"""The card's slanted edges: the MTF of lens, camera and print in every direction."""

import math

import numpy as np
from numpy.typing import NDArray

from satcheck.card.crops import PlacedCard
from satcheck.card.layout import LAYOUT
from satcheck.card.markers import jacobian
from satcheck.card.slanted_edge import EdgeMtf, NotMeasured, edge_mtf
from satcheck.light import luminance

FloatArray = NDArray[np.float64]

MAX_EDGE_LENGTH = 120.0
MAX_EDGE_HALF_WIDTH = 40.0
"""Pixels of an edge that are used: more would cost time and gain nothing."""
MTF_FLOOR = 0.01
"""What an edge tells below this is noise."""
MTF_RINGS = 13
"""Frequencies between which the MTF is interpolated."""
MIN_SPREAD = 0.3
"""Least singular value of the angular fit over the root of the edges' number; even spread: .71."""


def read_edges(placed: PlacedCard) -> tuple[tuple[EdgeMtf, ...], tuple[str, ...]]:
    """Measure every slanted edge in the photo; the reasons of those that fail."""
    edges: list[EdgeMtf] = []
    failures: list[str] = []
    for square in LAYOUT.squares:
        centre = np.array((square.x, square.y))
        scale = math.sqrt(abs(float(np.linalg.det(jacobian(placed.homography, centre)))))
        length = min(LAYOUT.edge_length, MAX_EDGE_LENGTH / scale)
        half_width = min(LAYOUT.edge_half_width, MAX_EDGE_HALF_WIDTH / scale)
        for field_mm in square.edge_fields(length, half_width):
            crop = placed.crop(field_mm)
            if crop is None:
                failures.append("outside the photo")
                continue
            result = edge_mtf(luminance(crop.linear), crop.inside)
            if isinstance(result, NotMeasured):
                failures.append(result.reason)
            else:
                edges.append(result)
    return tuple(edges), tuple(failures)


def mtf_towards(edges: tuple[EdgeMtf, ...], frequency: float, angle: float) -> float | None:
    """Return the MTF in a direction from the fit over the edges; see ``Card.mtf``."""
    fit = _angular_fit(edges, frequency)
    if fit is None:
        return None
    return float(np.exp(fit[0] @ (1.0, math.cos(2 * angle), math.sin(2 * angle))))


def mtf_error(edges: tuple[EdgeMtf, ...], frequency: float) -> float | None:
    """Return the edges' scatter about the fit, natural log units; see ``Card.mtf_error``."""
    fit = _angular_fit(edges, frequency)
    return None if fit is None else fit[1]


def mtf_map(edges: tuple[EdgeMtf, ...], fx: FloatArray, fy: FloatArray) -> FloatArray | None:
    """Return the MTF at many frequencies, those of the fit interpolated; see ``Card.mtf_map``."""
    radius, angle = np.hypot(fx, fy), np.arctan2(fy, fx)
    rings = np.linspace(0, float(radius.max()), MTF_RINGS)
    fits = [_angular_fit(edges, float(ring)) for ring in rings]
    terms = [fit[0] for fit in fits if fit is not None]
    if len(terms) < len(rings):
        return None
    a, b, c = (np.interp(radius, rings, term) for term in np.transpose(terms))
    return np.asarray(np.exp(a + b * np.cos(2 * angle) + c * np.sin(2 * angle)))


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
