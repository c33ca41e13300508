"""A sleeve over a part, against the closed forms of the trellis."""

import math

import pytest

from satcheck.errors import UsageError
from satcheck.resin.braid import Sleeve, length_at_nominal, open_sleeve, sleeve_mass, surface

SLEEVE = Sleeve(100, 320)


@pytest.mark.parametrize(
    ("diameter", "angle", "length", "areal"),
    [
        (70.7107, 30.000, 1.224745, 1.154700),
        (80, 34.449902, 1.166190, 1.071866),
        (90, 39.523608, 1.090871, 1.018554),
        (100, 45, 1, 1),
        (110, 51.061176, 0.888819, 1.022807),
        (120, 58.051941, 0.748331, 1.113589),
        (122.4745, 60.000, 0.707107, 1.154701),
    ],
)
def test_angle_length_and_areal_mass(
    diameter: float, angle: float, length: float, areal: float
) -> None:
    """Yarns that do not stretch: D goes with sin a, length with cos a, mass with 1 / sin 2a."""
    opened = open_sleeve(SLEEVE, diameter)
    assert opened.angle == pytest.approx(angle, abs=1e-4)
    assert opened.length_ratio == pytest.approx(length, abs=2e-6)
    assert opened.areal_mass / 320 == pytest.approx(areal, abs=2e-6)


@pytest.mark.parametrize("diameter", [100 * math.sqrt(2), 150, 0, -3])
def test_a_diameter_beyond_the_sleeve_is_refused(diameter: float) -> None:
    with pytest.raises(UsageError, match="opens to less than 141"):
        open_sleeve(SLEEVE, diameter)


@pytest.mark.parametrize(
    ("tows", "width", "diameter", "nominal", "cover"),
    [(144, 2.0, 100, 100, 0.876256), (96, 1.5, 60, 60 / (math.sin(math.radians(35)) * math.sqrt(2)),
      0.715166), (72, 2.0, 80, 80, 0.646144)],
)  # fmt: skip
def test_cover(tows: int, width: float, diameter: float, nominal: float, cover: float) -> None:
    """2F - F^2 with F = N w / (2 pi D cos a): a published formula for cable shields."""
    opened = open_sleeve(Sleeve(nominal, 300, tows, width), diameter)
    assert opened.cover == pytest.approx(cover, abs=1e-6)


def test_a_straight_part_takes_the_mass_of_its_surface() -> None:
    """A tube of 100 mm and 300 mm long at 45 degrees: areal mass times its surface."""
    round_ = math.pi * 100
    assert sleeve_mass(SLEEVE, 300, [round_, round_]) == pytest.approx(320 * math.pi * 0.1 * 0.3)
    assert surface(300, [round_, round_]) == pytest.approx(math.pi * 0.1 * 0.3)


def test_a_cone_agrees_with_a_sum_over_thin_slices() -> None:
    """The closed form of the mean over a cone against direct summation of areal mass."""
    first, second, length, slices = 80.0, 120.0, 200.0, 4000
    slant = math.hypot(length, (second - first) / 2) / slices
    total = 0.0
    for k in range(slices):
        diameter = first + (second - first) * (k + 0.5) / slices
        total += open_sleeve(SLEEVE, diameter).areal_mass * math.pi * diameter * slant * 1e-6
    found = sleeve_mass(SLEEVE, length, [math.pi * first, math.pi * second])
    assert found == pytest.approx(total, rel=1e-5)
    assert length_at_nominal(SLEEVE, length, [math.pi * first, math.pi * second]) > length


def test_a_cones_surface_is_its_closed_form() -> None:
    """Radii 80 and 40 mm, 30 mm long: pi (80 + 40) 50, as 30, 40, 50 are a right triangle."""
    found = surface(30, [2 * math.pi * 80, 2 * math.pi * 40])
    assert found == pytest.approx(math.pi * 120 * 50 * 1e-6)


def test_a_cone_near_the_sleeves_end_is_no_tube() -> None:
    """130 to 140 mm of a sleeve that ends at 141.4: its mean secant is far from its middle's."""
    first, second = (d / (100 * math.sqrt(2)) for d in (130, 140))
    secant = (math.asin(second) - math.asin(first)) / (second - first)
    found = length_at_nominal(SLEEVE, 200, [math.pi * 130, math.pi * 140])
    assert found == pytest.approx(math.hypot(200, 5) * secant / math.sqrt(2))


def test_tows_lie_side_by_side_at_most() -> None:
    """F = N w / (2 pi D cos a) is 1 at w = 2 pi 100 cos 45 / 144 = 3.0854 mm."""
    assert open_sleeve(Sleeve(100, 300, 144, 3.08), 100).cover == pytest.approx(1, abs=1e-4)
    with pytest.raises(UsageError, match=r"144 tows of 3\.12 mm do not fit side by side"):
        open_sleeve(Sleeve(100, 300, 144, 3.12), 100)


def test_a_sleeve_that_is_too_narrow_is_told_across_and_round() -> None:
    """471 = pi 150 and 444 = pi 100 sqrt 2, mm."""
    said = r"lie on 150.0 mm \(471 mm round\): .* than 141.4 mm \(444 mm round\)"
    with pytest.raises(UsageError, match=said):
        open_sleeve(SLEEVE, 150)
