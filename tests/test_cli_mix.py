"""``satcheck mix`` from what is typed to what is weighed out, the card, and every slip named."""

import json
import math
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from calls import latest

from satcheck.cli import app
from satcheck.ledger.book import read_ledger
from satcheck.ledger.entries import Kind
from satcheck.ledger.search import Search

SAMPLES = Path(__file__).parents[1] / "sample_images"

ACRYLIC = ["--resin", "acrylic", "--hardener", "3"]
WEIGHED = [*ACRYLIC, "--target", "0.35", "--fibre", "basalt", "--dry-fabric", "182"]
SLEEVE = [*ACRYLIC, "--target", "0.35", "--fibre", "basalt", "--length", "300"]


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        app.main(["mix", *latest(arguments)])
    out, err = capsys.readouterr()
    assert isinstance(ended.value.code, int)
    return ended.value.code, out, err


def mixed(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    status, out, err = run(capsys, *arguments, "--json")
    assert (status, err) == (0, "")
    found: dict[str, Any] = json.loads(out)
    return found


def test_a_published_rule_end_to_end(capsys: pytest.CaptureFixture[str]) -> None:
    """Published: resin = fabric / 0.60 x 0.40, so 224 g of fabric need 149.33 g in the part."""
    by_volume = (0.60 / 1.8) / (0.60 / 1.8 + 0.40 / 1.2)
    found = mixed(capsys, "--resin", "1.2", "--fibre", "1.8", "--target", f"{by_volume:.9f}",
                  "--hardener", "0", "--dry-fabric", "224")  # fmt: skip
    assert found["in_part"] == pytest.approx(149.33, abs=0.005)


def test_a_forum_figure_that_drops_the_densities_is_not_ours(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """200 g of carbon at 55 % by volume: 109 g of resin at 1.8 and 1.2; a forum says 163 g."""
    found = mixed(capsys, "--resin", "1.2", "--fibre", "1.8", "--target", "0.55",
                  "--hardener", "0", "--dry-fabric", "200")  # fmt: skip
    assert found["in_part"] == pytest.approx(109.09, abs=0.01)
    assert abs(found["in_part"] - 163) > 50


@pytest.mark.parametrize(
    ("diameter", "angle", "ratio"),
    [(80, 34.449902, 1.071866), (110, 51.061176, 1.022807), (120, 58.051941, 1.113589)],
)
def test_the_braid_of_the_trellis_table(
    capsys: pytest.CaptureFixture[str], diameter: float, angle: float, ratio: float
) -> None:
    """Yarns that do not stretch, nominal 100 mm at 45 degrees (closed form)."""
    round_ = f"{math.pi * diameter:.6f}"
    found = mixed(capsys, *SLEEVE, "--layer", "diameter=100 areal=300 count=2",
                  "--circumference", round_)  # fmt: skip
    (opened,) = found["braid"][0]
    assert opened["angle"] == pytest.approx(angle, abs=1e-4)
    assert opened["areal_mass"] == pytest.approx(300 * ratio, abs=1e-3)
    assert found["fabric"] == pytest.approx(2 * 300 * ratio * math.pi * diameter * 300e-6, rel=1e-5)


def test_parts_hardener_and_losses_add_up(capsys: pytest.CaptureFixture[str]) -> None:
    found = mixed(capsys, *WEIGHED, "--cup", "14", "--bag", "60", "--promoter", "0.5 %")
    assert found["total"] == pytest.approx(found["in_part"] + 74)
    assert found["hardener"] == pytest.approx(0.03 * found["resin"])
    assert found["resin"] + found["hardener"] + found["promoter"] == pytest.approx(found["total"])
    assert found["low"] < found["total"] < found["high"]


def test_units_behind_a_number_are_turned(capsys: pytest.CaptureFixture[str]) -> None:
    sleeve = ["--layer", "diameter=100 areal=300"]
    metric = mixed(capsys, *SLEEVE, *sleeve, "--circumference", "330.2 304.8")
    inches = mixed(capsys, *SLEEVE, *sleeve, "--circumference", "13 in", "--circumference", "12 in")
    assert inches["fabric"] == pytest.approx(metric["fabric"])


def test_the_text_shows_its_sums_and_its_cautions(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, *WEIGHED, "--cup", "14")
    assert status == 0
    assert "182.0 / 2.67" in out
    assert "Never mix peroxide and promoter directly" in out
    assert "May 1994" in out
    assert out.isascii()
    assert max(map(len, out.splitlines())) <= 80


@pytest.mark.parametrize(("size", "width"), [("A6", 105), ("A4", 210)])
def test_the_card_is_one_page_with_the_amounts(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, size: str, width: float
) -> None:
    card = tmp_path / "new" / "card.pdf"
    found = mixed(capsys, *WEIGHED, "--cup", "14", "--part", "4711", "--card", str(card),
                  "--size", size)  # fmt: skip
    document = pypdfium2.PdfDocument(card)
    text = document[0].get_textpage().get_text_range()
    assert len(document) == 1
    assert document[0].get_size()[0] == pytest.approx(width / 25.4 * 72, abs=0.5)
    for words in (f"{found['resin']:.0f}", f"{found['hardener']:.1f}", "4711", "data sheet",
                  "182.0 / 2.67", "Never mix peroxide and promoter directly",
                  "dry fabric 182 g; fibre 35 % by volume (30 to 40 %)"):  # fmt: skip
        assert words in text


def test_a_card_over_anothers_file_is_refused_before_it_is_recorded(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    notes, ledger = tmp_path / "notes.txt", tmp_path / "shop.ledger"
    notes.write_text("buy resin")
    status, out, err = run(capsys, *WEIGHED, "--card", str(notes), "--ledger", str(ledger))
    assert (status, out, notes.read_text(), ledger.exists()) == (2, "", "buy resin", False)
    assert "notes.txt: this file is there already and is no PDF of satcheck" in err
    calls = [run(capsys, *WEIGHED, "--card", str(tmp_path / "m.pdf")) for _ in range(2)]
    assert [call[0] for call in calls] == [0, 0]


def test_a_card_of_many_layers_says_where_the_rest_is(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    card = tmp_path / "card.pdf"
    layers = ["--layer", "mass=20 fibre=nylon"] * 40
    run(capsys, *ACRYLIC, "--target", "0.35", *layers, "--card", str(card))
    text = pypdfium2.PdfDocument(card)[0].get_textpage().get_text_range()
    assert "more on the screen" in text
    assert "Never mix peroxide" in text


def test_a_layup_file_is_the_same_as_its_layers(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    layup = tmp_path / "layup.toml"
    layup.write_text('[[layer]]\nmass = 91\ncount = 2\nfibre = "basalt"\n')
    found = mixed(capsys, *ACRYLIC, "--target", "0.35", "--layup", str(layup))
    assert found["total"] == pytest.approx(mixed(capsys, *WEIGHED)["total"])


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ("--hardener 20", "20 parts of peroxide on 100 of acrylic are too many"),
        ("--hardener 0.25", "0.25 parts of hardener on 100 are very few"),
        ("--hardener 3 --promoter 8", "8 parts of promoter"),
        ("--target 0.05", "Never in one cup"),
    ],
)
def test_a_likely_slip_of_a_percentage_is_said(
    capsys: pytest.CaptureFixture[str], options: str, said: str
) -> None:
    found = mixed(capsys, *WEIGHED, *options.split())
    assert any(said in warning for warning in found["warnings"])


def test_no_amount_to_weigh_out_is_told_as_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    """0.02 % of some 100 g are 0.02 g: a drop, and not 0.0 g."""
    options = ["--dry-fabric", "100", "--promoter", "0.02"]
    found = mixed(capsys, *WEIGHED, *options)
    _, out, _ = run(capsys, *WEIGHED, *options)
    promoter = next(line for line in out.splitlines() if line.split()[:1] == ["promoter"])
    assert float(promoter.split()[1]) == pytest.approx(found["promoter"], rel=0.05)
    assert "promoter 0.0 g" not in " ".join(out.split())


def test_a_usual_percentage_is_not_doubted(capsys: pytest.CaptureFixture[str]) -> None:
    assert mixed(capsys, *WEIGHED, "--cup", "14")["warnings"] == []


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--target", "0.95"], "is impossible"),
        (["--target", "0.80"], "above square packing"),
        (["--target", "35"], '"35 %" (0.35) was probably meant'),
        (["--target", "0.4..0.3"], "probably swapped"),
        (["--dry-fabric", "-182"], "below 0 cannot be"),
        (["--dry-fabric", "nan"], "is a number"),
        (["--dry-fabric", "inf"], "is a number"),
        (["--dry-fabric", "182,5"], '"182.5" was probably meant'),
        (["--dry-fabric", "182 mm"], "does not fit here"),
        (["--dry-fabric", "182 handfuls"], "does not fit here"),
        (["--dry-fabric", "0"], "not plausible"),
        (["--dry-fabric", "0.182"], '"0.182 kg" (182 g) was probably meant'),
        *((["--length", "300", "--circumference", text], f"{text}: blanks stand between")
          for text in ("380,340,260", "380, 340, 260", "380;340")),
        (["--length", "300", "--circumference", "31,5"], '"31.5" was probably meant'),
        (["--hardener", "300"], "not plausible"),
        (["--hardener", "0.03"], 'where 3 percent is meant, write "3"; allowed are 0 where none '
         "is needed, and 0.1 to 100 %"),
        (["--promoter", "0.003"], 'write "0.3"; allowed are 0 where none is needed, and 0.01 to'),
        (["--fibre", "wood"], "allowed are carbon"),
        (["--layer", "mass=4"], "give the fibre in one way"),
        (["--length", "300"], "--circumference is missing"),
        (["--part", "4" * 25], "1 to 24 printable"),
        (["--card", "."], "this is a folder"),
        (["--size", "A5"], "A5"),
    ],
)  # fmt: skip
def test_bad_input_is_one_line_and_status_2(
    capsys: pytest.CaptureFixture[str], options: list[str], said: str
) -> None:
    status, out, err = run(capsys, *WEIGHED, *options)
    assert (status, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("round_", "said"),
    [
        ("450", "opens to less than 141"),
        ("12", '"12 in" (304.8 mm)'),
        ("300,5", "a comma stands where a point belongs"),
    ],
)
def test_an_impossible_braid_is_refused(
    capsys: pytest.CaptureFixture[str], round_: str, said: str
) -> None:
    """Beyond sqrt 2 of its nominal diameter there is no real braid angle (closed form)."""
    status, _, err = run(capsys, *SLEEVE, "--layer", "diameter=100 areal=300",
                         "--circumference", round_)  # fmt: skip
    assert status == 2
    assert said in err
    assert err.count("\n") == 1


def test_no_hardener_is_assumed(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = run(capsys, "--resin", "acrylic", "--target", "0.35", "--fibre", "basalt",
                           "--dry-fabric", "182")  # fmt: skip
    assert (status, out) == (2, "")
    assert "there is no default" in err


def test_a_recorded_mix_says_what_the_shops_own_parts_have_shown(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Ten parts that took 1.5 of their fabric: the eleventh is told so, nine are too few."""
    book = str(tmp_path / "shop.ledger")
    asked = [*WEIGHED, "--ledger", book, "--part", "4711", "--temperature", "21"]
    for number in range(10):
        mass = 140 + 10 * number
        line = ["--fabric", f"{mass}", "--mixed", f"{1.5 * mass + 10}", "--cup", "10", "--bag"]
        line += ["40", "--fibre", "basalt", "--resin", "acrylic", "--ledger", book]
        if number == 9:
            assert "Too few parts: 9 of 10" in run(capsys, *asked)[1]
        with pytest.raises(SystemExit):
            app.main(["weigh", *line, "--number", f"P{number}"])
        capsys.readouterr()
    assert mixed(capsys, *asked)["experience"]["resin"]["value"] == pytest.approx(273)


def test_a_temperature_that_nothing_is_done_with_is_refused(
    capsys: pytest.CaptureFixture[str],
) -> None:
    status, out, err = run(capsys, *WEIGHED, "--temperature", "warm")
    assert (status, out) == (2, "")
    assert err == "--temperature is held against the shop's records: it needs --ledger FILE\n"
    status, out, err = run(capsys, *WEIGHED, "--by", "AB")
    assert (status, out, err) == (2, "", "--by is for the record: it needs --ledger FILE\n")


def test_a_mix_that_is_refused_is_not_recorded(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    book = tmp_path / "shop.ledger"
    more = ["--ledger", str(book), "--temperature", "70"]
    status, _, err = run(capsys, *WEIGHED, *more)
    assert status == 2
    assert '"70 degF" (21.11 degC) was probably meant' in err
    assert not book.exists()


@pytest.mark.parametrize(
    "words",
    [
        ["mix", *WEIGHED, "--part"],
        ["weigh", "--fabric", "182", "--part", "406", "--fibre", "basalt", "--resin", "acrylic",
         "--number"],
        ["check", str(SAMPLES / "basalt_02.jpg"), "--fibre", "basalt", "--part"],
    ],
    ids=lambda words: words[0],
)  # fmt: skip
def test_blanks_around_a_number_make_no_other_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as ended:
        app.main([*words, " 47  11 ", "--by", "AB ", "--ledger", "shop.ledger"])
    assert ended.value.code == 0
    with read_ledger(tmp_path / "shop.ledger") as ledger:
        (entry,) = ledger.find(Search(part="47 11", by="AB"), limit=None)
    assert entry.kind in (Kind.MIX, Kind.WEIGHING, Kind.INSPECTION)


def test_the_text_says_target_reach_losses_and_how_the_braid_lies(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A tube of the sleeve's own 100 mm at 45 degrees; 144 tows of 2 mm cover 88 % (closed form).

    320 g/m2 on 314.159 x 300 mm are 30.16 g, twice: 60.32 g at 2.67, which takes 1.18 (1 - f) / f.
    """
    layer = "diameter=100 areal=320 count=2 tows=144 tow=2"
    _, out, _ = run(capsys, *ACRYLIC, "--target", "0.3..0.5", "--fibre", "2.67", "--resin", "1.18",
                    "--length", "300", "--circumference", "314.159 314.159", "--layer", layer,
                    "--cup", "14", "--bag", "60", "--film", "5")  # fmt: skip
    least, mean, most = (60.319 / 2.67 * (1 - f) / f * 1.18 + 79 for f in (0.5, 0.4, 0.3))
    assert out.startswith("Mix, 1.18 g/cm3, fibre 40 % by volume")
    assert f"{mean:.0f} g   {least:.0f} to {most:.0f} g" in out
    assert out.count("      314 mm       1   45.0 deg     320 g/m2    88 %\n") == 2


def test_two_sleeves_are_numbered_from_1(capsys: pytest.CaptureFixture[str]) -> None:
    layers = ["--layer", "diameter=100 areal=300", "--layer", "diameter=110 areal=200"]
    _, out, _ = run(capsys, *SLEEVE, *layers, "--circumference", "314.159")
    rows = [line.split() for line in out.splitlines() if " deg " in line]
    assert [row[2] for row in rows] == ["1", "2"]


@pytest.mark.parametrize(
    ("resin", "vapours"),
    [("acrylic", {"methyl methacrylate", "dibenzoyl peroxide"}),
     ("polyester", {"styrene", "dibenzoyl peroxide"}), ("epoxy", set())],
)  # fmt: skip
def test_each_resin_has_the_limits_of_what_it_gives_off(
    capsys: pytest.CaptureFixture[str], resin: str, vapours: set[str]
) -> None:
    """Acrylic laminating resin is thinned by its monomer, polyester by styrene (common knowledge).

    NIOSH: styrene 50 ppm mean and 700 ppm at once dangerous; methyl methacrylate 100 and 1000 ppm.
    """
    limits = mixed(capsys, *WEIGHED, "--resin", resin)["limits"]
    assert {each["substance"] for each in limits} == vapours
    told = " ".join(f"{each['substance']} {each['limit']}" for each in limits)
    assert ("styrene 700 ppm at once" in told) == (resin == "polyester")
    assert ("methacrylate 1000 ppm at once" in told) == (resin == "acrylic")


@pytest.mark.parametrize("more", [[], ["--dry-fabric", "182", "--layup", "x.toml"]])
def test_the_fibre_is_given_in_exactly_one_way(
    capsys: pytest.CaptureFixture[str], more: list[str]
) -> None:
    status, out, err = run(capsys, *ACRYLIC, "--target", "0.35", "--fibre", "basalt", *more)
    assert (status, out) == (2, "")
    assert err.startswith("give the fibre in one way: --dry-fabric GRAMS")


def test_a_promoter_that_is_not_needed_is_no_line_for_the_scale(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for share, count in (("0", 0), ("0.5", 1)):
        _, out, _ = run(capsys, *WEIGHED, "--promoter", share)
        amounts = out.split("\nSums\n")[0].splitlines()
        assert sum(line.split()[:1] == ["promoter"] for line in amounts) == count
