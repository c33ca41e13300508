"""Connections that do not move are closed, and those that do are served."""

import asyncio
import contextlib
import resource
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager

import pytest
import uvicorn
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import Receive, Scope, Send

from satcheck.web import patience
from satcheck.web.patience import PatientProtocol

LARGE = bytes(30_000_000)
ENOUGH = 10.0
"""Seconds after which a connection that should have been closed counts as kept."""
HEAD = b"PUT /body HTTP/1.1\r\nHost: shop.test\r\nContent-Length: 100\r\n\r\n"
GET = b"GET /large HTTP/1.1\r\nHost: shop.test\r\n\r\n"


class Much(Response):
    """Sends LARGE in pieces."""

    def __init__(self, given_up: asyncio.Event) -> None:
        super().__init__()
        self.given_up = given_up

    async def __call__(self, _scope: Scope, receive: Receive, send: Send) -> None:
        """Send."""
        length = (b"content-length", str(len(LARGE)).encode())
        await send({"type": "http.response.start", "status": 200, "headers": [length]})
        for at in range(0, len(LARGE), 1 << 20):
            piece = {"body": LARGE[at : at + (1 << 20)], "more_body": at + (1 << 20) < len(LARGE)}
            await send({"type": "http.response.body", **piece})
        if (await receive())["type"] == "http.disconnect":
            self.given_up.set()


class Shop:
    """A server whose body route tells when a body was given up."""

    def __init__(self) -> None:
        self.given_up = asyncio.Event()
        routes = [
            Route("/body", self.body, methods=["PUT"]),
            Route("/unread", self.unread, methods=["PUT"]),
            Route("/large", self.large),
        ]
        self.app = Starlette(routes=routes)

    async def body(self, request: Request) -> PlainTextResponse:
        """Read a body, as an upload does."""
        try:
            return PlainTextResponse(f"{len(await request.body())} bytes")
        except ClientDisconnect:
            self.given_up.set()
            return PlainTextResponse("")

    async def large(self, _request: Request) -> Response:
        """Send much, and note where it is not taken."""
        return Much(self.given_up)

    async def unread(self, _request: Request) -> PlainTextResponse:
        """Answer before the body has come, as a refusal does."""
        return PlainTextResponse("no")


Work = Callable[[Shop, int], Awaitable[None]]


@asynccontextmanager
async def listening(shop: Shop) -> AsyncIterator[int]:
    config = uvicorn.Config(
        shop.app,
        port=0,
        http=PatientProtocol,
        log_level="error",
        log_config=None,
        lifespan="off",
    )
    server = uvicorn.Server(config)
    task = asyncio.create_task(server.serve())
    while not server.started:
        await asyncio.sleep(0.01)
    yield server.servers[0].sockets[0].getsockname()[1]
    server.should_exit = server.force_exit = True
    await task


@asynccontextmanager
async def connected(
    port: int, **how: int
) -> AsyncIterator[tuple[asyncio.StreamReader, asyncio.StreamWriter]]:
    reader, writer = await asyncio.open_connection("127.0.0.1", port, **how)
    try:
        yield reader, writer
    finally:
        writer.transport.abort()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()


def at_a_hasty_shop(work: Work, monkeypatch: pytest.MonkeyPatch, seconds: float = 0.25) -> None:
    monkeypatch.setattr(patience, "HEAD_SECONDS", seconds)
    monkeypatch.setattr(patience, "STALLED_SECONDS", seconds)
    monkeypatch.setattr(patience, "LOOK_SECONDS", 0.05)

    async def run() -> None:
        shop = Shop()
        async with listening(shop) as port:
            await asyncio.wait_for(work(shop, port), 3 * ENOUGH)

    asyncio.run(run())


async def is_closed(reader: asyncio.StreamReader) -> bool:
    """Return whether the other side closes within the time."""
    try:
        while await asyncio.wait_for(reader.read(1 << 16), ENOUGH):
            pass
    except TimeoutError:
        return False
    except ConnectionError:
        return True
    return True


@pytest.mark.parametrize("said", [b"", b"GET / HT", HEAD, HEAD + b"half"])
def test_who_stops_in_the_middle_is_not_waited_for(
    said: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def work(shop: Shop, port: int) -> None:
        async with connected(port) as (reader, writer):
            writer.write(said)
            assert await is_closed(reader)
            assert not said.startswith(HEAD) or shop.given_up.is_set()

    at_a_hasty_shop(work, monkeypatch)


@pytest.mark.parametrize("start", [b"GET / HTTP/1.1\r\nX: ", HEAD.replace(b"body", b"unread")])
def test_a_head_or_an_unwanted_body_that_only_trickles_ends_too(
    start: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def work(_shop: Shop, port: int) -> None:
        async with connected(port) as (reader, writer):
            writer.write(start)

            async def trickle() -> None:
                while True:
                    await asyncio.sleep(0.1)
                    writer.write(b"a")

            drops = asyncio.create_task(trickle())
            assert await is_closed(reader)
            drops.cancel()

    at_a_hasty_shop(work, monkeypatch)


def test_a_reader_who_takes_nothing_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    async def work(shop: Shop, port: int) -> None:
        async with connected(port, limit=1024) as (reader, writer):
            writer.write(GET)
            await asyncio.wait_for(shop.given_up.wait(), ENOUGH)
            assert await is_closed(reader)

    at_a_hasty_shop(work, monkeypatch)


def test_who_is_slow_but_moves_gets_everything(monkeypatch: pytest.MonkeyPatch) -> None:
    async def work(_shop: Shop, port: int) -> None:
        async with connected(port) as (reader, writer):
            writer.write(HEAD)
            for _ in range(10):
                await asyncio.sleep(0.05)
                writer.write(bytes(10))
            answer = await asyncio.wait_for(reader.readuntil(b"bytes"), ENOUGH)
            assert answer.endswith(b"100 bytes")
            writer.write(GET)
            head = await asyncio.wait_for(reader.readuntil(b"\r\n\r\n"), ENOUGH)
            assert b"200 OK" in head
            body = await asyncio.wait_for(reader.readexactly(len(LARGE)), ENOUGH)
            assert body == LARGE

    at_a_hasty_shop(work, monkeypatch)


@pytest.mark.parametrize("limit", ["MOST_OF_ONE", "MOST_CONNECTIONS"])
def test_of_too_many_connections_the_one_that_idled_longest_is_closed(
    limit: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(patience, limit, 2)

    async def work(_shop: Shop, port: int) -> None:
        async with connected(port) as (busy, begun), connected(port) as (idle, _):
            begun.write(HEAD)
            await asyncio.sleep(0.1)
            async with connected(port) as (reader, writer):
                assert await is_closed(idle)
                writer.write(GET)
                assert await asyncio.wait_for(reader.readuntil(b"200 OK"), ENOUGH)
            begun.write(bytes(100))
            assert await asyncio.wait_for(busy.readuntil(b"100 bytes"), ENOUGH)

    at_a_hasty_shop(work, monkeypatch, seconds=60)


def test_where_all_are_busy_a_further_connection_is_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(patience, "MOST_CONNECTIONS", 1)

    async def work(_shop: Shop, port: int) -> None:
        async with connected(port) as (_, begun):
            begun.write(HEAD)
            await asyncio.sleep(0.1)
            async with connected(port) as (reader, _):
                assert await is_closed(reader)

    at_a_hasty_shop(work, monkeypatch, seconds=60)


@pytest.mark.parametrize("place", [b"body", b"unread", b"large"])
def test_a_body_that_stops_being_http_is_refused_and_nothing_is_logged(
    place: bytes, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    start = b"PUT /%s HTTP/1.1\r\nHost: shop.test\r\nTransfer-Encoding: chunked\r\n\r\n" % place

    async def work(_shop: Shop, port: int) -> None:
        for pause in (0.0, 0.05):
            async with connected(port) as (reader, writer):
                writer.write(start)
                await asyncio.sleep(pause)
                writer.write(b"no length\r\n")
                assert await is_closed(reader)

    at_a_hasty_shop(work, monkeypatch)
    assert caplog.text == ""


def test_room_is_left_for_other_files(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(resource, "getrlimit", lambda _: (256, 4096))
    assert patience.most_connections() == 256 - patience.SPARE_FILES
    monkeypatch.setattr(resource, "getrlimit", lambda _: (1024, 4096))
    assert patience.most_connections() == patience.MOST_CONNECTIONS
