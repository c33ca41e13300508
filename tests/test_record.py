"""Inspections to JSON and back."""

import base64
import json
import struct
import zlib
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from numpy.typing import NDArray
from records import cells_of, inspection_of, zones_of

from satcheck.errors import UsageError
from satcheck.model import CardFacts, Cells, Inspection, Interval, Label, Patch
from satcheck.record import CAUTIONS, SCHEMA, inspection_from_json, inspection_to_json
from satcheck.report import headline, text_report

PATCH = Patch(Label.STARVED, 120.5, 300.0, 14.2, "mm")
CARD = CardFacts(
    part="L-204/7",
    mm_per_px=0.21,
    ruler=97.0,
    mtf={"0": 0.91, "45": 0.88, "90": 0.84, "135": 0.87},
    kept=Interval(0.9, 0.86, 0.94),
    texture={"0.01": 0.82, "0.08": 0.99},
    white_gains=(1.1, 1.0, 1.6),
)


def through_text(inspection: Inspection, *, cells: bool = True) -> dict[str, Any]:
    text = json.dumps(inspection_to_json(inspection, cells=cells), allow_nan=False)
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def same(first: Any, second: Any) -> bool:
    if isinstance(first, np.ndarray):
        return first.dtype == second.dtype and np.array_equal(
            first, second, equal_nan=first.dtype.kind == "f"
        )
    if isinstance(first, Inspection | Cells):
        return all(same(getattr(first, f.name), getattr(second, f.name)) for f in fields(first))
    if isinstance(first, dict):
        return first.keys() == second.keys() and all(same(first[k], second[k]) for k in first)
    return bool(first == second)


def whole_inspection() -> Inspection:
    zones = zones_of({"lock": Label.STARVED}, {"lock": {"glare": 0.25}})
    zones = (*zones[:-1], replace(zones[-1], worst=PATCH, visibility=None))
    return inspection_of(Label.STARVED, zones=zones, flagged=(PATCH,), card=CARD)


def test_the_main_reason_stays_so_in_a_record_that_keeps_no_order() -> None:
    """The ledger sorts names: a blurred photo's sheet said no weave, its picture out of focus."""
    reasons = {"out of focus": 1.0, "no weave reference": 1.0, "veil": 0.3, "edge": 0.1}
    zones = zones_of({"lock": Label.NOT_JUDGED}, {"lock": reasons})
    first = inspection_of(Label.NOT_JUDGED, zones=zones, reasons=reasons)
    sorted_ = json.loads(json.dumps(inspection_to_json(first), sort_keys=True))
    again = inspection_from_json(sorted_, "record")
    assert list(again.reasons) == list(reasons) == list(again.zones[-1].reasons)
    assert headline(again) == headline(first) == "NOT JUDGED: out of focus"
    row = next(line for line in text_report(again).splitlines() if line.startswith("lock"))
    assert row.endswith("97 %  out of focus")  # both would run beyond 80 columns


@pytest.mark.parametrize(
    "inspection",
    [
        whole_inspection(),
        inspection_of(Label.NOT_JUDGED, zones=(), evenness=None, cells=None, distal=None),
        inspection_of(card=CardFacts(problem="The card is bent.")),
        inspection_of(cut=("up", "left")),
        inspection_of(warnings=("The card in the photo says part 1, typed was 2.",)),
    ],
)
def test_an_inspection_comes_back_from_its_text(inspection: Inspection) -> None:
    back = inspection_from_json(through_text(inspection))
    assert same(inspection, back)
    assert not same(inspection, replace(back, labels=back.labels + 1))


def test_a_record_from_before_parts_were_said_to_be_cut_is_read() -> None:
    record = through_text(inspection_of(cut=("up",)))
    del record["cut"]
    assert inspection_from_json(record).cut == ()


def test_a_record_from_before_warnings_were_kept_is_read() -> None:
    record = through_text(inspection_of(warnings=("The card says part 1.",)))
    del record["warnings"]
    assert inspection_from_json(record).warnings == ()


def test_the_contract_of_the_schema() -> None:
    record = through_text(whole_inspection(), cells=False)
    assert next(iter(record.items())) == ("schema", "satcheck.inspection/1")
    assert set(record) == {
        *("schema", "version", "photo", "calibration", "verdict", "evenness", "share_judged"),
        *("distal", "distal_guessed", "zones", "flagged", "reasons", "advice"),
        *("card", "cut", "warnings", "cautions"),
    }
    assert set(record["photo"]) == {"name", "sha256", "width", "height", "taken"}
    assert set(record["calibration"]) == {"id", "fibre", "bounds", "parts", "is_demo", "promise"}
    assert record["verdict"] == "starved"
    assert record["zones"][-1] == {
        "name": "lock",
        "verdict": "starved",
        "visibility": None,
        "share_judged": 0.973,
        "reasons": {"glare": 0.25},
        "worst": {"label": "starved", "x": 120.5, "y": 300.0, "size": 14.2, "unit": "mm"},
    }
    assert record["zones"][0]["visibility"] == {"value": 0.124, "low": 0.118, "high": 0.13}
    assert record["flagged"] == [record["zones"][-1]["worst"]]
    assert record["cautions"] == list(CAUTIONS)
    assert record["card"] == {
        "problem": None,
        "part": "L-204/7",
        "mm_per_px": 0.21,
        "ruler": 97.0,
        "mtf": {"0": 0.91, "45": 0.88, "90": 0.84, "135": 0.87},
        "kept": {"value": 0.9, "low": 0.86, "high": 0.94},
        "texture": {"0.01": 0.82, "0.08": 0.99},
        "white_gains": [1.1, 1.0, 1.6],
    }


def test_a_record_without_cells_comes_back_without_them() -> None:
    back = inspection_from_json(through_text(whole_inspection(), cells=False))
    assert back.cells is None
    assert back.labels.size == 0


def test_a_record_from_before_the_card_was_kept_comes_back() -> None:
    record = through_text(inspection_of())
    assert record.pop("card") is None
    record["cells"].pop("shared_uncertainty")
    assert same(inspection_from_json(record), inspection_of())


def test_keys_that_a_later_version_added_are_left_out() -> None:
    record = through_text(whole_inspection())
    record["photo"]["lens"] = "wide"
    record["new"] = 1
    assert same(inspection_from_json(record), whole_inspection())


@settings(max_examples=40)
@given(
    arrays.arrays(
        np.float32, st.tuples(st.integers(1, 6), st.integers(1, 6)), elements=st.floats(width=32)
    )
)
def test_every_number_of_the_cells_comes_back(values: NDArray[np.float32]) -> None:
    rows, columns = values.shape
    cells = replace(cells_of(rows, columns, 20.0), cues={"any": values})
    back = inspection_from_json(through_text(inspection_of(cells=cells)))
    assert back.cells is not None
    assert same(back.cells.cues["any"], values)


def test_an_array_lies_in_planes_of_bytes() -> None:
    """As a program that knows nothing of this one reads it: Python's own struct and zlib."""
    visibility = np.array([[0.5, -2.0, 3.25], [1e-3, np.nan, 7.0]], np.float32)
    cells = replace(cells_of(2, 3, 20.0), visibility=visibility)
    packed = through_text(inspection_of(cells=cells))["cells"]["visibility"]
    assert (packed["dtype"], packed["shape"]) == ("<f4", [2, 3])
    planes = zlib.decompress(base64.b64decode(packed["planes"]))
    numbers = b"".join(planes[n::6] for n in range(6))
    assert numbers == struct.pack("<6f", *visibility.ravel().tolist())


def test_a_record_from_before_the_planes_is_read() -> None:
    inspection = whole_inspection()
    record = through_text(inspection)
    packed = [record["labels"], *(c for c in record["cells"].values() if isinstance(c, dict))]
    cues = record["cells"]["cues"]
    for each in [*(p for p in packed if "planes" in p), *cues.values()]:
        planes = zlib.decompress(base64.b64decode(each.pop("planes")))
        count = max(1, int(np.prod(each["shape"])))
        numbers = b"".join(planes[n::count] for n in range(count))
        each["zlib"] = base64.b64encode(zlib.compress(numbers)).decode()
    assert same(inspection_from_json(record), inspection)


@pytest.mark.parametrize("schema", ["satcheck.inspection/2", "other", None])
def test_another_schema_is_refused_by_name(schema: str | None) -> None:
    with pytest.raises(UsageError, match=rf"old\.json.*{SCHEMA}"):
        inspection_from_json({"schema": schema}, "old.json")


def damage(record: dict[str, Any], how: str) -> None:
    packed = record["cells"]["zone"]
    if how == "missing key":
        del record["zones"]
    elif how == "unknown label":
        record["verdict"] = "soaked"
    elif how == "short data":
        packed["shape"] = [packed["shape"][0] + 1, packed["shape"][1]]
    elif how == "long data":
        packed["shape"] = [1, 1]
    elif how == "huge":
        packed["shape"] = [1 << 20, 1 << 20]
    elif how == "foreign dtype":
        packed["dtype"] = "|O"
    else:
        packed["planes"] = "!" + packed["planes"]


@pytest.mark.parametrize(
    "how",
    [
        "missing key",
        "unknown label",
        "short data",
        "long data",
        "huge",
        "foreign dtype",
        "not base64",
    ],
)
def test_a_damaged_record_is_refused(how: str) -> None:
    record = through_text(whole_inspection())
    damage(record, how)
    with pytest.raises(UsageError, match="damaged"):
        inspection_from_json(record)


def packed_as(array: NDArray[Any]) -> dict[str, Any]:
    """Return an array as a record has it, in the form of earlier records."""
    data = base64.b64encode(zlib.compress(array.tobytes())).decode()
    return {"dtype": array.dtype.str, "shape": list(array.shape), "zlib": data}


@pytest.mark.parametrize(
    ("place", "name", "value", "words"),
    [
        ("photo", "width", 0, "width 0"),
        ("photo", "height", "x", "height 'x'"),
        ("photo", "height", True, "height True"),
        ("cells", "pitch", "x", "pitch 'x'"),
        ("cells", "pitch", 0.0, "pitch 0.0"),
        ("cells", "pitch", float("nan"), "pitch nan"),
        ("cells", "mm_per_px", -0.2, "mm_per_px -0.2"),
        ("cells", "shared_uncertainty", -1, "shared_uncertainty -1"),
        ("cells", "zone", np.ones((30, 15), "<f4"), r"zone of float32, \(30, 15\)"),
        ("cells", "zone", np.ones((0, 15), "|u1"), r"cells of shape \(0, 15\)"),
        ("cells", "zone", np.ones(30, "|u1"), r"cells of shape \(30,\)"),
        ("cells", "brim", np.ones((30, 15), "|u1"), "brim of uint8"),
        ("cells", "lock", np.ones((30, 14), "|b1"), r"lock of bool, \(30, 14\)"),
        ("cells", "reasons", np.ones((30, 15), "|u1"), "reasons of uint8"),
        ("cells", "visibility", None, "no attribute"),
        ("cells", "cues", {"fine": np.ones((15, 30), "<f4")}, "cue fine of float32"),
        ("cells", "cues", {"fine": np.ones((30, 15), "<u4")}, "cue fine of uint32"),
        ("cells", "to_photo", np.ones((3, 3), "<f8"), "to_photo is no"),
        ("cells", "to_photo", np.full((2, 3), np.inf), "to_photo is no"),
        ("cells", "to_photo", np.ones((2, 3), "<f8"), "to_photo leads to a line"),
        ("", "labels", np.ones((800, 600), "<f4"), "labels of float32"),
        ("", "labels", np.ones(600, "|u1"), "labels of uint8"),
    ],
)
def test_a_record_of_cells_that_cannot_be_is_refused(
    place: str, name: str, value: Any, words: str
) -> None:
    record = through_text(whole_inspection())
    assert record["cells"]["zone"]["shape"] == [30, 15]
    if isinstance(value, dict):
        value = {key: packed_as(each) for key, each in value.items()}
    holder = record[place] if place else record
    holder[name] = packed_as(value) if isinstance(value, np.ndarray) else value
    with pytest.raises(UsageError, match=f"^old.json: damaged .*{words}"):
        inspection_from_json(record, "old.json")


@pytest.mark.parametrize("shape", [[float("inf")], [2**40, 2**40]])
def test_an_array_of_no_possible_size_is_refused(shape: list[float]) -> None:
    record = through_text(whole_inspection())
    record["labels"]["shape"] = shape
    with pytest.raises(UsageError, match="damaged"):
        inspection_from_json(record)
