"""The classes and how photos differ, fitted to labelled photos as ``judgement.mixture`` says."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from satcheck.judgement.mixture import (
    CAMERA_FREEDOM,
    Classes,
    Labelled,
    Mixture,
    Step,
    at_least,
    thin,
)

F64 = NDArray[np.float64]

FIT_CELLS = 1200  # of a photo, evenly spaced
OWN_SHARE = 0.3  # of a class's own scatter against the pooled one; few photos show each class
ROUNDS = 20  # of expectation maximisation


def fit_mixture(cues: Sequence[str], photos: Sequence[Labelled]) -> Mixture:
    """Fit the classes and the spread of photo offsets to labelled photos."""
    everything = np.concatenate([p.values for p in photos])
    centre, scale = everything.mean(0), everything.std(0) + 1e-6
    thinned = [thin(p, FIT_CELLS) for p in photos]
    scaled = [Labelled((p.values - centre) / scale, p.prior, p.weight) for p in thinned]
    mixture = _start(tuple(cues), centre, scale, scaled)
    offsets = [np.zeros(len(cues)) for _ in scaled]
    for _ in range(ROUNDS):
        steps = [_step(p, mixture, offset) for p, offset in zip(scaled, offsets, strict=True)]
        offsets = [s.offset for s in steps]
        mixture = _update(mixture, scaled, steps)
    return mixture


def _start(cues: tuple[str, ...], centre: F64, scale: F64, photos: Sequence[Labelled]) -> Mixture:
    """Return a first mixture from the labels alone."""
    data = np.concatenate([p.values for p in photos])
    trust = np.concatenate([p.prior for p in photos]) ** 4
    means = (trust.T @ data) / trust.sum(0)[:, None]
    spread = np.atleast_2d(np.cov(data.T)) * 0.5 + 1e-4 * np.eye(data.shape[1])
    return Mixture(cues, centre, scale, means, np.stack([spread] * 3), spread)


def _step(photo: Labelled, mixture: Mixture, offset: F64) -> Step:
    """Return a photo's memberships under its current offset, and the offset that they imply."""
    return Classes.of(photo.values, mixture).step(photo.log_prior, photo.weight, offset)


def _update(mixture: Mixture, photos: Sequence[Labelled], steps: Sequence[Step]) -> Mixture:
    """Return the mixture that fits the photos' expectations best."""
    size = len(mixture.cues)
    total, count = np.zeros((3, size)), np.zeros(3)
    for photo, step in zip(photos, steps, strict=True):
        share = step.member * step.robust
        total += share @ (photo.values - step.offset)
        count += share.sum(1)
    # A class that no label names keeps its place: nothing moves it.
    means = np.where(count[:, None] > 1e-3, total / np.maximum(count, 1e-3)[:, None], mixture.means)
    scatter, members = np.zeros((3, size, size)), np.zeros(3)
    for photo, step in zip(photos, steps, strict=True):
        for k in range(3):
            rest = photo.values - step.offset - means[k]
            share = (step.member[k] * step.robust[k])[:, None]
            scatter[k] += (share * rest).T @ rest
            members[k] += step.member[k].sum()
    pooled = scatter.sum(0) / members.sum()
    own = scatter / np.maximum(members, 1e-9)[:, None, None]
    spread = OWN_SHARE * own + (1 - OWN_SHARE) * pooled + 1e-4 * np.eye(size)
    outer = [np.outer(s.offset, s.offset) + s.doubt for s in steps]
    between = np.mean(outer, axis=0)
    # Few photos: correlations between offsets are half believed.
    between = 0.5 * between + 0.5 * np.diag(np.diag(between)) + 1e-3 * np.eye(size)
    between = at_least(between, mixture, CAMERA_FREEDOM)
    return Mixture(mixture.cues, mixture.centre, mixture.scale, means, spread, between)
