"""One picture that stands in a table twice: what each of its files says is kept, or refused."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from satcheck.calibration.file import default_calibration_path, read_calibration
from satcheck.calibration.label_findings import refuse_known, same_photos
from satcheck.calibration.parts_table import LabelledPhoto
from satcheck.errors import TableError
from satcheck.model import Label

TABLE = Path("parts.csv")


def twice(folder: Path, first: dict[str, Any], again: dict[str, Any]) -> LabelledPhoto:
    """Return what is kept of one picture in two files, by what each row says."""
    plain = LabelledPhoto(folder / "a.png", "P", "basalt", False, None, {}, None, 2)
    photos = [replace(plain, **first), replace(plain, path=folder / "copy.png", line=3, **again)]
    (kept,), findings = same_photos(TABLE, photos, {photo.path: "ab" for photo in photos})
    assert findings == ("copy.png is the same picture as a.png: counted once.",)
    return kept


def refusal(folder: Path, first: dict[str, Any], again: dict[str, Any]) -> str:
    with pytest.raises(TableError) as refused:
        twice(folder, first, again)
    return str(refused.value)


@pytest.mark.parametrize("is_first", [True, False])
def test_what_either_file_says_is_kept(tmp_path: Path, is_first: bool) -> None:
    said = {"zones": {"lock": Label.GOOD}, "marks": tmp_path / "marks.png", "distal": "up"}
    other: dict[str, Any] = {"zones": {"brim": Label.STARVED}}
    kept = twice(tmp_path, *((said, other) if is_first else (other, said)))
    assert kept.zones == {"lock": Label.GOOD, "brim": Label.STARVED}
    assert (kept.marks, kept.distal) == (tmp_path / "marks.png", "up")
    assert (kept.path.name, kept.line) == ("a.png", 2)


@pytest.mark.parametrize(
    ("word", "first", "again"),
    [
        ("part", {}, {"part": "Q"}),
        ("fibre", {}, {"fibre": "glass"}),
        ("outcome", {}, {"is_accepted": True}),
        ("distal", {"distal": "up"}, {"distal": "down"}),
    ],
)
def test_two_files_of_one_picture_that_differ_are_refused(
    tmp_path: Path, word: str, first: dict[str, Any], again: dict[str, Any]
) -> None:
    assert refusal(tmp_path, first, again) == (
        "parts.csv, line 3: copy.png is the same picture as a.png (line 2), "
        f"but differs in {word}; give both the same {word}"
    )


def test_marks_of_one_picture_are_compared_by_what_is_in_them(tmp_path: Path) -> None:
    """A picture that was copied with its marks beside it says nothing else."""
    files = [tmp_path / f"{k}.png" for k in range(3)]
    for file, content in zip(files, (b"painted", b"painted", b"otherwise"), strict=True):
        file.write_bytes(content)
    assert twice(tmp_path, {"marks": files[0]}, {"marks": files[1]}).marks == files[0]
    message = refusal(tmp_path, {"marks": files[0]}, {"marks": files[2]})
    assert "line 3: copy.png" in message
    assert "but differs in marks; give both the same marks" in message


def test_a_zone_has_one_state_in_both_files(tmp_path: Path) -> None:
    states = [{"zones": {"lock": state}} for state in (Label.GOOD, Label.STARVED)]
    assert "its lock zone is starved and not good" in refusal(tmp_path, *states)


@pytest.mark.parametrize(
    ("part", "fibre", "words"),
    [
        ("QM-1100", "basalt", "part QM-1100 is in the parent already"),
        ("qm-1100", "basalt", "part qm-1100 is in the parent already"),
        ("new", "Basalt", "fibre 'Basalt' stands in the parent as 'basalt'; write it one way"),
        ("new", "basalt", ""),
        ("new", "flax", ""),
    ],
)
def test_what_a_parent_holds_is_known_however_it_is_spelled(
    part: str, fibre: str, words: str
) -> None:
    path = default_calibration_path()
    assert path is not None
    photo = LabelledPhoto(Path("a.png"), part, fibre, False, None, {}, None, 2)
    try:
        refuse_known(TABLE, [photo], {photo.path: "ab"}, read_calibration(path))
        said = ""
    except TableError as error:
        said = str(error)
    assert words in said
    assert bool(words) == bool(said)
