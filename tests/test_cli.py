"""The command line, with a judge of our own in the place of the measurement."""

import json
import os
import pkgutil
import runpy
import subprocess
import sys
import tomllib
from collections.abc import Callable
from functools import partial
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
import pypdfium2
import pytest
from PIL import Image
from records import inspection_of

from satcheck import __version__
from satcheck.cli import app as cli
from satcheck.cli import common, demo
from satcheck.errors import CalibrationError, PhotoError, TableError
from satcheck.model import Inspection, Label

Run = Callable[..., tuple[int, str, str]]

VERDICTS: dict[str, Inspection] = {
    "good": inspection_of(),
    "starved": inspection_of(Label.STARVED, {"lock": Label.STARVED}),
    "none": inspection_of(Label.NOT_JUDGED, zones=(), cells=None, evenness=None),
}


def judge(photo: Any, calibration: Any, settings: SimpleNamespace) -> Inspection:
    """Judge a photo by its name; keep the settings for the test to see."""
    SEEN.append(settings)
    if photo.name.startswith("crash"):
        raise ZeroDivisionError("division by zero")
    return VERDICTS[photo.name.split(".")[0].split("_")[0]]


SEEN: list[SimpleNamespace] = []


def read(path: Path) -> SimpleNamespace:
    if not path.is_file():
        raise PhotoError(path.name, "there is no such file", "a photo is allowed")
    return SimpleNamespace(name=path.name, rgb=np.full((800, 600, 3), 99, np.uint8))


def load(path: Path) -> SimpleNamespace:
    if path.name == "bad.toml":
        raise CalibrationError(path.name, "the schema is 9", "at most 1 is allowed")
    fibres = {"basalt": None} if path.name == "one.toml" else {"basalt": None, "glass": None}
    return SimpleNamespace(fibres=fibres, id="c0ffee12")


def study_table(
    table: Path, on_progress: Callable[[int, int, str], None], is_demo: bool, **_: Any
) -> SimpleNamespace:
    SEEN.append(SimpleNamespace(is_demo=is_demo))
    if table.name == "bad.csv":
        raise TableError(table.name, 7, "the state is 'soggy'", "starved, lean, ... are allowed")
    on_progress(1, 1, "x.jpg")
    fibre = SimpleNamespace(promise=None, sentence="Provisional.", evidence=())
    made = SimpleNamespace(fibres={"basalt": fibre}, id="c0ffee12", is_demo=is_demo)
    return SimpleNamespace(calibration=made, findings=("x.jpg: labelled twice",))


def write_calibration(calibration: SimpleNamespace, path: Path) -> None:
    path.write_text(calibration.id)


def settings(**given: Any) -> SimpleNamespace:
    return SimpleNamespace(**given)


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """Return a call of the command line in an empty folder: status, stdout, stderr."""
    doubles: dict[str, dict[str, Any]] = {
        "photo.read": {"read_photo": read},
        "inspection": {"inspect": judge, "Settings": settings},
        "calibration.labelled": {"study_table": study_table},
        "calibration.labelled_pages": {
            "calibration_page": lambda _: "<p>evidence</p>",
            "review_page": lambda _: "<p>review</p>",
        },
        "calibration.file": {
            "read_calibration": load,
            "write_calibration": write_calibration,
            "default_calibration_path": lambda: Path("demo.toml"),
        },
    }
    for name, content in doubles.items():
        module = ModuleType(f"satcheck.{name}")
        vars(module).update(content)
        monkeypatch.setitem(sys.modules, f"satcheck.{name}", module)
    monkeypatch.chdir(tmp_path)
    SEEN.clear()
    for name in (*VERDICTS, "crash"):
        Path(f"{name}.jpg").write_bytes(b"\xff\xd8\xff")

    def call(*arguments: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as end:
            cli.main(arguments)
        printed = capsys.readouterr()
        return int(end.value.code or 0), printed.out, printed.err

    return call


def check(run: Run, *arguments: str) -> tuple[int, str, str]:
    return run("check", *arguments, "--fibre", "basalt", "--out", "out")


@pytest.mark.parametrize(
    ("photos", "status"),
    [
        ("good", 0),
        ("starved", 1),
        ("missing", 2),
        ("none", 3),
        ("good none", 3),
        ("none starved good", 1),
        ("starved missing none", 2),
        ("crash good", 2),
    ],
)
def test_the_exit_status_is_the_worst_in_the_order_2_1_3_0(
    run: Run, photos: str, status: int
) -> None:
    assert check(run, *(f"{name}.jpg" for name in photos.split()))[0] == status


def test_three_files_a_photo_are_written(run: Run) -> None:
    check(run, "good.jpg", "none.jpg")
    assert sorted(path.name for path in Path("out").iterdir()) == [
        f"{stem}{suffix}"
        for stem in ("good", "none")
        for suffix in (".json", ".labels.png", ".overlay.jpg")
    ]
    assert json.loads(Path("out/good.json").read_text())["verdict"] == "good"
    with Image.open("out/good.labels.png") as picture:
        assert picture.mode == "L"


def test_every_photo_is_tried_and_each_error_is_one_line(run: Run) -> None:
    status, out, err = check(run, "missing.jpg", "crash.jpg", "good.jpg")
    assert status == 2
    assert "GOOD" in out
    first, second = err.splitlines()
    assert first == "missing.jpg: there is no such file; a photo is allowed"
    assert second.startswith("crash.jpg: an unforeseen error (ZeroDivisionError")


def test_the_cause_of_an_unforeseen_error_can_be_seen(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(common.TRACEBACK, "1")
    with pytest.raises(ZeroDivisionError):
        cli.main(["check", "crash.jpg", "--fibre", "basalt"])


def test_json_is_one_record_or_a_list_with_errors_in_it(run: Run) -> None:
    one = json.loads(check(run, "starved.jpg", "--json")[1])
    assert one["verdict"] == "starved"
    assert "cells" not in one
    several = json.loads(check(run, "good.jpg", "missing.jpg", "--json")[1])
    assert several[0]["schema"] == "satcheck.inspection/1"
    assert several[1] == {
        "photo": "missing.jpg",
        "error": "missing.jpg: there is no such file; a photo is allowed",
    }


def test_equal_stems_do_not_overwrite_each_other(run: Run) -> None:
    Path("other").mkdir()
    Path("other/good.jpg").write_bytes(b"\xff\xd8\xff")
    check(run, "good.jpg", "other/good.jpg")
    assert Path("out/good.json").is_file()
    assert Path("out/good-2.json").is_file()


def test_overlays_of_an_earlier_call_are_left_out(run: Run) -> None:
    assert run("check", "good.jpg", "--fibre", "glass")[0] == 0
    status, _, err = run("check", "good.jpg", "good.overlay.jpg", "--fibre", "glass")
    assert status == 0
    assert err == "good.overlay.jpg: left out, since it is an overlay that satcheck drew\n"
    assert run("check", "good.overlay.jpg", "--fibre", "glass")[0] == 2


def test_a_foreign_json_of_the_same_name_is_kept(run: Run) -> None:
    Path("out").mkdir()
    Path("out/good.json").write_text("{}")
    status, _, err = check(run, "good.jpg")
    assert (status, Path("out/good.json").read_text()) == (2, "{}")
    assert "no inspection" in err


def test_a_label_map_that_a_person_painted_is_kept(run: Run) -> None:
    assert check(run, "good.jpg")[0] == check(run, "good.jpg")[0] == 0
    painted, own = Path("out/good.labels.png"), Path("out/good.json").read_bytes()
    Image.fromarray(np.full((20, 20), 3, np.uint8)).save(painted)
    before = painted.read_bytes()
    status, _, err = check(run, "good.jpg")
    assert (status, painted.read_bytes(), Path("out/good.json").read_bytes()) == (2, before, own)
    assert "good.labels.png: this file is there already and is no label map of satcheck" in err


def test_a_label_map_of_an_earlier_version_is_replaced_where_the_record_holds_it(run: Run) -> None:
    assert check(run, "good.jpg")[0] == 0
    labels = Path("out/good.labels.png")
    now = labels.read_bytes()
    Image.fromarray(np.asarray(Image.open(labels))).save(labels)  # without a word of what it is
    assert labels.read_bytes() != now
    assert check(run, "good.jpg")[0] == 0
    assert labels.read_bytes() == now
    Image.fromarray(np.asarray(Image.open(labels))).save(labels)
    Path("out/good.json").unlink()
    assert check(run, "good.jpg")[0] == 2


def test_the_fibre_may_be_left_out_where_there_is_one(run: Run) -> None:
    assert run("check", "good.jpg", "--calibration", "one.toml")[0] == 0
    assert SEEN[-1].fibre == "basalt"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ("", "basalt, glass"),
        ("--fibre hemp", "basalt, glass"),
        ("--fibre basalt --out good.jpg", "good.jpg: this output folder cannot be written"),
        ("--fibre basalt --calibration bad.toml", "bad.toml: the schema is 9"),
        ("--fibre basalt --box 1,2,3", "X0,Y0,X1,Y1"),
        ("--fibre basalt --pitch 0", "--pitch 0"),
        ("--fibre basalt --card-scale 0.97", "90 to 110 mm"),
        ("--fibre basalt --card-scale 141", "--card-scale 141"),
        ("--fibre basalt --card-scale nan", "90 to 110 mm"),
        ("--fibre basalt --outline 1,2", "three and more points"),
        ("--box 1,2,30,40 --outline 1,2", "--box and --outline: each says where the part is"),
        ("--fibre basalt --distal sideways", "'up', 'down', 'left', 'right'"),
        ("--nonsense", "--nonsense"),
    ],
)
def test_a_wrong_call_is_one_line_before_any_work(run: Run, arguments: str, words: str) -> None:
    status, out, err = run("check", "good.jpg", *arguments.split())
    assert (status, out, SEEN) == (2, "", [])
    assert words in err
    assert len(err.splitlines()) == 1


@pytest.mark.parametrize(
    "call",
    [
        "check good.jpg --fibre basalt --outline deep.json",
        "drift deep.json",
        "weigh --fabric 182 --mixed 300 --cup 14 --bag 62 --fibre basalt --resin acrylic "
        "--target 25%..30% --inspection deep.json",
    ],
)
def test_json_that_is_nested_without_end_is_one_line(run: Run, call: str) -> None:
    Path("deep.json").write_text("[" * 100_000)
    status, out, err = run(*call.split())
    assert (status, out, len(err.splitlines())) == (2, "", 1)
    assert "deep.json: " in err
    assert "allowed" in err
    assert "unforeseen" not in err


def test_the_settings_arrive(run: Run) -> None:
    given = "--distal up --view anterior --pitch 21.5 --mm-per-px 0.1 --box 1,2,30,40 --part 47"
    check(run, "good.jpg", *given.split())
    seen = SEEN[-1]
    assert (seen.distal, seen.view, seen.pitch, seen.mm_per_px) == ("up", "anterior", 21.5, 0.1)
    assert (seen.box, seen.part) == ((1, 2, 30, 40), "47")
    assert seen.card_ruler == 100


def test_a_drawn_outline_arrives(run: Run) -> None:
    check(run, "good.jpg", "--outline", "1,2 3,4 5,6")
    assert SEEN[-1].outline.tolist() == [[1, 2], [3, 4], [5, 6]]


def test_the_length_of_the_cards_ruler_arrives(run: Run) -> None:
    assert check(run, "good.jpg", "--card-scale", "97")[0] == 0
    assert SEEN[-1].card_ruler == 97


def test_calibrate_writes_the_files_and_says_what_a_person_must_see(run: Run) -> None:
    status, out, _ = run(
        "calibrate", "parts.csv", "--out", "shop/new.toml", "--review", "shop/look.html"
    )
    assert (status, Path("shop/new.toml").read_text()) == (0, "c0ffee12")
    assert Path("shop/new.html").read_text() == "<p>evidence</p>"
    assert Path("shop/look.html").read_text() == "<p>review</p>"
    assert out.splitlines()[:3] == [
        "shop/new.toml: calibration c0ffee12 for basalt",
        "basalt: Provisional.",
        "Look at: x.jpg: labelled twice",
    ]
    assert out.rstrip().splitlines()[-1] == "shop/look.html: the labels to look at again"


@pytest.mark.parametrize("other", ["new.toml", "parts.csv", "."])
def test_calibrate_writes_over_nothing_that_it_reads_or_writes(run: Run, other: str) -> None:
    status, _, err = run("calibrate", "parts.csv", "--out", "new.toml", "--page", other)
    assert status == 2
    assert err.startswith(f"{other}: this ")
    assert not Path("new.toml").exists()


@pytest.mark.parametrize("option", ["--out", "--page", "--review"])
@pytest.mark.parametrize("there", [b"\xff\xd8\xff", b"SQLite format 3\0", b"buy resin"])
def test_calibrate_refuses_anothers_file_before_it_measures(
    run: Run, option: str, there: bytes
) -> None:
    Path("mine").write_bytes(there)
    given = {"--out": "new.toml"} | {option: "mine"}
    status, out, err = run(
        "calibrate", "parts.csv", *(word for pair in given.items() for word in pair)
    )
    assert (status, out, SEEN, Path("mine").read_bytes()) == (2, "", [], there)
    assert err.startswith("mine: this file is there already and is no ")


@pytest.mark.parametrize("out", ["", ".", "/"])
def test_calibrate_refuses_a_folder_for_its_file(run: Run, out: str) -> None:
    status, _, err = run("calibrate", "parts.csv", "--out", out)
    assert (status, SEEN) == (2, [])
    assert err == f"{out or '.'}: this is a folder; the name of a file to write is allowed\n"


@pytest.mark.parametrize("option", [(), ("--invented",)])
def test_invented_parts_are_owned_up_to(run: Run, option: tuple[str, ...]) -> None:
    assert run("calibrate", "parts.csv", "--out", "new.toml", *option)[0] == 0
    assert [seen.is_demo for seen in SEEN] == [bool(option)]


@pytest.mark.parametrize(
    ("options", "points"), [((), (420, 298)), (("--size", "A4"), (595, 842))], ids=["A6", "A4"]
)
def test_the_card_is_written_in_the_wanted_size(
    run: Run, options: tuple[str, ...], points: tuple[int, int]
) -> None:
    """ISO 216 in points of 1/72 inch: A6 lying, 148 by 105 mm; A4 standing, 210 by 297 mm."""
    status, out, _ = run("card", "--out", "new/card.pdf", "--part", "4711", *options)
    assert (status, out) == (0, "new/card.pdf: print at 100 % and check the ruler on it\n")
    with pypdfium2.PdfDocument("new/card.pdf") as pdf:
        assert pdf[0].get_size() == pytest.approx(points, abs=1)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ("--out .", "the name of a file to write"),
        ("--out c.pdf --size A5", "'A6', 'A4'"),
        ("--out c.pdf --part " + 25 * "9", "24"),
        ("", "--out"),
    ],
)
def test_a_card_that_cannot_be_written_is_one_line(run: Run, options: str, words: str) -> None:
    status, out, err = run("card", *options.split())
    assert (status, out, len(err.splitlines())) == (2, "", 1)
    assert words in err
    assert not Path("c.pdf").exists()


@pytest.mark.parametrize("there", ["buy resin", "photo,part\na.jpg,47\n", "%PDF-1.4 an invoice"])
def test_a_card_takes_the_place_of_an_older_one_alone(run: Run, there: str) -> None:
    Path("notes.txt").write_text(there)
    status, out, err = run("card", "--out", "notes.txt")
    assert (status, out, Path("notes.txt").read_text()) == (2, "", there)
    assert err.startswith("notes.txt: this file is there already and is no PDF of satcheck")
    assert [run("card", "--out", "c.pdf", *more)[0] for more in ((), ("--size", "A4"))] == [0, 0]


def test_a_bad_row_is_named_with_its_line_and_nothing_is_written(run: Run) -> None:
    status, _, err = run("calibrate", "bad.csv", "--out", "new.toml")
    assert status == 2
    assert err.startswith("bad.csv, line 7: the state is 'soggy'")
    assert not Path("new.toml").exists()


def test_the_demo_judges_its_check_photos_and_says_that_it_is_one(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = Path("sample_images").absolute()
    folder.mkdir()
    scenes: list[dict[str, Any]] = [
        {"photo": "good_1.jpg", "role": "calibration", "fibre": "glass", "distal": "up"},
        {"photo": "starved_1.jpg", "role": "check", "fibre": "glass", "distal": "up"},
        {"photo": "none_1.jpg", "role": "check", "fibre": None, "distal": None},
    ]
    for scene in scenes:
        (folder / scene["photo"]).write_bytes(b"\xff\xd8\xff")
    (folder / "scenes.json").write_text(json.dumps(scenes))
    monkeypatch.setattr(demo, "find_demo", lambda _: folder)
    status, out, _ = run("demo")
    assert status == 0
    assert [(seen.fibre, seen.distal) for seen in SEEN] == [("glass", "up"), ("basalt", None)]
    assert " ".join(out.split()).endswith(demo.DEMO_CLOSING)
    assert len(list(folder.iterdir())) == 4
    assert run("demo", "--out", "out")[0] == 0
    assert Path("out/starved_1.overlay.jpg").is_file()


def test_a_demo_without_its_photos_is_one_line(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo, "__file__", str(Path("elsewhere/satcheck/cli/demo.py").absolute()))
    status, _, err = run("demo")
    assert status == 2
    assert "the repository's own folder" in err


@pytest.mark.parametrize("arguments", [("version",), ("--version",)])
def test_the_version_is_printed(run: Run, arguments: tuple[str, ...]) -> None:
    assert run(*arguments)[:2] == (0, f"satcheck {__version__}\n")


def test_a_reader_who_goes_away_changes_no_status(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(*_: Any, **__: Any) -> None:
        raise BrokenPipeError

    monkeypatch.setattr("builtins.print", gone)
    stdout = sys.stdout
    status = check(run, "starved.jpg")[0]
    sys.stdout.close()
    monkeypatch.setattr(sys, "stdout", stdout)
    assert status == 1


def test_the_module_runs_as_a_program() -> None:
    command = [sys.executable, "-m", "satcheck", "check", "no.jpg", "--distal", "sideways"]
    root = str(Path(cli.__file__).parents[2])
    environment = {**os.environ, "PYTHONPATH": root}
    ended = subprocess.run(command, capture_output=True, text=True, env=environment, check=False)
    assert ended.returncode == 2
    assert len(ended.stderr.splitlines()) == 1


class Interrupted:
    """What Ctrl+C is that comes while the command line is still being imported."""

    def find_spec(self, name: str, *_: Any) -> None:
        """Let every other module through."""
        if name == "satcheck.cli.app":
            raise KeyboardInterrupt


def entry() -> None:
    """Start what the installed ``satcheck`` starts."""
    project = Path(__file__).parents[1] / "pyproject.toml"
    script = tomllib.loads(project.read_text(encoding="utf-8"))["project"]["scripts"]["satcheck"]
    pkgutil.resolve_name(script)()


@pytest.mark.parametrize("start", [entry, partial(runpy.run_module, "satcheck", None, "__main__")])
def test_ctrl_c_while_python_still_imports_is_quiet(
    start: Callable[[], object],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    for name in ("satcheck.cli.app", "satcheck.__main__"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    monkeypatch.setattr(sys, "meta_path", [Interrupted(), *sys.meta_path])
    with pytest.raises(SystemExit) as ended:
        start()
    assert (ended.value.code, *capsys.readouterr()) == (130, "", "")


@pytest.mark.parametrize("group", [[], ["ledger"], ["study"]])
def test_no_commands_job_is_cut_short_in_the_help(
    run: Run, group: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a terminal of 80 columns; of 60 it would be, which is the control."""
    monkeypatch.setenv("COLUMNS", "80")
    assert "..." not in run(*group, "--help")[1].split("Commands:")[1]
    monkeypatch.setenv("COLUMNS", "60")
    assert "..." in run(*group, "--help")[1].split("Commands:")[1]
