"""A mixture of starved, good and rich in cue space, with an offset for each photo.

Photos of one shop differ from each other by lamp, distance and camera far more than cells of one
photo do. So every photo has an offset of its own, drawn from a distribution that the labelled
photos show (a random effect); the classes are what remains. In a new photo the offset and the
classes are inferred together by expectation maximisation (Dempster, Laird & Rubin 1977, with
Student t classes after Peel & McLachlan 2000): a part with starved patches fixes its own offset,
a uniform one falls back on what the shop's photos have shown. ``offset`` does that; the classes
are fitted by ``calibration.mixture_fit``.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

CLASSES = ("starved", "good", "rich")
FREEDOM = 5.0  # of Student's t: a few per cent of cells lie on wrinkles and reflections
CELLS_PER_SAMPLE = 256  # cells that share one independent value: shading varies over eight pitches
# Standard deviation by which automatic exposure and white balance move a photo, natural log units:
# a stop either way, and a lamp's warmth that is corrected in part. Common practice, no source.
CAMERA_FREEDOM = {"light": 0.7, "red_blue": 0.25, "red_green": 0.1, "broad_red_green": 0.1}


@dataclass(frozen=True, eq=False)
class Mixture:
    """Three classes in cue space, and how photos differ.

    Attributes
    ----------
    cues : tuple of str
    centre, scale : (K,) arrays
        Cues are brought to zero mean and unit spread with these.
    means : (3, K) array
        Of the classes in ``CLASSES``, in scaled cues.
    scatter : (3, K, K) array
    between : (K, K) array
        Covariance of the photos' offsets.
    """

    cues: tuple[str, ...]
    centre: F64
    scale: F64
    means: F64
    scatter: F64
    between: F64


@dataclass(frozen=True, eq=False)
class Labelled:
    """Cells of one photo with what is known about their class.

    ``values`` (n, K) are raw cues, ``prior`` (n, 3) the label's probabilities, of five grades where
    ``offset`` parts the classes further, ``weight`` the independent values that one cell stands
    for: neighbours share pixels.
    """

    values: F64
    prior: F64
    weight: float = 1 / CELLS_PER_SAMPLE

    @cached_property
    def log_prior(self) -> F64:
        """The prior's natural log, (3, n)."""
        return np.asarray(np.log(self.prior.T), np.float64)


def marginal(mixture: Mixture, kept: Sequence[int]) -> Mixture:
    """Return a mixture of some of its cues alone.

    Marginals of a Student t are Student t's with the same freedom (Kotz & Nadarajah 2004).
    """
    square = np.ix_(kept, kept)
    return Mixture(
        cues=tuple(mixture.cues[k] for k in kept),
        centre=mixture.centre[kept],
        scale=mixture.scale[kept],
        means=mixture.means[:, kept],
        scatter=np.stack([scatter[square] for scatter in mixture.scatter]),
        between=mixture.between[square],
    )


def densities(mixture: Mixture, raw: F64, offset: F64) -> F64:
    """Return the classes' log densities (n, 3) of one photo's cells (n, K) under its offset (K,).

    But for a constant that all classes share.
    """
    scaled = ((raw - mixture.centre) / mixture.scale).astype(np.float32)
    return Classes.of(scaled, mixture).densities(offset)[0].T.astype(np.float64)


def log_sum(log: F64, axis: int) -> F64:
    """Return the log of the sum of exponentials over an axis."""
    top = log.max(axis, keepdims=True)
    return np.asarray((top + np.log(np.exp(log - top).sum(axis, keepdims=True))).squeeze(axis))


def at_least(
    between: F64, mixture: Mixture, freedom: Mapping[str, float], rest: float = 0.0
) -> F64:
    """Return a covariance of offsets in which the camera's own freedom is not underrated.

    ``rest`` is the freedom of the cues that ``freedom`` does not name.
    """
    least = np.array([freedom.get(cue, rest) for cue in mixture.cues]) / mixture.scale
    lacking = np.maximum(least**2 - np.diag(between), 0)
    return np.asarray(between + np.diag(lacking))


def thin(photo: Labelled, count: int) -> Labelled:
    """Return about so many of a photo's cells, evenly spaced, that stand for all of them."""
    every = max(1, len(photo.values) // count)
    return Labelled(photo.values[::every], photo.prior[::every], photo.weight * every)


@dataclass(frozen=True, eq=False)
class Step:
    """One photo's expectations: membership (3, n), t weights (3, n), offset and its covariance.

    Of several tries (S,) at once, where there were so many offsets.
    """

    member: F64
    robust: F64
    offset: F64
    doubt: F64


@dataclass(frozen=True, eq=False)
class Classes:
    """Points (n, K) as each class sees them: what an offset's many rounds have in common.

    Shapes are those of three classes; of the five grades of ``offset`` each 3 is a 5.

    ``seen`` (3, n, K), in the points' precision, are the points less a class's mean, brought to
    unit scatter by ``roots`` (3, K, K), the inverses of the scatters' Cholesky factors, and
    ``lengths`` (3, n) how far they then are from the mean, squared. ``precision`` (3, K, K) and
    ``between`` (K, K) are the inverses of the classes' scatter and of the offsets' covariance.
    """

    seen: F64 | F32
    lengths: F64 | F32
    roots: F64
    heights: F64
    precision: F64
    between: F64

    @classmethod
    def of(cls, points: F64 | F32, mixture: Mixture) -> "Classes":
        """Return the points as a mixture's classes see them, in the points' own precision."""
        size = points.shape[1]
        factors = np.linalg.cholesky(mixture.scatter)
        roots = np.linalg.inv(factors)
        means, turn = (m.astype(points.dtype) for m in (mixture.means, roots.transpose(0, 2, 1)))
        seen = np.subtract(points, means[:, None, :]) @ turn
        constant = math.lgamma((FREEDOM + size) / 2) - math.lgamma(FREEDOM / 2)
        constant -= size / 2 * math.log(FREEDOM)
        heights = constant - np.log(np.diagonal(factors, axis1=1, axis2=2)).sum(1)
        heights = heights.astype(points.dtype)
        precision = roots.transpose(0, 2, 1) @ roots
        between = np.asarray(np.linalg.inv(mixture.between), np.float64)
        return cls(seen, (seen**2).sum(2), roots, heights, precision, between)

    def densities(self, offset: F64) -> tuple[F64, F64]:
        """Return log Student t densities (..., 3, n) of the points less an offset (..., K).

        And the weights of the t's scale mixture, (..., 3, n).
        """
        size = self.seen.shape[2]
        moved = self.roots @ offset[..., None, :, None]  # (..., 3, K, 1)
        moved = moved.astype(self.seen.dtype, copy=False)
        # |a - b|^2 = |a|^2 - 2 a b + |b|^2: products in place of a copy of all points.
        met, far = (self.seen @ moved)[..., 0], (moved**2).sum(-2)
        distance = np.maximum(self.lengths - 2 * met + far, 0)
        log = self.heights[:, None] - (FREEDOM + size) / 2 * np.log1p(distance / FREEDOM)
        return log, (FREEDOM + size) / (FREEDOM + distance)

    def step(self, log_prior: F64, weight: float, offset: F64) -> Step:
        """Return memberships under an offset (..., K), and the offset that they imply.

        ``log_prior`` is (..., 3, n), or what extends to it.
        """
        log, robust = self.densities(offset)
        log += log_prior
        member = np.exp(log - log.max(-2, keepdims=True))
        member /= member.sum(-2, keepdims=True)
        share = member * robust * weight
        drawn = share[..., None, :] @ self.seen  # (..., 3, 1, K)
        pull = (drawn @ self.roots).sum((-3, -2))
        precision = self.between + np.tensordot(share.sum(-1), self.precision, 1)
        doubt = np.asarray(np.linalg.inv(precision), np.float64)
        return Step(member, robust, (doubt @ pull[..., None])[..., 0], doubt)
