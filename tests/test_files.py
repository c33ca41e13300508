"""Files are written whole or not at all, each photo to its own, and never over a photo."""

import json
import os
from pathlib import Path

import pytest

from satcheck.errors import UsageError
from satcheck.files import (
    CALIBRATION_MARK,
    OVERLAY_MARK,
    PAGE_MARK,
    PDF_MARK,
    SCHEMA_FAMILY,
    check_replaceable,
    check_target,
    is_overlay,
    make_writable,
    plan_jobs,
    write_whole,
)
from satcheck.pages.frame import render
from satcheck.record import SCHEMA


def stems(*photos: str) -> list[str]:
    return [job.stem for job in plan_jobs([Path(photo) for photo in photos], Path("out"))]


def test_outputs_are_named_by_the_stem() -> None:
    (job,) = plan_jobs([Path("a/IMG.1.jpg")], Path("out"))
    assert [path.as_posix() for path in (job.record, job.labels, job.overlay)] == [
        "out/IMG.1.json",
        "out/IMG.1.labels.png",
        "out/IMG.1.overlay.jpg",
    ]


def test_equal_stems_get_numbers_whatever_their_case() -> None:
    assert stems("a/x.jpg", "b/x.jpg", "b/X.png", "c/x-2.jpg") == ["x", "x-2", "X-3", "x-2-2"]


def test_a_photo_named_twice_is_taken_once() -> None:
    assert stems("a/x.jpg", "y.jpg", "a/../a/x.jpg") == ["x", "y"]


def test_a_photo_is_never_overwritten() -> None:
    with pytest.raises(UsageError, match="overwritten"):
        plan_jobs([Path("x.jpg"), Path("x.overlay.jpg")], Path())


@pytest.mark.parametrize("name", [".", "/", ".."])
def test_what_is_no_file_name_still_gets_outputs_inside_the_folder(name: str) -> None:
    (job,) = plan_jobs([Path(name)], Path("out"))
    assert job.record.parent == Path("out")


def test_a_foreign_json_is_not_replaced_but_an_inspection_is(tmp_path: Path) -> None:
    path = tmp_path / "x.json"
    check_replaceable(path, SCHEMA_FAMILY, "inspection")
    path.write_text(json.dumps({"schema": SCHEMA}))
    check_replaceable(path, SCHEMA_FAMILY, "inspection")
    path.write_text('{"name": "x"}')
    with pytest.raises(UsageError, match=r"x\.json"):
        check_replaceable(path, SCHEMA_FAMILY, "inspection")


def test_an_overlay_is_told_by_its_comment(tmp_path: Path) -> None:
    path = tmp_path / "x.jpg"
    path.write_bytes(b"\xff\xd8\xff\xe0")
    assert not is_overlay(path)
    path.write_bytes(b"\xff\xd8\xff\xfe" + OVERLAY_MARK)
    assert is_overlay(path)
    assert not is_overlay(tmp_path / "missing.jpg")
    assert not is_overlay(tmp_path)


def test_a_pipe_is_no_overlay_and_nothing_is_read_from_it(tmp_path: Path) -> None:
    """Whoever opens a pipe to read it waits for a writer, without end."""
    pipe = tmp_path / "x.jpg"
    os.mkfifo(pipe)
    ends = os.open(pipe, os.O_RDWR)  # and so nobody waits here
    os.write(ends, OVERLAY_MARK.ljust(60_000))
    assert not is_overlay(pipe)
    assert len(os.read(ends, 65_536)) == 60_000
    os.close(ends)


def test_a_failed_write_leaves_the_old_file_and_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    write_whole(tmp_path / "x.json", b"old")
    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(tmp_path / "x.json", b"new")
    assert [path.read_bytes() for path in tmp_path.iterdir()] == [b"old"]


@pytest.mark.parametrize(
    ("there", "data"),
    [
        (b"SQLite format 3\0 ...", b"%PDF-1.7"),
        (b"SQLite format 3\0 ...", b"<!doctype html>"),
        (b"\xff\xd8\xff\xe0 photo", b"%PDF-1.7"),
        (b"\x89PNG painted", b'{"schema": 1}'),
    ],
)
def test_a_file_of_another_kind_is_never_overwritten(
    tmp_path: Path, there: bytes, data: bytes
) -> None:
    path = tmp_path / "x"
    path.write_bytes(there)
    with pytest.raises(UsageError, match="is there already and would be overwritten"):
        write_whole(path, data)
    assert [file.read_bytes() for file in tmp_path.iterdir()] == [there]


@pytest.mark.parametrize("there", [b"", b"%PDF-1.4 old", b"damaged"])
def test_an_older_or_a_damaged_result_is_replaced(tmp_path: Path, there: bytes) -> None:
    path = tmp_path / "card.pdf"
    path.write_bytes(there)
    write_whole(path, b"%PDF-1.7 new")
    assert path.read_bytes() == b"%PDF-1.7 new"


@pytest.mark.parametrize("mark", [CALIBRATION_MARK, PAGE_MARK, PDF_MARK])
@pytest.mark.parametrize(
    "there",
    [
        b"buy resin\n",
        b"part,zone\n",
        b"<!doctype html>mine",
        b"%PDF-1.4 an invoice",
        b"\xff\xd8\xff",
    ],
)
def test_a_file_that_satcheck_did_not_write_is_no_place_for_a_result(
    tmp_path: Path, mark: bytes, there: bytes
) -> None:
    path = tmp_path / "file"
    path.write_bytes(there)
    with pytest.raises(UsageError, match="file: this file is there already and is no page; move"):
        check_target(path, mark, "page")


def test_what_is_no_plain_file_is_no_place_for_a_result(tmp_path: Path) -> None:
    """A file written as a whole would take the place of the pipe itself, or of a device."""
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(UsageError, match="pipe: this is no plain file; the name of a file"):
        check_target(tmp_path / "pipe", PAGE_MARK, "page")
    with pytest.raises(UsageError, match="this is a folder; the name of a file to write"):
        check_target(tmp_path, PAGE_MARK, "page")


@pytest.mark.parametrize("there", [None, b"", PAGE_MARK])
def test_a_new_an_empty_and_an_older_result_may_be_written(
    tmp_path: Path, there: bytes | None
) -> None:
    path = tmp_path / "new" / "page.html"
    if there is not None:
        path.parent.mkdir()
        path.write_bytes(there)
    check_target(path, PAGE_MARK, "page")
    assert path.parent.is_dir()


def test_a_page_is_known_by_its_foot_however_long_it_is(tmp_path: Path) -> None:
    """As pages of every version have it; the same words in a ledger are no page."""
    page, book = tmp_path / "page.html", tmp_path / "shop.ledger"
    page.write_text(render("frame.html").replace("<main>", "<main>" + "x" * 100_000))
    check_target(page, PAGE_MARK, "page")
    book.write_bytes(b"SQLite format 3\0" + PAGE_MARK)
    with pytest.raises(UsageError, match="is no page"):
        check_target(book, PAGE_MARK, "page")


def test_a_photo_in_the_place_of_an_overlay_stays(tmp_path: Path) -> None:
    path = tmp_path / "q.overlay.jpg"
    check_replaceable(path, OVERLAY_MARK, "overlay")
    path.write_bytes(b"\xff\xd8\xff\xfe" + OVERLAY_MARK)
    check_replaceable(path, OVERLAY_MARK, "overlay")
    path.write_bytes(b"\xff\xd8\xff\xe0 a photo")
    with pytest.raises(UsageError, match="is no overlay"):
        check_replaceable(path, OVERLAY_MARK, "overlay")


def test_an_output_folder_is_made_and_a_file_is_none(tmp_path: Path) -> None:
    make_writable(tmp_path / "new" / "folder")
    assert list((tmp_path / "new").iterdir()) == [tmp_path / "new" / "folder"]
    (tmp_path / "file").write_text("x")
    for folder in (tmp_path / "file", tmp_path / "file" / "below"):
        with pytest.raises(UsageError, match="cannot be written"):
            make_writable(folder)
