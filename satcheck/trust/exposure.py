"""Whether a whole photo is blown out or black, so that not even a part is found in it."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from satcheck.flags import Reason
from satcheck.light import linear_light
from satcheck.trust.doubt import BLACK, BLOWN

MOST = 0.5  # share of the picture (own rule); of ten rendered photos as taken at most 0.01 is
EVERY = 8  # px: large areas show in every eighth


def lost_to_exposure(rgb: NDArray[np.uint8]) -> Mapping[Reason, float]:
    """Return the share (0 to 1) of a photo that is blown out or black, where it is most of it.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array, sRGB
    """
    strongest = linear_light(rgb[::EVERY, ::EVERY]).max(2)
    shares = {
        Reason.CLIPPED: float((strongest > BLOWN).mean()),
        Reason.DARK: float((strongest < BLACK).mean()),
    }
    return {reason: share for reason, share in shares.items() if share > MOST}
