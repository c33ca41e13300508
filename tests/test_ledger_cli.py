"""The commands of ``satcheck ledger``: what they print, write and refuse."""

import csv
import json
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from ledgers import clock_from, inspect, note, tamper

from satcheck.cli.app import main
from satcheck.ledger.book import Ledger, open_ledger, read_ledger
from satcheck.ledger.recording import stored_inspection
from satcheck.model import Label
from satcheck.record import inspection_to_json


@pytest.fixture
def ledger(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Ledger:
    """Return a ledger of two inspections and a note, in the current folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    ledger = open_ledger(Path("satcheck.ledger"), clock_from("2026-03-04", days=1))
    inspect(ledger, Label.STARVED, part="4711", by="AB")
    inspect(ledger, Label.GOOD, part="0815", by="CD")
    ledger.append(note("film torn", by="AB"))
    return ledger


def run(*words: str) -> int:
    """Run ``satcheck ledger`` and return its exit status."""
    with pytest.raises(SystemExit) as stopped:
        main(["ledger", *words])
    return int(stopped.value.code or 0)


def test_a_list_has_a_line_an_entry_newest_first(
    ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("list") == 0
    header, *lines = capsys.readouterr().out.splitlines()
    assert header.split() == [*("time", "id", "kind", "part", "or", "photo", "verdict", "by")]
    assert [line.split()[3] for line in lines if line] == ["note", "inspection", "inspection"]
    assert lines[2].split() == [
        *("2026-03-04", "00:00", next(ledger.entries()).id[:8]),
        *("inspection", "4711", "starved", "AB"),
    ]


def test_a_limit_beyond_every_number_of_entries_lists_all(
    ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("list", "--limit", "9" * 30, "--csv") == 0
    assert len(capsys.readouterr().out.strip().splitlines()) == 4


@pytest.mark.parametrize("form", [[], ["--csv"], ["--json"]])
def test_a_long_list_is_read_few_entries_at_a_time(
    ledger: Ledger,
    form: list[str],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """All of 34,000 entries at once took 1 GB."""
    ledger.append_all([note(f"{k}") for k in range(1200)])
    read, most = Ledger.read, 0

    def counted(opened: Ledger, sql: str, values: Sequence[Any] = ()) -> list[Any]:
        nonlocal most
        rows = read(opened, sql, values)
        most = max(most, sum(len(row) > 3 for row in rows))
        return rows

    monkeypatch.setattr(Ledger, "read", counted)
    assert run("list", "--limit", "2000", *form) == 0
    out = capsys.readouterr().out
    assert len(json.loads(out) if "--json" in form else out.split("\n")[1:-2]) == 1203
    assert 0 < most <= 500


@pytest.mark.parametrize("command", ["list", "trend"])
def test_a_list_in_two_forms_at_once_is_refused(
    ledger: Ledger, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    assert run(command, "--csv", "--json") == 2
    assert capsys.readouterr() == ("", "--csv and --json: a list is printed as one of them\n")


def test_a_list_that_leaves_older_entries_out_says_so(
    ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("list", "--limit", "2") == 0
    assert "Only the newest 2 are listed" in capsys.readouterr().err
    assert run("list", "--limit", "3") == 0
    assert capsys.readouterr().err == ""


def test_what_was_corrected_does_not_pass_for_what_counts(
    ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    """What corrects it may not be in the list: the starved of March, mended in April."""
    old = next(ledger.entries())
    new = ledger.append(note("a reflex, by eye good", corrects=old.id))
    assert run("list", "--verdict", "starved") == 0
    _, line, mark, *_ = capsys.readouterr().out.splitlines()
    assert line.split()[2] == f"{old.id[:8]}*"
    assert mark.startswith("* corrected by a later entry")
    assert run("list", "--verdict", "good") == 0
    assert "*" not in capsys.readouterr().out
    assert run("export", "march.csv", "--verdict", "starved") == 0
    assert run("export", "march.json", "--verdict", "starved") == 0
    (row,) = csv.DictReader(Path("march.csv").read_text("utf-8-sig").splitlines())
    (entry,) = json.loads(Path("march.json").read_text("utf-8"))
    assert row["corrected_by"] == entry["corrected_by"] == new.id


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (["--part", "0815"], 1),
        (["--verdict", "starved"], 1),
        (["--by", "AB", "--kind", "Note"], 1),
        (["--since", "2026-03-05"], 2),
        (["--until", "2026-03-04"], 1),
        (["--since", "2026-03-05", "--until", "2026-03-05T00:00"], 1),
        (["--until", "2025"], 0),
        (["--limit", "2"], 2),
    ],
)
def test_a_list_is_narrowed_by_each_filter(
    ledger: Ledger, words: list[str], found: int, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("list", "--json", *words) == 0
    assert len(json.loads(capsys.readouterr().out)) == found


def test_an_inspection_is_shown_as_it_was_reported(
    ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    first = next(ledger.entries())
    new = ledger.append(note("looked again", corrects=first.id))
    assert run("show", first.id[:8]) == 0
    text = capsys.readouterr().out
    assert "recorded 2026-03-04 00:00 by AB" in text
    assert "STARVED" in text
    assert f"CORRECTED by {new.id}" in text


def test_a_terminal_is_not_moved_by_what_was_typed(
    ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    entry = ledger.append(note("\x1b[2Jgone", part="\x1b[31m12", by="A\rB"))
    assert run("list") == 0
    assert run("show", entry.id) == 0
    assert not {"\x1b", "\r"} & set(capsys.readouterr().out)


@pytest.fixture
def counted(ledger: Ledger) -> Ledger:
    """Return the two of March with two of April more, one of them corrected, one not judged."""
    april = open_ledger(Path("satcheck.ledger"), clock_from("2026-04-01", days=1))
    first = inspect(april, Label.RICH, by="AB", resin="epoxy")
    inspect(april, Label.NOT_JUDGED, by="CD")
    inspect(april, Label.LEAN, by="AB", resin="epoxy", corrects=first.id)
    return april


def test_a_trend_is_a_table_of_what_was_recorded(
    counted: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("trend") == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[1].split() == [
        *("month", "count", "starved", "lean", "good", "heavy", "rich", "judged", "judged"),
        "evenness",
    ]
    assert [line.split() for line in lines[2:] if line] == [
        ["2026-03", "2", "1", "0", "1", "0", "0", "0", "96", "%", "0.91"],
        ["2026-04", "2", "0", "1", "0", "0", "0", "1", "96", "%", "0.91"],
    ]
    assert len({len(line) for line in lines[1:] if line}) == 1


def test_a_trend_by_technician_fits_eighty_columns(
    counted: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    inspect(counted, Label.GOOD, by="A very long name \x1b[2J")
    inspect(counted, Label.GOOD)
    assert run("trend", "--period", "week", "--group", "technician", "--since", "2026-W14") == 0
    lines = [line for line in capsys.readouterr().out.splitlines() if line]
    assert [line.split()[:3] for line in lines[2:]] == [
        ["2026-W14", "(not", "told)"],
        ["2026-W14", "A", "very"],
        ["2026-W14", "AB", "1"],
        ["2026-W14", "CD", "1"],
    ]
    assert max(map(len, lines)) < 80
    assert not any("\x1b" in line for line in lines)


def test_two_names_that_begin_alike_stand_there_in_full(
    counted: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    names = ["Bartholomew Jones", "Bartholomew Smythe", "night\x07", "night\x1b"]
    for name in names:
        inspect(counted, Label.GOOD, by=name)
    assert run("trend", "--group", "technician", "--since", "2026-04") == 0
    _, heads, *lines = filter(None, capsys.readouterr().out.splitlines())
    end = heads.index(" count")
    shown = [line[8:end].strip() for line in lines]
    assert [name for name in shown if name not in ("AB", "CD")] == [
        *names[:2],
        r"night\x07",
        r"night\x1b",
    ]
    assert [line[end:].split()[0] for line in lines] == ["1"] * len(shown)


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (["--since", "2026-04"], {"2026-04": 2}),
        (["--until", "2026-03"], {"2026-03": 2}),
        (["--until", "2026"], {"2026-03": 2, "2026-04": 2}),
        (["--by", "AB"], {"2026-03": 1, "2026-04": 1}),
        (["--resin", "epoxy"], {"2026-04": 1}),
        (["--since", "2027"], {}),
    ],
)
def test_a_trend_is_narrowed_by_each_filter(
    counted: Ledger, words: list[str], found: dict[str, int], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("trend", "--json", *words) == 0
    points = json.loads(capsys.readouterr().out)
    assert {point["period"]: point["inspections"] for point in points} == found


def test_a_trend_as_csv_holds_the_same_counts(
    counted: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("trend", "--csv", "--group", "resin", "--since", "2026-04") == 0
    assert capsys.readouterr().out.split() == [
        "period,group,inspections,starved,lean,good,heavy,rich,not_judged,share_judged,evenness",
        "2026-04,,1,0,0,0,0,0,1,0.96,0.91",
        "2026-04,epoxy,1,0,1,0,0,0,0,0.96,0.91",
    ]


def test_a_trend_of_nothing_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    open_ledger(tmp_path / "new.ledger", clock_from("2026-03-04")).close()
    file = ["--ledger", str(tmp_path / "new.ledger")]
    assert run("trend", *file) == 0
    assert capsys.readouterr().out == "No inspection is recorded.\n"
    assert run("trend", *file, "--by", "AB") == 0
    assert capsys.readouterr().out == "No such inspection.\n"


@pytest.mark.parametrize(
    ("words", "allowed"),
    [
        (["--since", "2026-13"], "2026 and 2026-03"),
        (["--until", "2026-03-04"], "2026 and 2026-03"),
        (["--since", "2026-W10"], "2026 and 2026-03"),
        (["--period", "week", "--since", "2026-03"], "2026 and 2026-W10"),
    ],
)
def test_a_trend_from_no_such_period_is_refused(
    ledger: Ledger, words: list[str], allowed: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("trend", *words) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert f"; allowed are {allowed}" in error


def test_an_export_is_a_new_file_of_the_kind_that_its_name_says(ledger: Ledger) -> None:
    assert run("export", "month.csv", "--verdict", "good") == 0
    assert Path("month.csv").read_text(encoding="utf-8-sig").count("\n") == 2
    assert run("export", "month.json") == 0
    assert len(json.loads(Path("month.json").read_text(encoding="utf-8"))) == 3


def test_backup_and_merge_say_what_they_did(
    ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("backup", "copy.ledger") == 0
    assert run("merge", "copy.ledger", "--ledger", "new.ledger") == 0
    assert "3 entries added, 0 there before" in capsys.readouterr().out
    assert run("merge", "copy.ledger", "--ledger", "new.ledger") == 0
    assert "0 entries added, 3 there before" in capsys.readouterr().out


def test_verify_gives_a_hash_to_note_and_holds_the_ledger_to_it(
    ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("verify", "--noted", ledger.head().hash[:12]) == 0
    assert f"Whole: 3 entries. Last hash {ledger.head().hash}" in capsys.readouterr().out
    assert run("verify", "--noted", "0" * 12) == 1


def test_verify_names_the_first_broken_entry(
    ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    tamper(ledger.path, "UPDATE record SET body = replace(body, '0815', '0816')")
    assert run("verify") == 1
    assert "BROKEN at entry 2" in capsys.readouterr().out


def test_an_index_out_of_step_is_said_and_made_again(
    ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    tamper(ledger.path, "DELETE FROM tally")
    assert run("verify") == 0
    assert "--reindex" in capsys.readouterr().out
    assert run("verify", "--reindex") == 0
    assert "--reindex" not in capsys.readouterr().out


@pytest.mark.parametrize("body", ["{broken", "[1, 2]"])
def test_no_index_is_made_from_a_damaged_entry(
    ledger: Ledger, body: str, capsys: pytest.CaptureFixture[str]
) -> None:
    tamper(ledger.path, f"UPDATE record SET body = '{body}' WHERE seq = 2")
    assert run("verify", "--reindex") == 2
    assert "entry 2 is damaged, so the index stays as it is" in capsys.readouterr().err
    assert ledger.read("SELECT count(*) FROM lookup") == [(3,)]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["list", "--ledger", "none.ledger"], "there is no such ledger"),
        (["list", "--ledger", "."], "it is a folder"),
        (["list", "--ledger", "text.ledger"], "it is no ledger"),
        (["list", "--since", "soon"], "is no time"),
        (["list", "--kind", "moon"], "is no kind of entry"),
        (["show", "zz"], "is no id"),
        (["show", "0000000000"], "no entry of this id"),
        (["export", "out.xls"], "ends in .csv or .json"),
        (["export", "text.csv"], "there already"),
        (["export", "none/out.csv"], "cannot be written"),
        (["backup", "text.ledger"], "there already"),
        (["backup", "none/copy.ledger"], "none/copy.ledger: it cannot be opened"),
        (["merge", "satcheck.ledger"], "merged into itself"),
        (["merge", "text.ledger"], "it is no ledger"),
        (["verify", "--noted", "12"], "is no hash"),
    ],
)
def test_a_wrong_call_is_one_sentence_and_harms_nothing(
    ledger: Ledger, words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("text.ledger", "text.csv"):
        Path(name).write_text("not yours", encoding="utf-8")
    head, files = ledger.head(), sorted(Path().iterdir())
    assert run(*words) == 2
    error = capsys.readouterr().err
    assert said in error
    assert len(error.splitlines()) == 1
    assert (ledger.head(), sorted(Path().iterdir())) == (head, files)
    assert Path("text.csv").read_text(encoding="utf-8") == "not yours"


def test_a_photo_that_is_checked_with_a_ledger_is_recorded(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo = Path(__file__).parents[1] / "sample_images" / "basalt_12.jpg"
    words = ["check", str(photo), "--fibre", "basalt", "--out", str(tmp_path), "--view", "medial"]
    records = tmp_path / "shop.ledger"
    with pytest.raises(SystemExit):
        main([*words, "--ledger", str(records), "--part", "4711", "--by", "AB", "--resin", "epoxy"])
    (entry,) = read_ledger(records).entries()
    said = {key: entry.body[key] for key in ("part", "view", "resin", "fibre")}
    assert said == {"part": "4711", "view": "medial", "resin": "epoxy", "fibre": "basalt"}
    assert entry.body["settings"]["fibre"] == "basalt"
    stem = json.loads((tmp_path / "basalt_12.json").read_text(encoding="utf-8"))
    assert inspection_to_json(stored_inspection(read_ledger(records), entry)) == stem


def test_a_ledger_that_cannot_be_opened_is_said_before_a_photo_is_judged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo = Path(__file__).parents[1] / "sample_images" / "basalt_12.jpg"
    with pytest.raises(SystemExit) as stopped:
        main(["check", str(photo), "--fibre", "basalt", "--ledger", str(tmp_path)])
    assert stopped.value.code == 2
    assert "it is a folder" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["--by", "--resin"])
def test_what_is_told_for_the_record_without_a_ledger_is_refused_before_a_photo_is_judged(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo = Path(__file__).parents[1] / "sample_images" / "basalt_12.jpg"
    with pytest.raises(SystemExit) as stopped:
        main(["check", str(photo), "--out", str(tmp_path), name, "AB"])
    said = capsys.readouterr()
    assert (stopped.value.code, said.out) == (2, "")
    assert said.err == f"{name} is for the record: it needs --ledger FILE\n"
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("terminal", [True, False])
def test_a_check_shows_on_a_terminal_how_far_it_is(
    ledger: Ledger,
    terminal: bool,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys.stderr, "isatty", lambda: terminal)
    assert run("verify") == 0
    out, err = capsys.readouterr()
    assert out.startswith("Whole: 3 entries.")
    assert ("3/3" in err and "entries" in err) if terminal else err == ""
