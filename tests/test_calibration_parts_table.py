"""The table of labelled parts: what a spreadsheet or a hurried hand does to it."""

from pathlib import Path

import pytest

from satcheck.calibration.parts_table import OUTCOMES, read_parts
from satcheck.cli import app as cli
from satcheck.errors import TableError
from satcheck.files import CALIBRATION_MARK
from satcheck.model import SCALE, SIDES, STATES, THIRDS, VIEWS, ZONES, Label

HEADER = "photo,part,view,fibre,outcome,zone,state,marks,distal\n"
PLAIN = "a.jpg,P-1,medial,basalt,accepted,,,,\n"


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """Return where to write a table; the photos a.jpg and b/c.jpg and marks.png lie beside it."""
    (tmp_path / "b").mkdir()
    for name in ("a.jpg", "b/c.jpg", "marks.png"):
        (tmp_path / name).write_bytes(b"not looked into")
    return tmp_path / "parts.csv"


def refusal(table: Path, text: str | bytes) -> TableError:
    table.write_bytes(text.encode() if isinstance(text, str) else text)
    with pytest.raises(TableError) as refused:
        read_parts(table)
    assert "\n" not in str(refused.value)
    assert f"{table.name}, line {refused.value.line}: " in str(refused.value)
    return refused.value


def test_rows_of_one_photo_are_gathered(table: Path) -> None:
    table.write_text(
        HEADER
        + "a.jpg,P-1,medial,basalt,rejected,proximal,good,marks.png,down\n"
        + "b/c.jpg,P-2,,glass,accepted,,,,\n"
        + "a.jpg,P-1,medial,basalt,rejected,distal left,starved,marks.png,down\n"
    )
    first, second = read_parts(table)
    assert first.path == (table.parent / "a.jpg").resolve()
    assert first.zones == {"proximal": Label.GOOD, "distal left": Label.STARVED}
    assert first.marks == (table.parent / "marks.png").resolve()
    assert (first.part, first.fibre, first.is_accepted, first.distal) == (
        "P-1", "basalt", False, "down",
    )  # fmt: skip
    assert (second.is_accepted, second.distal, second.marks, second.line) == (True, None, None, 3)


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("zone", [*THIRDS, *ZONES])
def test_every_word_of_the_scale_and_every_zone_is_read(table: Path, zone: str, state: str) -> None:
    table.write_text(f"{HEADER}a.jpg,P-1,,basalt,rejected,{zone},{state},,\n")
    (photo,) = read_parts(table)
    assert photo.zones == {zone: STATES[state]}
    assert STATES[state] in SCALE


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + HEADER + PLAIN,  # byte order mark
        (HEADER + PLAIN).replace("\n", "\r\n"),
        (HEADER + PLAIN).replace("\n", ",,,\r\n"),  # trailing empty columns
        HEADER.replace(",", " , ") + PLAIN.replace(",", " , "),
        HEADER + "\n" + PLAIN + ",,,,,,,,\n\n",  # empty rows
        '"photo","part","view","fibre","outcome"\n"a.jpg","P-1","medial","basalt","accepted"\n',
        "outcome,fibre,part,photo\naccepted,basalt,P-1,a.jpg\n",  # another order
        HEADER[:-1] + ",weight,Zone\n" + PLAIN[:-1] + ",412 g,toe\n",  # unknown columns
        HEADER + PLAIN + PLAIN,  # the same row twice
        HEADER + PLAIN[:-1],  # no end of line
    ],
)
def test_what_spreadsheets_do_is_understood(table: Path, text: str) -> None:
    table.write_bytes(text.encode())
    (photo,) = read_parts(table)
    assert (photo.part, photo.fibre, photo.is_accepted) == ("P-1", "basalt", True)
    assert photo.zones == {}


@pytest.mark.parametrize("column", ["photo", "part", "fibre", "outcome"])
def test_a_missing_column_is_named_with_the_header_that_is_wanted(table: Path, column: str) -> None:
    error = refusal(table, HEADER.replace(column, "remark") + PLAIN)
    assert error.line == 1
    assert f"'{column}'" in str(error)
    assert all(name in str(error) for name in HEADER.strip().split(","))


WORDS = [
    ("view", "front", VIEWS),
    ("outcome", "passed", OUTCOMES),
    ("zone", "toe", (*THIRDS, *ZONES)),
    ("state", "soggy", tuple(STATES)),
    ("state", "not judged", tuple(STATES)),
    ("state", "Starved", tuple(STATES)),
    ("distal", "south", SIDES),
]


@pytest.mark.parametrize(("column", "word", "allowed"), WORDS)
def test_an_unknown_word_is_named_with_its_line_and_the_allowed_ones(
    table: Path, column: str, word: str, allowed: tuple[str, ...]
) -> None:
    row = dict(zip(HEADER.strip().split(","), PLAIN.strip().split(","), strict=True))
    row |= {"photo": "b/c.jpg", "zone": "distal", "state": "good", column: word}
    error = refusal(table, HEADER + PLAIN + ",".join(row.values()) + "\n")
    assert error.line == 3
    assert f"{column} '{word}'" in str(error)
    assert ", ".join(allowed) in str(error)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (",P-1,,basalt,accepted,,,,", "photo is blank"),
        ("gone.jpg,P-1,,basalt,accepted,,,,", "gone.jpg does not exist"),
        ("b,P-1,,basalt,accepted,,,,", "b does not exist"),  # a folder
        ("a.jpg,,,basalt,accepted,,,,", "part is blank"),
        ("a.jpg, ,,basalt,accepted,,,,", "part is blank"),
        ("a.jpg,P-1,,,accepted,,,,", "fibre is blank"),
        ("a.jpg,P-1,,basalt,,,,,", "outcome is blank; allowed are accepted, rejected"),
        ("a.jpg,P-1,,basalt,accepted,distal,,,", "zone and state go together"),
        ("a.jpg,P-1,,basalt,accepted,,good,,", "zone and state go together"),
        ("a.jpg,P-1,,basalt,accepted,,,gone.png,", "gone.png does not exist"),
        ("a.jpg", "outcome is blank"),
        (f"{'a' * 5000}.jpg,P-1,,basalt,accepted,,,,", "cannot be looked up"),
        ('a.jpg,"P-1,,basalt,accepted,,,,', "unexpected end of data"),
        ('a.jpg,"P"1,,basalt,accepted,,,,', "close every quote"),
        ("a.jpg,P-1\0,,basalt,accepted,,,,", r"holds '\x00', which is no text"),
        ("a.jpg,P-1,,basalt,accepted\u200b,,,,", r"outcome 'accepted\u200b' is unknown"),
    ],
)
def test_a_row_that_cannot_be_used_is_named_by_its_line(table: Path, row: str, words: str) -> None:
    error = refusal(table, f"{HEADER}b/c.jpg,P-2,,basalt,accepted,,,,\n\n{row}\n")
    assert error.line == 4
    assert words in str(error)


@pytest.mark.parametrize(
    ("second", "words"),
    [
        ("a.jpg,P-2,,basalt,rejected,distal,good,,", "part 'P-2' contradicts line 2"),
        ("a.jpg,P-1,,glass,rejected,distal,good,,", "fibre 'glass' contradicts line 2"),
        ("a.jpg,P-1,,basalt,accepted,distal,good,,", "outcome 'accepted' contradicts line 2"),
        ("a.jpg,P-1,,basalt,rejected,distal,good,,up", "distal 'up' contradicts line 2"),
        ("a.jpg,P-1,,basalt,rejected,distal,good,marks.png,", "marks 'marks.png' contradicts"),
        ("./a.jpg,P-1,,basalt,rejected,lock,good,,", "zone lock has a second state"),
    ],
)
def test_rows_that_contradict_each_other_are_refused(table: Path, second: str, words: str) -> None:
    error = refusal(table, f"{HEADER}a.jpg,P-1,,basalt,rejected,lock,starved,,\n{second}\n")
    assert error.line == 3
    assert words in str(error)


@pytest.mark.parametrize(
    ("second", "words"),
    [
        ("b/c.jpg,p-1,,basalt,accepted,,,,", "part 'p-1' also stands as 'P-1'"),
        ("b/c.jpg,P-2,,Basalt,accepted,,,,", "fibre 'Basalt' also stands as 'basalt'"),
    ],
)
def test_one_part_or_fibre_in_two_spellings_does_not_count_as_two(
    table: Path, second: str, words: str
) -> None:
    error = refusal(table, f"{HEADER}{PLAIN}{second}\n")
    assert error.line == 3
    assert words in str(error)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "there is no header"),
        (b"\n\n", "there is no header"),
        (b"sep=,\n" + HEADER.encode(), "column 'photo' is missing in 'sep=,'"),
        ((HEADER + PLAIN).replace(",", "|").encode(), "is missing in 'photo|part|view"),
        (PLAIN.encode(), "is missing in 'a.jpg,P-1"),
        (HEADER.upper().encode(), "column 'PHOTO' is not 'photo'"),
        (HEADER.replace("state", "State").encode(), "column 'State' is not 'state'"),
        (HEADER.encode(), "holds no row"),
        ((HEADER + ",,,,,,,,\n").encode(), "holds no row"),
        ((HEADER + PLAIN).replace(",", ";").encode(), "separated by semicolons"),
        ((HEADER + PLAIN).replace(",", "\t").encode(), "separated by tabs"),
        ((HEADER[:-1] + ",zone\n" + PLAIN).encode(), "column 'zone' stands there twice"),
        ((HEADER + PLAIN.replace("P-1", "Pr\xfcfung")).encode("latin-1"), "not UTF-8"),
        ((HEADER + PLAIN).encode("utf-16"), "is UTF-16 text"),
        ((HEADER + 'a.jpg,"P-1,,basalt,accepted,,,,\n').encode(), "not valid CSV"),
        (b"PK\x03\x04\x14\x00\x08\x08\xff\x00\x00", "a spreadsheet's own file"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a spreadsheet's own file"),
    ],
)
def test_a_file_that_is_no_such_table_is_refused(table: Path, content: bytes, words: str) -> None:
    assert words in str(refusal(table, content))


@pytest.mark.parametrize("name", ["gone.csv", "b"])
def test_a_table_that_cannot_be_read_is_named(table: Path, name: str) -> None:
    with pytest.raises(TableError, match=f"{name}, line 1: cannot be read"):
        read_parts(table.with_name(name))


def test_the_command_line_writes_nothing_for_a_bad_row(
    table: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not even the folder's list of files changes, and an earlier calibration stays."""
    table.write_text(HEADER + PLAIN + "b/c.jpg,P-2,,basalt,passed,,,,\n")
    earlier = table.with_name("shop.toml")
    earlier.write_bytes(CALIBRATION_MARK)
    before = sorted(table.parent.rglob("*"))
    with pytest.raises(SystemExit) as end:
        cli.main(["calibrate", str(table), "--out", str(earlier)])
    printed = capsys.readouterr()
    assert end.value.code == 2
    assert printed.out == ""
    assert printed.err.startswith(f"{table}, line 3: outcome 'passed' is unknown")
    assert sorted(table.parent.rglob("*")) == before
    assert earlier.read_bytes() == CALIBRATION_MARK
