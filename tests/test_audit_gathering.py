"""What lies in a shop's folders: photos by part, doubles, links, names in any script."""

import errno
import os
import unicodedata
from pathlib import Path
from typing import Any

import pytest

from satcheck.audit.gathering import gather, read_told
from satcheck.errors import TableError, UsageError

JPEG = b"\xff\xd8 not much of a photo "


def put(path: Path, more: str = "") -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(JPEG + (more or str(path)).encode())
    return path


@pytest.mark.parametrize(
    ("name", "part", "source", "view"),
    [
        ("4711_anterior.jpg", "4711", "file name", "anterior"),
        ("4711 lateral 2.heic", "4711", "file name", "lateral"),
        ("QM-1100-Medial(3).png", "QM-1100", "file name", "medial"),
        ("4711/IMG_0012.jpg", "4711", "sub-folder", None),
        ("4711/posterior.jpg", "4711", "sub-folder", "posterior"),
        ("week 1/4712_anterior.jpg", "4712", "file name", "anterior"),
        ("漢字 42/写真.jpg", "漢字 42", "sub-folder", None),
        ("IMG_0012.jpg", "IMG_0012", "photo alone", None),
        ("anteriority.jpg", "anteriority", "photo alone", None),
    ],
)
def test_the_part_is_named_by_the_file_then_by_its_folder(
    tmp_path: Path, name: str, part: str, source: str, view: str | None
) -> None:
    put(tmp_path / name)
    (found,) = gather([tmp_path]).photos
    assert (found.fallback, found.fallback_from, found.told.view) == (part, source, view)


def test_a_name_reads_alike_however_its_accents_were_written(tmp_path: Path) -> None:
    for form in ("NFC", "NFD"):
        name = unicodedata.normalize(form, "Müller-7")
        put(tmp_path / form / f"{name}_anterior.jpg")
        put(tmp_path / form / f"{name}.jpg")
        put(tmp_path / form / name / "1.jpg")
    for found in gather([tmp_path / "NFC", tmp_path / "NFD"]).photos:
        assert found.fallback == unicodedata.normalize("NFC", "Müller-7")


def test_a_photo_that_is_named_by_itself_is_of_no_folder(tmp_path: Path) -> None:
    """Its folder was not asked for: other photos in it may be of other parts."""
    (found,) = gather([put(tmp_path / "March" / "IMG_1.jpg")]).photos
    assert (found.fallback, found.fallback_from) == ("IMG_1", "photo alone")


def test_links_in_circles_end_and_each_file_is_found_once(tmp_path: Path) -> None:
    photo = put(tmp_path / "a" / "1.jpg")
    (tmp_path / "a" / "up").symlink_to(tmp_path, target_is_directory=True)
    (tmp_path / "b").symlink_to(tmp_path / "a", target_is_directory=True)
    (tmp_path / "again.jpg").symlink_to(photo)
    (tmp_path / "gone.jpg").symlink_to(tmp_path / "nowhere.jpg")
    found = gather([tmp_path, tmp_path / "a", photo])
    assert len(found.photos) == 1
    assert [problem.sentence for problem in found.problems] == ["is a link that leads nowhere"]


def test_a_pipe_is_named_and_nothing_is_read_from_it(tmp_path: Path) -> None:
    pipe = tmp_path / "x.jpg"
    os.mkfifo(pipe)
    ends = os.open(pipe, os.O_RDWR)  # so that whoever reads it finds something and does not wait
    os.write(ends, b"x" * 60_000)
    (problem,) = gather([tmp_path]).problems
    assert (problem.name, problem.sentence) == (str(pipe), "is no regular file")
    with pytest.raises(UsageError, match=r"x\.jpg: this is no regular file; a folder or a photo"):
        gather([pipe])
    os.close(ends)


def test_half_of_ten_thousand_files_are_no_photos(tmp_path: Path) -> None:
    for n in range(5000):
        (tmp_path / f"{n}.jpg").write_bytes(JPEG + str(n).encode())
        (tmp_path / f"{n}.txt").write_bytes(b"a note")
    found = gather([tmp_path])
    assert (len(found.photos), found.others, found.problems) == (5000, 5000, ())


def test_a_file_named_as_a_photo_that_holds_none_is_a_problem(tmp_path: Path) -> None:
    (tmp_path / "empty.jpg").touch()
    (tmp_path / "text.HEIC").write_text("hello")
    (tmp_path / "part.labels.png").write_bytes(b"\x89PNG a map of ours")
    found = gather([tmp_path])
    assert {Path(problem.name).name for problem in found.problems} == {"empty.jpg", "text.HEIC"}
    assert (found.photos, found.others) == ((), 1)


def test_the_same_bytes_are_one_photo_and_all_files_are_named(tmp_path: Path) -> None:
    paths = [put(tmp_path / name, "same") for name in ("4711_medial.jpg", "4712_medial.jpg")]
    put(tmp_path / "other.jpg")
    found = gather([tmp_path])
    assert len(found.photos) == 2
    assert list(found.repeated.values()) == [tuple(paths)]


def test_the_same_bytes_under_two_parts_of_the_table_are_a_photo_of_each(tmp_path: Path) -> None:
    paths = [put(tmp_path / name, "same") for name in ("0.jpg", "1.jpg", "2.jpg", "3.jpg")]
    table = tmp_path / "parts.csv"
    table.write_text("photo,part\n1.jpg,4711\n2.jpg,4712\n3.jpg,4711\n")
    found = gather([tmp_path], table)
    assert [(photo.path.name, photo.told.part, photo.number) for photo in found.photos] == [
        *(("1.jpg", "4711", 1), ("2.jpg", "4712", 2)),
    ]
    assert list(found.repeated.values()) == [tuple(paths)]


def test_of_the_same_bytes_the_file_that_the_table_names_is_judged(tmp_path: Path) -> None:
    for name in ("0.jpg", "1.jpg"):
        put(tmp_path / name, "same")
    (tmp_path / "parts.csv").write_text("photo,part\n1.jpg,4711\n")
    (photo,) = gather([tmp_path], tmp_path / "parts.csv").photos
    assert (photo.path.name, photo.told.part, photo.number) == ("1.jpg", "4711", 0)


def test_hidden_files_and_the_results_are_left_alone(tmp_path: Path) -> None:
    for name in (".hidden.jpg", "~half.jpg", ".trash/1.jpg", "out/pictures/1.jpg"):
        put(tmp_path / name)
    assert gather([tmp_path], leave_out=tmp_path / "out").photos == ()


def test_a_folder_that_may_not_be_read_is_a_problem(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shut, scandir = put(tmp_path / "shut" / "1.jpg").parent, os.scandir

    def guarded(place: str) -> Any:
        if Path(place) == shut:
            raise PermissionError(errno.EACCES, "Permission denied", str(shut))
        return scandir(place)

    other = put(tmp_path / "open" / "2.jpg")
    monkeypatch.setattr("os.scandir", guarded)
    found = gather([tmp_path])
    assert [photo.path for photo in found.photos] == [other]
    (problem,) = found.problems
    assert (problem.name, problem.sentence) == (
        str(shut),
        "cannot be looked into (Permission denied)",
    )


def test_photos_of_the_table_that_lie_elsewhere_are_named(tmp_path: Path) -> None:
    here, there = put(tmp_path / "march" / "1.jpg"), put(tmp_path / "april" / "2.jpg")
    table = tmp_path / "parts.csv"
    table.write_text("photo,part\nmarch/1.jpg,4711\napril/2.jpg,4712\n")
    found = gather([here.parent], table)
    assert ([photo.path for photo in found.photos], found.absent) == ([here], (there.resolve(),))
    assert gather([tmp_path], table).absent == ()


def test_photos_in_the_folder_of_the_results_are_not_said_to_be_missing(tmp_path: Path) -> None:
    put(tmp_path / "1.jpg")
    with pytest.raises(UsageError, match="lie in the folder of the results; give another with --o"):
        gather([tmp_path], leave_out=tmp_path)


def test_a_place_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no such folder"):
        gather([tmp_path / "gone"])


def test_a_table_tells_more_of_a_photo_than_its_name(tmp_path: Path) -> None:
    put(tmp_path / "4711_anterior.jpg")
    table = tmp_path / "parts.csv"
    table.write_text("photo,part,technician,view,size\n4711_anterior.jpg,9,CD,medial,big\n")
    (found,) = gather([tmp_path], table).photos
    assert (found.told.part, found.told.technician, found.told.view) == ("9", "CD", "medial")


@pytest.mark.parametrize(
    ("rows", "problem"),
    [
        ("gone.jpg,1,", "line 2: photo gone.jpg does not exist"),
        ("1.jpg,1,front", "line 2: view 'front' is unknown"),
        ("1.jpg,1,\n1.jpg,2,", "line 3: the photo stands in line 2 otherwise"),
    ],
)
def test_a_bad_row_of_the_table_is_named(tmp_path: Path, rows: str, problem: str) -> None:
    put(tmp_path / "1.jpg")
    (tmp_path / "t.csv").write_text(f"photo,part,view\n{rows}\n")
    with pytest.raises(TableError, match=problem):
        read_told(tmp_path / "t.csv")


def test_a_file_that_goes_away_between_two_looks_is_a_problem(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path / "1.jpg")
    monkeypatch.setattr("satcheck.audit.gathering.is_candidate", lambda path: path.unlink() is None)
    (problem,) = gather([tmp_path]).problems
    assert "cannot be opened (No such file" in problem.sentence
