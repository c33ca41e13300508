"""The application: its pages, its files, and the routes. Everything under /api/ needs the key."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import cache
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from satcheck import __version__
from satcheck.model import VIEWS
from satcheck.resin.materials import RESINS
from satcheck.web import grams_routes, lesson_routes, photo_routes
from satcheck.web.access import Gate, problem
from satcheck.web.asking import Handler, Shop
from satcheck.web.words import WORDS

_TYPES = {"css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}
_PAGES = {
    "/": "bench.html",
    "/grams": "grams.html",
    "/today": "today.html",
    "/lesson": "lesson.html",
}


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
        *photo_routes.ROUTES,
        *grams_routes.ROUTES,
        *lesson_routes.ROUTES,
    ]
    gate = Middleware(Gate, key=shop.key, hosts=shop.hosts)
    app = Starlette(routes=routes, lifespan=life, middleware=[gate])
    app.state.shop = shop
    return app


def _page(name: str, shop: Shop) -> Handler:
    async def page(_request: Request) -> Response:
        text = (
            _templates()
            .get_template(name)
            .render(
                w=WORDS,
                views=VIEWS,
                fibres=shop.fibres,
                resins=tuple(RESINS),
                has_lesson=shop.lessons.page is not None,
                version=__version__,
            )
        )
        policy = {"content-security-policy": shop.lessons.policy} if name == "lesson.html" else {}
        return HTMLResponse(text, headers=policy)

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
