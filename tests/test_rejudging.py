"""Stored inspections judged again: the same bounds change nothing, other bounds only the words."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from grids import fibre_bounds

from satcheck.calibration.file import (
    Calibration,
    default_calibration_path,
    make_calibration,
    read_calibration,
    write_calibration,
)
from satcheck.cli.app import main
from satcheck.errors import UsageError
from satcheck.inspection import Settings, inspect
from satcheck.model import Inspection, Label
from satcheck.photo.read import read_photo
from satcheck.record import inspection_from_json, inspection_to_json
from satcheck.rejudging import (
    Difference,
    difference_table,
    differences,
    redrawn,
    rejudge,
    repeated,
)

PHOTO = Path(__file__).parents[1] / "sample_images" / "basalt_11.jpg"


@pytest.fixture(scope="module")
def bounds() -> Calibration:
    path = default_calibration_path()
    assert path is not None
    return read_calibration(path)


@pytest.fixture(scope="module")
def stored(bounds: Calibration) -> Inspection:
    """Return an inspection as it comes back from its record."""
    made = inspect(read_photo(PHOTO), bounds, Settings(fibre="basalt", distal="down"))
    return inspection_from_json(json.loads(json.dumps(inspection_to_json(made))), "basalt_11.json")


@pytest.fixture(scope="module")
def dull(bounds: Calibration) -> Calibration:
    """Return bounds under which nothing is starved."""
    basalt = replace(bounds.fibres["basalt"], bounds=(-1.0, -0.999, 0.5, 0.7))
    return make_calibration({"basalt": basalt}, "2026-01-05T08:00:00Z", "0", True, ("0" * 64,))


def test_the_same_bounds_change_nothing(stored: Inspection, bounds: Calibration) -> None:
    again = rejudge(stored, bounds)
    assert differences(stored, again) == ()
    assert again.zones == stored.zones


def test_other_bounds_change_what_they_part(
    stored: Inspection, bounds: Calibration, dull: Calibration
) -> None:
    """A control: the part is starved under the demo's bounds."""
    again = rejudge(stored, dull)
    assert stored.verdict is Label.STARVED
    assert again.verdict is not Label.STARVED
    assert differences(stored, again)[0] == Difference(
        "basalt_11.jpg", "part", Label.STARVED, again.verdict, stored.photo.sha256
    )
    assert again.calibration.id == dull.id != bounds.id
    assert "verdicts of 1 photo differ" in difference_table(differences(stored, again), 1)


def test_an_unknown_fibre_and_a_record_without_cells_are_refused(
    stored: Inspection, bounds: Calibration
) -> None:
    without = make_calibration({"flax": fibre_bounds(fibre="flax")}, "", "0", True, ("0" * 64,))
    with pytest.raises(UsageError, match=r"basalt_11\.jpg: fibre 'basalt' .* holds flax"):
        rejudge(stored, without)
    with pytest.raises(UsageError, match="keeps no measurements"):
        rejudge(replace(stored, cells=None), bounds)


def test_a_record_of_another_measure_is_not_judged_again(
    stored: Inspection, bounds: Calibration
) -> None:
    """A record that says none is of the first: its cues are not those that bounds are of now."""
    record = json.loads(json.dumps(inspection_to_json(stored)))
    assert rejudge(inspection_from_json(record), bounds).zones == stored.zones
    del record["cells"]["measure"]
    with pytest.raises(UsageError, match=r"measured another way \(measure 1"):
        rejudge(inspection_from_json(record), bounds)


@pytest.mark.parametrize("cue", ["light", "coherence", "order", "medium", "calm_medium"])
def test_a_record_without_a_cue_that_the_bounds_need_is_not_judged_again(
    stored: Inspection, bounds: Calibration, cue: str
) -> None:
    record = json.loads(json.dumps(inspection_to_json(stored)))
    del record["cells"]["cues"][cue]
    with pytest.raises(UsageError, match=rf"basalt_11\.jpg: the record lacks the cue '{cue}'"):
        rejudge(inspection_from_json(record), bounds)


def test_a_label_map_is_drawn_within_the_old_outline() -> None:
    """Two cells of three pixels; the last column of the outline is beyond them."""
    old = np.array([[0, 3, 3, 3, 3, 3, 3, 3]], np.uint8)
    to_map = np.array([[3.0, 0, 1.0], [0, 1.0, 0]])
    found = redrawn(np.array([[1, 5]], np.uint8), to_map, old)
    assert found.tolist() == [[0, 1, 1, 1, 5, 5, 5, 9]]


@pytest.fixture
def text(
    stored: Inspection, dull: Calibration, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> str:
    """Return a record that lies in the present folder, beside other bounds."""
    monkeypatch.chdir(tmp_path)
    record = json.dumps(inspection_to_json(stored))
    Path("basalt_11.json").write_text(record)
    write_calibration(dull, Path("dull.toml"))
    return record


def test_the_command_leaves_the_old_record_and_says_what_differs(
    text: str, dull: Calibration, capsys: pytest.CaptureFixture[str]
) -> None:
    call = ["rejudge", "basalt_11.json", "--calibration", "dull.toml", "--out"]
    with pytest.raises(SystemExit):
        main([*call, "new"])
    assert "starved" in capsys.readouterr().out
    assert json.loads(Path("new/basalt_11.json").read_text())["calibration"]["id"] == dull.id
    with pytest.raises(SystemExit) as stop:
        main([*call, "."])
    assert stop.value.code == 2
    assert "the old record stays" in capsys.readouterr().err
    assert Path("basalt_11.json").read_text() == text


def test_a_record_that_is_nested_without_end_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    deep = tmp_path / "deep.json"
    deep.write_text("[" * 100_000)
    with pytest.raises(SystemExit) as end:
        main(["rejudge", str(deep), "--calibration", str(default_calibration_path())])
    said = capsys.readouterr()
    assert (end.value.code, said.out, len(said.err.splitlines())) == (2, "", 1)
    assert "deep.json: is no JSON; the STEM.json of satcheck check is allowed" in said.err


def test_two_photos_of_one_name_are_told_apart_and_counted_as_two() -> None:
    """Phones give many photos one name; the control is one photo with two changed zones."""
    one = Difference("IMG_1.jpg", "brim", Label.LEAN, Label.GOOD, "a" * 64)
    other = replace(one, sha256="b" * 64)
    told = difference_table([one, other], 2)
    assert "IMG_1.jpg aaaaaaaa" in told
    assert "IMG_1.jpg bbbbbbbb" in told
    assert "2 verdicts of 2 photos differ" in told
    told = difference_table([one, replace(one, zone="lock")], 1)
    assert "aaaaaaaa" not in told
    assert "2 verdicts of 1 photo differ" in told
    told = difference_table([one], 1)
    assert told.endswith("1 inspection judged again: 1 verdict of 1 photo differs.")
    long = replace(one, photo=f"{'x' * 40}1.jpg")
    told = difference_table([long, replace(other, photo=f"{'x' * 40}2.jpg")], 2)
    assert max(map(len, told.splitlines())) <= 80
    assert "x aaaaaaaa " in told


@pytest.mark.usefixtures("text")
def test_the_record_of_another_photo_stays_and_one_named_twice_is_judged_once(
    stored: Inspection, capsys: pytest.CaptureFixture[str]
) -> None:
    other = replace(stored, photo=replace(stored.photo, sha256="b" * 64))
    kept = json.dumps(inspection_to_json(other))
    Path("march").mkdir()
    Path("march/basalt_11.json").write_text(kept)
    call = ["rejudge", "basalt_11.json", "./basalt_11.json", "--calibration", "dull.toml", "--out"]
    for folder, status, says in (("march", 2, "another photo"), ("new", 0, ""), ("new", 0, "")):
        with pytest.raises(SystemExit) as stop:
            main([*call, folder])
        said = capsys.readouterr()
        assert says in said.err
        assert (stop.value.code == 2) == (status == 2)
        assert ("1 inspection judged" in said.out) == (status == 0)
    assert Path("march/basalt_11.json").read_text() == kept


class Compared(str):
    """A name that counts how often it is held against another."""

    __slots__ = ()
    times = 0
    __hash__ = str.__hash__

    def __eq__(self, other: object) -> bool:
        Compared.times += 1
        return str(self) == str(other)

    def __getitem__(self, key: object) -> "Compared":
        return self


def test_names_that_two_records_share_are_found_without_holding_each_against_each() -> None:
    """Of 20,000 records each held against each took 20 s, before the first was judged again."""
    found = [
        Difference(Compared(f"IMG_{k:04}.jpg"), "part", Label.GOOD, Label.LEAN, f"{k:064x}")
        for k in range(1000)
    ]
    assert "1000 photos differ" in difference_table(found, 1000)
    assert Compared.times <= 2 * len(found)
    assert repeated(["a", "b", "a"]) == {"a"}
