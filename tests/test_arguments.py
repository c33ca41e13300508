"""What a user types, right and wrong."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from satcheck.cli.arguments import parse_box, parse_outline, pick_fibre, positive
from satcheck.errors import UsageError


def test_the_only_fibre_is_implied_and_case_does_not_matter() -> None:
    assert pick_fibre(["basalt"], None) == "basalt"
    assert pick_fibre(["basalt", "glass"], "Glass ") == "glass"


@pytest.mark.parametrize("wanted", [None, "hemp"])
def test_a_missing_or_unknown_fibre_gets_the_list(wanted: str | None) -> None:
    with pytest.raises(UsageError, match="basalt, glass"):
        pick_fibre(["basalt", "glass"], wanted)


def test_a_box_is_four_whole_pixels() -> None:
    assert parse_box("10, 20,300,400") == (10, 20, 300, 400)


@pytest.mark.parametrize("text", ["", "1,2,3", "1,2,3,x", "30,2,3,4", "3,4,9,4", "-1,2,3,4"])
def test_what_is_no_box_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="X0,Y0,X1,Y1"):
        parse_box(text)


coordinates = st.floats(-1e6, 1e6)


@given(st.lists(st.tuples(coordinates, coordinates), min_size=3, max_size=9))
def test_an_outline_comes_back_from_its_text(points: list[tuple[float, float]]) -> None:
    assert parse_outline(" ".join(f"{x!r},{y!r}" for x, y in points)) == points


def test_an_outline_is_read_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "drawn.json"
    path.write_text(json.dumps([[1, 2], [3, 4.5], [5, 6]]))
    assert parse_outline(str(path)) == [(1, 2), (3, 4.5), (5, 6)]


@pytest.mark.parametrize(
    "content", ["", "{}", "7", "[1, 2, 3]", "[[1, 2], [3, 4]]", "[[1, 2], [3, 4], [5, NaN]]"]
)
def test_a_file_without_an_outline_is_refused(tmp_path: Path, content: str) -> None:
    path = tmp_path / "drawn.json"
    path.write_text(content)
    with pytest.raises(UsageError, match="three and more points"):
        parse_outline(str(path))


@pytest.mark.parametrize("text", ["", "1,2 3,4", "1,2 3,4 5", "1,2 3,4 5,inf", "a,b c,d e,f"])
def test_what_is_no_outline_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="three and more points"):
        parse_outline(text)


def test_a_missing_outline_file_is_named() -> None:
    with pytest.raises(UsageError, match=r"nowhere\.json: .*cannot be read"):
        parse_outline("nowhere.json")


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_a_length_is_above_zero(value: float) -> None:
    assert positive(None, "--pitch") is None
    assert positive(2.5, "--pitch") == 2.5
    with pytest.raises(UsageError, match="--pitch"):
        positive(value, "--pitch")
