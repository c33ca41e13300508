"""Repeatability from a table: the manual's study, its meaning, and every broken table."""

from pathlib import Path

import numpy as np
import pytest
from study_tables import gauge_lines, written

from satcheck.errors import TableError
from satcheck.studies.repeatability import RepeatabilityStudy, study_repeatability
from satcheck.studies.summary import as_text, summarise_repeatability

HEAD = "part,person,trial,value"


def drawn(folder: Path, photo: float, person: float, part: float) -> RepeatabilityStudy:
    """Return the study of 10 parts, 3 persons and 3 photos with some spreads."""
    rng = np.random.default_rng(12)
    off, parts = person * rng.normal(0, 1, 3), part * rng.normal(0, 1, 10)
    rows = [
        f"{p},{'ABC'[o]},{k},{1 + parts[p] + off[o] + photo * rng.normal():.6f}"
        for p in range(10) for o in range(3) for k in range(3)
    ]  # fmt: skip
    return study_repeatability(written(folder, HEAD, *rows))


def test_the_manuals_study_comes_out_of_its_table(tmp_path: Path) -> None:
    """AIAG: ndc 5 by average and range, 4 by analysis of variance, and the study says so."""
    found = study_repeatability(written(tmp_path, *gauge_lines()))
    assert (found.parts, found.persons, found.trials) == (10, ("A", "B", "C"), 3)
    assert (found.by_range.categories, found.anova.gauge.categories) == (5, 4)
    assert "28 % of the spread" in found.sentence
    assert "usable with care" in found.sentence
    assert "ndc 5 by average and range, ndc 4 by" in found.caution


@pytest.mark.parametrize(
    ("spread", "says"),
    [((0.01, 0.01, 1), "one photo by anyone will do"),
     ((0.2, 0.01, 1), "steady the phone"),
     ((0.01, 0.4, 1), "the persons differ"),
     ((0.43, 0.01, 1), "too much to judge"),
     ((1, 0.01, 1), "too much to judge")],
)  # fmt: skip
def test_the_sentence_follows_what_was_drawn(
    tmp_path: Path, spread: tuple[float, float, float], says: str
) -> None:
    assert says in drawn(tmp_path, *spread).sentence


def test_the_widths_are_those_of_one_reading(tmp_path: Path) -> None:
    found = drawn(tmp_path, 0.1, 0.01, 1.0)
    assert 2 * 0.08 < found.within < 4 * 0.1
    assert found.below < found.within


def test_where_persons_do_not_differ_every_photo_tells_of_the_spread(tmp_path: Path) -> None:
    """Howe with 9 readings a part and some 80 degrees of freedom: 1.96 sqrt(80 x 10/9 / 60.4).

    That is 2.38 spreads of a photo; of the 9 of one part alone it would be 3.54.
    """
    found = drawn(tmp_path, 0.1, 0.0, 1.0)
    assert found.within == pytest.approx(0.238, rel=0.15)


@pytest.mark.parametrize("values", [("0.5", "0.5"), ("0.1", "0.1"), ("0.3", "0.30000000000000004")])
def test_what_differs_by_rounding_alone_shows_nothing(
    tmp_path: Path, values: tuple[str, str]
) -> None:
    """Three tenths are summed to 0.30000000000000004: no spread of photos, parts or persons."""
    rows = [f"{p},{o},{k},{values[(p + k) % 2]}" for p in range(5) for o in "ABC" for k in range(3)]
    found = study_repeatability(written(tmp_path, HEAD, *rows))
    assert found.sentence == (
        "Nothing varied: the study shows nothing; photograph parts that differ."
    )
    assert (found.by_range.total, found.anova.gauge.total, found.within) == (0, 0, 0)
    said = as_text(summarise_repeatability(found))
    assert "with 95 % confidence" not in said
    assert said.count("not told") == 2


def test_photos_that_differ_by_rounding_alone_tell_any_parts_apart(tmp_path: Path) -> None:
    """The mean of three tenths is not quite a tenth, which makes no number of groups."""
    rows = [f"{p},{o},{k},0.{p}" for p in range(1, 6) for o in "ABC" for k in range(3)]
    found = study_repeatability(written(tmp_path, HEAD, *rows))
    assert found.by_range.categories is None
    assert found.anova.gauge.categories is None
    assert found.sentence == (
        "Photo and person make 0 % of the spread: one photo by anyone will do."
    )


@pytest.mark.parametrize(
    ("rows", "line", "says"),
    [
        (["1,A,1,0,5"], 2, "write decimals with a point"),
        (['1,A,1,"0,5"'], 2, "decimal comma"),
        (["1,A,1,soft"], 2, "value 'soft' is no number"),
        (["1,A,1,nan"], 2, "is no number"),
        (["1,A,1,1e308"], 2, "out of range"),
        (["1,A,,0.5"], 2, "photo and trial are blank"),
        (["1,,1,0.5"], 2, "person is blank"),
        (["1,A,1,0.5", "1,A,1,0.6"], 3, "stands there before"),
        (["1,A,1,0.5", "1,A,2,0.6"], 3, "fewer than two parts"),
        (["1,A,1,1", "1,a,1,2", "2,A,1,1", "2,a,1,2"], 3, "person 'a' also stands as 'A'"),
        (["1,A,1,0.5", "2,A,1,0.6"], 3, "fewer than two persons"),
        (["1,A,1,1", "1,B,1,1", "2,A,1,2", "2,B,1,2"], 5, "one photo a person"),
        (["1,A,1,1", "1,A,2,1", "1,B,1,1", "1,B,2,1", "2,A,1,2", "2,A,2,2", "2,B,1,2"], 8,
         "part 2 by B: 1 of 2 photos"),
        (["1,A,1,1", "1,A,2,1", "1,B,1,1", "1,B,2,1", "2,A,1,2", "2,A,2,2"], 7,
         "part 2 by B: 0 of 2 photos"),
        ([], 1, "fewer than two parts"),
    ],
)  # fmt: skip
def test_a_broken_table_is_named_by_its_line(
    tmp_path: Path, rows: list[str], line: int, says: str
) -> None:
    with pytest.raises(TableError, match=says) as caught:
        study_repeatability(written(tmp_path, HEAD, *rows))
    assert caught.value.line == line


def test_methods_of_which_one_finds_no_error_at_all_are_told_apart_in_words(tmp_path: Path) -> None:
    """Persons differ by the part alone, so that their averages do not.

    By hand: parts vary by (49 / 3 - 1) / 4, the gauge by 1 / 2: 1.41 * 1.96 / 0.71 is 3.9.
    """
    reads = {"1": (1.0, 2.0), "2": (2.0, 1.0), "3": (5.0, 5.0)}
    rows = [f"{part},{who},{k},{value}" for part, values in reads.items()
            for who, value in zip("AB", values, strict=True) for k in (1, 2)]  # fmt: skip
    found = study_repeatability(written(tmp_path, HEAD, *rows))
    assert found.by_range.categories is None
    assert "no limit of ndc by average and range, ndc 3 by analysis of variance" in found.caution


@pytest.mark.parametrize(("parts", "are_few"), [(9, True), (10, False)])
def test_ten_parts_are_common_practice(tmp_path: Path, parts: int, are_few: bool) -> None:
    """AIAG's own study has ten."""
    kept = ("part", *map(str, range(1, parts + 1)))
    lines = [line for line in gauge_lines() if line.split(",")[0] in kept]
    found = study_repeatability(written(tmp_path, *lines))
    assert (f"{parts} parts are few" in found.caution) is are_few


def test_the_width_holds_photos_by_anyone(tmp_path: Path) -> None:
    """Persons 0.4 apart, photos 0.01: two spreads of the persons, and not of one's photos."""
    assert drawn(tmp_path, 0.01, 0.4, 1.0).within > 0.4
