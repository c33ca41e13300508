"""What every route shares: the shop it serves, JSON read strictly, failures as one sentence."""

import json
from collections.abc import Awaitable, Callable, Collection
from dataclasses import dataclass
from functools import wraps
from typing import Any

from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response

from satcheck.errors import SatcheckError, UsageError
from satcheck.web.access import Json, problem
from satcheck.web.bench import Bench
from satcheck.web.gel import Clocks
from satcheck.web.grams import Grams
from satcheck.web.lesson import Lessons
from satcheck.web.typed import WrongFieldError
from satcheck.web.upload import TooLarge, UploadsFull
from satcheck.web.words import WORDS

_MOST_JSON = 20_000
_MOST_DIGITS = 15

Handler = Callable[[Request], Awaitable[Response]]


@dataclass(frozen=True)
class Shop:
    """What one server serves, and who may ask."""

    bench: Bench
    clocks: Clocks
    grams: Grams
    lessons: Lessons
    fibres: tuple[str, ...]
    key: str
    hosts: Collection[str]


def told(handler: Callable[[Request, Shop], Awaitable[Response]]) -> Handler:
    """Turn what can go wrong into one sentence and a status."""

    @wraps(handler)
    async def wrapped(request: Request) -> Response:
        shop: Shop = request.app.state.shop
        try:
            return await handler(request, shop)
        except WrongFieldError as error:
            content = {"problem": "usage", "sentence": str(error), "field": error.field}
            return Json(content, 422)
        except UsageError as error:
            return Json({"problem": "usage", "sentence": str(error)}, 422)
        except ClientDisconnect:
            return Response(status_code=499)  # nobody hears it; what has come is kept
        except UploadsFull:
            return problem(503, "uploads_full")
        except TooLarge:
            megabytes = shop.bench.uploads.most_bytes // 1_000_000
            return problem(413, "too_large", megabytes=megabytes)
        except (OSError, SatcheckError):
            return problem(507, "disk_full")

    return wrapped


async def read_json(request: Request) -> dict[str, Any]:
    """Return a small JSON object that a page sent; raise UsageError for anything else."""
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > _MOST_JSON:
            raise UsageError(WORDS["bad_request"])
    try:
        sent = json.loads(body, parse_int=_whole_number)
        json.dumps(sent, ensure_ascii=False).encode()  # half a sign, which no page sends
    except (ValueError, RecursionError) as error:
        raise UsageError(WORDS["bad_request"]) from error
    if not isinstance(sent, dict):
        raise UsageError(WORDS["bad_request"])
    return sent


def _whole_number(digits: str) -> int | float:
    """Return a number that a page sent; one beyond any meant as a float, which may be infinite."""
    return int(digits) if len(digits) <= _MOST_DIGITS else float(digits)
