"""``satcheck weigh``: the worked example end to end, beside the photo, and every slip named."""

import json
import math
from pathlib import Path
from typing import Any

import pytest
from calls import latest
from records import inspection_of

from satcheck.cli import app
from satcheck.ledger.book import read_ledger
from satcheck.ledger.entries import Kind
from satcheck.ledger.search import Search
from satcheck.model import Label
from satcheck.record import inspection_to_json

DENSITIES = ["--fibre", "2.67", "--resin", "1.18"]
SHOP = [*DENSITIES, "--fabric", "182", "--mixed", "300", "--cup", "14", "--bag", "62"]
SIDES = ("left", "centre", "right")


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        app.main(["weigh", *latest(arguments)])
    out, err = capsys.readouterr()
    assert isinstance(ended.value.code, int)
    return ended.value.code, out, err


def weighed(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    status, out, err = run(capsys, *arguments, "--json")
    assert (status, err) == (0, "")
    found: dict[str, Any] = json.loads(out)
    return found


def photo(folder: Path, verdicts: dict[str, Label], verdict: Label = Label.STARVED) -> str:
    path = folder / "part.json"
    path.write_text(json.dumps(inspection_to_json(inspection_of(verdict, verdicts))))
    return str(path)


@pytest.mark.parametrize(
    ("fibre", "by_volume"), [("2.67", 0.264209), ("2.54", 0.274026), ("1.78", 0.350068)]
)
def test_the_worked_example(
    capsys: pytest.CaptureFixture[str], fibre: str, by_volume: float
) -> None:
    """182 g fabric, 300 g mixed, 14 g in the cup, 62 g in the bag (closed form, by hand)."""
    found = weighed(capsys, *SHOP, "--fibre", fibre)["results"]
    assert found["resin"]["value"] == pytest.approx(224)
    assert found["mass_fraction"]["value"] == pytest.approx(0.448276, abs=1e-6)
    assert found["ratio"]["value"] == pytest.approx(1.230769, abs=1e-6)
    assert found["volume_fraction"]["value"] == pytest.approx(by_volume, abs=1e-6)


@pytest.mark.parametrize(("scale", "step"), [([], 1.0), (["--scale", "0.1"], 0.1)])
def test_the_scales_step_is_the_uncertainty(
    capsys: pytest.CaptureFixture[str], scale: list[str], step: float
) -> None:
    """Each reading d / sqrt 12 (GUM F.2.2.1): two give 0.408248 d, four 0.577350 d."""
    two = weighed(capsys, *DENSITIES, "--fabric", "182", "--part", "406", *scale)
    four = weighed(capsys, *SHOP, "--film", "4", *scale)
    assert two["results"]["resin"]["u"] == pytest.approx(0.408248 * step, rel=1e-5)
    assert four["results"]["resin"]["u"] == pytest.approx(0.577350 * step, rel=1e-5)


@pytest.mark.parametrize(
    ("fabric", "part", "fibre", "resin", "density", "theory", "voids"),
    [
        ("60", "100", "2.54", "1.20", "1.70", 1.755760, 0.031759),
        ("70", "100", "2.54", "1.23", "1.87", 1.924954, 0.028548),
        ("60", "100", "2.54", "1.20", "1.80", 1.755760, -0.025197),
    ],
)
def test_voids_by_astm_d2734_keep_their_sign(
    capsys: pytest.CaptureFixture[str],
    fabric: str, part: str, fibre: str, resin: str, density: str, theory: float, voids: float,
) -> None:  # fmt: skip
    """T = 100 / (R/D + r/d), V = 100 (T - M) / T; the first two worked by hand."""
    found = weighed(capsys, "--fabric", fabric, "--part", part, "--fibre", fibre, "--resin", resin,
                    "--density", density)["results"]  # fmt: skip
    assert found["theoretical_density"]["value"] == pytest.approx(theory, abs=1e-6)
    assert found["voids"]["value"] == pytest.approx(voids, abs=2e-6)


@pytest.mark.parametrize(("thickness", "by_volume"), [("1.60", 0.5556), ("2.00", 0.4444)])
def test_thickness_by_astm_d3171_method_ii(
    capsys: pytest.CaptureFixture[str], thickness: str, by_volume: float
) -> None:
    """200 g/m2 x 8, density 1.80, 1.60 mm: 55.56 %; 2.00 mm: 44.44 %."""
    found = weighed(capsys, "--fabric", "60", "--part", "100", "--fibre", "1.80", "--resin", "1.2",
                    "--areal", "1600", "--thickness", thickness)["results"]  # fmt: skip
    assert found["wall_volume_fraction"]["value"] == pytest.approx(by_volume, abs=5e-5)
    assert found["thickness"]["value"] == pytest.approx(1.7778, abs=1e-3)


def test_a_reading_is_known_to_its_last_digit(capsys: pytest.CaptureFixture[str]) -> None:
    """0.01 mm / sqrt 12 of 1.60 mm, relative: the same for the fraction from it."""
    found = weighed(capsys, *SHOP, "--areal", "1600", "--thickness", "1.60")["results"]
    wall = found["wall_volume_fraction"]
    assert wall["u"] / wall["value"] == pytest.approx(0.01 / math.sqrt(12) / 1.60, rel=1e-4)


@pytest.mark.parametrize(("scale", "is_coarse"), [("1", False), ("100", True)])
def test_a_scale_that_is_too_coarse_is_said(
    capsys: pytest.CaptureFixture[str], scale: str, is_coarse: bool
) -> None:
    found = weighed(capsys, *SHOP, "--scale", scale)["warnings"]
    assert any("too coarse" in each for each in found) == is_coarse


@pytest.mark.parametrize(
    ("part", "said"),
    [
        ("406", None),
        ("390", "Vapour, drops and smears take it."),
        ("300", "A weighing is wrong, or trimmings are missing."),
        ("420", "hardware was weighed"),
    ],
)
def test_mix_and_part_check_each_other(
    capsys: pytest.CaptureFixture[str], part: str, said: str | None
) -> None:
    found = weighed(capsys, *SHOP, "--part", part)
    assert found["results"]["unaccounted"]["value"] == pytest.approx(406 - float(part))
    assert [said in each for each in found["warnings"] if said] == ([True] if said else [])
    assert bool(found["warnings"]) == bool(said)


def test_the_same_weights_from_a_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "weights.toml"
    path.write_text('fabric = 182\nmixed = 300\ncup = 14.0\nbag = "62 g"\n')
    found = weighed(capsys, *DENSITIES, "--weights", str(path))
    assert found["results"] == weighed(capsys, *SHOP)["results"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("fabric = 182\ncolour = 3\n", "'colour' is unknown"),
        ("fabric = [1]\n", "no number and no text"),
        ("fabric = nan\n", "is a number"),
        ("fabric: 182\n", "no TOML"),
        ("cup = 3\n", "--cup stands in"),
    ],
)
def test_a_bad_file_is_one_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str, said: str
) -> None:
    path = tmp_path / "weights.toml"
    path.write_text(text)
    status, out, err = run(capsys, *DENSITIES, "--mixed", "300", "--cup", "14", "--weights",
                           str(path))  # fmt: skip
    assert (status, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1


def test_the_scale_stands_beside_the_photo(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    starved = {f"distal {side}": Label.STARVED for side in SIDES}
    path = photo(tmp_path, starved)
    status, out, _ = run(capsys, *SHOP, "--target", "15 %..20 %", "--inspection", path)
    assert status == 0
    assert "Whole part lean by weight, photo starved at the distal third: add resin there." in out
    path = photo(tmp_path, starved | {"proximal left": Label.RICH})
    found = weighed(capsys, *SHOP, "--target", "25 %..30 %", "--inspection", path)
    assert found["photo"]["sentence"] == (
        "By weight enough, photo starved distally and rich proximally: it was not moved."
    )


def test_the_text_has_each_result_with_its_doubt(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, *SHOP)
    assert "224.0 +/- 1.0 g" in out
    assert "says nothing of a starved place" in out
    assert "dust mask" in out
    assert out.isascii()
    assert max(map(len, out.splitlines())) <= 80


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--cup", "310"], "probably swapped"),
        (["--fabric", "-182"], "below 0 cannot be"),
        (["--fabric", "nan"], "is a number"),
        (["--mixed", "0.3"], '"0.3 kg" (300 g) was probably meant'),
        (["--fabric", "18,2"], '"18.2" was probably meant'),
        (["--fabric", "182 furlongs"], "does not fit here"),
        (["--part", "150"], "is not heavier than its dry fabric"),
        (["--part", "900"], "was the lock or core weighed"),
        (["--film", "80"], "probably swapped"),
        (["--fabric", "9000", "--part", "9001"], "is impossible"),
        (["--density", "1574"], '"1574 kg/m3"'),
        (["--thickness", "0.06"], '"0.06 in"'),
        (["--target", "26"], '"26 %"'),
        (["--scale", "0"], "allowed are 0.001 to 100"),
        (["--inspection", "gone.json"], "--target is missing"),
        (["--inspection", "gone.json", "--target", "0.3"], "cannot be read"),
        (["--weights", "gone.toml"], "cannot be read"),
    ],
)
def test_bad_input_is_one_line_and_status_2(
    capsys: pytest.CaptureFixture[str], options: list[str], said: str
) -> None:
    status, out, err = run(capsys, *SHOP, *options)
    assert (status, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1


def test_what_was_left_in_cup_and_bag_is_not_taken_for_nothing(
    capsys: pytest.CaptureFixture[str],
) -> None:
    given = [*DENSITIES, "--fabric", "182", "--mixed", "300"]
    for more, missing in (([], "--cup"), (["--cup", "14"], "--bag"), (["--bag", "62"], "--cup")):
        status, out, err = run(capsys, *given, *more)
        assert (status, out) == (2, "")
        assert f"{missing} is missing" in err
    assert run(capsys, *given, "--cup", "0", "--bag", "0")[0] == 0
    assert run(capsys, *given, "--part", "406")[0] == 0


@pytest.mark.parametrize("missing", ["--fabric", "--fibre", "--resin"])
def test_what_is_needed_has_no_default(capsys: pytest.CaptureFixture[str], missing: str) -> None:
    at = SHOP.index(missing)
    status, _, err = run(capsys, *SHOP[:at], *SHOP[at + 2 :])
    assert status == 2
    assert f"{missing} is missing" in err


@pytest.mark.parametrize("text", ["{", '{"schema": "other/1"}', "[]"])
def test_a_record_that_is_none_is_one_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str
) -> None:
    path = tmp_path / "part.json"
    path.write_text(text)
    status, out, err = run(capsys, *SHOP, "--target", "0.3", "--inspection", str(path))
    assert (status, out) == (2, "")
    assert err.count("\n") == 1


def test_a_weighing_is_recorded_under_the_parts_number(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    book = tmp_path / "shop.ledger"
    named = ["--fibre", "basalt", "--resin", "acrylic", "--number", "4711", "--by", "AB"]
    found = weighed(capsys, *SHOP, *named, "--ledger", str(book))
    with read_ledger(book) as ledger:
        entry = ledger.find(Search(kind=Kind.WEIGHING, part="4711", by="AB"))[0]
    assert entry.body["sheet"] == found


@pytest.mark.parametrize("name", ["--number", "--by"])
def test_what_is_told_for_the_record_without_a_ledger_is_refused(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, err = run(capsys, *SHOP, name, "4711")
    assert (status, out) == (2, "")
    assert err == f"{name} is for the record: it needs --ledger FILE\n"


def test_every_figure_is_told_with_its_digits_and_a_doubt_above_0(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The worked example on a scale of 0.01 g: "224.0 +/- 0.0 g" and "44.8 +/- 0.0 %" were told."""
    _, out, _ = run(capsys, *SHOP, "--scale", "0.01", "--target", "0.275..0.325")
    told = {line[:40].strip(): line[40:].strip() for line in out.splitlines() if "+/-" in line}
    assert told == {
        "resin in the part": "224.0 +/- 0.1 g",
        "laminate": "406.0 +/- 0.1 g",
        "resin to fibre by mass": "1.231 +/- 0.001",
        "fibre by mass": "44.8 +/- 0.1 %",
        "fibre by volume, no voids": "26.4 +/- 0.1 %",
        "density without voids": "1.574 +/- 0.001 g/cm3",
    }
    assert "wanted: fibre 27.5 to 32.5 % by volume: heavy, by weight" in out


def test_a_reading_in_another_unit_is_known_to_its_own_last_digit(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """0.16 cm is 1.6 mm, known to 0.01 cm = 0.1 mm, over sqrt 12 (GUM F.2.2.1)."""
    found = weighed(capsys, *SHOP, "--areal", "1600", "--thickness", "0.16 cm")["results"]
    wall = found["wall_volume_fraction"]
    assert wall["u"] / wall["value"] == pytest.approx(0.1 / math.sqrt(12) / 1.60, rel=1e-2)
    assert wall["value"] == pytest.approx(1.6 / (2.67 * 1.6), rel=1e-6)


@pytest.mark.parametrize(
    ("target", "said"),
    [
        ("0.1..0.254", "lean"), ("0.1..0.256", "unsure"), ("0.1..0.3", "enough"),
        ("0.273..0.5", "unsure"), ("0.275..0.5", "heavy"), ("0.26..0.27", "unsure"),
    ],
)  # fmt: skip
def test_by_weight_it_is_lean_or_heavy_beyond_twice_the_doubt_only(
    capsys: pytest.CaptureFixture[str], target: str, said: str
) -> None:
    """Basalt and acrylic as listed: 26.42 % +/- 0.97 %, by their ranges over sqrt 12."""
    found = weighed(capsys, *SHOP, "--fibre", "basalt", "--resin", "acrylic", "--scale", "0.1",
                    "--target", target)  # fmt: skip
    fraction = found["results"]["volume_fraction"]
    assert 2 * fraction["u"] == pytest.approx(0.0097, abs=0.0001)
    assert found["by_weight"] == said


def test_the_doubt_of_a_percentage_is_in_percent(capsys: pytest.CaptureFixture[str]) -> None:
    """Basalt and acrylic as listed: 0.0097 of the volume, which is 1.0 %."""
    _, out, _ = run(capsys, *SHOP, "--fibre", "basalt", "--resin", "acrylic")
    assert "fibre by volume, no voids                  26.4 +/- 1.0 %" in out
