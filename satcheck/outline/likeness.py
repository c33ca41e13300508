"""Whether a place near the part looks like the part or like what lies around it.

Two answers, since neither will do alone. A glare streak looks like the wall rather than like the
part, and yet unlike the wall just beside it; a shadow under the brim is unlike the sunlit floor,
and yet unlike the part too.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.arrays.quantile import quantile
from satcheck.beside import beside
from satcheck.outline.frame import Frame
from satcheck.outline.nearest import COUNT, nearest

Float = NDArray[np.float32]
Bool = NDArray[np.bool_]

# Set by a search over rendered and drawn scenes: common practice, no source.
SURE = 0.35  # half widths off the believed edge, where a cell is surely part or surely not
CORE = 0.25  # of the length at either end, which teaches nothing: it may be pipe or tape
COLOUR_WEIGHT, PLACE_WEIGHT = (1.0, 1.6, 1.6), 20.0  # a long side counts as much as 20 CIE76
THIN = 4  # of so many cells in either direction one is judged
SLACK = 1.0  # of the search for the nearest
USUAL, FLOOR = 0.7, 0.5  # quantile of the background's own variation; CIE76 on top of it


@dataclass(frozen=True, eq=False)
class Likeness:
    """What each cell (N, K) of a frame looks like, -1 background to 1 part.

    ``foreign`` asks whether it is unlike the background nearby: 0 is at the background's own
    variation. ``ratio`` asks which of the two it is nearer to.
    """

    foreign: Float
    ratio: Float


def likeness(image: Float, frame: Frame, believed: Bool, barred: Bool) -> Likeness:
    """Compare each cell of a straightened L*a*b* picture (N, K, 3) with part and background.

    A cell is compared with the mean of the cells nearest to it in colour and place among those
    well inside, or well outside, of what is ``believed`` (N, K) to be part. Place makes it local:
    a box beside the part explains its own neighbourhood only. Cells that are ``barred`` (N, K)
    are background.
    """
    rows, columns = believed.shape
    y, x = np.mgrid[:rows:THIN, :columns:THIN] * np.float32(PLACE_WEIGHT / max(frame.shape))
    colour = image[::THIN, ::THIN] * np.array(COLOUR_WEIGHT, np.float32)
    cells = np.dstack([colour, x, y]).astype(np.float32).reshape(-1, 5)
    outside, inside = _taught(frame, believed, barred)
    if min(outside.sum(), inside.sum()) < COUNT:
        plain = np.where(believed & ~barred, 1, -1).astype(np.float32)
        return Likeness(plain, plain)
    with beside() as second:
        from_elsewhere = second.submit(_unlike, cells, cells[outside])
        from_inside = _unlike(cells, cells[inside])
        from_outside = from_elsewhere.result()
    usual = quantile(from_outside[outside], USUAL) + FLOOR
    foreign = 2 * np.log((from_outside + 0.1) / usual)
    ratio = np.log((from_outside + FLOOR) / (from_inside + FLOOR))
    maps = (
        cv2.resize(np.clip(m, -1, 1).reshape(x.shape).astype(np.float32), (columns, rows))
        for m in (foreign, ratio)
    )
    return Likeness(*(np.asarray(np.where(barred, -1, m), np.float32) for m in maps))


def _taught(frame: Frame, believed: Bool, barred: Bool) -> tuple[Bool, Bool]:
    """Return which of the thinned cells, flat, are surely background and surely part."""
    shape = believed.astype(np.uint8)
    off, within = (cv2.distanceTransform(m, cv2.DIST_L2, 5) for m in (1 - shape, shape))
    along = (np.arange(len(shape)) - frame.ribbon.any(axis=1).argmax()) / frame.length
    middle = ((along > CORE) & (along < 1 - CORE))[:, None]
    outside = (off > SURE * frame.half_width) & frame.inside
    inside = (within > SURE * frame.half_width) & middle & ~barred
    return outside[::THIN, ::THIN].ravel(), inside[::THIN, ::THIN].ravel()


def _unlike(cells: Float, known: Float) -> Float:
    """Return each cell's distance in colour (M,) from its nearest among the known cells."""
    step = cells[:, :3] - known[nearest(known, cells, SLACK)[0], :3].mean(axis=1)
    return np.asarray(np.linalg.norm(step, axis=1), np.float32)
