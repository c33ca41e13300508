"""What a user types, in the units of the trade; a slip is named, never mended."""

import pytest

from satcheck.errors import UsageError
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
    ("text", "kind", "said"),
    [
        ("12,5", LENGTH, '"12.5" was probably meant'),
        ("1,250", MASS, '"1.250" or "1250" was meant'),
        ("12", LENGTH, '"12 in" .304.8 mm. or "12 cm" .120 mm. was probably meant'),
        ("40", FRACTION, '"40 %" .0.4. was probably meant'),
        ("-3", MASS, "below 0 cannot be"),
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
