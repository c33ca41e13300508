"""``satcheck lesson`` from the command line, on the drawn shop."""

from pathlib import Path

import pytest
from drawn_shop import DrawnShop
from lessons import rows_of, specimens_of

from satcheck.calibration.file import Calibration
from satcheck.cli import app
from satcheck.lesson import specimens as module


@pytest.fixture
def made(
    shop: DrawnShop, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> tuple[Path, list[str]]:
    """Return a folder and the arguments that make a lesson; the photos are measured once."""
    found = specimens_of(shop)
    monkeypatch.setattr(module, "read_specimens", lambda *_: found)
    monkeypatch.setattr("satcheck.calibration.file.read_calibration", lambda _: calibration(shop))
    return tmp_path, ["lesson", "--out", str(tmp_path), "--parts", str(shop.table),
                      "--calibration", "shop.toml"]  # fmt: skip


def calibration(shop: DrawnShop) -> Calibration:
    return shop.calibration


def run(arguments: list[str]) -> int:
    with pytest.raises(SystemExit) as end:
        app.main(arguments)
    return int(end.value.code or 0)


def test_a_lesson_is_a_page_and_a_chart(
    made: tuple[Path, list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    folder, arguments = made
    assert run(arguments) == 0
    assert sorted(path.name for path in folder.iterdir()) == ["chart.pdf", "lesson.html"]
    assert (folder / "chart.pdf").read_bytes().startswith(b"%PDF")
    assert "the shop&#39;s own" in (folder / "lesson.html").read_text(encoding="utf-8")
    assert "needs no network" in capsys.readouterr().out


@pytest.mark.parametrize("more", [[], ["--pick"]])
def test_photos_that_are_left_out_are_counted_with_the_reason(
    shop: DrawnShop,
    made: tuple[Path, list[str]],
    more: list[str],
    tmp_path_factory: pytest.TempPathFactory,
    capsys: pytest.CaptureFixture[str],
) -> None:
    arguments, folder = [*made[1], *more], tmp_path_factory.mktemp("parts")
    assert run(arguments) == 0
    assert "Left out" not in capsys.readouterr().out
    head, *rows = shop.table.read_text().splitlines()
    rows = [f"{shop.table.parent.resolve()}/{row}" for row in rows]
    fibres = {"1.png": "hemp", "2.png": "hemp", "flax.png": "flax", "wall.png": "basalt"}
    for name, fibre in fibres.items():
        (folder / name).touch()
        told = {"photo": name, "part": name, "fibre": fibre, "outcome": "accepted"}
        rows.append(",".join(told.get(column, "") for column in head.split(",")))
    (folder / "parts.csv").write_text("\n".join([head, *rows]) + "\n")
    arguments[arguments.index("--parts") + 1] = str(folder / "parts.csv")
    (made[0] / "picks.csv").unlink(missing_ok=True)
    assert run(arguments) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "Left out: 3 photos of flax, hemp: the calibration holds basalt" in lines
    assert "Left out: 1 photo in which no part was found: wall.png" in lines


@pytest.mark.parametrize("name", ["lesson.html", "chart.pdf"])
def test_a_page_and_a_chart_of_the_shops_own_stay(
    made: tuple[Path, list[str]], name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, arguments = made
    assert [run(arguments), run(arguments)] == [0, 0]
    (folder / name).write_text("mine")
    assert run(arguments) == 2
    assert f"{name}: this file is there already" in capsys.readouterr().err
    assert (folder / name).read_text() == "mine"


def test_a_trainer_proposes_edits_and_makes(made: tuple[Path, list[str]]) -> None:
    folder, arguments = made
    assert run([*arguments, "--pick"]) == 0
    picks = folder / "picks.csv"
    assert {row["why"] for row in rows_of(picks.read_text())} >= {"clearest", "misjudged"}
    lines = picks.read_text().splitlines()
    kept = [line + "Mind the gap." for line in lines[1:] if line.startswith("yes,see")]
    picks.write_text("\n".join([lines[0], *kept]) + "\n")
    assert run(arguments) == 0
    page = (folder / "lesson.html").read_text(encoding="utf-8")
    assert "Mind the gap." in page
    assert '"searches": []' in page


def test_a_trainers_table_is_never_written_over(
    made: tuple[Path, list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    folder, arguments = made
    (folder / "picks.csv").write_text("mine")
    assert run([*arguments, "--pick"]) == 2
    assert (folder / "picks.csv").read_text() == "mine"
    assert "is there already and stays" in capsys.readouterr().err


def test_a_damaged_table_of_picks_costs_one_line_and_writes_nothing(
    made: tuple[Path, list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    folder, arguments = made
    (folder / "picks.csv").write_text("use,part_of_lesson,photo,fibre\nyes,sing,0.png,basalt\n")
    assert run(arguments) == 2
    assert [path.name for path in folder.iterdir()] == ["picks.csv"]
    assert capsys.readouterr().err.count("\n") == 1


def test_own_photos_need_own_bounds(
    made: tuple[Path, list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(made[1][:-2]) == 2
    assert "--calibration FILE" in capsys.readouterr().err
