"""The study and drift commands as called: tables, pages, exit statuses, one line on errors."""

import json
from collections.abc import Sequence
from pathlib import Path

import pytest
from published import EXAMPLE_3, hits
from records import inspection_of
from study_tables import gauge_lines, kappa_lines, written

from satcheck.cli.app import main
from satcheck.record import inspection_to_json


def call(
    arguments: Sequence[str | Path], capsys: pytest.CaptureFixture[str]
) -> tuple[int, str, str]:
    """Return exit status, stdout and stderr of a call."""
    with pytest.raises(SystemExit) as ended:
        main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    assert isinstance(ended.value.code, int)
    return ended.value.code, out, err


def drift_lines(blur: float, shifts: int = 30) -> list[str]:
    """Return a table in which the picture softens after 22 shifts; spreads of 0.01 by turns."""
    off = (0.0, 0.01, -0.01, 0.005, -0.005)
    return [
        "taken,visibility,blur,verdict",
        *(f"2026-04-{k + 1:02d},{0.12 + off[k % 5] / 10:.4f},"
          f"{0.5 + off[(k + 2) % 5] + (blur if k >= 22 else 0):.4f},good" for k in range(shifts)),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("command", "lines", "says"),
    [
        ("agreement", list(kappa_lines()), "Agreement is poor"),
        ("repeatability", list(gauge_lines()), "4 groups of parts"),
        ("detection", ["size,found", *(f"{s},{f}" for s, f in hits(EXAMPLE_3))], "0.193 mm"),
    ],
)
def test_a_study_prints_its_table_and_meaning_and_writes_a_page_of_its_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str, lines: list[str], says: str
) -> None:
    page = tmp_path / "out" / "page.html"
    table = written(tmp_path, *lines)
    status, out, err = call(["study", command, table, "--page", page], capsys)
    assert (status, err) == (0, "")
    assert says in out
    text = page.read_text(encoding="utf-8")
    assert says in text
    assert "<svg" in text
    assert "does not certify" in text
    assert "http" not in text, "nothing from outside"
    assert call(["study", command, table, "--page", page], capsys)[0] == 0, "written again"


@pytest.mark.parametrize("command", [["study", "repeatability"], ["drift"]])
def test_a_page_takes_no_place_of_anothers_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: list[str]
) -> None:
    notes = tmp_path / "notes.html"
    notes.write_text("<!doctype html>mine")
    status, out, err = call([*command, tmp_path / "missing.csv", "--page", notes], capsys)
    assert (status, out, notes.read_text()) == (2, "", "<!doctype html>mine")
    assert "notes.html: this file is there already and is no page of satcheck" in err


def test_drift_warns_by_its_status_and_names_the_camera(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "drift.html"
    table = written(tmp_path, *drift_lines(0.1))
    status, out, _ = call(["drift", table, "--page", page], capsys)
    assert status == 1
    assert "likely the camera: wipe the lens" in out
    assert "No verdict has changed yet." in out
    assert "warns here" in page.read_text(encoding="utf-8")


def test_drift_in_order_and_drift_with_too_few_shifts(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, _ = call(["drift", written(tmp_path, *drift_lines(0.0))], capsys)
    assert (status, "Nothing has moved in the 10 shifts" in out) == (0, True)
    status, out, _ = call(["drift", written(tmp_path, *drift_lines(0.0, 9))], capsys)
    assert (status, "12 more to go" in out) == (3, True)


@pytest.mark.parametrize("command", [["study", "agreement"], ["study", "repeatability"],
                                     ["study", "detection"], ["drift"]])  # fmt: skip
@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"part;zone;rater;state\n", "separated by semicolons"),
        (b"part\tzone\n", "separated by tabs"),
        (b"\xe9,\x80\n", "is not UTF-8"),
        (b"\xff\xfe\x00", "is UTF-16"),
        (b"a,b\n1,2\n", "is missing"),
        (b"", "there is no header"),
        (b'part,zone,rater,state\n1,"brim', ""),
    ],
)
def test_a_file_that_is_no_table_is_one_line_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: list[str], data: bytes, says: str
) -> None:
    table, page = tmp_path / "bad.csv", tmp_path / "page.html"
    table.write_bytes(data)
    status, out, err = call([*command, table, "--page", page], capsys)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert "bad.csv, line 1" in err or "bad.csv, line 2" in err
    assert says in err
    assert not page.exists()


def test_a_page_over_the_table_and_mixed_files_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = written(tmp_path, *gauge_lines())
    before = table.read_bytes()
    for command in (["study", "repeatability"], ["drift"]):
        status, _, err = call([*command, table, "--page", table], capsys)
        assert (status, "is no page of satcheck" in err) == (2, True)
    assert table.read_bytes() == before
    status, _, err = call(["drift", table, tmp_path / "a.json"], capsys)
    assert (status, "one CSV alone" in err) == (2, True)
    (tmp_path / "a.json").write_text("{}", encoding="utf-8")
    assert call(["drift", tmp_path / "a.json"], capsys)[0] == 2


def test_records_of_one_name_are_named_with_their_folders(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = json.dumps(inspection_to_json(inspection_of()))
    files = [tmp_path / shift / "coupon.json" for shift in ("monday", "tuesday")]
    for file in files:
        file.parent.mkdir()
        file.write_text(record, encoding="utf-8")
    status, _, err = call(["drift", *files], capsys)
    assert (status, err) == (
        2, f"{files[1]}: the same photo as {files[0]}; a photo each is allowed\n"
    )  # fmt: skip
