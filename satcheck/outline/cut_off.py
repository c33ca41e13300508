"""Whether a part may run out of the picture, and which outline is that of such a part.

The first search takes the whole border for background: of a part that fills the picture it finds
nothing, or a lamp's reflection on it.
"""

import numpy as np
from numpy.typing import NDArray

from satcheck.outline.candidate import is_compact
from satcheck.outline.edge import Shape

Float = NDArray[np.float32]

# It fills much of the picture. Of 114 rendered photos of parts (render.py, seeds 20, 931 and 951,
# and a second renderer's), a quarter of the length cut off either end and 2 % of the width left
# beside, 20 show no part with these, and 104 without; of 103 pictures beside parts and of bare
# benches 11 show "a part" with and without.
CUT_SHARE, CUT_SUPPORT, CUT_ASPECT = 0.2, 0.5, 1.0
# A small and partly white shape may be a lamp's reflection on a part that runs out of the picture.
# Of those crops six showed less than 0.15 of it, white (above L* 92) on 0.14 to 0.55 of itself and
# within the part: overlap 0.08 to 0.28 with it alone, 0.81 to 0.98 so. Whole parts so small are
# white on up to 0.12 of themselves, and none lay in another shape.
SMALL, WHITE, WHITE_SHARE, WITHIN = 0.15, 92, 0.1, 0.9


def may_run_out(found: Shape | None, lab: Float) -> bool:
    """Return whether to look for a part that runs out of a L*a*b* picture (H, W, 3).

    ``found`` is what the first search found.
    """
    return found is None or _may_be_reflection(found, lab)


def _may_be_reflection(shape: Shape, lab: Float) -> bool:
    if shape.share >= SMALL:
        return False
    return float((lab[..., 0][shape.silhouette] > WHITE).mean()) > WHITE_SHARE


def is_cut(shape: Shape) -> bool:
    """Return whether a shape could be a part that runs out of the picture."""
    if shape.support < CUT_SUPPORT or shape.share < CUT_SHARE:
        return False
    return is_compact(shape.silhouette, CUT_ASPECT)


def outer(whole: Shape | None, cut: Shape | None) -> Shape | None:
    """Return the shape that runs out of the picture where there is no other, or one within it."""
    if whole is None or cut is None:
        return whole or cut
    within = np.count_nonzero(whole.silhouette & cut.silhouette)
    return cut if within > WITHIN * np.count_nonzero(whole.silhouette) else whole
