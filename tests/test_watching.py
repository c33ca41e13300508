"""Photos are judged once they are complete, once only, whatever happens to the folder."""

import hashlib
import os
import pickle
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from ledgers import clock_from
from records import inspection_of

from satcheck.cli.app import main
from satcheck.errors import PhotoError, UsageError
from satcheck.ledger.book import open_ledger, read_ledger
from satcheck.ledger.recording import Context
from satcheck.ledger.verifying import verify
from satcheck.model import Inspection, PhotoFacts
from satcheck.processes import Lost
from satcheck.watching import SECOND_TRY, SETTLED, Arrivals, Watch, is_candidate, watch

SAMPLES = Path(__file__).parents[1] / "sample_images"
JPEG = b"\xff\xd8 not much of a photo"


class Time:
    """A clock that stands until it is told to go on."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        """Return the time."""
        return self.now

    def after(self, seconds: float) -> None:
        """Go on by some seconds."""
        self.now += seconds


@pytest.fixture
def clock() -> Time:
    return Time()


def test_a_file_is_tried_once_it_has_stayed_the_same(tmp_path: Path, clock: Time) -> None:
    arrivals, photo = Arrivals(tmp_path, clock), tmp_path / "a.jpg"
    photo.write_bytes(JPEG)
    assert arrivals.look() == ()
    clock.after(SETTLED / 2)
    photo.write_bytes(JPEG * 2)
    assert arrivals.look() == ()
    clock.after(SETTLED * 0.9)
    assert arrivals.look() == ()
    clock.after(SETTLED * 0.2)
    assert arrivals.look() == (photo,)
    arrivals.finish(photo)
    assert arrivals.look() == ()


def test_a_file_that_changes_after_it_was_judged_is_tried_again(
    tmp_path: Path, clock: Time
) -> None:
    arrivals, photo = Arrivals(tmp_path, clock), tmp_path / "a.jpg"
    photo.write_bytes(JPEG)
    arrivals.look()
    clock.after(SETTLED)
    arrivals.look()
    arrivals.finish(photo)
    photo.write_bytes(JPEG * 2)
    assert arrivals.look() == ()
    clock.after(SETTLED)
    assert arrivals.look() == (photo,)


def test_what_cannot_be_read_gets_a_second_try_and_no_third(tmp_path: Path, clock: Time) -> None:
    arrivals, photo = Arrivals(tmp_path, clock), tmp_path / "a.jpg"
    photo.write_bytes(JPEG)
    arrivals.look()
    clock.after(SETTLED)
    assert arrivals.look() == (photo,)
    assert not arrivals.fail(photo)
    assert arrivals.look() == ()
    clock.after(SECOND_TRY)
    assert arrivals.look() == (photo,)
    assert arrivals.fail(photo)
    clock.after(SECOND_TRY)
    assert arrivals.look() == ()


def test_hidden_files_wait_and_links_lead_nowhere(tmp_path: Path, clock: Time) -> None:
    (tmp_path / "März 名").mkdir()
    photo = tmp_path / "März 名" / "a.jpg"
    photo.write_bytes(JPEG)
    (tmp_path / ".a.jpg.part").write_bytes(JPEG)
    (tmp_path / "März 名" / "circle").symlink_to(tmp_path)
    arrivals = Arrivals(tmp_path, clock)
    arrivals.look()
    clock.after(SETTLED)
    assert arrivals.look() == (photo,)


@pytest.mark.parametrize(
    ("name", "start", "expected"),
    [
        ("a.jpg", b"\xff\xd8\xff", True),
        ("a", b"\x00\x00\x00\x18ftypheic", True),
        ("film.mp4", b"\x00\x00\x00\x18ftypisom", False),
        ("a.txt", b"notes", False),
        ("a.labels.png", b"\x89PNG\r\n", False),
        ("a.webp", b"RIFF\x00\x00\x00\x00WEBP", True),
        ("a.overlay.jpg", b"\xff\xd8 satcheck overlay", False),
    ],
)
def test_what_may_be_a_photo_is_told_by_its_first_bytes(
    tmp_path: Path, name: str, start: bytes, expected: bool
) -> None:
    (tmp_path / name).write_bytes(start)
    assert is_candidate(tmp_path / name) is expected


def run(
    folder: Path, clock: Time, judge: Callable[[Path], str | None], *steps: Callable[[], object]
) -> list[str]:
    """Watch a folder with something done before each further look; return what was said."""
    said: list[str] = []
    todo = list(steps)

    def wait(seconds: float) -> bool:
        if not seconds:
            return False
        clock.after(seconds)
        if not todo:
            return True
        todo.pop(0)()
        return False

    watch(Arrivals(folder, clock), judge, said.append, wait)
    return said


def nothing() -> None:
    """Do nothing between two looks."""


def test_each_photo_is_judged_once_and_said_in_a_line(tmp_path: Path, clock: Time) -> None:
    (tmp_path / "a.jpg").write_bytes(JPEG)
    arrive = (tmp_path / "b.jpg").write_bytes
    said = run(
        tmp_path, clock, lambda path: f"{path.name}: GOOD", lambda: arrive(JPEG), *[nothing] * 4
    )
    assert said == ["a.jpg: GOOD", "b.jpg: GOOD"]


def test_what_was_judged_before_is_counted_at_the_start_and_named_later(
    tmp_path: Path, clock: Time
) -> None:
    for name in ("a.jpg", "b.jpg"):
        (tmp_path / name).write_bytes(JPEG)
    arrive = (tmp_path / "copy.jpg").write_bytes
    said = run(tmp_path, clock, lambda _: None, lambda: arrive(JPEG), *[nothing] * 4)
    assert said == [
        "2 photos had been judged before.",
        "copy.jpg: the same photo had been judged before",
    ]


def test_a_share_that_goes_away_is_said_once_and_waited_for(tmp_path: Path, clock: Time) -> None:
    folder = tmp_path / "share"
    folder.mkdir()

    def come_back() -> None:
        folder.mkdir()
        (folder / "a.jpg").write_bytes(JPEG)

    said = run(
        *(folder, clock, lambda path: f"{path.name}: GOOD"),
        *(folder.rmdir, nothing, come_back, *[nothing] * 3),
    )
    assert [line.removeprefix(str(folder)) for line in said] == [
        ": cannot be reached (No such file or directory); waiting for it",
        ": is back",
        "a.jpg: GOOD",
    ]


def test_a_photo_cut_off_by_the_share_is_judged_when_it_is_back(
    tmp_path: Path, clock: Time
) -> None:
    folder, away = tmp_path / "share", tmp_path / "away"
    folder.mkdir()
    (folder / "a.jpg").write_bytes(JPEG)
    lost = [True]

    def judge(path: Path) -> str:
        if lost.pop() if lost else False:
            folder.rename(away)
            raise PhotoError(path.name, "the file cannot be opened", "a readable file is allowed")
        return "a.jpg: GOOD"

    said = run(folder, clock, judge, nothing, nothing, lambda: away.rename(folder), *[nothing] * 2)
    assert said[-1] == "a.jpg: GOOD"
    assert len(said) == 3


def test_a_photo_that_never_decodes_is_named_once(tmp_path: Path, clock: Time) -> None:
    (tmp_path / "a.jpg").write_bytes(JPEG)

    def judge(path: Path) -> str:
        raise PhotoError(path.name, "the photo is cut off", "a whole photo is allowed")

    said = run(tmp_path, clock, judge, *[nothing] * 12)
    assert said == ["a.jpg: the photo is cut off; a whole photo is allowed"]


def test_what_is_named_as_a_photo_and_holds_none_is_named_once(tmp_path: Path, clock: Time) -> None:
    """After a second try: of a sync's file the content may come later than the name."""
    for name, data in (("IMG.JPG", b"<html>"), ("empty.heic", b""), ("notes.txt", b"<html>")):
        (tmp_path / name).write_bytes(data)
    (tmp_path / "x.labels.png").write_bytes(b"painted")
    said = run(tmp_path, clock, lambda path: f"{path.name}: GOOD", *[nothing] * 12)
    assert [line.partition(";")[0] for line in said] == [
        "IMG.JPG: is named as a photo and holds none",
        "empty.heic: is named as a photo and holds none",
    ]


def test_a_missing_folder_is_refused(tmp_path: Path, clock: Time) -> None:
    with pytest.raises(UsageError, match="no such folder"):
        run(tmp_path / "none", clock, lambda _: None)


def test_for_a_missing_folder_no_ledger_is_made(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ledger = tmp_path / "shop.ledger"
    with pytest.raises(SystemExit) as stop:
        main(["watch", str(tmp_path / "none"), "--ledger", str(ledger), "--fibre", "basalt"])
    assert stop.value.code == 2
    assert "none: there is no such folder to watch" in capsys.readouterr().err
    assert not ledger.exists()


def test_a_photo_that_kills_its_decoder_is_named_and_the_watch_goes_on(tmp_path: Path) -> None:
    """Also where it cannot be read, and where it is no photo by its first bytes."""
    ends: dict[str, Inspection | PhotoError | Lost] = {
        "evil.jpg": Lost("made the process that read it crash"),
        "torn.jpg": PhotoError("torn.jpg", "it is torn", "a whole one is allowed"),
        "good.jpg": inspection_of(),
    }
    for name in ends:
        (tmp_path / name).write_bytes(JPEG + name.encode())
    bounds: Any = SimpleNamespace(id="c0ffee12")
    with open_ledger(tmp_path / "shop.ledger", clock_from()) as ledger:
        how: Any = SimpleNamespace(fibre="basalt")
        judge = Watch(ledger, bounds, how, Context(), lambda photo: ends[photo[1]]).judge
        with pytest.raises(PhotoError, match=r"evil.jpg: it made the process .* crash"):
            judge(tmp_path / "evil.jpg")
        with pytest.raises(PhotoError, match=r"torn\.jpg: it is torn; a whole one is allowed"):
            judge(tmp_path / "torn.jpg")
        assert str(judge(tmp_path / "good.jpg")).startswith("good.jpg: ")
        assert verify(ledger).head.seq == 1
    assert str(pickle.loads(pickle.dumps(ends["torn.jpg"]))) == str(ends["torn.jpg"])


def test_a_photo_that_another_judged_meanwhile_is_recorded_once(tmp_path: Path) -> None:
    """Two watches on one folder, or a watch and an audit, come upon a new photo together."""
    photo = tmp_path / "new.jpg"
    photo.write_bytes(JPEG)
    facts = PhotoFacts("new.jpg", hashlib.sha256(JPEG).hexdigest(), 600, 800, None)
    found = inspection_of(photo=facts)
    bounds: Any = SimpleNamespace(id=found.calibration.id)
    how: Any = SimpleNamespace(fibre=found.calibration.fibre)
    with open_ledger(tmp_path / "shop.ledger", clock_from()) as ledger:
        other = Watch(ledger, bounds, how, Context(), lambda _: found)

        def while_the_other_ends(_: tuple[bytes, str]) -> Inspection:
            assert other.judge(photo) is not None
            return found

        assert Watch(ledger, bounds, how, Context(), while_the_other_ends).judge(photo) is None
        assert verify(ledger).head.seq == 1


def start(folder: Path, ledger: Path) -> "subprocess.Popen[str]":
    """Start the command as a technician would."""
    words = ["-m", "satcheck", "watch", str(folder), "--ledger", str(ledger), "--fibre", "basalt"]
    environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
    return subprocess.Popen(
        [sys.executable, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env=environment,
    )


def read_until(process: "subprocess.Popen[str]", word: str) -> list[str]:
    """Return the lines that a process prints up to one that holds a word."""
    assert process.stdout is not None
    lines = []
    for line in process.stdout:
        lines.append(line.strip())
        if word in line:
            return lines
    raise AssertionError(f"{word!r} was not printed: {lines}")


def test_the_command_survives_a_kill_and_stops_when_asked(tmp_path: Path) -> None:
    folder, ledger = tmp_path / "photos", tmp_path / "shop.ledger"
    folder.mkdir()
    shutil.copy(SAMPLES / "basalt_11.jpg", folder)
    with start(folder, ledger) as first:
        read_until(first, "basalt_11.jpg")
        first.kill()
    shutil.copy(SAMPLES / "basalt_12.jpg", folder)
    with start(folder, ledger) as second:
        lines = read_until(second, "1 photo had been judged before")
        second.send_signal(signal.SIGTERM)
        lines += read_until(second, "Stopped")
        assert second.wait() == 0
    assert not any("basalt_11.jpg" in line for line in lines)
    assert any("basalt_12.jpg" in line for line in lines)
    with read_ledger(ledger) as opened:
        assert verify(opened).head.seq == 2
