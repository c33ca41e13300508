"""The routes of photos: announced, sent, asked for; their series, pictures, the day, the clock."""

import asyncio
from datetime import datetime
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from satcheck.errors import UsageError
from satcheck.ledger.entries import timestamp
from satcheck.web.access import Json, problem
from satcheck.web.answer import answer, series_answer, today
from satcheck.web.asking import Shop, read_json, told
from satcheck.web.shot import is_id, read_part, read_shot
from satcheck.web.store import Kept
from satcheck.web.upload import TooLarge, WrongOffset
from satcheck.web.words import WORDS

LONGEST_WAIT = 20.0
"""Seconds that a page may wait for news with one request."""


@told
async def _begin(request: Request, shop: Shop) -> Response:
    """Announce a photo; asked twice, it says how much of it has come."""
    sent = await read_json(request)
    shot = read_shot(sent, shop.fibres, shop.bench.uploads.most_bytes)
    if (known := shop.bench.progress(shot.id)) is not None and known.state != "sending":
        if known.is_here:  # it could not be kept, and is asked for again
            shop.bench.start(shot)
        return _state(shop, shot.id)
    earlier = None if shot.of is None else shop.bench.store.picture(shot.of, "photo")
    if shot.of is not None and earlier is None:
        return problem(404, "unknown_photo")
    shop.bench.uploads.begin(shot)
    if earlier is not None:
        await asyncio.to_thread(shop.bench.uploads.place, shot.id, earlier)
        shop.bench.start(shot)
    return _state(shop, shot.id)


@told
async def _card(request: Request, shop: Shop) -> Response:
    """Read the part's number off the card in a photo, which is not kept."""
    async with shop.bench.cards:
        data = bytearray()
        async for piece in request.stream():
            data += piece
            if len(data) > shop.bench.uploads.most_bytes:
                raise TooLarge
        part = await shop.bench.read_card(bytes(data))
    try:
        return Json({"part": None if part is None else read_part(part)})
    except UsageError:  # a card of somebody else's
        return Json({"part": None})


@told
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
    if received == shot.size:
        shop.bench.start(shot)
    return _state(shop, name)


@told
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
    """Return how far a photo is, with its verdict where it is kept.

    An address outlives its verdict, by the back button or on another phone: once the outline has
    been mended, only the mended verdict is shown.
    """
    progress = shop.bench.progress(name)
    if progress is None:
        return problem(404, "unknown_photo")
    content: dict[str, Any] = {
        "state": progress.state,
        "received": progress.received,
        "ahead": progress.ahead,
        "sentence": progress.sentence,
        "is_here": progress.is_here,
    }
    if progress.state == "kept":
        content["answer"] = answer(_known(shop.bench.store.current(name)))
    return Json(content, status)


def _known(kept: Kept | None) -> Kept:
    if kept is None:
        raise UsageError(WORDS["unknown_photo"])
    return kept


@told
async def _series(request: Request, shop: Shop) -> Response:
    """Return what the part's other photos add, and what to do next."""
    kept = _known(shop.bench.store.get(request.path_params["id"]))
    seconds = shop.clocks.seconds_left(kept.part)
    minutes = None if seconds is None else seconds / 60
    found = await asyncio.to_thread(series_answer, kept, shop.bench.store, minutes)
    return Json({**found, "weight": shop.grams.beside_photo(kept)})


@told
async def _picture(request: Request, shop: Shop) -> Response:
    name, which = request.path_params["id"], request.path_params["which"]
    data = shop.bench.store.picture(name, which) if which in ("plain", "marks") else None
    if data is None:
        return problem(404, "unknown_photo")
    return Response(data, media_type="image/jpeg")


@told
async def _today(_request: Request, shop: Shop) -> Response:
    """Return the parts photographed since midnight, by the clock of the shop's computer."""
    midnight = datetime.now().astimezone().replace(hour=0, minute=0, second=0, microsecond=0)
    kept = await asyncio.to_thread(shop.bench.store.since, timestamp(midnight))
    parts = [{**one, "weight": shop.grams.by_weight(one["part"])} for one in today(kept)]
    return Json({"parts": parts, "photos": len(kept)})


@told
async def _clock(request: Request, shop: Shop) -> Response:
    """Read, start or stop a part's gel clock, or note that its mix has gelled."""
    part = read_part(request.query_params.get("part"))
    gelled = None
    if request.method == "POST":
        sent = await read_json(request)
        if sent.get("gelled") is True:
            gelled = shop.clocks.gelled(part)
        else:
            shop.clocks.start(part, sent.get("minutes"))
    elif request.method == "DELETE":
        shop.clocks.stop(part)
    return Json({"seconds_left": shop.clocks.seconds_left(part), "gelled": gelled})


ROUTES = (
    Route("/api/card", _card, methods=["POST"]),
    Route("/api/photos", _begin, methods=["POST"]),
    Route("/api/photos/{id}", _send, methods=["PUT"]),
    Route("/api/photos/{id}", _progress, methods=["GET"]),
    Route("/api/photos/{id}/series", _series),
    Route("/api/photos/{id}/{which}.jpg", _picture),
    Route("/api/today", _today),
    Route("/api/clock", _clock, methods=["GET", "POST", "DELETE"]),
)
