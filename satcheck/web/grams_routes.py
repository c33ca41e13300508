"""The routes of mix sheets and weighings."""

import asyncio

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from satcheck.web.access import Json, problem
from satcheck.web.asking import Shop, read_json, told
from satcheck.web.grams import KINDS
from satcheck.web.shot import read_part


@told
async def _sheets(request: Request, shop: Shop) -> Response:
    """Return both sheets of a part."""
    part = read_part(request.query_params.get("part"))
    return Json(await asyncio.to_thread(shop.grams.of_part, part))


@told
async def _save(request: Request, shop: Shop) -> Response:
    """Keep a sheet, and return what came of it."""
    kind = KINDS.get(request.path_params["sheet"])
    if kind is None:
        return problem(404, "bad_request")
    return Json(await asyncio.to_thread(shop.grams.save, kind, await read_json(request)))


@told
async def _card(request: Request, shop: Shop) -> Response:
    """Return the card to print of a part's mix."""
    part = read_part(request.query_params.get("part"))
    card = await asyncio.to_thread(shop.grams.card, part)
    if card is None:
        return problem(404, "bad_request")
    return Response(card, media_type="application/pdf")


ROUTES = (
    Route("/api/grams", _sheets),
    Route("/api/grams/card.pdf", _card),
    Route("/api/grams/{sheet}", _save, methods=["POST"]),
)
