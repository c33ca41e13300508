"""Calibration files: the same content back, or a refusal that says why."""

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w
from grids import fibre_bounds, mixture
from hypothesis import given, settings
from hypothesis import strategies as st

from satcheck.calibration.file import (
    BORDERS,
    DEMO_PROMISE,
    SCHEMA,
    Calibration,
    FibreBounds,
    _content_id,
    make_calibration,
    read_calibration,
    write_calibration,
)
from satcheck.errors import CalibrationError, UsageError
from satcheck.files import CALIBRATION_MARK, check_target
from satcheck.judgement.mixture import Mixture
from satcheck.model import MEASURE, SCALE

Four = tuple[float, float, float, float]


def shop(
    *fibres: FibreBounds, is_demo: bool = False, photos: tuple[str, ...] = ("ab" * 32,)
) -> Calibration:
    named = {f.fibre: f for f in fibres or (fibre_bounds(),)}
    return make_calibration(named, "2026-03-04T05:06:07Z", "0.1.0", is_demo, photos)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "shop.toml"


def assert_same(a: Mixture, b: Mixture) -> None:
    assert a.cues == b.cues
    for name in ("centre", "scale", "means", "scatter", "between"):
        assert getattr(a, name) == pytest.approx(getattr(b, name), rel=1e-5)


@settings(max_examples=30)
@given(
    st.lists(st.floats(-1, 1), min_size=4, max_size=4).map(sorted),
    st.lists(st.floats(-9, 9), min_size=6, max_size=6),
    st.floats(0.01, 9),
    st.tuples(st.floats(-9, 9), st.floats(-9, 9)),
    st.text(min_size=1, max_size=12),
)
def test_a_calibration_comes_back_as_it_was_written(
    tmp_path_factory: pytest.TempPathFactory,
    bounds: list[float],
    means: list[float],
    spread: float,
    light: tuple[float, float],
    name: str,
) -> None:
    file = tmp_path_factory.mktemp("round") / "shop.toml"
    dry = mixture(("medium", "order"), means, spread, 2 * spread)
    a, b, c, d = bounds
    changes: dict[str, Any] = {"bounds": (a, b, c, d), "dry": dry, "light": light}
    made = shop(fibre_bounds(fibre=name, **changes), fibre_bounds(fibre="glass"))
    write_calibration(made, file)
    back = read_calibration(file)
    assert (back.id, back.created, back.version, back.is_demo, back.photos) == (
        made.id, made.created, made.version, made.is_demo, made.photos,
    )  # fmt: skip
    assert set(back.fibres) == {name, "glass"}
    found = back.bounds_for(name)
    if name != "glass":
        assert found.bounds == pytest.approx(bounds, abs=5.1e-5)  # four decimals
        assert found.light == pytest.approx(light, abs=5.1e-5)
        assert_same(found.dry, dry)
    assert_same(back.bounds_for("glass").full, fibre_bounds().full)
    assert (found.parts, found.photos, found.visibility) == (7, 9, {"good": (0.08, 0.1, 0.12)})


def test_the_file_is_readable_toml_in_the_words_of_the_trade(file: Path) -> None:
    write_calibration(shop(), file)
    text = file.read_text(encoding="utf-8")
    assert text.startswith("# Bounds of a laminating shop")
    basalt = tomllib.loads(text)["fibre"]["basalt"]
    assert basalt["bounds"] == dict(zip(BORDERS, (-0.6, -0.2, 0.3, 0.7), strict=True))
    assert "starved/lean" in basalt["bounds"]


def test_an_older_calibration_may_be_replaced(file: Path) -> None:
    write_calibration(shop(), file)
    check_target(file, CALIBRATION_MARK, "calibration of satcheck")


def test_the_id_follows_the_content_alone(file: Path) -> None:
    """No clock is in it; another bound, number, fibre, photo, mixture or a demo has another."""
    assert shop().id == shop().id
    others = [
        shop(fibre_bounds(bounds=(-0.6, -0.2, 0.3, 0.71))),
        shop(fibre_bounds(parts=8)),
        shop(fibre_bounds(light=(-2.0, 2.1))),
        shop(fibre_bounds(fibre="glass")),
        shop(is_demo=True),
        shop(photos=("cd" * 32,)),
        shop(fibre_bounds(dry=mixture(("dry",), [3.1, 0, 0]))),
    ]
    assert len({shop().id, *(other.id for other in others)}) == 1 + len(others)
    write_calibration(shop(), file)
    twice = file.with_name("twice.toml")
    write_calibration(read_calibration(file), twice)
    assert twice.read_bytes() == file.read_bytes()


def refusal(file: Path, content: bytes | None = None) -> str:
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(CalibrationError) as refused:
        read_calibration(file)
    assert str(refused.value).startswith(str(file))
    assert "\n" not in str(refused.value)
    return str(refused.value)


def table_of(made: Calibration, file: Path) -> dict[str, Any]:
    write_calibration(made, file)
    return tomllib.loads(file.read_text(encoding="utf-8"))


def test_a_file_edited_by_hand_is_refused(file: Path) -> None:
    write_calibration(shop(), file)
    text = file.read_text()
    assert text.count("-0.6") == 1
    assert "was changed since it was made" in refusal(file, text.replace("-0.6", "-0.9").encode())


def test_an_edit_to_another_kind_of_value_is_refused_too(file: Path) -> None:
    write_calibration(shop(), file)
    text = file.read_text()
    dated = text.replace('"2026-03-04T05:06:07Z"', "2026-03-04T05:06:07Z")
    assert dated != text
    assert "was changed since it was made" in refusal(file, dated.encode())


def test_remarks_and_line_ends_do_not_change_a_calibration(file: Path) -> None:
    """What an editor or a mail program adds is no content."""
    write_calibration(shop(), file)
    text = "# spring 2026\n" + file.read_text()
    file.write_bytes(text.replace("\n", "\r\n").encode())
    assert read_calibration(file).id == shop().id


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is no calibration"),
        (b"fibre = 3", "is no calibration"),
        (b"schema = 'satcheck.calibration/2'", "has the schema 'satcheck.calibration/2'"),
        (b"schema = ['satcheck.calibration/1']", "has the schema"),
        (b"photo,part,view\n", "no valid TOML"),
        (b"\xff\xd8\xff\xe0", "no valid TOML"),
        pytest.param(b"a = " + b"[" * 5000 + b"]" * 5000, "no valid TOML", id="nested too deep"),
        (f"schema = '{SCHEMA}'".encode(), "is damaged"),
        (f"schema = '{SCHEMA}'\nfibre = 3".encode(), "is damaged"),
    ],
)
def test_what_is_no_calibration_is_refused(file: Path, content: bytes, words: str) -> None:
    message = refusal(file, content)
    assert words in message
    assert SCHEMA in message or "make" in message  # what is allowed, or what to do


@pytest.mark.parametrize("where", ["gone.toml", "."])
def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path, where: str) -> None:
    assert "cannot be read" in refusal(tmp_path / where)


def signed(table: Mapping[str, Any], file: Path) -> bytes:
    """Return a file whose id fits, so that only what is wrong inside can be found."""
    whole = {key: value for key, value in table.items() if key != "id"}
    return tomli_w.dumps({**whole, "id": _content_id(whole)}).encode()


@pytest.mark.parametrize("measure", [None, 1, MEASURE + 1])
def test_bounds_of_another_measure_are_refused(file: Path, measure: int | None) -> None:
    """Their cues mean something else; a file that names no measure is of the first."""
    write_calibration(shop(), file)
    table = tomllib.loads(file.read_text())
    file.write_bytes(signed(table, file))
    assert read_calibration(file).id == shop().id
    other = {k: v for k, v in table.items() if k != "measure"}
    told = refusal(file, signed(other if measure is None else {**other, "measure": measure}, file))
    assert f"measured another way (measure {measure or 1})" in told
    assert f"this version's measure is {MEASURE}" in told


DAMAGE: dict[str, Any] = {
    "bounds": {"starved/lean": 0.5, "lean/good": -0.2, "good/heavy": 0.3, "heavy/rich": 0.7},
    "parts": "many",
    "photos": float("inf"),
    "light": [0.1],
    "visibility": {"good": [0.1]},
    "dry": {},
    "full": 7,
}


@pytest.mark.parametrize("key", DAMAGE)
@pytest.mark.parametrize("missing", [True, False])
def test_damage_within_a_fibre_is_found(file: Path, key: str, missing: bool) -> None:
    table = table_of(shop(), file)
    if missing:
        del table["fibre"]["basalt"][key]
    else:
        table["fibre"]["basalt"][key] = DAMAGE[key]
    assert "is damaged" in refusal(file, signed(table, file))


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("centre", [0.0, 0.0]),
        ("scale", [float("nan")]),
        ("means", {"starved": [1.0], "good": [0.0]}),
        ("scatter", {"starved": [[0.0]], "good": [[1.0]], "rich": [[1.0]]}),
        ("between", [[-1.0]]),
        ("between", [["wide"]]),
    ],
)
def test_a_mixture_that_is_none_is_found(file: Path, key: str, value: Any) -> None:
    """Wrong shapes, no numbers, and matrices that are no covariances."""
    table = table_of(shop(), file)
    table["fibre"]["basalt"]["dry"][key] = value
    assert "is damaged" in refusal(file, signed(table, file))


def test_an_untouched_table_signed_again_is_read(file: Path) -> None:
    """Negative control of the two tests above."""
    file.write_bytes(signed(table_of(shop(), file), file))
    assert read_calibration(file).id == shop().id


def test_a_calibration_without_fibres_is_refused(file: Path) -> None:
    table = table_of(shop(), file) | {"fibre": {}}
    assert "holds no fibre" in refusal(file, signed(table, file))


def test_an_unknown_fibre_is_refused_with_those_that_are_known() -> None:
    made = shop(fibre_bounds(fibre="glass"), fibre_bounds(fibre="basalt"))
    with pytest.raises(UsageError, match=r"'carbon'.* basalt, glass"):
        made.bounds_for("carbon")
    with pytest.raises(UsageError, match="'Glass'"):
        made.facts("Glass")


def test_the_facts_name_the_bounds_in_force() -> None:
    made = shop()
    facts = made.facts("basalt")
    assert (facts.id, facts.fibre, facts.parts, facts.is_demo) == (made.id, "basalt", 7, False)
    assert list(facts.bounds.items()) == list(zip(BORDERS, (-0.6, -0.2, 0.3, 0.7), strict=True))
    assert DEMO_PROMISE not in facts.promise
    assert "7 parts" in facts.promise


def test_a_demo_says_so_wherever_it_goes(file: Path) -> None:
    write_calibration(shop(is_demo=True), file)
    facts = read_calibration(file).facts("basalt")
    assert facts.is_demo
    assert facts.promise == DEMO_PROMISE


def test_a_failed_writing_leaves_the_earlier_file(file: Path) -> None:
    write_calibration(shop(), file)
    before = file.read_bytes()
    unwritable = replace(shop(), photos=("\ud800",))  # no text file holds half a character
    with pytest.raises(UnicodeEncodeError):
        write_calibration(unwritable, file)
    assert file.read_bytes() == before
    assert list(file.parent.iterdir()) == [file]


def test_the_borders_part_neighbours_of_the_scale() -> None:
    assert BORDERS == ("starved/lean", "lean/good", "good/heavy", "heavy/rich")
    assert np.size(BORDERS) == len(SCALE) - 1
