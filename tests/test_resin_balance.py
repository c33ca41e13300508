"""Mass balance: a worked example, its uncertainty against the true scatter, and slips named."""

from dataclasses import replace

import numpy as np
import pytest

from satcheck.errors import UsageError
from satcheck.resin.balance import Wall, Weighings, balance
from satcheck.resin.materials import FIBRES, RESINS, Material, pick_material
from satcheck.resin.uncertainty import Measured, between, doubt_text, propagate, rounded

SHOP = Weighings(fabric=182, mixed=300, cup=14, bag=62)


def exact(density: float) -> Material:
    return Material("exact", Measured(density), density, density, "as given")


@pytest.mark.parametrize(
    ("fibre", "by_volume"), [(2.67, 0.264209), (2.54, 0.274026), (1.78, 0.350068)]
)
def test_the_worked_example(fibre: float, by_volume: float) -> None:
    """182 g fabric, 300 g mixed, 14 g in the cup, 62 g in the bag: 224 g in the part."""
    found = balance(SHOP, exact(fibre), exact(1.18)).results
    assert found["resin"].value == pytest.approx(224)
    assert found["mass_fraction"].value == pytest.approx(0.448276, abs=1e-6)
    assert found["ratio"].value == pytest.approx(1.230769, abs=1e-6)
    assert found["volume_fraction"].value == pytest.approx(by_volume, abs=1e-6)


@pytest.mark.parametrize(("step", "u"), [(1.0, 0.5), (0.1, 0.05)])
def test_three_readings_add_their_roundings(step: float, u: float) -> None:
    """Mixed less cup less bag: sqrt(3) d / sqrt(12) = d / 2 (GUM F.2.2.1, 5.1.2)."""
    found = balance(SHOP, exact(2.67), exact(1.18), resolution=step).results
    assert found["resin"].u == pytest.approx(u)


def test_what_was_no_resin_and_what_went_as_vapour_is_taken_off() -> None:
    """The film lay in the bag's 62 g: 4 g more went into the part, 3 g less with the vapour."""
    found = balance(replace(SHOP, film=4, evaporation=3), exact(2.67), exact(1.18)).results
    assert found["resin"].value == pytest.approx(224 + 4 - 3)


def test_one_reading_is_known_to_its_step_over_root_twelve() -> None:
    assert rounded(5, 1).u == pytest.approx(0.288675, abs=1e-6)
    assert between(1.0, 1.3).u == pytest.approx(0.3 / np.sqrt(12))


def test_the_stated_uncertainty_is_the_true_scatter() -> None:
    """True masses drawn at random, rounded by the scale, against what the balance states."""
    rng = np.random.default_rng(8)
    errors = []
    for _ in range(2000):
        fabric, cup, bag = rng.uniform(150, 200), rng.uniform(5, 20), rng.uniform(40, 70)
        mixed = rng.uniform(280, 320)
        truth = fabric / (fabric + mixed - cup - bag)
        shown = Weighings(*(float(round(v)) for v in (fabric, mixed, cup, bag)))
        errors.append(
            balance(shown, exact(2.67), exact(1.18)).results["mass_fraction"].value - truth
        )
    stated = balance(SHOP, exact(2.67), exact(1.18)).results["mass_fraction"].u
    assert np.std(errors) == pytest.approx(stated, rel=0.15)


def test_an_input_that_enters_twice_is_counted_once() -> None:
    """X - x is known exactly; independent readings would not be."""
    found = propagate(lambda v: {"zero": v["x"] - v["x"], "sum": v["x"] + v["y"]},
                      {"x": Measured(1, 0.3), "y": Measured(2, 0.4)})  # fmt: skip
    assert found["zero"].u == 0
    assert found["sum"].u == pytest.approx(0.5)


def test_a_wall_tells_thickness_and_voids_with_their_sign() -> None:
    wall = Wall(density=Measured(1.70, 0.005))
    fabric = Weighings(fabric=60, part=100)
    found = balance(fabric, exact(2.54), exact(1.20), wall=wall).results
    assert found["voids"].value == pytest.approx(0.031759, abs=1e-6)
    dense = balance(fabric, exact(2.54), exact(1.20), wall=Wall(density=Measured(1.80, 0.005)))
    assert dense.results["voids"].value < 0
    assert any("below 0" in warning for warning in dense.warnings)


@pytest.mark.parametrize(
    ("weighings", "names"),
    [
        (Weighings(fabric=182, mixed=300, part=400), "the cup and the bag"),
        (Weighings(fabric=182, mixed=300, part=400, bag=62), "the cup"),
        (Weighings(fabric=182, mixed=300, part=400, cup=14), "the bag"),
    ],
)
def test_what_nobody_weighed_is_no_wrong_weighing(weighings: Weighings, names: str) -> None:
    """82 g "did not add up", and a weighing was called wrong: the cup was taken for empty."""
    found = balance(weighings, exact(2.67), exact(1.18))
    assert "unaccounted" not in found.results
    assert found.results["resin"].value == pytest.approx(218)
    (warning,) = found.warnings
    assert warning.startswith(f"What stayed in {names} was not weighed")


def test_the_mix_checks_the_part_where_all_was_weighed() -> None:
    """300 - 14 - 62 = 224 g for the part, 400 - 182 = 218 g in it: 6 g are missing."""
    whole = Weighings(fabric=182, mixed=300, cup=14, bag=62, part=400)
    assert balance(whole, exact(2.67), exact(1.18)).results["unaccounted"].value == pytest.approx(6)
    empty = Weighings(fabric=182, mixed=300, cup=0, bag=0, part=400)
    found = balance(empty, exact(2.67), exact(1.18))
    assert found.results["unaccounted"].value == pytest.approx(82), "0 was weighed, so it counts"


@pytest.mark.parametrize(
    ("off", "said"), [(-2.2, ["heavier"]), (-1.8, []), (1.8, []), (2.2, ["leaner"])]
)
def test_a_wall_differs_from_the_mean_beyond_twice_their_joint_uncertainty(
    off: float, said: list[str]
) -> None:
    """More fibre is less resin: leaner. Both are known equally well, so jointly to root two."""
    part = Weighings(fabric=60, part=100)
    mean = balance(part, exact(2.54), exact(1.20)).results["volume_fraction"]
    u = mean.u / mean.value
    thickness = 1e-3 * 600 / (2.54 * mean.value) / (1 + off * np.sqrt(2) * u)
    wall = Wall(areal_mass=600, thickness=Measured(thickness, thickness * u))
    found = balance(part, exact(2.54), exact(1.20), wall=wall).warnings
    told = [warning.split()[7] for warning in found if "than the part's mean" in warning]
    assert told == said


@pytest.mark.parametrize(
    ("weighings", "said"),
    [
        (Weighings(fabric=-182, mixed=300), "a mass below 0"),
        (Weighings(fabric=182, part=300, hardware=-0.5), "hardware -0.5 g: a mass below 0"),
        (Weighings(fabric=182), "at least one of them"),
        (Weighings(fabric=182, mixed=14, cup=300), "probably swapped"),
        (Weighings(fabric=400, part=182), "probably swapped"),
        (Weighings(fabric=182, mixed=300, part=900), "lock or core"),
        (Weighings(fabric=182, mixed=300, bag=10, film=20), "probably swapped"),
        (Weighings(fabric=0, mixed=300), "must be weighed"),
        (Weighings(fabric=182, mixed=300, cup=300), "cup 300 g is not less than mixed 300 g"),
        (Weighings(fabric=182, mixed=300, bag=320, film=20), "bag and overflow 300 g is not less"),
        (
            Weighings(fabric=182, mixed=300, cup=100, bag=120, film=20, evaporation=100),
            "took 300 g of the 300 g that were mixed",
        ),
        (Weighings(fabric=182, part=182), "part 182 g is not heavier than its dry fabric 182 g; a"),
        (Weighings(fabric=182, part=192, hardware=10), "and without hardware 10 g is not heavier"),
        (Weighings(fabric=182, mixed=300, part=483), "would hold 301 g of resin, but only 300 g"),
    ],
)
def test_weighings_that_cannot_be_are_named(weighings: Weighings, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        balance(weighings, FIBRES["basalt"], RESINS["acrylic"])


def test_a_material_is_a_name_a_density_or_a_range() -> None:
    assert pick_material(FIBRES, "Basalt", "--fibre").density.value == 2.67
    assert pick_material(RESINS, "1.15..1.20", "--resin").density.u == pytest.approx(
        0.05 / np.sqrt(12)
    )
    with pytest.raises(UsageError, match="allowed are carbon, glass"):
        pick_material(FIBRES, "wood", "--fibre")
    with pytest.raises(UsageError, match="kg/m"):
        pick_material(RESINS, "1180", "--resin")


@pytest.mark.parametrize(
    ("part", "hardware", "said"),
    [
        (441, 0, "+41 g do not add up between mix and part: More than vapour, drops and smears"),
        (443, 0, "+39 g do not add up between mix and part: Vapour, drops and smears take it."),
        (490, 0, "-8 g do not add up between mix and part: A weighing is wrong, or hardware"),
        (523, 0, "-41 g do not add up between mix and part: A weighing is wrong, or hardware"),
        (500, 10, "-8 g do not add up between mix and part: A weighing is wrong."),
    ],
)
def test_what_does_not_add_up_has_its_likely_reason(
    part: float, hardware: float, said: str
) -> None:
    """400 g mixed, 100 g left over: 300 g for 182 g of fabric. A tenth of the mix is much."""
    weighed = Weighings(fabric=182, mixed=400, cup=40, bag=60, part=part, hardware=hardware)
    found = balance(weighed, exact(2.67), exact(1.18)).warnings
    assert [warning for warning in found if warning.startswith(said)]


def test_a_typical_density_lies_in_its_range() -> None:
    for each in (*FIBRES.values(), *RESINS.values()):
        assert each.low <= each.density.value <= each.high, each.name


def test_a_loss_is_never_told_as_none() -> None:
    """300.0 - 14.0 - 62.0 - 223.6 = 0.4 g, known to 0.14 g: "+0 g do not add up" was said."""
    weighed = Weighings(fabric=182, mixed=300, cup=14, bag=62, part=405.6)
    found = balance(weighed, exact(2.67), exact(1.18), resolution=0.1)
    assert found.results["unaccounted"].value == pytest.approx(0.4)
    assert any(each.startswith("+0.4 g do not add up") for each in found.warnings)


@pytest.mark.parametrize(
    ("doubt", "digits", "text"),
    [(0.01, 1, "0.1"), (0.0004, 3, "0.001"), (0.96, 0, "1"), (1.26, 1, "1.3"), (0.0, 1, "0.0")],
)
def test_a_doubt_is_not_rounded_to_none(doubt: float, digits: int, text: str) -> None:
    assert doubt_text(doubt, digits) == text


@pytest.mark.parametrize(("step", "is_coarse"), [(1.2, False), (1.25, True)])
def test_a_scale_is_too_coarse_from_a_tenth_of_the_resin_on(step: float, is_coarse: bool) -> None:
    """Two readings are known to 2 sqrt(2 / 12) steps: a tenth of 10 g at a step of 1.2247 g."""
    found = balance(Weighings(20, part=30), exact(2.67), exact(1.18), resolution=step).warnings
    assert any("too coarse" in each for each in found) is is_coarse


@pytest.mark.parametrize(
    ("voids", "said"),
    [(-0.022, "Voids are below 0"), (-0.018, "below 1 %"), (0.009, "below 1 %"), (0.011, "")],
)
def test_voids_are_believed_from_1_percent_on_and_refused_beyond_twice_their_doubt(
    voids: float, said: str
) -> None:
    """ASTM D2734: T of 60 g of glass on 100 g is 1.755760; M known to 1 % of it, V to 0.01."""
    density = Measured(1.755760 * (1 - voids), 0.01 * 1.755760)
    part = Weighings(fabric=60000, part=100000)
    found = balance(part, exact(2.54), exact(1.20), wall=Wall(density=density)).warnings
    assert [said in each for each in found] == ([True] if said else [])


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("1.18", "1.18 g/cm3"),
        ("1.15..1.20", "1.15..1.20 g/cm3"),
        ("1180 kg/m3", "1.18 g/cm3"),
        ("1.15 .. 1.20 g/cm3", "1.15..1.2 g/cm3"),
    ],
)
def test_a_density_is_named_in_its_one_unit(text: str, name: str) -> None:
    """Of 1180 kg/m3 it was said "1180 kg/m3 g/cm3"."""
    assert pick_material(RESINS, text, "--resin").name == name


@pytest.mark.parametrize(
    ("name", "density", "resin"),
    [("carbon", 1.78, False), ("glass", 2.54, False), ("aramid", 1.44, False),
     ("nylon", 1.14, False), ("polyester", 1.38, False), ("acrylic", 1.18, True)],
)  # fmt: skip
def test_the_densities_of_the_trade(name: str, density: float, resin: bool) -> None:
    """Handbook values: PA 6.6 1.14, PET 1.38, PMMA 1.18, E-glass 2.54, aramid 1.44 g/cm3."""
    assert (RESINS if resin else FIBRES)[name].density.value == density
