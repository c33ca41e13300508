"""Photos that are nearly the same: saved again, smaller, or taken twice from one place.

A difference hash says of each of 64 places whether the picture grows brighter to the right
(dHash, a common perceptual hash; from memory, no standard). Photos within a few bits are alike.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

NEAR = 3
"""Bits of 64 that may differ (own measurement): each of the demo's 40 photos, saved again at half
size and JPEG quality 60, differs from itself by 0 or 1 bit; two different ones by 10 and more."""

U64 = NDArray[np.uint64]


def difference_hash(grey: NDArray[np.floating]) -> int:
    """Return the 64 bit hash of a picture.

    Parameters
    ----------
    grey : (8, 9) array
        The whole picture's mean brightness in 8 rows of 9 places.

    Raises
    ------
    ValueError
        If it has another shape.
    """
    if grey.shape != (8, 9):
        raise ValueError(f"{grey.shape}: (8, 9) is allowed")
    bits = np.packbits(grey[:, 1:] > grey[:, :-1])
    return int.from_bytes(bits.tobytes(), "big")


def near_groups(hashes: Mapping[str, int], most: int = NEAR) -> tuple[tuple[str, ...], ...]:
    """Return groups of two and more names that are alike, each name in the order given.

    Two names belong together where a chain of names leads from one to the other, each of which
    differs from the next in at most ``most`` bits. Each name is compared with all later ones.
    """
    names = list(hashes)
    values: U64 = np.array([hashes[name] for name in names], np.uint64)
    first = list(range(len(names)))

    def leader(k: int) -> int:
        while first[k] != k:
            first[k] = first[first[k]]
            k = first[k]
        return k

    for k in range(len(names) - 1):
        near = np.flatnonzero(np.bitwise_count(values[k + 1 :] ^ values[k]) <= most)
        for j in near + k + 1:
            one, other = sorted((leader(k), leader(int(j))))
            first[other] = one
    groups: dict[int, list[str]] = {}
    for k, name in enumerate(names):
        groups.setdefault(leader(k), []).append(name)
    return tuple(tuple(group) for group in groups.values() if len(group) > 1)
