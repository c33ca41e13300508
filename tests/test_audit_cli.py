"""The command: its files, its exit statuses, what it refuses, and that a second call only reads."""

import json
import shutil
from pathlib import Path

import pytest
from calls import latest
from drawn_shop import DrawnShop
from ledgers import clock_from

from satcheck.calibration.file import write_calibration
from satcheck.cli.app import main
from satcheck.ledger.book import open_ledger, read_ledger
from satcheck.ledger.verifying import verify


def run(*words: str) -> int:
    with pytest.raises(SystemExit) as stopped:
        main(["audit", *latest(words)])
    return int(stopped.value.code or 0)


@pytest.fixture(scope="module")
def place(shop: DrawnShop, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a calibration, and photos of a starved and of a good part."""
    folder = tmp_path_factory.mktemp("cli")
    write_calibration(shop.calibration, folder / "shop.toml")
    for number, name in ((0, "bad/4711_anterior.png"), (1, "good/0815.png")):
        (folder / "photos" / name).parent.mkdir(parents=True)
        shutil.copy(shop.table.parent / f"{number}.png", folder / "photos" / name)
    return folder


def words(place: Path, *photos: str, out: str = "out") -> list[str]:
    paths = [str(place / "photos" / name) for name in photos or ("",)]
    files = {"--out": out, "--ledger": f"{out}.ledger", "--calibration": "shop.toml"}
    more = [word for key, name in files.items() for word in (key, str(place / name))]
    return [*paths, *more, "--processes", "2"]


@pytest.fixture(scope="module")
def first(place: Path) -> int:
    """Return the exit status of a first audit of all photos."""
    return run(*words(place))


def test_an_audit_writes_its_files_and_says_what_fails(place: Path, first: int) -> None:
    assert first == 1
    assert {path.name for path in (place / "out").iterdir()} == {
        *("audit.html", "audit.json", "parts.csv", "photos.csv", "pictures", "sheets"),
    }
    plain = json.loads((place / "out" / "audit.json").read_text(encoding="utf-8"))
    assert {part["part"]: part["outcome"] for part in plain["parts"]}["4711"] == "fail"
    assert len(list((place / "out" / "pictures").iterdir())) == 2


@pytest.mark.parametrize("name", ["parts.csv", "photos.csv", "audit.html", "audit.json"])
def test_a_file_of_the_shops_own_is_not_overwritten(
    place: Path, tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    own = tmp_path / name
    own.write_text("photo,part\na.jpg,4711\n")
    status = run(*words(place, out=str(tmp_path)), "--ledger", str(tmp_path / "a.ledger"))
    assert status == 2
    assert f"{name}: this file is there already and is no" in capsys.readouterr().err
    assert own.read_text() == "photo,part\na.jpg,4711\n"
    assert [file.name for file in tmp_path.iterdir()] == [name]


def test_a_second_audit_records_nothing_and_says_the_same(
    place: Path, first: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with read_ledger(place / "out.ledger") as ledger:
        head = ledger.head()
        assert verify(ledger).first is None
    monkeypatch.setattr("satcheck.processes._start", None)  # no process is needed
    assert run(*words(place)) == first
    assert "2 parts in 2 photos: " in capsys.readouterr().out
    with read_ledger(place / "out.ledger") as ledger:
        assert ledger.head() == head


def test_an_unreadable_photo_makes_the_status_2_and_the_rest_is_audited(
    place: Path, first: int, capsys: pytest.CaptureFixture[str]
) -> None:
    text = place / "photos" / "text.jpg"
    text.write_text("no photo")
    assert run(*words(place)) == 2
    text.unlink()
    out = capsys.readouterr().out
    assert "NOT READ (1):" in out
    assert "text.jpg: is named as a photo and holds none" in out
    assert "4711" in out


@pytest.mark.parametrize(
    ("more", "problem"),
    [
        (["--aql", "3"], "--aql 3: allowed are 0.01, 0.015"),
        (["--processes", "9" * 20], "is not in the range 1<=x<=256"),
        (["--fibre", "steel"], "--fibre steel: this calibration does not know it"),
        (["--table", "gone.csv"], "gone.csv, line 1: cannot be read"),
        (["--out", "shop.toml"], "this output folder cannot be written"),
        (["--cluster", "nonsense://x"], "--cluster nonsense://x: no scheduler answers"),
    ],
)
def test_wrong_usage_is_one_sentence(
    place: Path, more: list[str], problem: str, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.chdir(place)
    assert run(*words(place, out="new"), *more) == 2
    told = capsys.readouterr().err
    assert problem in told
    assert len(told.strip().splitlines()) == 1


def test_folders_without_photos_are_refused(
    place: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(str(tmp_path), "--calibration", str(place / "shop.toml")) == 2
    assert "there is no photo in there" in capsys.readouterr().err
    assert run(str(tmp_path / "gone"), "--calibration", str(place / "shop.toml")) == 2
    assert "no such folder" in capsys.readouterr().err


@pytest.mark.parametrize("harm", ["damaged", "newer", "locked"])
def test_a_ledger_that_cannot_be_used_is_one_sentence_and_stays_as_it_is(
    place: Path, tmp_path: Path, harm: str, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    path = tmp_path / "shop.ledger"
    holder = open_ledger(path, clock_from())
    if harm == "newer":
        holder.read("PRAGMA user_version = 99")
    if harm != "locked":
        holder.close()
    if harm == "damaged":
        path.write_bytes(b"SQLite format 3\0" + b"x" * 5000)
    before = path.read_bytes()
    command = [*words(place, out="other"), "--ledger", str(path), "--processes", "1"]
    if harm == "locked":
        monkeypatch.setattr("satcheck.ledger.opening.PATIENCE", 0.1)
        monkeypatch.setattr("satcheck.ledger.book.PATIENCE", 0.1)
        monkeypatch.setattr("satcheck.ledger.book.open_ledger.__kwdefaults__",
                            {"create": True, "patience": 0.1})  # fmt: skip
        with holder.writing():
            assert run(*command) == 2
    else:
        assert run(*command) == 2
    told = capsys.readouterr().err
    assert len(told.strip().splitlines()) == 1
    assert "shop.ledger" in told
    assert path.read_bytes() == before


def test_ctrl_c_is_one_sentence_and_says_how_to_go_on(
    place: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("satcheck.audit.running.judged_entry", stopped)
    assert run(*words(place, out="stopped")) == 130
    assert "the same command goes on" in capsys.readouterr().err
