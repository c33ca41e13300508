"""The routes of the lesson that a shop serves."""

import asyncio

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from satcheck.web.access import Json, problem
from satcheck.web.asking import Shop, read_json, told


@told
async def _page(_request: Request, shop: Shop) -> Response:
    """Return the lesson itself, which holds the shop's photos."""
    if shop.lessons.page is None:
        return problem(404, "no_lesson")
    return HTMLResponse(shop.lessons.page)


@told
async def _results(request: Request, shop: Shop) -> Response:
    """Keep a learner's round, or return everyone's."""
    if request.method == "POST":
        await asyncio.to_thread(shop.lessons.save, await read_json(request))
        return Json({})
    found = await asyncio.to_thread(shop.lessons.results)
    return Json(found._asdict())


ROUTES = (
    Route("/api/lesson", _page),
    Route("/api/lesson/results", _results, methods=["GET", "POST"]),
)
