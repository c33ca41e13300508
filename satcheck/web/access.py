"""Who may ask: the Host header, the key, wrong keys counted, and the headers of every answer.

The key is random and stands in the fragment of the address in the QR code, which a browser never
sends by itself; the page sends it as a header. There are no cookies, so a foreign page cannot make
a phone ask in its name.
"""

import json
import math
import re
import secrets
import time
from collections import deque
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from satcheck.errors import UsageError
from satcheck.files import write_whole
from satcheck.web.words import say

KEY_HEADER = "x-satcheck-key"
KEY_BYTES = 16
"""128 random bits cannot be guessed; the count of wrong keys only keeps the log quiet."""

_KEY = re.compile(rf"[\w-]{{{math.ceil(8 * KEY_BYTES / 6)}}}", re.ASCII)
"""As URL-safe base64 has so many bytes (RFC 4648)."""

MOST_WRONG = 20
WRONG_SECONDS = 60.0
"""From so many wrong keys of one address in so many seconds on, it is refused (own rule)."""

MOST_ADDRESSES = 1000

SECURITY: Mapping[str, str] = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
        "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-store",
}


def keep_key(path: Path, *, renew: bool = False) -> str:
    """Return the shop's key, kept in a file that only its owner reads; made where it is missing.

    Raises
    ------
    UsageError
        If the file holds something else.
    """
    found = path.read_text(encoding="ascii", errors="replace").strip() if path.exists() else ""
    if found and not _KEY.fullmatch(found):
        raise UsageError(f"{path}: no key of satcheck; move it away, and a new one is made")
    if found and not renew:
        return found
    key = secrets.token_urlsafe(KEY_BYTES)
    path.touch(mode=0o600, exist_ok=True)
    write_whole(path, f"{key}\n".encode())
    path.chmod(0o600)
    return key


@dataclass
class WrongKeys:
    """When each address gave a wrong key; an address with too many is refused for a while."""

    times: dict[str, deque[float]] = field(default_factory=dict)

    def is_refused(self, address: str, now: float) -> bool:
        """Return whether an address has given too many wrong keys lately."""
        recent = self.times.get(address)
        while recent and now - recent[0] > WRONG_SECONDS:
            recent.popleft()
        if recent is not None and not recent:
            del self.times[address]
        return recent is not None and len(recent) >= MOST_WRONG

    def count(self, address: str, now: float) -> None:
        """Note a wrong key; of very many addresses the oldest is forgotten."""
        if address not in self.times and len(self.times) >= MOST_ADDRESSES:
            del self.times[next(iter(self.times))]
        self.times.setdefault(address, deque(maxlen=MOST_WRONG)).append(now)


class Json(JSONResponse):
    """An answer in ASCII: a file's name may hold what UTF-8 cannot, and must cost no page."""

    def render(self, content: Any) -> bytes:
        """Return the bytes of an answer."""
        return json.dumps(content, allow_nan=False, separators=(",", ":")).encode("ascii")


class Gate:
    """Lets through what has the right Host and, under /api/, the right key."""

    def __init__(self, app: ASGIApp, key: str, hosts: Collection[str]) -> None:
        self.app = app
        self.key = key.encode()
        self.hosts = frozenset(host.casefold() for host in hosts)
        self.wrong = WrongKeys()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it before it goes further."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in SECURITY.items():
                    headers.setdefault(name, value)
            await send(message)

        refusal = self._refusal(scope)
        await (refusal or self.app)(scope, receive, guarded)

    def _refusal(self, scope: Scope) -> Json | None:
        headers = Headers(scope=scope)
        if _host_name(headers.get("host", "")) not in self.hosts:
            return problem(421, "host_wrong")
        if not scope["path"].startswith("/api/"):
            return None  # pages, style and script hold nothing of the shop
        now, address = time.monotonic(), (scope.get("client") or ("",))[0]
        given = headers.get(KEY_HEADER)
        if given is None:
            return problem(401, "key_missing")
        if self.wrong.is_refused(address, now):
            return problem(429, "key_many", {"retry-after": str(round(WRONG_SECONDS))})
        if not secrets.compare_digest(given.encode("latin-1"), self.key):
            self.wrong.count(address, now)
            return problem(401, "key_wrong")
        return None


def problem(
    status: int, word: str, headers: Mapping[str, str] | None = None, **values: object
) -> Json:
    """Return an answer that says what is wrong, by its word and in a sentence."""
    content = {"problem": word, "sentence": say(word, **values)}
    return Json(content, status, dict(headers or {}))


def _host_name(host: str) -> str:
    """Return a Host header's name without its port, in lower case; of IPv6 what is in brackets."""
    if host.startswith("["):
        inside, end, _ = host[1:].partition("]")
        return inside.casefold() if end else ""
    return host.partition(":")[0].casefold().rstrip(".")
