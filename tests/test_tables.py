"""Any table is read as it was written or refused by its line; no text in it becomes a formula."""

import csv
import io
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from satcheck.calibration.file import read_calibration
from satcheck.errors import CalibrationError, TableError
from satcheck.ledger.exporting import csv_lines
from satcheck.lesson.picks import Pick, read_picks, write_picks
from satcheck.model import SCALE
from satcheck.tables import as_typed, read_rows, unformula

DEMO = Path(__file__).parents[1] / "calibration" / "demo.toml"
CELLS = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=12).map(str.strip)
NAMES = CELLS.filter(bool)
FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", "'=1", "''=1", " =1", "'-", "'abc", "'", '=CMD|"/c"!A']


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("tables") / "table.csv"


@given(st.lists(st.tuples(NAMES, CELLS, CELLS), max_size=6), st.sampled_from(["\n", "\r\n"]))
def test_what_a_spreadsheet_writes_is_what_is_read(
    file: Path, rows: list[tuple[str, str, str]], end: str
) -> None:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator=end)
    writer.writerows([("part", "note", "own"), *rows])
    file.write_text(text.getvalue(), encoding="utf-8", newline="")
    found = [
        (row.cells["part"], row.cells["note"]) for row in read_rows(file, ("part",), ("note",))
    ]
    assert found == [(part, note) for part, note, _ in rows]


@given(st.binary(max_size=200) | st.text('part,note"\n;\t=\0é\x1b', max_size=60).map(str.encode))
@example(b"part\n\xff")
def test_any_bytes_are_rows_or_one_sentence_with_a_line(file: Path, data: bytes) -> None:
    file.write_bytes(data)
    error, rows = None, []
    try:
        rows = list(read_rows(file, ("part",), ("note",)))
    except TableError as refusal:
        error = refusal
    assert all(set(row.cells) == {"part", "note"} for row in rows)
    if error is not None:
        assert "\n" not in str(error)
        assert 1 <= error.line <= data.count(b"\n") + data.count(b"\r") + 1


@pytest.mark.parametrize("typed", ["mark", "markss", "makrs", "Marks", "MARK"])
def test_a_column_that_may_be_left_out_is_not_lost_by_a_slip(file: Path, typed: str) -> None:
    """A shop that wrote mark calibrated without its painted maps, and nothing said so."""
    file.write_text(f"part,{typed}\n1,a.png\n", encoding="utf-8")
    with pytest.raises(TableError, match=f"line 1: column '{typed}' is not 'marks'"):
        list(read_rows(file, ("part",), ("marks", "size")))


@pytest.mark.parametrize("own", ["side", "remarks", "mar", "parts of it", ""])
def test_a_column_of_the_shops_own_is_ignored(file: Path, own: str) -> None:
    file.write_text(f"part,{own}\n1,x\n", encoding="utf-8")
    (row,) = read_rows(file, ("part",), ("marks", "size"))
    assert row.cells == {"part": "1", "marks": "", "size": ""}


@given(CELLS | st.sampled_from(FORMULAS))
def test_a_cell_that_was_kept_from_being_a_formula_has_one_way_back(text: str) -> None:
    cell = unformula(text)
    assert not cell.lstrip(" ").startswith(("=", "+", "-", "@"))
    assert as_typed(cell) == text


@given(st.lists(st.tuples(NAMES, NAMES, CELLS), max_size=4))
@example([("=1.jpg", "+basalt", "-wet, 'see'")])
def test_a_trainers_picks_come_back_and_run_nothing(
    file: Path, told: list[tuple[str, str, str]]
) -> None:
    picks = tuple(Pick("see", p, f, SCALE[0], "clearest", n, use=bool(n)) for p, f, n in told)
    file.write_text(write_picks(picks), encoding="utf-8", newline="")
    assert read_picks(file) == picks
    with file.open(newline="", encoding="utf-8") as lines:
        cells = [cell for row in csv.reader(lines) for cell in row]
    assert not [cell for cell in cells if cell.lstrip(" ").startswith(("=", "+", "-", "@"))]


@given(st.integers(0, 10**6), st.integers(1, 255))
def test_any_byte_of_a_calibration_that_is_changed_is_found_or_changes_nothing(
    file: Path, place: int, by: int
) -> None:
    data = bytearray(DEMO.read_bytes())
    data[place % len(data)] ^= by
    file.write_bytes(data)
    try:
        found = read_calibration(file).id
    except CalibrationError as refusal:
        found = str(refusal)
    assert found == read_calibration(DEMO).id or found.startswith(f"{file}: ")
    assert "\n" not in found


def test_an_empty_export_is_its_header() -> None:
    assert len(list(csv_lines([], str))) == 1
