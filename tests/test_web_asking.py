"""Whatever is asked, the answer is a status below 500 and a sentence, and nothing else is kept."""

import asyncio
import json
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.requests import ClientDisconnect
from test_web_app import ID, ROUND, SHOT, Phone, at_the_shop

from satcheck.web import grams_routes, lesson_routes, photo_routes
from satcheck.web.access import SECURITY
from satcheck.web.typed import MIX_FIELDS, WEIGH_FIELDS

Json = dict[str, Any]
SCRIPT = "<script>alert(1)</script>"
EVIL: tuple[Any, ...] = (
    None, True, -1, 1e308, 10**400, "", "\0", "\ud800", "1e999", "nan", SCRIPT, "\u202e", "../key",
    "=1+1", "a" * 15_000, [], {}, [[1, 10**400]], [{"a": 1}], {"a": {"b": []}},
)  # fmt: skip
LEAVES = st.booleans() | st.floats() | st.text(max_size=50) | st.sampled_from(EVIL)
ANYTHING = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=9), inner),
    max_leaves=8,
)
GOOD = {"resin": "acrylic", "fibre": "basalt", "dry_fabric": "182", "low": "25", "high": "30"}
FIELDS = dict.fromkeys(sorted({*MIX_FIELDS, *WEIGH_FIELDS}), "") | GOOD
SHEET: Json = {"id": ID, "part": "4711", "entries": FIELDS}
BODIES: dict[str, Json] = {
    "/api/photos": SHOT | {"of": None, "distal": None, "inside": [[1, 2]], "outside": []},
    "/api/clock?part=4711": {"minutes": 20, "gelled": False},
    "/api/grams/mix": SHEET,
    "/api/grams/weigh": SHEET,
    "/api/lesson/results": ROUND,
}
READ = ("/api/today", "/api/lesson/results", "/api/grams?part=4711", "/api/clock?part=4711")


@st.composite
def spoiled(draw: st.DrawFn) -> tuple[str, bytes]:
    """Draw a route and a body in which some fields hold anything, or a body of anything."""
    path = draw(st.sampled_from(sorted(BODIES)))
    if draw(st.integers(0, 5)) == 0:
        return path, draw(st.binary(max_size=60) | ANYTHING.map(lambda a: json.dumps(a).encode()))
    body = dict(BODIES[path])
    for name in draw(st.sets(st.sampled_from(sorted(body)), min_size=1, max_size=3)):
        body[name] = draw(ANYTHING)
    if "entries" in body and isinstance(body["entries"], dict):
        names = st.sampled_from(sorted(SHEET["entries"])) | st.text(max_size=9)
        values = st.sampled_from(["1", "-1", "1e308", "30 %", "12 in", "basalt", "acrylic", "nan"])
        body["entries"] = draw(st.dictionaries(names, values | LEAVES, max_size=12))
    return path, json.dumps(body).encode()


def each_field() -> Iterator[tuple[str, bytes]]:
    """Yield each route with each field of its body evil in each way."""
    for path, body in BODIES.items():
        for evil in EVIL:
            yield from ((path, json.dumps({**body, name: evil}).encode()) for name in body)
            for name in body.get("entries", {}):
                changed = {**body, "entries": {**GOOD, name: evil}}
                yield path, json.dumps(changed).encode()


def is_told(answer: httpx.Response) -> bool:
    """Return whether an answer says in a sentence why not, under every header that guards."""
    guarded = all(answer.headers.get(name) == value for name, value in SECURITY.items())
    refused = answer.status_code >= 400
    return guarded and answer.status_code < 500 and (not refused or bool(answer.json()["sentence"]))


def test_no_field_of_any_body_ends_in_a_fault_of_the_server(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        for path, body in (*each_field(), ("/api/photos", b"[" * 19_000)):
            answer = await at.client.post(path, content=body)
            assert is_told(answer), (path, body[:500])
        for path in READ:
            assert is_told(await at.client.get(path)), "what was kept can be shown"

    at_the_shop(tmp_path, work)


def test_any_body_is_understood_or_refused_in_a_sentence(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        loop = asyncio.get_running_loop()

        @settings(max_examples=60)
        @given(spoiled())
        def ask(sent: tuple[str, bytes]) -> None:
            path, body = sent
            answer = asyncio.run_coroutine_threadsafe(at.client.post(path, content=body), loop)
            assert is_told(answer.result())

        await asyncio.to_thread(ask)
        for path in READ:
            assert is_told(await at.client.get(path)), "what was kept can be shown"

    at_the_shop(tmp_path, work)


@pytest.mark.parametrize("part", ["", SCRIPT, "a" * 41, "\x1b[2J", "a\u202eb", "../key"])
def test_a_part_that_is_no_number_is_refused_by_every_route(tmp_path: Path, part: str) -> None:
    async def work(at: Phone) -> None:
        for path in ("/api/clock", "/api/grams", "/api/grams/card.pdf"):
            assert (await at.client.get(path, params={"part": part})).status_code == 422
        assert (await at.begin(part=part)).status_code == 422
        assert list(at.ledger.entries()) == []

    at_the_shop(tmp_path, work)


def test_there_is_no_route_that_this_test_does_not_know() -> None:
    routes = (*photo_routes.ROUTES, *grams_routes.ROUTES, *lesson_routes.ROUTES)
    posts = {route.path for route in routes if "POST" in (route.methods or ())}
    known = {path.partition("?")[0] for path in BODIES}
    assert {path.replace("{sheet}", "mix") for path in posts} - known == {"/api/card"}


def test_a_phone_that_goes_away_in_the_middle_is_no_error(tmp_path: Path) -> None:
    async def work(at: Phone) -> None:
        async def broken() -> AsyncIterator[bytes]:
            yield b'{"id'
            raise ClientDisconnect

        assert (await at.client.post("/api/photos", content=broken())).status_code == 499

    at_the_shop(tmp_path, work)
