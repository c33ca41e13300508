"""Detection from a table: a published set, what is missing, and every broken table."""

from pathlib import Path

import pytest
from published import EXAMPLE_3, EXAMPLE_8, hits
from study_tables import written

from satcheck.errors import TableError
from satcheck.studies.detection import round_up, study_detection
from satcheck.studies.summary import as_text, summarise_detection


def test_a_published_set_comes_out_of_its_table(tmp_path: Path) -> None:
    """MIL-HDBK-1823A software, example 3: a90/95 0.192495, rounded up as a bound must be."""
    rows = [f"{size},{found}" for size, found in hits(EXAMPLE_3)]
    found = study_detection(written(tmp_path, "size,found", *rows), unit="in")
    assert found.result.a90_95 == pytest.approx(0.192495, abs=1e-6)
    assert "patch of 0.193 in and more is found at least 90 times in 100" in found.sentence


def test_a_column_part_widens_the_bound(tmp_path: Path) -> None:
    rows = [f"{size},{found},{k // 2}" for k, (size, found) in enumerate(hits(EXAMPLE_8))]
    found = study_detection(written(tmp_path, "size,found,part", *rows))
    assert found.result.parts == 185
    assert found.result.a90_95 is not None
    assert found.result.a90_95 > 0.24


def test_no_miss_says_what_is_shown_and_what_is_missing(tmp_path: Path) -> None:
    """29 of 29 show 90 % with 95 % confidence; from which size on stays open."""
    rows = [f"{4 + k},1" for k in range(29)]
    said = study_detection(written(tmp_path, "size,found", *rows)).sentence
    assert "All 29 patches were found: of patches like these at least 90 %" in said
    assert "add patches smaller than 4" in said


def test_too_few_large_patches_are_asked_for(tmp_path: Path) -> None:
    rows = [f"{k % 7 + 1},{int(k % 7 > 3 + k % 3)}" for k in range(21)]
    said = study_detection(written(tmp_path, "size,found", *rows)).sentence
    assert said.startswith("No size can be promised")
    assert "add patches larger than 7" in said


def test_larger_patches_that_are_found_less_tell_no_size(tmp_path: Path) -> None:
    """All of 1 to 5 found, none of 6 to 10: the words may not say that the found are larger."""
    rows = [f"{k},{int(k <= 5)}" for k in range(1, 11)]
    found = study_detection(written(tmp_path, "size,found", *rows))
    assert found.sentence.startswith("Detection does not rise with size, so that no size is told:")
    said = as_text(summarise_detection(found))
    assert said.count("not told") == 3
    assert "No found patch is smaller" not in said


def test_sizes_close_together_are_fitted_as_those_far_apart(tmp_path: Path) -> None:
    """Moved by 100 and drawn together a millionfold, sizes have the same odds."""
    marks = [(k % 10, int(k % 10 > 3 + k // 10)) for k in range(40)]
    wide = study_detection(written(tmp_path, "size,found", *(f"{s + 1},{f}" for s, f in marks)))
    close = study_detection(
        written(tmp_path, "size,found", *(f"{100 + s / 2**30!r},{f}" for s, f in marks))
    )
    assert wide.result.line is not None
    assert close.result.line is not None
    assert close.result.line.se_slope == pytest.approx(wide.result.line.se_slope * 2**30, rel=1e-3)


@pytest.mark.parametrize(
    ("size", "rounded"), [(0.192495, 0.193), (0.193, 0.193), (8.2301, 8.24), (1234.0, 1240.0)]
)
def test_a_bound_is_rounded_up(size: float, rounded: float) -> None:
    assert round_up(size) == rounded


@pytest.mark.parametrize(
    ("rows", "line", "says"),
    [
        (["0,1"], 2, "out of range"),
        (["1e-300,1", "2e-300,0"], 2, "'1e-300' is out of range; 1e-09 to 1e\\+09 is allowed"),
        (["-3,1"], 2, "a number above 0"),
        (["3 mm,1"], 2, "size '3 mm' is no number"),
        (["3,yes"], 2, "found 'yes' is unknown; allowed are 0, 1"),
        (["3,1", "4,"], 3, "found is blank"),
        (["3,1,a", "4,1,"], 3, "in some rows only"),
        (["3,1,a", "4,1,b", "5,1,A"], 4, "part 'A' also stands as 'a'; write it one way"),
        (["3,1,a,b"], 2, "more cells than the 3 columns"),
        ([], 1, "no patch"),
    ],
)
def test_a_broken_table_is_named_by_its_line(
    tmp_path: Path, rows: list[str], line: int, says: str
) -> None:
    with pytest.raises(TableError, match=says) as caught:
        study_detection(written(tmp_path, "size,found,part", *rows))
    assert caught.value.line == line


def test_a_share_that_is_promised_is_rounded_down(tmp_path: Path) -> None:
    """Closed form: 14 of 14 show 0.05^(1/14), 80.7 %: not 81."""
    rows = [f"{4 + k},1" for k in range(14)]
    said = study_detection(written(tmp_path, "size,found", *rows)).sentence
    assert "at least 80 % are, with 95 % confidence" in said


def test_found_and_missed_patches_of_one_size_are_not_said_to_differ(tmp_path: Path) -> None:
    """Missed up to 4 mm, found from 4 mm: not every found patch is larger than every missed one."""
    rows = [f"{k},{int(k > 4)}" for k in range(1, 9)]
    said = as_text(
        summarise_detection(study_detection(written(tmp_path, "size,found", *rows, "4,1")))
    )
    assert "No found patch is smaller than a missed one" in " ".join(said.split())
