"""The straightened working picture: the part upright, proximal end first, at a chosen scale.

Every measure of the weave is taken in this one frame, so that the braid's axis is always vertical
and the weave always spans about the same number of pixels.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.area_mean import area_mean
from satcheck.arrays.quantile import median
from satcheck.light import linear_codes, linear_light, luminance
from satcheck.zones import NUMBER, ON_BRIM, ON_LOCK, ZoneMap

LAMINATE, COVERED = 16, 32  # bits of a pixel's code, beside those of its zone
BLOCK = 8  # px: a frame's sides are multiples of it, so that it can be halved three times
MARGIN = 0.03  # of the part's length, kept around it so that windows do not meet the border


@dataclass(frozen=True, eq=False)
class Frame:
    """A part's straightened picture.

    Attributes
    ----------
    linear : (H, W, 3) float32 array
        Linear light, 0 to 1; of a ``sketched`` one its luminance alone, (H, W).
    laminate : (H, W) bool array
    zones : (H, W) uint8 array
        0 outside, else 1 + 3 * third + side, as in ``model.Cells``.
    brim, lock : (H, W) bool arrays
    covered : (H, W) bool array
        Tape and cord.
    to_photo : (2, 3) float64 array
        Affine map from (x, y) of this frame, in pixels from its corner, to the upright photo.
    scale : float
        Pixels of this frame per pixel of the upright photo.
    """

    linear: NDArray[np.float32]
    laminate: NDArray[np.bool_]
    zones: NDArray[np.uint8]
    brim: NDArray[np.bool_]
    lock: NDArray[np.bool_]
    covered: NDArray[np.bool_]
    to_photo: NDArray[np.float64]
    scale: float

    @cached_property
    def light(self) -> NDArray[np.float32]:
        """Luminance (H, W), linear, 0 to 1."""
        return self.linear if self.linear.ndim == 2 else luminance(self.linear)

    @cached_property
    def depth(self) -> NDArray[np.float32]:
        """How far each pixel lies within the laminate (H, W), px; beyond the frame is none."""
        return distance_within(self.laminate)

    @cached_property
    def span(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Each row's centre column and half width; both (H,), NaN where there is no part."""
        return span(self.laminate)

    @cached_property
    def half_width(self) -> float:
        """The median of the rows' half widths, px; NaN where there is no part."""
        half = self.span[1]
        return float(median(half[np.isfinite(half)]))


def span(mask: NDArray[np.bool_]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return centre column and half width of each row of a mask (H, W); both (H,), NaN if empty."""
    left = np.argmax(mask, 1).astype(np.float64)
    right = mask.shape[1] - np.argmax(mask[:, ::-1], 1).astype(np.float64)
    nothing = np.where(mask.any(1), 0.0, np.nan)
    return (left + right) / 2 + nothing, (right - left) / 2 + nothing


def distance_within(mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return how far each pixel lies within a mask (H, W), in pixels; beyond its border is not.

    By steps of 5 x 5 pixels, which errs by 2 % at most (Borgefors 1986) and takes a third of the
    time of the exact one.
    """
    padded = np.pad(mask, 1).view(np.uint8)
    far = cv2.distanceTransform(padded, cv2.DIST_L2, cv2.DIST_MASK_5)
    return np.asarray(far, np.float32)[1:-1, 1:-1]


@dataclass(frozen=True, eq=False)
class Cutout:
    """The piece of a photo that shows a part, from which frames of any scale are made.

    Attributes
    ----------
    rgb : (h, w, 3) uint8 array
        sRGB-encoded.
    silhouette : (h, w) bool array
        The part with the tape and cord on it.
    zones : (h, w) uint8 array
        As in ``zones.ZoneMap``.
    find_laminate : callable
        Returns the part without tape and cord, (h, w) bool; asked when a frame's light is laid, so
        that it may be found out meanwhile.
    corner : (2,) float array
        Where it lies in the photo: x, y of its upper left corner.
    axis : (float, float)
        Unit vector from the proximal to the distal end.
    along, across : (N,) float arrays
        Where the silhouette's rim lies, along the axis and across, in pixels of the photo.
    width : float
        The part's mean width across its axis, in pixels of the photo.
    """

    rgb: NDArray[np.uint8]
    silhouette: NDArray[np.bool_]
    zones: NDArray[np.uint8]
    find_laminate: Callable[[], NDArray[np.bool_]]
    corner: NDArray[np.float64]
    axis: tuple[float, float]
    along: NDArray[np.float64]
    across: NDArray[np.float64]
    width: float

    @classmethod
    def of(
        cls,
        rgb: NDArray[np.uint8],
        silhouette: NDArray[np.bool_],
        zones: ZoneMap,
        find_laminate: Callable[[], NDArray[np.bool_]],
    ) -> "Cutout":
        """Cut a part out of the sRGB-encoded upright photo (H, W, 3); masks are of its size."""
        along, across = _rim(silhouette, zones.axis)
        width = float(np.count_nonzero(silhouette) / max(np.ptp(along), 1.0))
        where = _seen(*_placement(along, across, zones.axis, 1.0), rgb.shape)
        corner = np.array([where[1].start, where[0].start], float)
        return cls(
            rgb[where],
            silhouette[where],
            zones.codes[where],
            lambda: find_laminate()[where],
            corner,
            zones.axis,
            along,
            across,
            width,
        )

    @cached_property
    def codes(self) -> NDArray[np.uint8]:
        """What each pixel (h, w) is: its laminate's zone, as in ``Frame``, and the bits above."""
        laminate = self.find_laminate()
        covered = self.silhouette & ~laminate
        return self.zones * laminate | laminate * np.uint8(LAMINATE) | covered * np.uint8(COVERED)

    @cached_property
    def linear(self) -> NDArray[np.uint16]:
        """Linear light (h, w, 3), 0 to 65535; it can be made ready while the lattice is sought."""
        return linear_codes(self.rgb)

    def sketched(self, scale: float) -> Frame:
        """Return the straightened luminance alone: all that a search for the lattice looks at.

        Codes are averaged before they are made linear, which dulls a glint and moves no weave.
        """
        scale = min(scale, 1.0)
        small = area_mean(self.rgb, *self._size(scale))
        return self._laid(luminance(linear_light(small)), scale)

    def straightened(self, scale: float) -> Frame:
        """Turn, crop and scale the photo so that the part stands upright in it.

        Parameters
        ----------
        scale : float
            Wanted pixels of the frame per pixel of the photo; never enlarged beyond 1.
        """
        scale = min(scale, 1.0)
        small = area_mean(self.linear, *self._size(scale))
        return self._laid(small.astype(np.float32) / np.float32(65535), scale)

    def _size(self, scale: float) -> tuple[int, int]:
        """Return (width, height) of the piece at about a scale."""
        height, width = self.rgb.shape[:2]
        return max(1, round(width * scale)), max(1, round(height * scale))

    def _laid(self, light: NDArray[np.float32], scale: float) -> Frame:
        """Return the frame of the piece's light, which was brought to about its scale."""
        to_photo, size = _placement(self.along, self.across, self.axis, scale)
        to_crop = np.column_stack([to_photo[:, :2], to_photo[:, 2] - self.corner])
        shrink = np.array(light.shape[1::-1]) / self.rgb.shape[1::-1]
        linear = _warped(light, to_crop * shrink[:, None], size)
        flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
        turned = cv2.warpAffine(self.codes, _centred(to_crop), size, flags=flags)
        codes = np.asarray(turned, np.uint8)
        return Frame(
            linear=linear,
            laminate=codes & LAMINATE > 0,
            zones=np.asarray(codes & NUMBER, np.uint8),
            brim=codes & ON_BRIM > 0,
            lock=codes & ON_LOCK > 0,
            covered=codes & COVERED > 0,
            to_photo=to_photo,
            scale=scale,
        )


def _rim(
    silhouette: NDArray[np.bool_], axis: tuple[float, float]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return positions along and across the axis of the first and last pixel of each row."""
    rows = np.flatnonzero(silhouette.any(1))
    solid = silhouette[rows]
    first, last = np.argmax(solid, 1), solid.shape[1] - 1 - np.argmax(solid[:, ::-1], 1)
    points = np.stack([np.append(first, last), np.append(rows, rows)], 1) + 0.5
    return points @ np.array(axis), points @ np.array([axis[1], -axis[0]])


def _placement(
    along: NDArray[np.float64],
    across: NDArray[np.float64],
    axis: tuple[float, float],
    scale: float,
) -> tuple[NDArray[np.float64], tuple[int, int]]:
    """Return the map from frame to photo and the frame's (width, height)."""
    margin = MARGIN * np.ptp(along)
    start, left = along.min() - margin, across.min() - margin
    width, height = (
        BLOCK * math.ceil((np.ptp(rim) + 2 * margin) * scale / BLOCK) for rim in (across, along)
    )
    down, right = np.array(axis), np.array([axis[1], -axis[0]])
    origin = start * down + left * right
    matrix = np.column_stack([right / scale, down / scale, origin])
    return matrix, (width, height)


def _centred(to_photo: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the same map for pixel indices, whose centres lie half a pixel in."""
    shift = to_photo[:, :2] @ np.array([0.5, 0.5]) - 0.5
    return np.column_stack([to_photo[:, :2], to_photo[:, 2] + shift])


def _seen(
    to_photo: NDArray[np.float64], size: tuple[int, int], photo: tuple[int, ...]
) -> tuple[slice, slice]:
    """Return the rows and columns of the photo that a frame sees; of either a multiple of four.

    So they can be halved twice. At the end of a photo that is no such multiple up to three lack.
    """
    corners = np.array([[0, 0], [size[0], 0], [0, size[1]], size], float) @ to_photo[:, :2].T
    corners += to_photo[:, 2]
    first = np.clip(np.floor(corners.min(0)) - 2, 0, None).astype(int)
    length = np.minimum(np.ceil(corners.max(0)).astype(int) + 5, photo[1::-1]) - first
    x, y = (slice(a, a + max(n // 4 * 4, 1)) for a, n in zip(first, length, strict=True))
    return y, x


def _warped(
    light: NDArray[np.float32], matrix: NDArray[np.float64], size: tuple[int, int]
) -> NDArray[np.float32]:
    """Return linear light turned into the frame, of (width, height)."""
    turned = cv2.warpAffine(
        light,
        _centred(matrix),
        size,
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    warped = np.asarray(turned, np.float32)
    return np.clip(warped, 0, 1, out=warped)
