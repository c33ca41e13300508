"""What is judged is recorded once, whatever stops the audit; what cannot be read costs itself."""

import shutil
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from audits import here, open_audit, run_all
from drawn_shop import DrawnShop

from satcheck.audit.collecting import collect, pictures_of
from satcheck.audit.gathering import gather
from satcheck.audit.judging import Done, Refused, Task, judge_task, picture_mark
from satcheck.audit.results import text
from satcheck.audit.running import Audit, picture_path, read_mark, run
from satcheck.audit.summary import summarise
from satcheck.errors import UsageError
from satcheck.ledger.entries import Draft, Kind
from satcheck.ledger.recording import Context, stored_inspection
from satcheck.ledger.search import Search
from satcheck.ledger.verifying import verify
from satcheck.pages.audit import audit_page
from satcheck.processes import Lost


@pytest.fixture(scope="module")
def photos(shop: DrawnShop, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return two drawn photos of part 4711 in its folder, and one by itself."""
    folder = tmp_path_factory.mktemp("audit") / "photos"
    (folder / "4711").mkdir(parents=True)
    for number, name in enumerate(("4711/anterior.png", "4711/lateral.png", "lone.png")):
        shutil.copy(shop.table.parent / f"{number}.png", folder / name)
    return folder


@pytest.fixture(scope="module")
def judged(shop: DrawnShop, photos: Path, tmp_path_factory: pytest.TempPathFactory) -> Audit:
    audit = open_audit(tmp_path_factory.mktemp("judged"), shop.calibration)
    run_all(audit, photos)
    return audit


@pytest.fixture
def copy(judged: Audit, tmp_path: Path) -> Audit:
    """Return a copy of the finished audit, to be harmed."""
    judged.ledger.write_copy(tmp_path / "shop.ledger")
    shutil.copytree(judged.pictures, tmp_path / "pictures")
    return open_audit(tmp_path, judged.bounds)


def never(tasks: Iterable[Task]) -> Iterator[Any]:
    raise AssertionError([task.name for task in tasks])
    yield


def inspections(audit: Audit) -> list[str]:
    found = audit.ledger.find(Search(kind=Kind.INSPECTION), limit=None)
    return sorted(str(entry.body["inspection"]["photo"]["name"]) for entry in found)


def test_each_photo_is_recorded_once_with_a_picture_of_that_record(
    judged: Audit, photos: Path
) -> None:
    assert inspections(judged) == ["anterior.png", "lateral.png", "lone.png"]
    for found in gather([photos]).photos:
        (entry,) = judged.ledger.find(Search(photo=found.sha256))
        mark = read_mark(picture_path(judged, found))
        assert mark is not None
        assert mark.record == entry.body["blobs"]["whole"]
        assert stored_inspection(judged.ledger, entry).cells is not None
    assert verify(judged.ledger).first is None


def test_the_ledger_names_the_part_and_says_where_a_guess_is_from(judged: Audit) -> None:
    found = judged.ledger.find(Search(kind=Kind.INSPECTION), limit=None)
    parts = {str(e.body["inspection"]["photo"]["name"]): e.body.get("part") for e in found}
    assert parts == {"anterior.png": "4711", "lateral.png": "4711", "lone.png": None}
    assert {e.body.get("part_from") for e in found} == {"sub-folder", None}


def test_what_is_judged_is_not_judged_again(copy: Audit, photos: Path) -> None:
    *_, last = run(copy, gather([photos]).photos, lambda tasks: never(tasks) if list(tasks) else
                   iter(()))  # fmt: skip
    assert (last.known, last.done) == (3, 0)


def test_a_lost_picture_is_drawn_again_and_nothing_judged(copy: Audit, photos: Path) -> None:
    found = gather([photos]).photos[0]
    path = picture_path(copy, found)
    before = path.read_bytes()
    for damage in (b"", b"\xff\xd8 half a file"):
        path.write_bytes(damage)
        run_all(copy, photos)
        assert path.read_bytes() == before
    assert len(inspections(copy)) == 3


def test_a_killed_audit_goes_on_with_what_is_left(
    shop: DrawnShop, photos: Path, tmp_path: Path, judged: Audit
) -> None:
    audit, found = open_audit(tmp_path, shop.calibration), gather([photos]).photos
    going = run(audit, found, here(audit.bounds))
    next(going), next(going)
    going.close()  # type: ignore[attr-defined]
    assert len(inspections(audit)) == 1
    _, last = run_all(audit, photos)
    assert (last.known, last.done) == (1, 2)
    assert inspections(audit) == inspections(judged)


def test_two_audits_at_once_on_one_ledger_record_each_photo_once(
    shop: DrawnShop, photos: Path, tmp_path: Path, judged: Audit
) -> None:
    one, other = (open_audit(tmp_path, shop.calibration) for _ in range(2))

    def while_the_other_ends(tasks: Iterable[Task]) -> Iterator[tuple[Task, Done | Refused]]:
        done = list(here(one.bounds)(tasks))
        run_all(other, photos)
        yield from done

    *_, last = run(one, gather([photos]).photos, while_the_other_ends)
    assert (last.done, last.problems) == (3, [])
    assert inspections(one) == inspections(judged)
    assert verify(one.ledger).first is None


def test_a_picture_of_two_parts_is_recorded_and_summed_up_for_both(
    shop: DrawnShop, tmp_path: Path
) -> None:
    folder = tmp_path / "photos"
    for name in ("a/1.png", "b/1.png"):
        (folder / name).parent.mkdir(parents=True)
        shutil.copy(shop.table.parent / "0.png", folder / name)
    (folder / "parts.csv").write_text("photo,part\na/1.png,4711\nb/1.png,4712\n")
    audit = open_audit(tmp_path, shop.calibration)
    for known in (0, 2):
        gathered = gather([folder], folder / "parts.csv")
        *_, last = run(audit, gathered.photos, here(audit.bounds))
        assert (last.known, last.problems) == (known, [])
        found = summarise(collect(audit, gathered))
        assert {part.part for part in found.parts} == {"4711", "4712"}
        assert len({*pictures_of(audit, gathered).values()}) == 2
    recorded = audit.ledger.find(Search(kind=Kind.INSPECTION), limit=None)
    assert sorted(str(entry.body["part"]) for entry in recorded) == ["4711", "4712"]
    said = "The same file UNDER DIFFERENT PARTS (4711, 4712): "
    assert said in text(found)
    assert said in "".join(audit_page(found, lambda _: None))


@pytest.mark.parametrize("change", ["version", "calibration"])
def test_another_version_or_calibration_is_judged_anew(
    copy: Audit, photos: Path, change: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    if change == "version":
        monkeypatch.setattr("satcheck.audit.running.__version__", "99.0")
    else:
        copy = replace(copy, bounds=replace(copy.bounds, id="another"))
    first = next(run(copy, gather([photos]).photos, never))
    assert first.known == 0


def test_a_correction_in_the_ledger_is_judged_anew(copy: Audit, photos: Path) -> None:
    found = gather([photos]).photos[0]
    (entry,) = copy.ledger.find(Search(photo=found.sha256))
    copy.ledger.append(Draft(Kind.NOTE, {"text": "wrong part"}, corrects=entry.id))
    assert next(run(copy, gather([photos]).photos, never)).known == 2


def test_the_part_by_the_ledger_counts_before_the_folder(copy: Audit, photos: Path) -> None:
    found = gather([photos])
    lone = next(photo for photo in found.photos if photo.path.name == "lone.png")
    copy.ledger.append(Draft(Kind.NOTE, {"photo": lone.sha256, "part": "0815"}))
    rows = {row.part: row for row in collect(copy, found)}
    assert set(rows) == {"4711", "0815"}
    assert rows["0815"].photos[0].part_from == "record"
    assert [photo.view for photo in rows["4711"].photos] == ["anterior", "lateral"]


def test_what_cannot_be_read_or_takes_its_worker_along_is_named(
    shop: DrawnShop, tmp_path: Path, photos: Path
) -> None:
    folder = tmp_path / "mixed"
    folder.mkdir()
    (folder / "cut.png").write_bytes((photos / "lone.png").read_bytes()[:5000])
    (folder / "evil.jpg").write_bytes(b"\xff\xd8 makes the codec die")
    (folder / "gone.jpg").write_bytes(b"\xff\xd8 gone")
    audit, found = open_audit(tmp_path, shop.calibration), gather([folder]).photos
    (folder / "gone.jpg").unlink()

    def work(tasks: Iterable[Task]) -> Iterator[Any]:
        for task in tasks:
            evil = task.name == "evil.jpg"
            yield task, Lost("made the process crash") if evil else judge_task(audit.bounds, task)

    *_, last = run(audit, found, work)
    told = {Path(problem.name).name: problem.sentence for problem in last.problems}
    assert told["evil.jpg"] == "made the process crash"
    assert told["gone.jpg"] == "cannot be opened (No such file or directory)"
    assert "damaged or cut short" in told["cut.png"]
    assert (last.done, inspections(audit)) == (3, [])


def test_a_share_that_goes_away_stops_the_audit_in_one_sentence(
    shop: DrawnShop, tmp_path: Path
) -> None:
    share = tmp_path / "share"
    share.mkdir()
    (share / "1.jpg").write_bytes(b"\xff\xd8 a photo")
    audit, found = open_audit(tmp_path, shop.calibration), gather([share]).photos
    (share / "1.jpg").unlink()
    with pytest.raises(UsageError, match=r"can no longer be reached; .* goes on when it is back"):
        list(run(audit, found, here(audit.bounds)))


def test_a_photo_that_changes_meanwhile_is_not_recorded_under_its_old_name(
    shop: DrawnShop, photos: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "changing"
    folder.mkdir()
    shutil.copy(photos / "lone.png", folder / "a.png")
    audit, found = open_audit(tmp_path, shop.calibration), gather([folder]).photos
    shutil.copy(photos / "4711" / "lateral.png", folder / "a.png")
    *_, last = run(audit, found, here(audit.bounds))
    assert [problem.sentence for problem in last.problems] == ["changed while the audit ran"]
    assert inspections(audit) == []


def test_no_verdict_is_drawn_over_a_photo_that_changed_since_it_was_judged(
    copy: Audit, photos: Path, tmp_path: Path
) -> None:
    """The record's picture was lost; what lay under its name by then was drawn as judged."""
    shutil.copy(photos / "lone.png", tmp_path / "lone.png")
    (found,) = gather([tmp_path / "lone.png"]).photos
    picture_path(copy, found).unlink()
    shutil.copy(photos / "4711" / "lateral.png", tmp_path / "lone.png")
    *_, last = run(copy, [found], here(copy.bounds))
    assert [problem.sentence for problem in last.problems] == ["changed while the audit ran"]
    assert not picture_path(copy, found).exists()


def test_a_full_disk_is_one_sentence_and_harms_nothing(
    copy: Audit, photos: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, data: bytes) -> None:
        raise OSError(28, "No space left on device")

    picture_path(copy, gather([photos]).photos[0]).unlink()
    monkeypatch.setattr("satcheck.audit.running.write_whole", full)
    with pytest.raises(UsageError, match=r"No space left on device.*what was judged is recorded"):
        run_all(copy, photos)
    assert verify(copy.ledger).first is None


def test_the_same_task_gives_the_same_bytes(shop: DrawnShop, photos: Path) -> None:
    data = (photos / "lone.png").read_bytes()
    task = Task("k", "lone.png", data, "basalt", "down", Context(), None)
    one, other = (judge_task(shop.calibration, task) for _ in range(2))
    assert isinstance(one, Done)
    assert isinstance(other, Done)
    assert one.picture == other.picture
    assert one.draft == other.draft
    assert picture_mark(one.picture[:4096]) is not None
    assert picture_mark(data) is None


def test_an_unknown_fibre_is_refused_before_anything_is_judged(copy: Audit, photos: Path) -> None:
    audit = replace(copy, fibre="steel")
    with pytest.raises(UsageError, match="'steel' is not in the calibration; it holds basalt"):
        next(run(audit, gather([photos]).photos, never))
