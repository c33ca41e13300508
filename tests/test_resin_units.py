"""What a user types, in the units of the trade; a slip is named, never mended."""

import pytest

from satcheck.errors import UsageError
from satcheck.resin import units
from satcheck.resin.units import (
    AREAL,
    DENSITY,
    FRACTION,
    LENGTH,
    MASS,
    Kind,
    parse,
    parse_range,
)


@pytest.mark.parametrize(
    ("text", "value"), [("300", 300), ("12 in", 304.8), ('12"', 304.8), ("30 cm", 300)]
)
def test_lengths(text: str, value: float) -> None:
    assert parse(text, LENGTH, "--length") == pytest.approx(value)


def test_ranges_and_areal_mass() -> None:
    assert parse_range("1.15..1.20", DENSITY, "--resin") == (1.15, 1.20)
    assert parse("10 oz/yd2", AREAL, "--areal") == pytest.approx(339.057, abs=1e-3)
    with pytest.raises(UsageError, match="probably swapped"):
        parse_range("1.20..1.15", DENSITY, "--resin")


@pytest.mark.parametrize(
    "unit",
    ["gsm", "g/m2", "g/m²", "g/m^2", "g/m**2", "g / m ** 2", "g per m2", "g per square metre",
     "g/sq m", "g per metre squared", "g*m/m3"],
)  # fmt: skip
def test_an_areal_mass_in_the_spellings_of_the_trade(unit: str) -> None:
    assert parse(f"320 {unit}", AREAL, "--areal") == pytest.approx(320)


@pytest.mark.parametrize("unit", ["kg/m3", "kg/m³", "kg/m^3", "kg/m**3", "kg per cubic metre"])
def test_a_density_in_the_spellings_of_the_trade(unit: str) -> None:
    assert parse(f"1180 {unit}", DENSITY, "--density") == pytest.approx(1.18)


@pytest.mark.parametrize("unit", ["fl_oz", "m2", "g²"])
def test_a_unit_of_another_kind_is_named(unit: str) -> None:
    with pytest.raises(UsageError, match=f"'{unit}' does not fit here; a unit like g is allowed"):
        parse(f"2.5 {unit}", MASS, "--cup")


@pytest.mark.parametrize(
    "unit",
    ["g*9**9**7", "g*9**9**8", "g^9^9^9", "g**9", "g4", "g 9 9", "g/9", "9**9 g", "m2**3",
     "g**2**3", "g²³", "g⁹⁹", "g2 squared", "g squared cubed", "sq square cubic g", "cubic g3",
     "sq cubic g**3 cubed", "g*(9)", "m0", "g**m", "g*2", 'g"'],
)  # fmt: skip
def test_no_figure_but_a_power_reaches_pint(unit: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """It would work out 9**9**9 for ever, and hold up every other request meanwhile."""
    monkeypatch.setattr(units, "_registry", lambda: pytest.fail("pint was asked"))
    with pytest.raises(UsageError, match=r"--cup '1 .*': a mass is a number, in g"):
        parse(f"1 {unit}", MASS, "--cup")


def test_a_unit_beyond_all_numbers_is_refused() -> None:
    with pytest.raises(UsageError, match="does not fit here"):
        parse("1 Qm^3*Qm^3*Qm^3*Qm^3/m^3/m^3/m^3/m^3", FRACTION, "--target")


@pytest.mark.parametrize(
    ("text", "kind", "said"),
    [
        ("12,5", LENGTH, '"12.5" was probably meant'),
        ("1,250", MASS, '"1.250" or "1250" was meant'),
        ("12", LENGTH, '"12 in" .304.8 mm. or "12 cm" .120 mm. was probably meant'),
        ("40", FRACTION, '"40 %" .0.4. was probably meant'),
        ("-3", MASS, "below 0 cannot be; allowed are 0 to 20000 g"),
        ("-3", LENGTH, "below 0 cannot be; allowed are 50 to 1200 mm"),
        ("nan", MASS, "is a number"),
        ("300 kg/m3", LENGTH, "does not fit here"),
        ("300 __import__", LENGTH, "is a number"),
        ("9" * 400, MASS, "is a number"),
        ("", MASS, "is a number"),
    ],
)
def test_a_slip_is_named(text: str, kind: Kind, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        parse(text, kind, "--value")


def test_a_range_may_have_no_width() -> None:
    assert parse_range("0.35..0.35", FRACTION, "--target") == (0.35, 0.35)


@pytest.mark.parametrize(
    ("kind", "low", "high"),
    [
        (units.WHOLE, 1, 20_000), (LENGTH, 50, 1200), (units.CIRCUMFERENCE, 60, 1200),
        (units.DIAMETER, 15, 400), (units.THICKNESS, 0.1, 30), (AREAL, 20, 10_000),
        (DENSITY, 0.5, 5), (FRACTION, 0, 1), (units.PERCENT, 0, 100),
    ],
)  # fmt: skip
def test_what_is_plausible_is_allowed_to_its_ends_and_said(
    kind: Kind, low: float, high: float
) -> None:
    assert [parse(f"{end}", kind, "--value") for end in (low, high)] == [low, high]
    with pytest.raises(UsageError, match=f"is not plausible .*allowed are {low:g} to {high:g}"):
        parse(f"{high * 1.01:.3f}", kind, "--value")


def test_where_a_unit_was_typed_no_other_is_guessed() -> None:
    with pytest.raises(UsageError) as refused:
        parse("12 mm", LENGTH, "--length")
    assert "meant" not in str(refused.value)
    assert "12 mm is not plausible for the part's length; allowed are 50 to" in str(refused.value)
