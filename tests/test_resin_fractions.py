"""Fractions, densities, voids and packing against published values and closed forms."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from satcheck.errors import UsageError
from satcheck.resin.fractions import (
    HEXAGONAL,
    SQUARE,
    check_packing,
    constituents,
    mass_fraction,
    resin_for,
    theoretical_density,
    thickness_of_wall,
    void_content,
    volume_fraction,
    volume_fraction_of_wall,
)


@pytest.mark.parametrize(
    ("by_mass", "fibre", "resin", "by_volume", "density"),
    [
        (0.60, 1.80, 1.20, 0.500000, 1.500000),
        (0.50, 2.54, 1.20, 0.320856, 1.629947),
        (0.70, 2.54, 1.20, 0.524345, 1.902622),
        (0.50, 2.67, 1.18, 0.306494, 1.636675),
        (0.50, 1.44, 1.20, 0.454545, 1.309091),
        (0.40, 1.78, 1.18, 0.306494, 1.363896),
    ],
)
def test_mass_and_volume_fraction_and_density(
    by_mass: float, fibre: float, resin: float, by_volume: float, density: float
) -> None:
    """Closed form, worked by hand to six places."""
    assert volume_fraction(by_mass, fibre, resin) == pytest.approx(by_volume, abs=1e-6)
    assert mass_fraction(by_volume, fibre, resin) == pytest.approx(by_mass, abs=2e-6)
    assert theoretical_density(by_mass, fibre, resin) == pytest.approx(density, abs=1e-6)


def test_a_published_weighing_of_a_carbon_laminate() -> None:
    """A published worked example: 4.24 g carbon, 2.05 g resin, density ratio 1.6, answer 0.56."""
    found = volume_fraction(4.24 / 6.29, 1.6, 1.0)
    assert found == pytest.approx(0.5638, abs=5e-5)
    assert round(found, 2) == 0.56


@pytest.mark.parametrize(
    ("percent", "ratio"),
    [(30, 1.46), (35, 1.16), (40, 0.94), (45, 0.76), (50, 0.63), (55, 0.51), (60, 0.42),
     (65, 0.34), (70, 0.27)],
)  # fmt: skip
def test_a_published_table_of_resin_to_carbon(percent: int, ratio: float) -> None:
    """Published table, resin to carbon by mass at a density ratio of 1.6, two decimals."""
    resin_per_gram = resin_for(1 / 1.6, percent / 100, 1.0)
    assert resin_per_gram == pytest.approx(ratio, abs=0.0051)


def test_the_wrong_figure_of_a_forum_is_not_reached() -> None:
    """A forum says 163 g of resin for 200 g/m2 of carbon at 55 %: it left the densities out."""
    found = resin_for(200 / 1.8, 0.55, 1.2)
    assert found == pytest.approx(109.09, abs=0.01)
    assert resin_for(200, 0.55, 1.0) == pytest.approx(163.6, abs=0.1), "where the slip comes from"


@pytest.mark.parametrize(("thickness", "percent"), [(1.60, 55.56), (2.00, 44.44)])
def test_the_fraction_of_a_wall_from_its_thickness(thickness: float, percent: float) -> None:
    """ASTM D3171 method II: 8 layers of 200 g/m2, 1.80 g/cm3 (formula from memory, closed form)."""
    found = volume_fraction_of_wall(8 * 200, 1.80, thickness)
    assert 100 * found == pytest.approx(percent, abs=0.005)
    assert thickness_of_wall(8 * 200, 1.80, found) == pytest.approx(thickness)


def test_a_published_ply_of_450_grams() -> None:
    """An open-source example's inputs: 450 g/m2 at 1.62, 30 % by volume, resin 1.20 g/cm3."""
    assert thickness_of_wall(450, 1.62, 0.30) == pytest.approx(0.92593, abs=5e-6)
    assert resin_for(450 / 1.62, 0.30, 1.20) == pytest.approx(777.78, abs=0.005)


@pytest.mark.parametrize(
    ("resin", "density", "fibre", "measured", "theory", "voids"),
    [(40, 1.20, 2.54, 1.70, 1.755760, 3.1759), (30, 1.23, 2.54, 1.87, 1.924954, 2.8548)],
)
def test_voids_by_density(
    resin: float, density: float, fibre: float, measured: float, theory: float, voids: float
) -> None:
    """ASTM D2734, T = 100 / (R/D + r/d) and V = 100 (T - M) / T; worked by hand."""
    found = theoretical_density(1 - resin / 100, fibre, density)
    assert found == pytest.approx(theory, abs=1e-6)
    assert 100 * void_content(found, measured) == pytest.approx(voids, abs=1e-4)


def test_voids_keep_their_sign() -> None:
    assert void_content(1.50, 1.51) == pytest.approx(-0.01 / 1.50)


@given(st.floats(0.05, 0.9), st.floats(0.9, 3), st.floats(0.9, 1.5), st.floats(0.8, 1.05))
def test_the_constituents_fill_the_laminate(
    share: float, fibre: float, resin: float, measured: float
) -> None:
    assert sum(constituents(share, fibre, resin, measured)) == pytest.approx(1)


@pytest.mark.parametrize("impossible", [-0.1, 0.0, SQUARE + 1e-6, HEXAGONAL + 1e-6, 40.0])
def test_an_impossible_fraction_is_refused(impossible: float) -> None:
    """Packing bounds pi/4 and pi/(2 sqrt 3): closed form. 40 is percent for fraction."""
    with pytest.raises(UsageError, match=r"allowed is up to 0\.65"):
        check_packing(impossible, "target")


def test_a_doubtful_fraction_is_a_warning_and_a_usual_one_is_none() -> None:
    assert "doubtful" in str(check_packing(0.7, "x"))
    assert check_packing(0.45, "x") is None
    assert check_packing(0.65, "x") is None, "up to 0.65 without doubt"
