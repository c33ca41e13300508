"""The routes over a real ledger: what is asked, what is answered, and what is on the disk first."""

import asyncio
import base64
import hashlib
import json
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
from ledgers import inspect
from records import inspection_of

from satcheck.ledger.blob import Blob
from satcheck.ledger.book import Ledger, open_ledger
from satcheck.ledger.entries import Draft, Kind
from satcheck.ledger.photos import PreparedPhoto, photo_folder
from satcheck.ledger.recording import Context, inspection_draft
from satcheck.ledger.search import Search
from satcheck.model import Label
from satcheck.web.app import make_app
from satcheck.web.asking import Shop
from satcheck.web.bench import Bench
from satcheck.web.gel import Clocks
from satcheck.web.grams import Grams
from satcheck.web.judging import CardJob, CardRead, Found, Job, Judged, Refused
from satcheck.web.lesson import Lessons
from satcheck.web.store import LedgerStore
from satcheck.web.upload import Uploads
from satcheck.web.words import WORDS
from satcheck.web.workers import Workers

KEY = "k" * 22
ID, OTHER, THIRD = "0123456789abcdef" * 2, "fedcba9876543210" * 2, "00112233" * 4
LESSON = "<style>p {}</style><p>photo bytes</p><script>let a;</script>"
SHOT: dict[str, Any] = {
    "id": ID, "part": "4711", "view": "medial", "fibre": "basalt", "size": 5,
}  # fmt: skip


ROUND = {"id": ID, "initials": "AB", "picture": "p", "fibre": "basalt", "counts": [[0] * 3] * 3}


def now() -> datetime:
    return datetime.now(UTC)


class Judges(Workers):
    """Judges at once: "clear" is starved, "plain" good, "close" too, where the part is cut.

    Anything else is refused.
    """

    def __init__(self) -> None:
        super().__init__(Path("none"), 1)
        self.jobs: list[Job] = []

    async def __aenter__(self) -> "Judges":
        return self

    async def judge(self, job: Job | CardJob) -> Found:
        """Return a hand-made inspection; of a card's photo what stands in it."""
        if isinstance(job, CardJob):
            return CardRead(job.data.decode() or None)
        self.jobs.append(job)
        said = job.photo.read_bytes()
        if said not in (b"clear", b"plain", b"close"):
            return Refused("this is not a photo")
        label = Label.STARVED if said == b"clear" else Label.GOOD
        made = inspection_of(label, {"lock": label}, cut=("up",) if said == b"close" else ())
        sha256 = job.again.photo if job.again else hashlib.sha256(said).hexdigest()
        made = replace(made, photo=replace(made.photo, sha256=sha256))
        corrects = job.again.entry if job.again else None
        context = Context(
            part=job.shot.part, view=job.shot.view, request=job.shot.id, corrects=corrects
        )
        return Judged(inspection_draft(made, context, {"overlay": Blob.of(b"marks")}))


@dataclass
class Phone:
    """A client of a shop, with a look at its ledger and its workers."""

    client: httpx.AsyncClient
    ledger: Ledger
    judges: Judges
    bench: Bench

    async def begin(self, **changes: Any) -> httpx.Response:
        """Announce a photo."""
        return await self.client.post("/api/photos", content=json.dumps({**SHOT, **changes}))

    async def put(self, data: bytes, offset: int = 0, name: str = ID) -> httpx.Response:
        """Send a piece of it."""
        return await self.client.put(f"/api/photos/{name}?offset={offset}", content=data)

    async def photograph(self, data: bytes = b"clear", **changes: Any) -> dict[str, Any]:
        """Announce a photo, send it and wait for what came of it."""
        name = changes.get("id", ID)
        await self.begin(size=len(data), **changes)
        await self.put(data, name=name)
        found = await self.client.get(f"/api/photos/{name}?wait=10")
        return dict(found.json())


@asynccontextmanager
async def phone(folder: Path) -> AsyncIterator[Phone]:
    judges = Judges()
    with open_ledger(folder / "shop.ledger", now) as ledger:
        store = LedgerStore(ledger)
        bench, sheets = Bench(store, Uploads(folder / "way", 1000), judges), Grams(ledger, store)
        fibres, hosts = ("basalt", "glass"), ("shop.test",)
        lessons = Lessons(ledger, LESSON)
        app = make_app(Shop(bench, Clocks(ledger, now), sheets, lessons, fibres, KEY, hosts))
        async with (
            app.router.lifespan_context(app),
            httpx.AsyncClient(
                transport=httpx.ASGITransport(app=app),
                base_url="http://shop.test",
                headers={"X-Satcheck-Key": KEY},
            ) as client,
        ):
            yield Phone(client, ledger, judges, bench)


def at_the_shop(folder: Path, work: Callable[[Phone], Awaitable[None]]) -> None:
    async def run() -> None:
        async with phone(folder) as one:
            await work(one)

    asyncio.run(run())


def test_photo_and_verdict_are_on_the_disk_before_the_answer_is_shown(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        keep, order = at.bench.store.keep, []

        def watched(verdict: Draft, photo: PreparedPhoto | None) -> None:
            assert at.bench.progress(ID) is not None
            order.append(at.bench.progress(ID).state)  # type: ignore[union-attr]
            keep(verdict, photo)

        at.bench.store.keep = watched  # type: ignore[method-assign]
        found = await at.photograph()
        assert order == ["measuring"]
        assert found["state"] == "kept"
        assert found["answer"]["verdict"] == "starved"
        kinds = [entry.kind for entry in at.ledger.entries()]
        assert kinds == [Kind.PHOTO, Kind.INSPECTION]

    at_the_shop(tmp_path, work)


@pytest.mark.parametrize("step", ["prepare", "keep"])
def test_an_answer_that_cannot_be_kept_is_not_shown(tmp_path: Path, step: str) -> None:
    async def work(at: Phone) -> None:
        def full(*_given: object) -> None:
            raise OSError(28, "No space left on device")

        setattr(at.bench.store, step, full)
        found = await at.photograph()
        assert found["state"] == "failed"
        assert "could not be saved" in found["sentence"]
        assert "answer" not in found

    at_the_shop(tmp_path, work)


def test_a_photo_that_had_come_before_a_stop_is_judged_after_it(tmp_path: Path) -> None:
    way = Uploads(tmp_path / "way")
    (way.folder / f"{ID}.json").write_text(
        json.dumps({**SHOT, "distal": None, "inside": [], "outside": [], "of": None})
    )
    (way.folder / f"{ID}.photo").write_bytes(b"clear")

    async def work(at: Phone) -> None:
        found = (await at.client.get(f"/api/photos/{ID}?wait=10")).json()
        assert found["answer"]["part"] == "4711"
        assert way.waiting() == ()

    at_the_shop(tmp_path, work)


def test_sending_the_same_photo_twice_keeps_one(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        first, second = await at.photograph(), await at.photograph()
        assert first["answer"] == second["answer"]
        assert len(at.ledger.find(Search(kind=Kind.INSPECTION))) == 1

    at_the_shop(tmp_path, work)


def test_a_piece_from_elsewhere_is_told_where_to_go_on(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        await at.begin()
        await at.put(b"cl")
        refused = await at.put(b"ar", offset=3)
        assert (refused.status_code, refused.json()["received"]) == (409, 2)
        assert (await at.put(b"ear", offset=2)).status_code == 200

    at_the_shop(tmp_path, work)


def test_an_upload_larger_than_announced_is_refused_while_it_streams(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        await at.begin()
        refused = await at.put(b"clear and more")
        assert refused.status_code == 413
        assert "too large" in refused.json()["sentence"]
        assert (await at.begin(size=1001)).status_code == 422

    at_the_shop(tmp_path, work)


def test_a_photo_judged_again_corrects_the_first_and_stands_alone(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        await at.photograph()
        await at.begin(id=OTHER, of=ID, inside=[[10, 20]], outside=[])
        found = (await at.client.get(f"/api/photos/{OTHER}?wait=10")).json()
        assert found["state"] == "kept"
        assert at.judges.jobs[-1].shot.inside == ((10.0, 20.0),)
        newest = at.ledger.find(Search(kind=Kind.INSPECTION))[0]
        assert newest.corrects is not None
        assert len(at.ledger.find(Search(kind=Kind.INSPECTION, current=True))) == 1
        assert len(at.ledger.find(Search(kind=Kind.PHOTO))) == 1

    at_the_shop(tmp_path, work)


def test_the_address_of_a_photo_shows_the_verdict_that_counts_now(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        await at.photograph()
        for name, of in ((OTHER, ID), (THIRD, OTHER)):
            await at.begin(id=name, of=of, inside=[[10, 20]])
            await at.client.get(f"/api/photos/{name}?wait=10")
        for name in (ID, OTHER, THIRD):
            found = (await at.client.get(f"/api/photos/{name}")).json()
            assert found["answer"]["id"] == THIRD

    at_the_shop(tmp_path, work)


def test_an_old_verdict_mended_again_leaves_one_current(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        await at.photograph()
        for name in (OTHER, THIRD):
            await at.begin(id=name, of=ID, inside=[[10, 20]])
            found = (await at.client.get(f"/api/photos/{name}?wait=10")).json()
            assert found["state"] == "kept"
        (current,) = at.ledger.find(Search(kind=Kind.INSPECTION, current=True))
        assert current.body["request"] == THIRD
        assert current.corrects == at.ledger.find(Search(request=OTHER))[0].id

    at_the_shop(tmp_path, work)


def test_a_file_that_is_no_photo_leaves_a_sentence_and_nothing_else(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        found = await at.photograph(b"hello")
        assert (found["state"], found["sentence"]) == ("failed", "this is not a photo")
        assert list(at.ledger.entries()) == []
        assert list((tmp_path / "way").iterdir()) == []
        assert not photo_folder(at.ledger.path).exists()

    at_the_shop(tmp_path, work)


def test_the_series_tells_change_views_and_what_next(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        await at.photograph(b"plain")
        await at.photograph(b"clear", id=OTHER)
        told = (await at.client.get(f"/api/photos/{OTHER}/series")).json()
        assert [photo["id"] for photo in told["photos"]] == [ID, OTHER]
        assert [zone["words"] for zone in told["zones"] if zone["zone"] == "lock"] == [
            ["good", "starved"]
        ]
        assert "anterior" in " ".join(told["views"]["sentences"])
        assert told["plan"]["sentences"]
        assert told["change"]
        earlier = (await at.client.get(f"/api/photos/{ID}/series")).json()
        assert len(earlier["photos"]) == 1, "a photo is not compared with later ones"

    at_the_shop(tmp_path, work)


def test_pictures_come_with_the_key_and_never_without(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        await at.photograph()
        assert (await at.client.get(f"/api/photos/{ID}/marks.jpg")).content == b"marks"
        assert (await at.client.get(f"/api/photos/{ID}/photo.jpg")).status_code == 404
        del at.client.headers["X-Satcheck-Key"]
        for path in (f"/api/photos/{ID}/marks.jpg", f"/api/photos/{ID}", "/api/today"):
            assert (await at.client.get(path)).status_code == 401

    at_the_shop(tmp_path, work)


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("POST", "/api/photos", b"no json"),
        ("POST", "/api/photos", b"[]"),
        ("POST", "/api/photos", b"{" + b" " * 30_000 + b"}"),
        ("POST", "/api/clock?part=1", b'{"minutes": "soon"}'),
        ("POST", "/api/clock?part=1", b'{"minutes": NaN}'),
        ("POST", "/api/clock?part=1", b'{"minutes": 1000}'),
        ("POST", "/api/clock?part=1", b'{"minutes": 1' + bytes([48]) * 4000 + b"}"),
        ("POST", "/api/clock?part=1", b'{"minutes": 1e999}'),
        ("POST", "/api/clock?part=", b'{"minutes": 20}'),
        ("POST", "/api/clock?part=%1b[2J%3Cscript%3E", b'{"minutes": 20}'),
        ("POST", "/api/photos", b"[" * 19_000),
        ("POST", "/api/photos", b'{"a":' * 3000),
        ("POST", "/api/photos", json.dumps({**SHOT, "inside": [[10**400, 0]]}).encode()),
        ("POST", "/api/photos", json.dumps({**SHOT, "part": "\ud800"}).encode()),
        ("POST", "/api/grams/mix", b'{"id": "' + ID.encode() + b'", "part": "1", "\\udc00": 1}'),
        ("POST", "/api/lesson/results", json.dumps({**ROUND, "picture": "\ud800"}).encode()),
        ("PUT", f"/api/photos/{ID}?offset=0", b"x"),
        ("PUT", "/api/photos/..%2F..%2Fkey?offset=0", b"x"),
        ("GET", "/api/photos/..%2Fkey", b""),
        ("GET", f"/api/photos/{ID}/series", b""),
        ("GET", "/files/..%2Fapp.py", b""),
        ("GET", "/files/bench.html", b""),
    ],
)
def test_nonsense_is_answered_by_a_status_of_4xx(
    tmp_path: Path, method: str, path: str, body: bytes
) -> None:
    async def work(at: Phone) -> None:
        assert 400 <= (await at.client.request(method, path, content=body)).status_code < 500
        assert list(at.ledger.entries()) == []

    at_the_shop(tmp_path, work)


def test_a_name_that_is_no_text_costs_no_page(tmp_path: Path) -> None:
    """A file's name in another encoding, by which an audit called a part."""

    async def work(at: Phone) -> None:
        inspect(at.ledger, part="M\udcfcller", view="medial")
        (told,) = (await at.client.get("/api/today")).json()["parts"]
        assert told["part"] == "M\udcfcller"

    at_the_shop(tmp_path, work)


def test_the_clock_is_in_the_ledger_and_runs_until_it_is_stopped(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        path = "/api/clock?part=4711"
        assert (await at.client.get(path)).json()["seconds_left"] is None
        left = (await at.client.post(path, content=b'{"minutes": 20}')).json()["seconds_left"]
        assert 1190 < left <= 1200
        assert (await at.client.delete(path)).json()["seconds_left"] is None
        events = [entry.body["event"] for entry in at.ledger.entries()]
        assert events == ["start", "stop"]

    at_the_shop(tmp_path, work)


def test_a_clock_that_cannot_be_kept_speaks_of_no_photo(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        def full(_draft: Draft) -> None:
            raise OSError(28, "No space left on device")

        at.ledger.append = full  # type: ignore[assignment, method-assign]
        told = await at.client.post("/api/clock?part=4711", content=b'{"minutes": 20}')
        assert told.status_code == 507
        assert told.json()["sentence"] == (
            "The shop's computer cannot save this: its disk may be full. Tell who keeps it."
        )

    at_the_shop(tmp_path, work)


def test_today_shows_each_part_once_with_its_views(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        await at.photograph()
        await at.photograph(b"plain", id=OTHER, view="lateral")
        told = (await at.client.get("/api/today")).json()
        assert told["photos"] == 2
        views = {view["view"]: len(view["photos"]) for view in told["parts"][0]["views"]}
        assert views == {"anterior": 0, "posterior": 0, "medial": 1, "lateral": 1}

    at_the_shop(tmp_path, work)


def test_a_part_that_runs_out_of_the_picture_is_said_on_the_page(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        near = await at.photograph(b"close")
        assert near["answer"]["runs_out_note"] == WORDS["runs_out"]
        whole = await at.photograph(b"plain", id=OTHER)
        assert whole["answer"]["runs_out_note"] == ""

    at_the_shop(tmp_path, work)


def test_the_cards_number_is_read_and_the_photo_is_not_kept(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        read = await at.client.post("/api/card", content=b"4711")
        assert read.json() == {"part": "4711"}
        assert (await at.client.post("/api/card", content=b"")).json() == {"part": None}
        foreign = await at.client.post("/api/card", content=b"http://shop.test/<script>")
        assert foreign.json() == {"part": None}, "a code of another kind is no part's number"
        assert (await at.client.post("/api/card", content=bytes(1001))).status_code == 413
        assert list(at.ledger.entries()) == []
        assert list((tmp_path / "way").iterdir()) == []
        assert not photo_folder(at.ledger.path).exists()

    at_the_shop(tmp_path, work)


def test_a_photo_that_could_not_be_kept_is_tried_again_without_being_sent(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        keep = at.bench.store.keep

        def full(verdict: Draft, photo: PreparedPhoto | None) -> None:
            raise OSError(28, "No space left on device")

        at.bench.store.keep = full  # type: ignore[method-assign]
        failed = await at.photograph()
        assert (failed["state"], failed["is_here"]) == ("failed", True)
        at.bench.store.keep = keep  # type: ignore[method-assign]
        await at.begin()
        found = (await at.client.get(f"/api/photos/{ID}?wait=10")).json()
        assert found["state"] == "kept"
        assert len(at.ledger.find(Search(kind=Kind.INSPECTION))) == 1

    at_the_shop(tmp_path, work)


def test_ten_phones_at_once_each_get_their_own_verdict_after_nine_others_at_most(
    tmp_path: Path,
) -> None:
    async def work(at: Phone) -> None:
        names = [f"{number:032x}" for number in range(10)]
        one_by_one = asyncio.Lock()
        judge, ahead = at.judges.judge, []

        async def slow(job: Job | CardJob) -> Found:
            ahead.append(len(at.judges.jobs))
            async with one_by_one:
                return await judge(job)

        at.judges.judge = slow  # type: ignore[method-assign]
        found = await asyncio.gather(
            *(at.photograph(id=name, part=f"P{name[-1]}") for name in names)
        )
        assert [one["answer"]["part"] for one in found] == [f"P{name[-1]}" for name in names]
        assert max(ahead) <= 9

    at_the_shop(tmp_path, work)


def test_the_lesson_comes_with_the_key_only_and_runs_its_own_script_only(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        assert (await at.client.get("/api/lesson")).text == LESSON
        page = await at.client.get("/lesson")
        assert "photo bytes" not in page.text
        digest = base64.b64encode(hashlib.sha256(b"let a;").digest()).decode()
        policy = page.headers["content-security-policy"]
        assert f"script-src 'self' 'sha256-{digest}';" in policy
        assert "unsafe" not in policy
        del at.client.headers["X-Satcheck-Key"]
        for path in ("/api/lesson", "/api/lesson/results"):
            assert (await at.client.get(path)).status_code == 401

    at_the_shop(tmp_path, work)
