"""The card's markers in a photo: detected, refined, gathered by card, and the pose they give."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.card.layout import IDS_PER_DESIGN, LAYOUT, marker_dictionary
from satcheck.light import linear_light, luminance

FloatArray = NDArray[np.float64]
RgbArray = NDArray[np.uint8]

DETECTION_SIDES = (1000, 2000)
"""Long side in pixels of the reduced pictures that markers are looked for in."""
ENOUGH_MARKERS = 3
"""So many markers, and the finer picture is not searched."""


@dataclass(frozen=True, eq=False)
class Marker:
    """A marker of some design, its corners (4, 2) in pixels."""

    design: int
    index: int
    corners: FloatArray


def detect_markers(rgb: RgbArray) -> list[Marker]:
    """Detect the markers of any design in an (H, W, 3) uint8 photo.

    On a reduced picture, on a finer one if they are few; the corners are refined on the full.
    """
    found: list[Marker] = []
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    for side in DETECTION_SIDES:
        step = max(1, round(max(grey.shape) / side))
        size = (max(1, grey.shape[1] // step), max(1, grey.shape[0] // step))
        small = grey if step == 1 else cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
        found = _detect_in(small, (grey.shape[1] / size[0], grey.shape[0] / size[1]))
        if len(found) >= ENOUGH_MARKERS or step == 1:
            break
    return [_refined(rgb, marker) for marker in found]


def _detect_in(grey: cv2.typing.MatLike, step: tuple[float, float]) -> list[Marker]:
    """Detect markers in a reduced picture; corners in pixels of the full one."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.errorCorrectionRate = 0.4  # two wrong bits: stray quads in a weave stay unread
    parameters.minMarkerPerimeterRate = 0.02
    # One window of about two modules, as markers are 20 to 100 pixels wide in these pictures.
    parameters.adaptiveThreshWinSizeMin = parameters.adaptiveThreshWinSizeMax = 23
    detector = cv2.aruco.ArucoDetector(marker_dictionary(), parameters)
    quads, ids, _ = detector.detectMarkers(grey)
    if ids is None:
        return []
    return [
        Marker(
            *divmod(int(number), IDS_PER_DESIGN),
            (np.asarray(quad, np.float64).reshape(4, 2) + 0.5) * step - 0.5,
        )
        for quad, number in zip(quads, np.ravel(ids), strict=True)
    ]


def _refined(rgb: RgbArray, marker: Marker) -> Marker:
    """Refine a marker's corners on the full picture, as crossings of its four sides.

    Blur rounds a corner and so moves it inwards, but leaves a side where it is in linear light.
    """
    module = float(np.linalg.norm(np.diff(marker.corners, axis=0), axis=1).min()) / 8
    low = np.maximum(np.floor(marker.corners.min(axis=0) - 2 * module).astype(int), 0)
    high = np.ceil(marker.corners.max(axis=0) + 2 * module).astype(int) + 1
    light = luminance(linear_light(rgb[low[1] : high[1], low[0] : high[0]]))
    corners = marker.corners - low
    for _ in range(2):
        corners = _crossings(_sides(light, corners, module))
    is_sane = np.abs(corners + low - marker.corners).max() < module
    return Marker(marker.design, marker.index, corners + low) if is_sane else marker


def _sides(light: NDArray[np.float32], corners: FloatArray, module: float) -> FloatArray:
    """Return a point and a direction, (4, 4), of each side: robust lines through its profiles."""
    ahead = np.roll(corners, -1, axis=0) - corners
    outward = np.column_stack([ahead[:, 1], -ahead[:, 0]])
    outward /= np.linalg.norm(outward, axis=1, keepdims=True)
    along = np.linspace(0.12, 0.88, 24)[:, None, None]
    across = np.linspace(-0.8, 0.8, 33) * module
    lines = np.empty((4, 4))
    for side in range(4):
        feet = corners[side] + along * ahead[side]
        x, y = np.moveaxis(feet + across[:, None] * outward[side], -1, 0).astype(np.float32)
        profile = cv2.remap(light, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        rise = np.maximum(np.diff(np.asarray(profile, np.float64), axis=1), 0) + 1e-9
        centroid = rise @ ((across[1:] + across[:-1]) / 2) / rise.sum(axis=1)
        points = (feet[:, 0] + centroid[:, None] * outward[side]).astype(np.float32)
        dx, dy, px, py = cv2.fitLine(points, cv2.DIST_HUBER, 0, 0.01, 0.01).ravel()
        lines[side] = px, py, dx, dy
    return lines


def _crossings(lines: FloatArray) -> FloatArray:
    """Return where each line crosses the one before it, (4, 2)."""
    points, directions = lines[:, :2], lines[:, 2:]
    normals = np.column_stack([directions[:, 1], -directions[:, 0]])
    offsets = np.sum(normals * points, axis=1)
    pairs = np.stack([np.roll(normals, 1, axis=0), normals], axis=1)
    values = np.stack([np.roll(offsets, 1), offsets], axis=1)
    return np.asarray(np.linalg.solve(pairs, values[..., None])[..., 0])


def group_markers(markers: list[Marker]) -> list[list[Marker]]:
    """Gather the markers of each card: those that lie where the others of the card say."""
    groups: list[list[Marker]] = []
    for marker in sorted(markers, key=lambda m: -cv2.contourArea(m.corners.astype(np.float32))):
        for group in groups:
            if _belongs(marker, group):
                group.append(marker)
                break
        else:
            groups.append([marker])
    return groups


def _belongs(marker: Marker, group: list[Marker]) -> bool:
    if any(member.index == marker.index for member in group):
        return False
    homography = fit_homography(group)
    if homography is None:
        return False
    expected = project(homography, LAYOUT.marker(marker.index).corners()).mean(axis=0)
    centre = marker.corners.mean(axis=0)
    distance = min(np.linalg.norm(centre - member.corners.mean(axis=0)) for member in group)
    # One small marker tells the far end of the card to about a tenth; cards lie a card apart.
    return bool(np.linalg.norm(expected - centre) < 0.35 * distance)


def fit_homography(group: list[Marker]) -> FloatArray | None:
    """Return layout millimetres to pixels by the markers' corners, or None."""
    card = np.vstack([LAYOUT.marker(marker.index).corners() for marker in group])
    picture = np.vstack([marker.corners for marker in group])
    sides = np.linalg.norm(np.diff(group[0].corners, axis=0), axis=1)
    slack = max(1.5, 0.03 * float(sides.max()))
    fitted, _ = cv2.findHomography(card, picture, cv2.RANSAC, slack)
    if fitted is None:
        return None
    homography = np.asarray(fitted, np.float64)
    depth = _homogeneous(LAYOUT.outline.corners()) @ homography[2]
    return homography if depth.min() > 0 else None


def _homogeneous(points: FloatArray) -> FloatArray:
    return np.column_stack([points, np.ones(len(points))])


def project(homography: FloatArray, points: FloatArray) -> FloatArray:
    """Map (n, 2) points."""
    mapped = _homogeneous(points) @ homography.T
    return np.asarray(mapped[:, :2] / mapped[:, 2:])


def jacobian(homography: FloatArray, point: FloatArray) -> FloatArray:
    """Return d(pixel) / d(mm) at a point of the card, shape (2, 2)."""
    x, y, w = homography @ (*point, 1.0)
    return np.asarray((homography[:2, :2] - np.outer((x / w, y / w), homography[2, :2])) / w)
