"""The mixture against drawn photos of known classes and offsets, and a reference library."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from grids import mixture
from numpy.typing import NDArray
from scipy.linalg import block_diag
from scipy.special import softmax
from scipy.stats import chi2, norm
from sklearn.discriminant_analysis import LinearDiscriminantAnalysis

from satcheck.calibration.mixture_fit import _step, fit_mixture
from satcheck.judgement.mixture import CELLS_PER_SAMPLE, FREEDOM, Labelled, Mixture
from satcheck.judgement.offset import GRADES, STARTS, USUAL_DEVIATE, understood, usual_distance

F64 = NDArray[np.float64]
Index = NDArray[np.intp]

STARVED, GOOD, RICH = range(3)
SHOP = replace(
    mixture(("a", "b"), [[-2.5, 1.0], [0.0, 0.0], [1.5, 2.5]]),
    scatter=np.array([[[0.5, 0.1], [0.1, 0.4]]] * 3),
    between=np.array([[0.6, 0.2], [0.2, 0.5]]),
)
MIXED = (0.3, 0.5, 0.2)


def photo(
    rng: np.random.Generator,
    shares: tuple[float, ...] = MIXED,
    offset: F64 | None = None,
    alike: int = CELLS_PER_SAMPLE,
    places: int = 20,
) -> tuple[F64, Index, F64]:
    """Draw independent places of a photo, so many cells each: cues, classes, offset."""
    if offset is None:
        offset = rng.multivariate_normal(np.zeros(2), SHOP.between)
    classes = rng.choice(3, places, p=shares)
    wide = np.sqrt(FREEDOM / rng.chisquare(FREEDOM, places))  # Student's t as a mixture of normals
    rest = rng.multivariate_normal(np.zeros(2), SHOP.scatter[0], places) * wide[:, None]
    cues = SHOP.means[classes] + rest + offset
    return np.repeat(cues, alike, 0), np.repeat(classes, alike), offset


def known(classes: Index, trust: float) -> F64:
    prior = np.full((len(classes), 3), (1 - trust) / 2)
    prior[np.arange(len(classes)), classes] = trust
    return prior


def called(raw: F64, shop: Mixture = SHOP) -> Index:
    """Return the likeliest class of each cell of a new photo."""
    return np.asarray(understood(shop, raw).log.argmax(1))


def test_the_offset_of_known_classes_scatters_as_stated() -> None:
    """Against the t's Fisher information (n + p) / (n + p + 2): Lange, Little & Taylor 1989.

    The expectation step states 1 in its place, so the true scatter is its root over the claim.
    """
    errors = []
    for seed in range(150):
        raw, classes, true = photo(np.random.default_rng(seed), alike=1)
        labelled, offset = Labelled(raw, known(classes, 1 - 1e-9), 1.0), np.zeros(2)
        for _ in range(20):
            step = _step(labelled, SHOP, offset)
            offset = step.offset
        errors.append((offset - true) / np.sqrt(np.diag(step.doubt)))
    expected = np.sqrt((FREEDOM + 4) / (FREEDOM + 2))
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(expected, rel=0.12)


def test_the_offset_of_a_new_photo_is_found() -> None:
    """More than half of what photos differ by is told; a guess of zero tells nothing."""
    drawn = [photo(np.random.default_rng(seed)) for seed in range(40)]
    errors = [understood(SHOP, raw).offset - true for raw, _, true in drawn]
    guess = np.median(np.abs([true for *_, true in drawn]))
    assert np.median(np.abs(errors)) < 0.45 * guess


def test_a_photos_offset_does_not_change_its_classes() -> None:
    """Negative control: a shop that believes its photos all alike does change them."""
    unbelieving = replace(SHOP, between=1e-4 * SHOP.between)
    photos = [photo(np.random.default_rng(s), offset=np.zeros(2))[0] for s in range(4)]
    offsets = np.array([[0.7, 0.5], [-0.7, -0.5], [0.7, -0.5], [-0.7, 0.5]])
    same = [
        [(called(raw + offset, shop) == called(raw, shop)).mean() for shop in (SHOP, unbelieving)]
        for raw in photos
        for offset in offsets
    ]
    believed, ignored = np.mean(same, 0)
    assert believed > 0.96
    assert ignored < 0.92


@pytest.mark.parametrize("size", range(1, 10))
def test_the_usual_distance_is_a_quantile_of_chi_squared(size: int) -> None:
    exact = chi2.ppf(norm.cdf(USUAL_DEVIATE), size)
    assert usual_distance(size) == pytest.approx(exact, rel=0.01 if size > 1 else 0.03)


def test_photos_of_the_shops_kind_are_unusual_as_rarely_as_stated() -> None:
    """Sixteen in a hundred: under 18 or over 46 of 200 come in 0.5 % of shops (binomial)."""
    drawn = [photo(np.random.default_rng(seed))[0] for seed in range(200)]
    found = [understood(SHOP, raw) for raw in drawn]
    assert 18 <= sum(not one.is_usual for one in found) <= 46
    assert np.mean([one.distance for one in found]) == pytest.approx(2, rel=0.2)


def test_an_offset_that_few_places_show_is_held_to_what_they_can_show() -> None:
    """Chi-squared has the mean 2; were the offset's doubt not told apart, it would be 1.7."""
    drawn = [photo(np.random.default_rng(seed), (0, 1, 0), places=4)[0] for seed in range(200)]
    assert np.mean([understood(SHOP, raw).distance for raw in drawn]) == pytest.approx(2, rel=0.1)


@pytest.mark.parametrize("shares", [MIXED, (0.0, 1.0, 0.0)])
def test_a_photo_from_far_beyond_the_shops_is_unusual(shares: tuple[float, ...]) -> None:
    """Across the line on which classes and offsets lie, where no class explains it."""
    for seed in range(10):
        raw, *_ = photo(np.random.default_rng(seed), shares, np.array([5.0, -4.0]))
        assert not understood(SHOP, raw).is_usual


def test_a_tenth_more_contrast_is_usual_however_alike_the_shops_photos_are() -> None:
    """Photos from one tripod must not make every other one unusual; far off remains far off."""
    alike = replace(SHOP, between=1e-4 * SHOP.between)
    raw, *_ = photo(np.random.default_rng(0), offset=np.zeros(2))
    assert understood(alike, raw + 0.1).is_usual
    assert not understood(
        replace(alike, between=0.02 * np.eye(2)), raw + np.array([1.0, -1.0])
    ).is_usual


@pytest.mark.parametrize(("stops", "is_usual"), [(-2.5, True), (2.5, False), (-5, False)])
def test_a_darker_photo_is_usual_and_one_as_much_brighter_is_not(
    stops: float, is_usual: bool
) -> None:
    """A veil brightens. The light of all classes is the same here."""
    shop = replace(
        mixture(("a", "b", "light"), np.column_stack([SHOP.means, np.zeros(3)])),
        scatter=np.stack([block_diag(SHOP.scatter[0], 0.1)] * 3),
        between=block_diag(SHOP.between, 0.1),
    )
    rng = np.random.default_rng(0)
    raw, *_ = photo(rng, offset=np.zeros(2))
    light = stops * np.log(2) + rng.normal(0, np.sqrt(0.1), len(raw))
    assert understood(shop, np.column_stack([raw, light])).is_usual is is_usual


@pytest.mark.parametrize("seed", range(5))
def test_a_uniform_starved_photo_is_not_called_good(seed: int) -> None:
    """Alone it could be a good one under another lamp: what the shop has seen must decide."""
    rng = np.random.default_rng(seed)
    raw, *_ = photo(rng, (1, 0, 0), 0.5 * rng.multivariate_normal(np.zeros(2), SHOP.between))
    assert (called(raw) == STARVED).mean() >= 0.85
    centred = raw - raw.mean(0)  # negative control: each photo against its own mean
    assert (called(centred) == GOOD).mean() >= 0.85


def offset_error(shop: Mixture, shares: tuple[float, ...], photos: int = 40) -> float:
    """Return the root mean square error of offsets, of the way from good to starved.

    Of parts with so much of each grade, those halfway between two classes among them.
    """
    way, means = shop.means[STARVED] - shop.means[GOOD], GRADES @ shop.means
    errors = []
    for seed in range(photos):
        rng = np.random.default_rng(seed)
        grades = rng.choice(len(GRADES), 25, p=shares)
        wide = np.sqrt(FREEDOM / rng.chisquare(FREEDOM, grades.size))
        rest = rng.multivariate_normal(np.zeros(3), shop.scatter[0], grades.size) * wide[:, None]
        offset = rng.multivariate_normal(np.zeros(3), shop.between)
        raw = np.repeat(means[grades] + rest + offset, CELLS_PER_SAMPLE, 0)
        errors.append((understood(shop, raw).offset - offset) @ way / (way @ way))
    return float(np.sqrt(np.mean(np.square(errors))))


def test_offsets_are_found_better_where_what_lies_between_classes_counts_by_itself(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Negative control: with hardly any place for it, the classes must explain it."""
    shop = replace(
        mixture(("a", "b", "c"), [[0.8, 0.85, 0.7], [-0.1, -0.1, -0.1], [-0.5, -0.6, -0.55]]),
        scatter=np.array([0.35**2 * (0.6 + 0.4 * np.eye(3))] * 3),
        between=0.35**2 * (0.5 + 0.5 * np.eye(3)),
    )
    passages = (0.1, 0.3, 0.4, 0.1, 0.1)
    counted = offset_error(shop, passages)
    is_class = GRADES.max(1) == 1
    monkeypatch.setattr("satcheck.judgement.offset.BEFORE", np.where(is_class, 4, 1e-9))
    monkeypatch.setattr("satcheck.judgement.offset.STARTS", np.where(is_class, STARTS, 1e-9))
    assert counted < 0.85 * offset_error(shop, passages)


@cache
def fitted() -> tuple[Mixture, F64]:
    """Fit a shop of 30 photos in other units; return it and the offsets it drew."""
    rng = np.random.default_rng(0)
    drawn = [photo(rng) for _ in range(30)]
    labelled = [Labelled(raw * [3, 0.2] + [10, -4], known(k, 0.92)) for raw, k, _ in drawn]
    return fit_mixture(("a", "b"), labelled), np.array([offset for *_, offset in drawn])


def falsely_starved(shop: Mixture, contrast: float, photos: int = 60) -> float:
    """Return which share of good and rich places is called starved, on parts with all classes."""
    classes, wrong = np.repeat([STARVED, GOOD, RICH], 18), 0
    for seed in range(photos):
        rng = np.random.default_rng(seed)
        wide = np.sqrt(FREEDOM / rng.chisquare(FREEDOM, classes.size))
        rest = rng.multivariate_normal(np.zeros(3), shop.scatter[0], classes.size) * wide[:, None]
        cues = contrast * (shop.means[classes] + rest)
        cues += rng.multivariate_normal(np.zeros(3), shop.between)
        found = called(np.repeat(cues, CELLS_PER_SAMPLE, 0), shop)[::CELLS_PER_SAMPLE]
        wrong += int(((found == STARVED) & (classes != STARVED)).sum())
    return wrong / (photos * int((classes != STARVED).sum()))


def test_a_part_from_starved_to_rich_in_flat_light_is_not_called_starved_all_over(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """At half of the usual contrast all of it would fit into one class that lies off its place."""
    shop = replace(
        mixture(("a", "b", "c"), [[0.6, 0.1, 0.6], [-0.7, -0.2, -0.3], [-1.1, -0.3, -0.4]]),
        scatter=np.array([np.diag([0.16, 0.5, 0.45])] * 3),
        between=np.diag([0.13, 1.1, 1.1]),
    )
    assert falsely_starved(shop, 1.0) < 0.06
    assert falsely_starved(shop, 0.5) < 0.07
    monkeypatch.setattr("satcheck.judgement.offset.BEFORE", np.full(5, 0.2))
    assert falsely_starved(shop, 0.5) > 0.1


def test_a_fit_recovers_the_shop() -> None:
    made, offsets = fitted()
    unit = made.scale / [3, 0.2]
    between_classes = (made.means - made.means[GOOD]) * unit
    assert between_classes == pytest.approx(SHOP.means, abs=0.2)
    assert np.diag(made.between) * unit**2 == pytest.approx(np.var(offsets, 0), rel=0.25)
    scatter = np.einsum("kii->ki", made.scatter) * unit**2
    assert scatter == pytest.approx(np.einsum("kii->ki", SHOP.scatter), rel=0.25)


def test_a_fit_tells_new_photos_apart() -> None:
    drawn = [photo(np.random.default_rng(seed)) for seed in range(100, 120)]
    right = [(called(raw * [3, 0.2] + [10, -4], fitted()[0]) == k).mean() for raw, k, _ in drawn]
    assert np.mean(right) > 0.85


def test_one_photo_without_offset_agrees_with_linear_discriminant_analysis() -> None:
    """Normal classes of one scatter: where a t and a normal model must say the same."""
    rng = np.random.default_rng(2)
    classes = rng.integers(0, 3, 1200)
    raw = SHOP.means[classes] + rng.multivariate_normal(np.zeros(2), SHOP.scatter[0], 1200)
    made = fit_mixture(("a", "b"), [Labelled(raw, known(classes, 0.92), 1.0)])
    reference = LinearDiscriminantAnalysis(priors=[1 / 3] * 3).fit(raw, classes)
    chance = softmax(understood(made, raw).log, 1)
    assert (chance.argmax(1) == reference.predict(raw)).mean() > 0.985
    assert np.abs(chance - reference.predict_proba(raw)).mean() < 0.03
