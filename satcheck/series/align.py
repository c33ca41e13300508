"""Two photos of one part and view, brought to cover each other by the part's outline.

The weave fades as resin comes, so nothing inside the outline may be relied on; the outline stays.
Start from both grids of cells, which run from the proximal to the distal end, then least squares
of the outlines' distance, robust against an outline that is wrong in places (iterative closest
point with a distance field, Fitzgibbon 2003).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, optimize

from satcheck.model import Inspection

F64 = NDArray[np.float64]
Bool = NDArray[np.bool_]

LONG_SIDE = 480
"""Pixels of the silhouettes that are laid over each other; sub-pixel by the distance field."""
BRIDGE = 28
"""Half the width of a band of tape on them: 56 of 480 pixels, two fingers wide (own rule)."""
MOST_POINTS = 600
SAME_VIEW = 0.9
"""Overlap from which two outlines are taken for one view of one part (own rule)."""
MOST_TURN = np.radians(20)
MOST_STRETCH = np.log(1.3)
LINE = 0.5  # px of the small silhouettes: pixel centres within it lie in one row, but for rounding
ROBUST = 2.0  # px of the small silhouettes, from which a distance counts less


@dataclass(frozen=True, eq=False)
class Alignment:
    """How the later photo lies on the earlier one.

    Attributes
    ----------
    to_earlier : (2, 3) float64 array
        Affine map from pixels (x, y) of the later upright photo to those of the earlier.
    residual : float
        Robust standard deviation of the outlines' distance, pixels of the earlier photo.
    problem : str or None
        Why the two photos cannot be compared, in one sentence; None where they can.
    """

    to_earlier: F64
    residual: float
    problem: str | None = None

    @property
    def scale(self) -> float:
        """Return pixels of the earlier photo per pixel of the later."""
        return float(np.sqrt(abs(np.linalg.det(self.to_earlier[:, :2]))))


def align(earlier: Inspection, later: Inspection) -> Alignment:
    """Lay the later photo over the earlier one.

    Two silhouettes tell nothing about a turn of the part round its own axis by a few degrees, nor
    a left-right mirrored part from its original: the view must be the same.
    """
    if earlier.cells is None or later.cells is None:
        return _refused("One of the two photos shows no part.")
    if earlier.cut or later.cut:
        return _refused(
            "The part runs out of one of the two photos: take it whole to see what has changed."
        )
    first, to_first = _silhouette(earlier)
    second, to_second = _silhouette(later)
    if not first.any() or not second.any():
        return _refused("One of the two records keeps no outline.")
    turned = _turned(earlier)
    here, there = _box(first, turned), _box(second, _turned(later))
    if min(np.ptp(here, 0).min(), np.ptp(there, 0).min()) < LINE:
        return _refused(
            "In one of the two photos the outline is a mere line: draw it round the whole part."
        )
    fit = _fitted(first, second, _start(here, there, turned, _turned(later)), turned)
    overlap = _overlap(first, second, fit)
    distances = np.abs(_distances(first, _apply(fit, _outline(second))))
    residual = 1.4826 * float(np.median(distances)) / to_first
    matrix = np.column_stack([fit[:, :2] * (to_second / to_first), fit[:, 2] / to_first])
    problem = None
    if overlap < SAME_VIEW:
        problem = (
            f"The outlines of the two photos cover each other by {100 * overlap:.0f} % only: "
            "take the photo from where the last one was taken, or start a series for this view."
        )
    return Alignment(matrix, residual, problem)


def _refused(problem: str) -> Alignment:
    return Alignment(np.eye(2, 3), 0.0, problem)


def _silhouette(inspection: Inspection) -> tuple[Bool, float]:
    """Return the label map's largest piece, reduced, and its pixels per photo pixel.

    Tape and cord cut a label map in pieces, and one photo may show them as laminate: such bands
    are bridged before the largest piece is taken.
    """
    labels = inspection.labels
    if not labels.size:
        return np.zeros((0, 0), np.bool_), 1.0
    every = max(1, round(max(labels.shape) / LONG_SIDE))
    mask = _closed(np.asarray(labels[every // 2 :: every, every // 2 :: every] > 0))
    pieces, count = ndimage.label(mask)
    if count > 1:
        mask = pieces == 1 + np.argmax(np.bincount(pieces.ravel())[1:])
    scale = labels.shape[1] / inspection.photo.width / every
    return np.asarray(ndimage.binary_fill_holes(mask)), scale


def _closed(mask: Bool) -> Bool:
    """Return the mask with gaps up to twice ``BRIDGE`` closed (dilated, then eroded by a disc)."""
    padded = np.pad(mask, BRIDGE + 1)
    if not padded.any():
        return mask
    wide = np.asarray(ndimage.distance_transform_edt(~padded) <= BRIDGE)
    closed = ndimage.distance_transform_edt(wide) > BRIDGE
    inner = slice(BRIDGE + 1, -BRIDGE - 1)
    return np.asarray((closed | padded)[inner, inner])


def _turned(inspection: Inspection) -> F64:
    """Return unit vectors (2, 2), columns across and along the part, from its grid of cells."""
    assert inspection.cells is not None
    matrix = inspection.cells.to_photo[:, :2]
    return np.asarray(matrix / np.linalg.norm(matrix, axis=0))


def _outline(mask: Bool) -> F64:
    """Return points (n, 2) on the silhouette's edge, between its last pixel and the next."""
    padded = np.pad(mask, 1)
    points = []
    for axis in (0, 1):
        row, column = np.nonzero(np.diff(padded.astype(np.int8), axis=axis))
        edge = np.stack([column, row], 1).astype(float) - 1
        edge[:, 1 - axis] += 1.0
        edge[:, axis] += 0.5
        points.append(edge)
    found = np.concatenate(points)
    inside = ((found > 0.6) & (found < np.array(mask.shape[::-1]) - 0.6)).all(1)
    found = found[inside] if inside.sum() > 10 else found  # the picture's frame is no outline
    return found[:: max(1, len(found) // MOST_POINTS)]


def _field(mask: Bool) -> F64:
    """Return the signed distance to the silhouette's edge at pixel centres, inside negative."""
    outside = ndimage.distance_transform_edt(~mask)
    inside = ndimage.distance_transform_edt(mask)
    return np.asarray(np.where(mask, 0.5 - inside, outside - 0.5))


def _box(mask: Bool, turned: F64) -> F64:
    """Return least and greatest place (2, 2) of pixel centres across and along the part."""
    y, x = np.nonzero(mask)
    placed = np.stack([x + 0.5, y + 0.5], 1) @ turned
    return np.asarray([placed.min(0), placed.max(0)], np.float64)


def _start(here: F64, there: F64, to_first: F64, to_second: F64) -> F64:
    """Return the map that lays the later part's box over the earlier one's."""
    stretch = np.ptp(here, 0) / np.ptp(there, 0)
    linear = to_first @ np.diag(stretch) @ to_second.T
    shift = to_first @ (here.mean(0) - stretch * there.mean(0))
    return np.column_stack([linear, shift])


def _apply(matrix: F64, points: F64) -> F64:
    return np.asarray(points @ matrix[:, :2].T + matrix[:, 2])


def _distances(mask: Bool, points: F64, field: F64 | None = None) -> F64:
    """Return the signed distance of points (n, 2) to a silhouette's edge."""
    field = _field(mask) if field is None else field
    at = (points[:, ::-1] - 0.5).T
    inner = np.clip(at, 0, np.array(mask.shape)[:, None] - 1)
    beyond = np.hypot(*(at - inner))  # off the picture, the distance goes on growing
    return np.asarray(ndimage.map_coordinates(field, inner, order=1) + beyond)


def _fitted(first: Bool, second: Bool, start: F64, axes: F64) -> F64:
    """Return the start turned, stretched along ``axes`` and shifted till the outlines meet."""
    field, points = _field(first), _apply(start, _outline(second))
    middle, reach = points.mean(0), float(np.ptp(points, axis=0).max()) / 2

    def moved(by: F64) -> F64:
        turn, sideways, along, x, y = by / np.array([reach, reach, reach, 1, 1])
        cos, sin = np.cos(turn), np.sin(turn)
        linear = np.array([[cos, -sin], [sin, cos]])
        linear = linear @ axes @ np.diag(np.exp([sideways, along])) @ axes.T
        return np.column_stack([linear, middle - linear @ middle + [x, y]])

    limits = np.array([MOST_TURN, MOST_STRETCH, MOST_STRETCH, 0.5, 0.5]) * reach
    fit = optimize.least_squares(
        lambda by: _distances(first, _apply(moved(by), points), field),
        np.zeros(5),
        bounds=(-limits, limits),
        loss="soft_l1",
        f_scale=ROBUST,
    )
    better = moved(fit.x)
    return np.column_stack(
        [better[:, :2] @ start[:, :2], better[:, :2] @ start[:, 2] + better[:, 2]]
    )


def _overlap(first: Bool, second: Bool, matrix: F64) -> float:
    """Return intersection over union, the later silhouette drawn on the earlier's picture."""
    rows, columns = np.indices(first.shape) + 0.5
    points = np.stack([columns.ravel(), rows.ravel()], 1)
    x, y = np.linalg.solve(matrix[:, :2], (points - matrix[:, 2]).T)
    column, row = np.floor(x).astype(int), np.floor(y).astype(int)
    inside = (row >= 0) & (row < second.shape[0]) & (column >= 0) & (column < second.shape[1])
    drawn = np.zeros(first.size, np.bool_)
    drawn[inside] = second[row[inside], column[inside]]
    both = int((drawn & first.ravel()).sum())
    return both / max(int((drawn | first.ravel()).sum()), 1)
