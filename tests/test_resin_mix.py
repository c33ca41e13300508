"""How much to mix: sums that a person can follow, and slips named."""

from pathlib import Path

import pytest

from satcheck.errors import UsageError
from satcheck.resin.fractions import SQUARE
from satcheck.resin.layup import Fabric, Part, fabrics, parse_layer, read_layup, stations
from satcheck.resin.materials import FIBRES, RESINS, Material, pick_material
from satcheck.resin.mix import Losses, check_parts, figure_text, make_target, mix, percent_text
from satcheck.resin.mix_sheet import amounts
from satcheck.resin.uncertainty import Measured

ACRYLIC = Material("acrylic", Measured(1.18), 1.18, 1.18, "as given")


def cloth(mass: float, density: float) -> Fabric:
    fibre = Material("cloth", Measured(density), density, density, "as given")
    return Fabric(fibre, mass, "weighed")


def test_a_published_rule_of_fabric_and_resin() -> None:
    """Published: resin = fabric / 0.60 x 0.40 by mass, 224 g of fabric need 149.33 g."""
    by_volume = (0.60 / 1.8) / (0.60 / 1.8 + 0.40 / 1.18)
    found = mix([cloth(224, 1.8)], ACRYLIC, make_target(by_volume, by_volume), Losses())
    assert found.in_part == pytest.approx(149.33, abs=0.005)


def test_losses_hardener_and_promoter_add_up() -> None:
    found = mix(
        [cloth(182, 2.67)], ACRYLIC, make_target(0.3, 0.4), Losses(14, 60, 2),
        hardener=3, promoter=0.5,
    )  # fmt: skip
    assert found.hardener is not None
    assert found.promoter is not None
    assert found.total == pytest.approx(found.in_part + 76)
    assert found.resin + found.hardener + found.promoter == pytest.approx(found.total)
    assert found.hardener / found.resin == pytest.approx(0.03)
    assert found.low < found.total < found.high
    assert [step.words for step in found.steps][-1] == "promoter"


def test_the_range_reaches_from_one_end_of_every_figure_to_the_other() -> None:
    """Worked by hand. Glass 2.50 to 2.60 and polyester 1.10 to 1.40, neither used at its middle."""
    glass = fabrics([parse_layer("mass=200 fibre=glass", None)], None)
    found = mix(glass, RESINS["polyester"], make_target(0.3, 0.4), Losses(9))
    assert found.low == pytest.approx(200 / 2.60 * 0.6 / 0.4 * 1.10 + 9)
    assert found.high == pytest.approx(200 / 2.50 * 0.7 / 0.3 * 1.40 + 9)


def test_no_hardener_is_assumed() -> None:
    found = mix([cloth(182, 2.67)], ACRYLIC, make_target(0.35, 0.35), Losses(14, 60, 2))
    assert found.hardener is None
    assert any("data sheet" in warning for warning in found.warnings)


@pytest.mark.parametrize(
    ("share", "said"), [(30.0, "runs away hot"), (0.03, "very few"), (0.0, "does not set without")]
)
def test_a_dangerous_share_of_hardener_is_a_warning(share: float, said: str) -> None:
    found = mix([cloth(182, 2.67)], ACRYLIC, make_target(0.35, 0.35), Losses(9), hardener=share)
    assert any(said in warning for warning in found.warnings)


def test_impossible_targets_and_no_fabric_are_refused() -> None:
    with pytest.raises(UsageError, match="impossible"):
        make_target(0.95, 0.95)
    with pytest.raises(UsageError, match=r'--target 0\.35 %: .*"35 %" was probably meant'):
        make_target(0.0035, 0.4)
    with pytest.raises(UsageError, match=r"--target 0\.9 %: .* laminate; allowed are 1 to 78\.5 %"):
        make_target(0.009, 0.009)
    with pytest.raises(UsageError, match="0 g"):
        mix([cloth(0, 2.67)], ACRYLIC, make_target(0.35, 0.35), Losses())


@pytest.mark.parametrize(
    ("wanted", "low", "high"), [(0.35, 0.30, 0.40), (0.04, 0.02, 0.09), (0.78, 0.73, SQUARE)]
)
def test_one_number_is_spread_within_what_is_allowed(
    wanted: float, low: float, high: float
) -> None:
    found = make_target(wanted, wanted)
    assert (found.value, found.low, found.high) == pytest.approx((wanted, low, high))
    assert make_target(found.low, found.high), "the range itself can be asked for"


def test_a_sleeve_over_a_straight_part() -> None:
    """Two sleeves of 320 g/m2 over a tube of their own diameter: twice its surface's mass."""
    layer = parse_layer("diameter=100 areal=320 fibre=basalt count=2", None)
    part = Part(300, (314.159265, 314.159265))
    (found,) = fabrics([layer], part)
    assert found.mass == pytest.approx(2 * 320 * 0.0942478, rel=1e-5)
    assert stations([layer], part)[0][0].angle == pytest.approx(45, abs=1e-4)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("diameter=100 fibre=basalt", "diameter and areal, or mass"),
        ("areal=320 diameter=100 colour=red", "'colour' is unknown"),
        ("mass=40", "fibre is missing"),
        ("mass=40,5 fibre=nylon", "a comma stands where a point belongs"),
        ("diameter=4 areal=320 fibre=basalt", "was probably meant"),
        ("mass=-4 fibre=nylon", "below 0 cannot be; allowed are 1 to 20000 g"),
        ("mass=0.04 fibre=nylon", '"0.04 kg" .40 g. was probably meant'),
        ("mass=4 fibre=nylon count=0", "from 1 to 9999"),
        ("mass=4 fibre=nylon count=10000", "from 1 to 9999"),
        ("mass=40 fibre=nylon mass=4", "'mass=4' is no key=value, once each"),
        ("diameter=100 areal=320 mass=40 fibre=nylon", "diameter and areal, or mass"),
        ("diameter= areal=320 fibre=nylon", "'diameter=' is no key=value"),
        ("in diameter=4 areal=320 fibre=nylon", "'in' is no key=value"),
    ],
)
def test_a_bad_layer_is_named(text: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        parse_layer(text, None)


def test_a_layup_is_read_from_either_form(tmp_path: Path) -> None:
    toml, json_ = tmp_path / "a.toml", tmp_path / "a.json"
    toml.write_text('[[layer]]\nmass = 40\nfibre = "nylon"\n')
    json_.write_text('{"layer": [{"mass": 40}]}')
    assert read_layup(toml, None) == read_layup(json_, FIBRES["nylon"])
    json_.write_text("{")
    with pytest.raises(UsageError, match="neither TOML nor JSON"):
        read_layup(json_, None)
    with pytest.raises(UsageError, match="cannot be read"):
        read_layup(tmp_path / "gone.toml", None)
    upper = tmp_path / "B.JSON"
    upper.write_text('{"layer": [{"mass": 40, "fibre": "nylon"}, {"mass": 4}]}')
    with pytest.raises(UsageError, match=r"B\.JSON, layer 2: the fibre is missing"):
        read_layup(upper, None)


def test_a_unit_stands_behind_its_number_in_a_layer() -> None:
    """4 in are 101.6 mm."""
    inches = parse_layer("diameter=4 in areal=320 gsm fibre=basalt", None).sleeve
    assert inches is not None
    assert (inches.diameter, inches.areal_mass) == pytest.approx((101.6, 320))


def test_the_sums_say_what_was_weighed_how_often_and_what_it_is_by_mass() -> None:
    """Published: 40 % of resin by mass is 60 % of fibre, whatever that is by volume."""
    layers = [parse_layer("mass=112 fibre=1.8 count=2", None)]
    by_volume = (0.60 / 1.8) / (0.60 / 1.8 + 0.40 / 1.18)
    steps = {
        step.words: step
        for step in mix(fabrics(layers, None), ACRYLIC, make_target(by_volume, by_volume),
                        Losses(14), hardener=3).steps
    }  # fmt: skip
    assert steps["fabric 1.8 g/cm3"].how == "2 x 112 g 1.8 g/cm3, weighed"
    assert steps["fabric 1.8 g/cm3"].value == 224
    assert steps["fibre by mass"].value == pytest.approx(60)
    assert steps["fibre volume"].value == pytest.approx(224 / 1.8)
    assert steps["resin volume"].value == pytest.approx(149.333 / 1.18, abs=0.001)
    assert steps["to mix"].value == pytest.approx(163.333, abs=0.001)
    assert steps["resin"].value == pytest.approx(163.333 / 1.03, abs=0.001)
    assert steps["hardener"].value == pytest.approx(163.333 / 1.03 * 0.03, abs=0.001)


@pytest.mark.parametrize(
    ("grams", "text"), [(0.0, "0.0"), (0.024, "0.024"), (0.999, "1"), (4.0, "4.0"), (12.34, "12.3")]
)
def test_a_figure_keeps_a_tenth(grams: float, text: str) -> None:
    assert figure_text(grams) == text


def test_the_least_share_that_sets_anything_is_allowed() -> None:
    assert check_parts(0.1, 0.1, "--hardener") == 0.1
    assert check_parts(0.0, 0.1, "--hardener") == 0.0
    with pytest.raises(UsageError, match='where 9 percent is meant, write "9"'):
        check_parts(0.09, 0.1, "--hardener")


@pytest.mark.parametrize(
    ("resin", "hardener", "promoter", "said"),
    [
        ("acrylic", 5.0, None, ""),
        ("acrylic", 5.1, None, "a study tried up to 5"),
        ("polyester", 5.1, None, "a study tried up to 5"),
        ("epoxy", 10.0, None, ""),
        ("epoxy", 10.1, None, "right for some epoxies only"),
        ("epoxy", 0.0, None, "epoxy does not set without"),
        ("acrylic", 0.5, None, ""),
        ("acrylic", 0.49, None, "are very few: it may never set"),
        ("polyester", 0.1, None, "are very few: it may never set"),
        ("epoxy", 0.25, None, "where the data sheet says 25 %, enter that number"),
        ("1.18", 5.0, None, ""),
        ("1.18", 5.1, None, "A peroxide at that share runs away hot"),
        ("1.18", 0.25, None, "are very few: it may never set"),
        ("1.18", 0.0, None, "laminating resin does not set without"),
        ("acrylic", 3.0, 5.0, ""),
        ("acrylic", 3.0, 5.1, "5.1 parts of promoter on 100 are very many"),
    ],
)
def test_what_is_doubted_begins_where_its_source_says(
    resin: str, hardener: float, promoter: float | None, said: str
) -> None:
    """Zainuddin et al. 2023 tried up to 5 parts of peroxide; the others are common practice."""
    found = mix(
        [cloth(182, 2.67)], pick_material(RESINS, resin, "--resin"), make_target(0.35, 0.35),
        Losses(9), hardener=hardener, promoter=promoter,
    ).warnings  # fmt: skip
    assert len(found) == bool(said)
    assert said in "".join(found)


@pytest.mark.parametrize("resin", ["acrylic", "polyester"])
@pytest.mark.parametrize("parts", [0.1, 0.25, 0.49])
def test_no_sentence_asks_for_more_peroxide_than_was_ever_tried(resin: str, parts: float) -> None:
    """Of 0.25 parts it was said to enter 25 where the data sheet said so: five times too many."""
    found = mix(
        [cloth(182, 2.67)], RESINS[resin], make_target(0.35, 0.35), Losses(9), hardener=parts
    )
    assert [said for said in found.warnings if "enter" in said] == []


def test_a_small_mix_is_weighed_out_in_tenths() -> None:
    """5 g at 2.67 and 30 %: 5.16 g, of which 5.0 resin. "5", 0.15 and "5" in all was told."""
    patch = mix([cloth(5, 2.67)], ACRYLIC, make_target(0.3, 0.3), Losses(), hardener=3)
    assert [row[:2] for row in amounts(patch)] == [
        ("resin", "5.0"), ("hardener", "0.15"), ("in all", "5.2")
    ]  # fmt: skip
    whole = mix([cloth(182, 2.67)], ACRYLIC, make_target(0.3, 0.3), Losses(), hardener=3)
    assert amounts(whole)[0][:2] == ("resin", "182")


@pytest.mark.parametrize(
    ("fraction", "text"), [(0.35, "35"), (0.275, "27.5"), (0.0125, "1.25"), (SQUARE, "78.5")]
)
def test_a_wanted_fraction_is_told_as_it_was_typed(fraction: float, text: str) -> None:
    """27.5 % was told as 28 %, and square packing as 79 %, which is not allowed."""
    assert percent_text(fraction) == text


@pytest.mark.parametrize(("cup", "warns"), [(850.0, False), (851.0, True)])
def test_more_than_a_kilogram_is_a_large_mix(cup: float, warns: bool) -> None:
    """182 g at 2.67 and 35 % take 149.4 g at 1.18: 850.6 g lost make a kilogram."""
    found = mix([cloth(182, 2.67)], ACRYLIC, make_target(0.35, 0.35), Losses(cup), hardener=3)
    assert found.total == pytest.approx(182 / 2.67 * 0.65 / 0.35 * 1.18 + cup)
    assert any("Never in one cup" in said for said in found.warnings) is warns
