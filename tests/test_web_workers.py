"""Worker processes: in order, each photo its own verdict, and a crash costs one photo only."""

import asyncio
import os
import signal
import time
from multiprocessing.connection import Connection
from pathlib import Path

import pytest
from drawn_shop import DrawnShop, draw_part, write_photo
from records import inspection_of

from satcheck.ledger.entries import Draft, Kind
from satcheck.series.reference import Carried
from satcheck.web.judging import Found, Job, Judged, Refused, judge_job
from satcheck.web.shot import Shot
from satcheck.web.workers import Work, Workers


def act(_calibration: Path, jobs: Connection) -> None:
    """Do with a photo what its part's number says, in place of a judgement."""
    jobs.send(None)
    while True:
        try:
            job: Job = jobs.recv()
        except EOFError:
            return
        if job.shot.part == "crash":
            os._exit(139)
        if job.shot.part == "hang":
            time.sleep(60)
        body = {"part": job.shot.part, "process": os.getpid(), "at": time.monotonic()}
        jobs.send(Judged(Draft(Kind.INSPECTION, body)))


def listen(_calibration: Path, jobs: Connection) -> None:
    """Say how a process that has only just come up takes Ctrl+C."""
    jobs.send(None)
    jobs.recv()
    is_deaf = signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    jobs.send(Judged(Draft(Kind.INSPECTION, {"part": "deaf" if is_deaf else "ended"})))


def judge_all(*parts: str, count: int = 2, seconds: float = 20.0, work: Work = act) -> list[Found]:
    async def run() -> list[Found]:
        async with Workers(Path("none"), count, seconds, work) as workers:
            jobs = [
                Job(Shot(f"{number:032x}", part, "medial", "glass"), Path("none"))
                for number, part in enumerate(parts)
            ]
            return list(await asyncio.gather(*map(workers.judge, jobs)))

    return asyncio.run(run())


def parts_of(found: list[Found]) -> list[str]:
    return [one.draft.body["part"] if isinstance(one, Judged) else "refused" for one in found]


def test_ten_phones_each_get_their_own_verdict() -> None:
    parts = [f"P-{number}" for number in range(10)]
    assert parts_of(judge_all(*parts)) == parts


def test_photos_are_judged_in_the_order_of_their_coming() -> None:
    found = judge_all(*"abcdef", count=1)
    times = [one.draft.body["at"] for one in found if isinstance(one, Judged)]
    assert times == sorted(times)
    assert len(times) == 6


def test_a_photo_that_crashes_its_worker_costs_no_other_photo() -> None:
    found = judge_all("a", "crash", "b", "crash", "c", "d")
    assert parts_of(found) == ["a", "refused", "b", "refused", "c", "d"]
    assert isinstance(found[1], Refused)
    assert "could not be measured" in found[1].sentence


def test_a_photo_that_takes_too_long_is_given_up() -> None:
    found = judge_all("hang", "a", count=1, seconds=1.0)
    assert parts_of(found) == ["refused", "a"]
    assert isinstance(found[0], Refused)
    assert "took too long" in found[0].sentence


def test_ctrl_c_does_not_reach_a_worker_that_is_coming_up() -> None:
    """It goes to every process of the terminal: each would put a traceback on the screen."""
    assert parts_of(judge_all("a", work=listen)) == ["deaf"]


def test_a_worker_that_died_between_two_photos_is_no_photos_fault() -> None:
    async def run() -> Found:
        async with Workers(Path("none"), 1, 20.0, act) as workers:
            first = await workers.judge(Job(Shot("0" * 32, "a", "medial", "glass"), Path("none")))
            assert isinstance(first, Judged)
            os.kill(first.draft.body["process"], 9)
            await asyncio.sleep(0.3)
            return await workers.judge(Job(Shot("1" * 32, "b", "medial", "glass"), Path("none")))

    assert parts_of([asyncio.run(run())]) == ["b"]


def test_a_carried_pitch_that_does_not_suit_the_part_costs_no_photo(
    shop: DrawnShop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = write_photo(tmp_path / "part.png", draw_part(("good",) * 3, seed=60), seed=60)
    monkeypatch.setattr("satcheck.web.judging.carry", lambda *_: Carried(5000.0, ""))
    job = Job(Shot("0" * 32, "4711", "medial", "basalt"), file, (inspection_of(),))
    assert isinstance(judge_job(job, shop.calibration), Judged)
