"""Every output of an audit says the same, carries its promise and caution, and runs nothing."""

import csv
import io
import json
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from audits import jpeg, month, part_of, photo_of

from satcheck.audit.found import Problem
from satcheck.audit.outputs import file_name, older_sheets, write_results
from satcheck.audit.results import SCHEMA, as_json, parts_csv, photos_csv, text
from satcheck.audit.rows import PartRow, PhotoRow
from satcheck.audit.summary import SUPPORTS, Summary, summarise
from satcheck.errors import UsageError
from satcheck.model import CardFacts, Label
from satcheck.pages.audit import audit_page
from satcheck.part_sheet import part_sheet
from satcheck.resin_and_photo import Beside

EVIL = "=HYPERLINK(1)<script>x</script>"


@pytest.fixture(scope="module")
def found() -> Summary:
    bad = photo_of(EVIL, Label.STARVED, {"lock": Label.STARVED}, by="@who", copies=("twice.jpg",))
    parts = (*month(), part_of(EVIL, bad), part_of("漢字", photo_of("漢字", view="lateral")))
    return summarise(
        parts, made_at="2026-04-01 10:00", folders=["March"],
        problems=[Problem("bad.jpg", "is damaged")], others=1, absent=["april/2.jpg"],
    )  # fmt: skip


def no_picture(photo: PhotoRow) -> bytes | None:
    return None


def a_picture(photo: PhotoRow) -> bytes | None:
    return jpeg()


def page_of(found: Summary) -> str:
    return "".join(audit_page(found, a_picture))


def words(pdf: bytes) -> str:
    pages = pypdfium2.PdfDocument(pdf)
    return "\n".join(page.get_textpage().get_text_bounded() for page in pages)


def test_a_sheet_takes_no_place_of_anothers_file(tmp_path: Path) -> None:
    found = summarise([part_of("A1", photo_of("A1"))])
    write_results(found, tmp_path, no_picture)
    write_results(found, tmp_path, no_picture)
    (sheet,) = (tmp_path / "sheets").iterdir()
    sheet.write_bytes(b"%PDF-1.4 an invoice")
    with pytest.raises(UsageError, match="is no PDF of satcheck"):
        write_results(found, tmp_path, no_picture)
    assert sheet.read_bytes() == b"%PDF-1.4 an invoice"


def test_every_output_states_calibration_promise_and_caution(found: Summary) -> None:
    sheet = " ".join(words(part_sheet(found.parts[0], found, no_picture)).split())
    terminal = " ".join(text(found).split())
    for output in (terminal, page_of(found), sheet, parts_csv(found), photos_csv(found),
                   json.dumps(as_json(found))):  # fmt: skip
        assert "c0ffee12" in output
        assert "No promise." in output
        assert SUPPORTS in output


def test_what_was_not_audited_is_said(found: Summary) -> None:
    for output in (text(found), page_of(found)):
        assert "Passed over: 1 file that is no photo." in output
        assert "NOT IN THESE FOLDERS: 1 photo of the table: april/2.jpg" in output
    assert as_json(found)["not_in_folders"] == ["april/2.jpg"]


@pytest.mark.parametrize("source", ["table", "record"])
def test_a_photo_with_another_parts_card_is_named_in_every_output(source: str) -> None:
    other = photo_of("4711", path="a/1.jpg", part_from=source, card=CardFacts(part="4712"))
    same = photo_of("4711b", path="a/2.jpg", part_from=source, card=CardFacts(part=" 4711B"))
    by_card = photo_of("4713", path="a/3.jpg", part_from="card", card=CardFacts(part="4713"))
    found = summarise([part_of(one.part, one) for one in (other, same, by_card)])
    said = f"The card in the photo says part 4712, the {source} says 4711: the {source} counts."
    assert f"Mind: a/1.jpg: {said}" in text(found)
    assert f"<strong>a/1.jpg</strong>: {said}" in page_of(found)
    assert f"Mind: {said}" in page_of(found)
    sheet = " ".join(words(part_sheet(found.parts[0], found, no_picture)).split())
    assert f"Mind: 1.jpg: {said}" in sheet
    rows = csv.DictReader(io.StringIO(photos_csv(found)))
    assert [row["mind"] for row in rows] == [said, "", ""]
    assert as_json(found)["parts"][0]["photos"][0]["mind"] == said


def test_a_spreadsheet_takes_no_cell_for_a_formula(found: Summary) -> None:
    for table in (parts_csv(found), photos_csv(found)):
        rows = list(csv.DictReader(io.StringIO(table)))
        assert len(rows) == 26
        assert not [cell for row in rows for cell in row.values() if cell[:1] in set("=+-@\t\r")]
        assert any(row["part"] == f"'{EVIL}" for row in rows)


def test_the_json_holds_what_the_tables_hold(found: Summary) -> None:
    plain = json.loads(json.dumps(as_json(found), allow_nan=False))
    assert plain["schema"] == SCHEMA
    assert plain["counts"] == {"parts": 26, "photos": 26, "fail": 7, "pass": 19, "not judged": 0}
    assert plain["second_look"]["plan"]["lot"] == 19
    assert plain["not_read"] == [{"name": "bad.jpg", "sentence": "is damaged"}]
    assert {part["part"] for part in plain["parts"]} == {part.part for part in found.parts}


def test_a_long_list_says_how_much_of_it_stands_in_the_files() -> None:
    """61 parts, each with another part's card and two copies: 60 of each list are printed."""
    parts = [
        part_of(f"P{k}", photo_of(f"P{k}", card=CardFacts(part="X"), copies=(f"{k}.png",)))
        for k in range(61)
    ]
    lines = text(summarise(parts)).splitlines()
    assert sum(line.split()[:1] == [f"P{k}"] for k in range(61) for line in lines) == 60
    assert sum(line.startswith("Mind: ") for line in lines) == 60
    assert sum(line.startswith("The same file twice") for line in lines) == 60
    assert [line for line in lines if line.startswith("... ")] == [
        "... 1 more in parts.csv", "... 1 more in photos.csv", "... 1 more in audit.json",
    ]  # fmt: skip


def test_photos_nearly_the_same_under_two_parts_are_told_from_those_of_one() -> None:
    a, b = (photo_of("1", path=path, likeness=7) for path in ("a.jpg", "b.jpg"))
    one, two = summarise([part_of("1", a, b)]), summarise([part_of("1", a), part_of(
        "2", photo_of("2", path="b.jpg", likeness=7))])  # fmt: skip
    assert "Nearly the same photo: a.jpg, b.jpg" in text(one)
    assert "Nearly the same photo UNDER DIFFERENT PARTS: a.jpg, b.jpg" in text(two)


def test_the_tables_say_what_of_a_part_was_not_seen_and_where_a_time_is_from() -> None:
    photos = [
        photo_of("1", path="a", view="lateral", is_when_recorded=True),
        photo_of("1", Label.NOT_JUDGED, path="b", view="medial", share_judged=0.0,
                 reasons={"glare": 0.75, "edge": 0.25}),
    ]  # fmt: skip
    found = summarise([part_of("1", *photos)])
    (part,) = csv.DictReader(io.StringIO(parts_csv(found)))
    assert (part["photos"], part["views"]) == ("2", "lateral, medial")
    assert part["views_without_photo"] == "anterior, posterior"
    rows = list(csv.DictReader(io.StringIO(photos_csv(found))))
    assert [row["when_from"] for row in rows] == ["record", "photo"]
    assert rows[1]["why_not_judged"] == "glare 75 %, edge 25 %"
    assert [row["zone lock"] for row in rows] == ["good", "not judged"]


def test_the_json_says_since_which_part_a_quantity_has_moved() -> None:
    """Nothing of part 30 to 39 is judged but a tenth; before, all but a fiftieth and less."""
    parts = [
        part_of(f"P-{k}", photo_of(f"P-{k}", when=f"2026-03-{k + 1:02}T08:00:00", reasons={},
                                   share_judged=0.1 if k >= 30 else 1 - 0.01 * (k % 3)))
        for k in range(40)
    ]  # fmt: skip
    plain = as_json(summarise(parts))
    assert plain["share_judged"] == pytest.approx((10 * 0.1 + 30 - 10 * 0.03) / 40)
    (moved,) = (one for one in plain["trends"] if one["quantity"] == "share judged")
    assert (moved["moved_since"], moved["baseline"], moved["technician"]) == ("P-30", 20, None)
    assert moved["limits"][0] < 0.99 < moved["limits"][1]


def test_the_terminal_lists_failing_parts_first_and_the_unread_last(found: Summary) -> None:
    lines = text(found).splitlines()
    assert lines[0] == "26 parts in 26 photos: 7 fail, 19 pass, 0 not judged."
    assert lines[3].split()[:2] in (["=HYPERLINK(1)<s~", "STARVED"], ["P-00", "STARVED"])
    assert lines[-1] == "  bad.jpg: is damaged"
    assert "\x1b" not in text(summarise([part_of("\x1b[2J")]))


def test_no_name_becomes_markup_on_the_page(found: Summary) -> None:
    page = page_of(found)
    assert "<script>x" not in page
    assert "&lt;script&gt;x" in page
    assert page.count("data:image/jpeg;base64,") == 26
    assert 'src="http' not in page
    assert "http" not in page.replace("http://www.w3.org", "")


@pytest.mark.parametrize(
    ("parts", "rings", "limits"), [(3, False, False), (10, True, False), (24, True, True)]
)
def test_the_page_explains_of_its_trends_what_is_drawn(
    parts: int, rings: bool, limits: bool
) -> None:
    """Of three parts no trend is drawn, of ten none has limits: both were explained."""
    page = page_of(summarise(month(parts)))
    assert ("<circle" in page) == ("Rings: each part" in page) == rings
    assert ("<polyline" in page) == ("Broken lines: its limits." in page) == limits


def test_a_name_that_looks_like_a_picture_s_place_stays_a_name() -> None:
    part = part_of('src="<0>"')
    page = "".join(audit_page(summarise([part]), a_picture))
    assert page.count("data:image/jpeg;base64,") == 1


def test_the_scale_stands_beside_the_photo() -> None:
    beside = Beside(
        "lean", ("distal",), (), "starved", True, "Whole part lean by weight: x.", False
    )
    photo = photo_of("1", Label.STARVED, {"lock": Label.STARVED})
    part = type(part_of("1"))("1", (photo,), beside)
    found = summarise([part])
    assert "Whole part lean by weight" in words(part_sheet(part, found, no_picture))
    assert "Whole part lean by weight" in page_of(found)
    assert next(csv.DictReader(io.StringIO(parts_csv(found))))["by_weight"] == "lean"


def test_a_sheet_names_the_part_in_its_script_or_by_code(found: Summary) -> None:
    part = part_of("Łódź-7 漢", photo_of("Łódź-7 漢"))
    said = words(part_sheet(part, found, no_picture))
    assert "Part Łódź-7 " in said
    assert "漢" in said or "U+6F22" in said
    assert "Inspected by:" in said


def test_one_part_in_two_spellings_is_named_wherever_a_half_may_pass() -> None:
    """QM-1 fails; qm-1, the same socket's other photo, had a sheet of its own to sign."""
    bad = part_of("QM-1", photo_of("QM-1", Label.STARVED, {"lock": Label.STARVED}))
    found = summarise([bad, part_of("qm-1"), part_of("qm-2")])
    told = "Spelled alike, counted as 2 parts: QM-1, qm-1."
    assert told in text(found)
    assert told in page_of(found)
    assert as_json(found)["spelled_alike"] == [["QM-1", "qm-1"]]
    sheets = [words(part_sheet(part, found, no_picture)) for part in found.parts]
    assert [told in " ".join(sheet.split()) for sheet in sheets] == [True, True, False]


def test_a_time_that_is_the_record_s_says_by_which_clock(found: Summary) -> None:
    part = part_of("1", photo_of("1", is_when_recorded=True))
    assert "2026-03-04 05:06 (recorded, UTC)" in page_of(summarise([part]))
    assert "(recorded, UTC)" in " ".join(words(part_sheet(part, found, no_picture)).split())


def test_a_sheet_holds_the_zones_of_every_photo(found: Summary) -> None:
    """Of a part's seventh photo and those after it no zone was told."""
    photos = [photo_of("9", path=f"{n}.jpg") for n in range(7)]
    photos.append(photo_of("9", Label.STARVED, {"lock": Label.STARVED}, path="7.jpg"))
    said = words(part_sheet(part_of("9", *photos), found, no_picture)).split("Calibration")[0]
    assert all(f"photo {n}" in said for n in range(1, 9))
    assert "STARVED" in said.split("photo 7")[1]


def test_equal_parts_give_equal_sheets_and_many_photos_several_pages(found: Summary) -> None:
    many = part_of("9", *(photo_of("9", path=f"{n}.jpg") for n in range(14)))
    one, other = (part_sheet(many, found, a_picture) for _ in range(2))
    assert one == other
    assert len(pypdfium2.PdfDocument(one)) > 1


def test_a_sheet_holds_each_picture_as_it_is(found: Summary) -> None:
    """Once each, also those of one size."""
    pictures = {f"{n}.jpg": jpeg(40 * n) for n in range(3)}
    many = part_of("9", *(photo_of("9", path=path) for path in (*pictures, "0.jpg")))
    sheet = part_sheet(many, found, lambda photo: pictures[photo.path])
    assert [sheet.count(picture) for picture in pictures.values()] == [1, 1, 1]
    drawn = pypdfium2.PdfDocument(sheet)[0].render(scale=1).to_numpy()[..., :3].astype(int)
    seen = [(np.abs(drawn - 40 * n) <= 2).all(2).sum() for n in (1, 2)]
    assert min(seen) > 5000  # px: no letters are so large


@pytest.mark.parametrize("part", ["4711", "a/b", "..", "", "A", "a", "漢" * 90, "con:", "x" * 300])
def test_a_sheet_s_name_is_a_plain_file_name(part: str) -> None:
    name = file_name(part)
    assert name not in ("", ".", "..")
    assert not set(name) & set('/\\:*?"<>|\0')
    assert len(name.encode()) < 200
    assert file_name(part + "/") != name


def test_parts_that_differ_only_in_case_have_sheets_of_their_own() -> None:
    assert file_name("A-1").casefold() != file_name("a-1").casefold()


def test_all_files_are_written_and_a_folder_that_is_a_file_is_one_sentence(
    found: Summary, tmp_path: Path
) -> None:
    write_results(found, tmp_path / "out", no_picture)
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {"audit.html", "audit.json", "parts.csv", "photos.csv", "sheets"}
    assert len(list((tmp_path / "out" / "sheets").iterdir())) == 26
    (tmp_path / "file").touch()
    with pytest.raises(UsageError, match="cannot be written"):
        write_results(found, tmp_path / "file", no_picture)


def test_sheets_of_an_earlier_audit_in_the_folder_are_told_from_this_ones(tmp_path: Path) -> None:
    april = summarise([part_of("A2", photo_of("A2"))])
    write_results(april, tmp_path, no_picture)
    assert older_sheets(april, tmp_path) == ()
    write_results(summarise([part_of("A1", photo_of("A1"))]), tmp_path, no_picture)
    assert older_sheets(april, tmp_path) == (f"{file_name('A1')}.pdf",)


def test_a_row_of_the_terminal_says_every_place_within_80_columns(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    places = "starved distal third, proximal right and middle centre/right"
    where = f"{places}; rich proximal left/centre, middle left and brim"
    monkeypatch.setattr(PartRow, "where", where)
    lines = text(summarise([part_of("4711")])).splitlines()
    assert where in " ".join(" ".join(lines).split())
    assert max(map(len, lines)) <= 80
