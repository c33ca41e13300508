"""The routes: what a page asks for, and the answers. Everything under /api/ needs the key."""

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable, Collection
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import cache, wraps
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from satcheck import __version__
from satcheck.errors import SatcheckError, UsageError
from satcheck.ledger.entries import timestamp
from satcheck.web.access import Gate, problem
from satcheck.web.answer import answer, series_answer, today
from satcheck.web.bench import Bench
from satcheck.web.gel import Clocks
from satcheck.web.shot import VIEWS, is_id, read_shot
from satcheck.web.store import Kept
from satcheck.web.upload import TooLarge, UploadsFull, WrongOffset
from satcheck.web.words import WORDS

LONGEST_WAIT = 20.0
"""Seconds that a page may wait for news with one request."""

_MOST_JSON = 20_000
_TYPES = {"css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}

Handler = Callable[[Request], Awaitable[Response]]


@dataclass(frozen=True)
class Shop:
    """What one server serves: its bench, its clocks, its fibres, and who may ask."""

    bench: Bench
    clocks: Clocks
    fibres: tuple[str, ...]
    key: str
    hosts: Collection[str]


def make_app(shop: Shop) -> Starlette:
    """Return the server's application."""

    @asynccontextmanager
    async def life(_app: Starlette) -> AsyncIterator[None]:
        async with shop.bench.workers:
            shop.bench.resume()
            yield

    routes = [
        *(Route(path, _page(name, shop)) for path, name in _PAGES.items()),
        Route("/files/{name}", _file),
        Route("/api/photos", _begin, methods=["POST"]),
        Route("/api/photos/{id}", _send, methods=["PUT"]),
        Route("/api/photos/{id}", _progress, methods=["GET"]),
        Route("/api/photos/{id}/series", _series),
        Route("/api/photos/{id}/{which}.jpg", _picture),
        Route("/api/today", _today),
        Route("/api/clock", _clock, methods=["GET", "POST", "DELETE"]),
    ]
    gate = Middleware(Gate, key=shop.key, hosts=shop.hosts)
    app = Starlette(routes=routes, lifespan=life, middleware=[gate])
    app.state.shop = shop
    return app


_PAGES = {"/": "bench.html", "/today": "today.html"}


def _page(name: str, shop: Shop) -> Handler:
    async def page(_request: Request) -> Response:
        text = (
            _templates()
            .get_template(name)
            .render(w=WORDS, views=VIEWS, fibres=shop.fibres, version=__version__)
        )
        return HTMLResponse(text)

    return page


@cache
def _templates() -> Environment:
    loader = PackageLoader("satcheck.web", "pages")
    return Environment(
        loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip


@cache
def _assets() -> dict[str, str]:
    folder = files("satcheck.web").joinpath("pages")
    return {
        entry.name: entry.read_text(encoding="utf-8")
        for entry in folder.iterdir()
        if entry.name.rpartition(".")[2] in _TYPES
    }


async def _file(request: Request) -> Response:
    name = request.path_params["name"]
    text = _assets().get(name)
    if text is None:
        return problem(404, "bad_request")
    return Response(text, media_type=_TYPES[name.rpartition(".")[2]])


def _told(handler: Callable[[Request, Shop], Awaitable[Response]]) -> Handler:
    """Turn what can go wrong into one sentence and a status."""

    @wraps(handler)
    async def wrapped(request: Request) -> Response:
        shop: Shop = request.app.state.shop
        try:
            return await handler(request, shop)
        except UsageError as error:
            return JSONResponse({"problem": "usage", "sentence": str(error)}, 422)
        except UploadsFull:
            return problem(503, "uploads_full")
        except TooLarge:
            megabytes = shop.bench.uploads.most_bytes // 1_000_000
            return problem(413, "too_large", megabytes=megabytes)
        except (OSError, SatcheckError):
            return problem(507, "disk_full")

    return wrapped


@_told
async def _begin(request: Request, shop: Shop) -> Response:
    """Announce a photo; asked twice, it says how much of it has come."""
    sent = await _json(request)
    shot = read_shot(sent, shop.fibres, shop.bench.uploads.most_bytes)
    if (known := shop.bench.progress(shot.id)) is not None and known.state != "sending":
        return _state(shop, shot.id)
    earlier = None if shot.of is None else shop.bench.store.picture(shot.of, "photo")
    if shot.of is not None and earlier is None:
        return problem(404, "unknown_photo")
    shop.bench.uploads.begin(shot)
    if earlier is not None:
        await asyncio.to_thread(shop.bench.uploads.place, shot.id, earlier)
        shop.bench.start(shot)
    return _state(shop, shot.id)


@_told
async def _send(request: Request, shop: Shop) -> Response:
    """Take a piece of a photo; the last one starts the judgement."""
    name, uploads = request.path_params["id"], shop.bench.uploads
    shot = uploads.shot(name) if is_id(name) else None
    if shot is None:
        known = is_id(name) and shop.bench.progress(name) is not None
        return _state(shop, name) if known else problem(404, "unknown_photo")
    try:
        offset = int(request.query_params.get("offset", "0"))
        received = await uploads.append(shot, offset, request.stream())
    except (WrongOffset, ValueError):
        return _state(shop, name, status=409)
    except ClientDisconnect:
        return Response(status_code=499)  # nobody hears it; what has come is kept
    if received == shot.size:
        shop.bench.start(shot)
    return _state(shop, name)


@_told
async def _progress(request: Request, shop: Shop) -> Response:
    """Say how far a photo is; with ``wait`` not before there is news."""
    name = request.path_params["id"]
    if not is_id(name) or shop.bench.progress(name) is None:
        return problem(404, "unknown_photo")
    try:
        seconds = min(float(request.query_params.get("wait", "0")), LONGEST_WAIT)
    except ValueError:
        return problem(400, "bad_request")
    await shop.bench.wait(name, max(0.0, seconds))
    return _state(shop, name)


def _state(shop: Shop, name: str, status: int = 200) -> Response:
    """Return how far a photo is, with its verdict where it is kept."""
    progress = shop.bench.progress(name)
    if progress is None:
        return problem(404, "unknown_photo")
    content: dict[str, Any] = {
        "state": progress.state,
        "received": progress.received,
        "ahead": progress.ahead,
        "sentence": progress.sentence,
    }
    if progress.state == "kept":
        content["answer"] = answer(_kept(shop, name))
    return JSONResponse(content, status)


def _kept(shop: Shop, name: str) -> Kept:
    kept = shop.bench.store.get(name)
    if kept is None:
        raise UsageError(WORDS["unknown_photo"])
    return kept


@_told
async def _series(request: Request, shop: Shop) -> Response:
    """Return what the part's other photos add, and what to do next."""
    kept = _kept(shop, request.path_params["id"])
    seconds = shop.clocks.seconds_left(kept.part)
    minutes = None if seconds is None else seconds / 60
    return JSONResponse(await asyncio.to_thread(series_answer, kept, shop.bench.store, minutes))


@_told
async def _picture(request: Request, shop: Shop) -> Response:
    name, which = request.path_params["id"], request.path_params["which"]
    data = shop.bench.store.picture(name, which) if which in ("plain", "marks") else None
    if data is None:
        return problem(404, "unknown_photo")
    return Response(data, media_type="image/jpeg")


@_told
async def _today(_request: Request, shop: Shop) -> Response:
    """Return the parts photographed since midnight, by the clock of the shop's computer."""
    midnight = datetime.now().astimezone().replace(hour=0, minute=0, second=0, microsecond=0)
    kept = await asyncio.to_thread(shop.bench.store.since, timestamp(midnight))
    return JSONResponse({"parts": today(kept), "photos": len(kept)})


@_told
async def _clock(request: Request, shop: Shop) -> Response:
    """Read, start or stop a part's gel clock."""
    part = " ".join(request.query_params.get("part", "").split())[:40]
    if request.method == "POST":
        shop.clocks.start(part, (await _json(request)).get("minutes"))
    elif request.method == "DELETE":
        shop.clocks.stop(part)
    return JSONResponse({"seconds_left": shop.clocks.seconds_left(part)})


async def _json(request: Request) -> dict[str, Any]:
    """Return a small JSON object that a page sent; raise UsageError for anything else."""
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > _MOST_JSON:
            raise UsageError(WORDS["bad_request"])
    try:
        sent = json.loads(body)
    except ValueError as error:
        raise UsageError(WORDS["bad_request"]) from error
    if not isinstance(sent, dict):
        raise UsageError(WORDS["bad_request"])
    return sent
