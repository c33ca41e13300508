"""Gauge studies against the manual's own data, closed forms and drawn truth."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from published import gauge_readings
from scipy import stats

from satcheck.statistics.gauge import anova, average_and_range


def test_the_manuals_study_by_average_and_range() -> None:
    """AIAG, Measurement Systems Analysis: 10 parts, 3 persons, 3 trials. Printed: ndc 5."""
    found = average_and_range(gauge_readings())
    assert found.repeatability == pytest.approx(0.20186, abs=2e-5)
    assert found.reproducibility == pytest.approx(0.22967, abs=3e-5)
    assert found.gauge == pytest.approx(0.30577, abs=3e-5)
    assert found.part == pytest.approx(1.10460, abs=2e-4), "the manual rounds K3 to 0.3146"
    assert found.total == pytest.approx(1.14613, abs=2e-4)
    assert found.share == pytest.approx(0.2668, abs=5e-5)
    assert found.ratio == pytest.approx(5.094, abs=2e-3)
    assert found.categories == 5


def test_the_manuals_study_by_anova() -> None:
    """The same data, printed by AIAG and in several open test suites: ndc 4, not 5."""
    found = anova(gauge_readings())
    squares = (found.part, found.person, found.interaction, found.error, found.total)
    assert squares == pytest.approx((88.3619, 3.1673, 0.3590, 2.7589, 94.6471), abs=5e-5)
    assert found.f_interaction == pytest.approx(0.4337, abs=5e-5)
    assert found.is_pooled
    gauge = found.gauge
    parts = (gauge.repeatability, gauge.reproducibility, gauge.gauge, gauge.part, gauge.total)
    assert parts == pytest.approx((0.199933, 0.226838, 0.302372, 1.042327, 1.085300), abs=1e-6)
    assert gauge.share == pytest.approx(0.2786, abs=5e-5)
    assert gauge.ratio == pytest.approx(4.860, abs=1e-3)
    assert gauge.categories == 4


@pytest.mark.parametrize(("persons", "k"), [(2, 0.7071), (3, 0.5231), (4, 0.4467), (10, 0.3146)])
def test_the_factors_of_the_range_method_are_the_printed_ones(persons: int, k: float) -> None:
    """AIAG's K2 and K3: with one person higher by 1 and no repeat error, AV is K2."""
    readings = np.zeros((2, persons, 2)) + np.arange(2)[:, None, None]
    readings[:, 0] += 1
    assert average_and_range(readings).reproducibility == pytest.approx(k, abs=5e-5)


def test_both_methods_find_the_spreads_that_were_drawn() -> None:
    rng = np.random.default_rng(11)
    shape, truth = (400, 40, 3), (0.5, 0.7, 2.0)
    readings = rng.normal(0, truth[0], shape) + rng.normal(0, truth[2], (shape[0], 1, 1))
    readings += rng.normal(0, truth[1], (1, shape[1], 1))
    for found in (average_and_range(readings[:10]), anova(readings).gauge):
        assert found.repeatability == pytest.approx(truth[0], rel=0.05)
    found = anova(readings).gauge
    assert (found.reproducibility, found.part) == pytest.approx(truth[1:], rel=0.2)


def test_an_interaction_that_is_real_counts_as_reproducibility() -> None:
    rng = np.random.default_rng(5)
    readings = rng.normal(0, 0.1, (20, 5, 3)) + rng.normal(0, 1, (20, 5, 1))
    found = anova(readings)
    assert not found.is_pooled
    assert found.gauge.repeatability == pytest.approx(0.1, rel=0.1)
    assert found.gauge.reproducibility == pytest.approx(1.0, rel=0.2)
    assert found.reading_sd == pytest.approx(found.gauge.gauge, rel=0.05)


def test_the_freedom_of_one_reading_is_that_of_its_weakest_part() -> None:
    """Persons differ and hardly anything else does: 3 persons give 2 degrees of freedom."""
    readings = np.random.default_rng(7).normal(0, 1e-3, (10, 3, 3)) + np.arange(3)[None, :, None]
    assert anova(readings).reading_df == pytest.approx(2, abs=0.01)
    assert anova(gauge_readings()).reading_df < 20


def test_nothing_varies_and_only_the_parts_vary() -> None:
    flat = average_and_range(np.ones((3, 2, 2)))
    assert (flat.share, flat.categories) == (None, None)
    sharp = anova(np.zeros((3, 2, 2)) + np.arange(3)[:, None, None])
    assert (sharp.gauge.share, sharp.gauge.categories) == (0, None)
    assert math.isfinite(sharp.reading_df)


@pytest.mark.parametrize("shape", [(1, 2, 2), (2, 1, 2), (2, 2, 1), (4, 4)])
def test_a_study_of_one_of_anything_is_refused(shape: tuple[int, ...]) -> None:
    for method in (average_and_range, anova):
        with pytest.raises(ValueError, match="two and more"):
            method(np.zeros(shape))


def crossed(person: float, interaction: float) -> NDArray[np.float64]:
    """Return 4 parts, 2 persons, 2 trials whose sums of squares are known by hand.

    Parts read 0, 1, 2, 3 in the mean; trials lie 0.1 above and below; persons lie off by
    ``person``, and by ``interaction`` with a sign that goes round the parts.
    """
    sign = np.array([1.0, -1.0])
    readings = np.arange(4.0)[:, None, None] + 0.1 * sign[None, None, :]
    readings = readings + person * sign[None, :, None]
    return np.asarray(readings + interaction * (np.tile(sign, 2)[:, None] * sign)[:, :, None])


def test_an_interaction_is_pooled_above_p_of_a_quarter() -> None:
    """AIAG: alpha 0.25. Worked by hand: F is 16 i² / 3 over 16 * 0.01 / 8, with 3 and 8 freedom.

    By scipy's F p is 0.2 at F 1.95, and 0.3 at F 1.45.
    """
    for p, pools in ((0.2, False), (0.3, True)):
        f_value = float(stats.f.isf(p, 3, 8))
        found = anova(crossed(0.5, math.sqrt(f_value * 3 / 16 * 0.02)))
        assert (found.f_interaction, found.p_interaction) == pytest.approx((f_value, p))
        assert found.is_pooled is pools


def test_an_interaction_is_no_spread_of_the_parts() -> None:
    """Montgomery, Design and Analysis of Experiments: (MSP - MSPO) / (o r) where it is not pooled.

    Mean squares by hand: parts 20 / 3, interaction 16 i² / 3, error 0.02.
    """
    found = anova(crossed(0.0, 0.5))
    assert found.gauge.part == pytest.approx(math.sqrt((20 / 3 - 4 / 3) / 4))
    assert found.gauge.reproducibility == pytest.approx(math.sqrt((4 / 3 - 0.02) / 2))


def test_one_reading_varies_as_the_gauge_where_nothing_is_cut_off() -> None:
    found = anova(crossed(2.0, 0.5))
    assert not found.is_pooled
    assert found.reading_sd == pytest.approx(found.gauge.gauge, rel=1e-12)


def test_without_person_and_interaction_the_trials_and_the_interaction_share_their_freedom() -> (
    None
):
    """Pooled: 3 of the interaction and 8 of the trials; the persons' mean square is 0."""
    found = anova(crossed(0.0, 0.0))
    assert (found.p_interaction, found.is_pooled) == (1.0, True)
    assert found.gauge.repeatability == pytest.approx(math.sqrt(0.16 / 11))
    assert found.reading_df == pytest.approx(11)


def test_persons_who_differ_by_the_part_are_told_where_trials_do_not_differ_at_all() -> None:
    found = anova(crossed(0.0, 0.5) - 0.1 * np.array([1.0, -1.0]))
    assert (found.error, found.is_pooled) == (0, False)
    assert found.gauge.reproducibility == pytest.approx(math.sqrt(4 / 3 / 2))
