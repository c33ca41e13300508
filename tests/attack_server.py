"""Attack a running server from its own network: slow, many, wrong, and by its names and paths.

    python tests/attack_server.py
    python tests/attack_server.py paths floods

Each attack prints how often it was tried, and what the server did wrong, if anything.
``--openapi FILE`` writes what a scanner needs to know of the routes, for example

    python tests/attack_server.py --openapi routes.json
    schemathesis run routes.json --url http://127.0.0.1:8470 -H "X-Satcheck-Key: KEY"
"""

import argparse
import contextlib
import hashlib
import json
import os
import socket
import ssl
import subprocess
import sys
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
from bench_server import CHROMIUM, NAME, Server, free_port, server
from kill_ledger import small_sample
from playwright.sync_api import sync_playwright
from records import inspection_of

from satcheck.ledger.book import open_ledger
from satcheck.ledger.recording import Context, record_inspection
from satcheck.web import grams_routes, lesson_routes, photo_routes
from satcheck.web.access import MOST_WRONG, SECURITY
from satcheck.web.patience import HEAD_SECONDS, LOOK_SECONDS, STALLED_SECONDS

SCRIPT = "<img src=x onerror=window.hit=1>"
WAITING = ("waiting", "measuring")
SLACK = 3 * LOOK_SECONDS
Faults = Iterator[str]


def connection(at: Server, address: str = "127.0.0.1") -> socket.socket:
    """Return an open connection from an address of this computer."""
    return socket.create_connection(("127.0.0.1", at.port), 10, source_address=(address, 0))


def raw(at: Server, request: bytes, address: str = "127.0.0.1") -> bytes:
    """Return the whole answer to bytes as they are."""
    with connection(at, address) as sock, contextlib.suppress(ConnectionError):
        sock.settimeout(5)
        sock.sendall(request)
        found = b""
        with contextlib.suppress(TimeoutError):
            while piece := sock.recv(1 << 16):
                found += piece
                if _is_whole(found):
                    break
        return found
    return b""


def _is_whole(answer: bytes) -> bool:
    head, blank, body = answer.partition(b"\r\n\r\n")
    length = [line for line in head.lower().split(b"\r\n") if line.startswith(b"content-length:")]
    return bool(blank and length) and len(body) >= int(length[0].split(b":")[1])


def closed_within(sock: socket.socket, seconds: float) -> bool:
    """Return whether the server closes a connection in time, whatever it sends before."""
    until = time.monotonic() + seconds
    while (left := until - time.monotonic()) > 0:
        sock.settimeout(left)
        try:
            if not sock.recv(1 << 16):
                return True
        except TimeoutError:
            return False
        except ConnectionError:
            return True
    return False


def is_served(at: Server) -> bool:
    """Return whether a phone with the key is answered."""
    with contextlib.suppress(httpx.HTTPError), at.client() as client:
        return client.get("/api/today", timeout=5).status_code == 200
    return False


# --- slow ones ---------------------------------------------------------------------------------


def slow(at: Server) -> Faults:
    """400 connections that never finish a head, from two addresses, while a phone is served."""
    starts = (b"", b"G", b"GET / HTTP/1.1\r\nHost: a\r\nX-Slow: ")
    lazy = []
    for number in range(400):
        with contextlib.suppress(OSError):
            sock = connection(at, f"127.0.0.{2 + number % 2}")
            sock.sendall(starts[number % 3])
            lazy.append(sock)
    if not is_served(at):
        yield "no phone was served beside them"
    with ThreadPoolExecutor(100) as pool:
        ends = list(pool.map(lambda s: closed_within(s, HEAD_SECONDS + SLACK), lazy))
    print(f"  {len(lazy)} heads that never ended")
    if not all(ends):
        yield f"{ends.count(False)} connections were kept"
    for sock in lazy:
        sock.close()


def half_uploads(at: Server) -> Faults:
    """Vanish in the middle of a piece: the photo is free before long."""
    data, name = small_sample(), os.urandom(16).hex()
    with at.client() as client:
        _announce(client, name, len(data)).raise_for_status()
        gone = connection(at, "127.0.0.4")
        head = f"PUT /api/photos/{name}?offset=0 HTTP/1.1\r\nHost: {NAME}\r\n"
        head += f"X-Satcheck-Key: {at.key}\r\nContent-Length: {len(data)}\r\n\r\n"
        gone.sendall(head.encode() + data[:50_000])
        time.sleep(0.5)
        begun = time.monotonic()
        received = client.get(f"/api/photos/{name}").json()["received"]
        for _ in range(10):  # as the page does: where it breaks, it asks and goes on
            told = client.put(
                f"/api/photos/{name}?offset={received}", content=data[received:], timeout=60
            ).json()
            if told["state"] != "sending":
                break
            received = told["received"]
        took = time.monotonic() - begun
        print(f"  went on after {took:.1f} s")
        if took > STALLED_SECONDS + SLACK:
            yield f"the photo was held for {took:.0f} s"
        while (told := client.get(f"/api/photos/{name}?wait=20").json())["state"] in WAITING:
            pass
        if told["state"] != "kept":
            yield f"the photo was not judged: {told}"
        gone.close()


def _announce(client: httpx.Client, name: str, size: int) -> httpx.Response:
    shot = {"id": name, "part": "A-1", "view": "medial", "fibre": "basalt", "size": size}
    return client.post("/api/photos", content=json.dumps(shot))


# --- many --------------------------------------------------------------------------------------


def floods(at: Server) -> Faults:
    """200 requests at once, ten times, each answered."""
    paths = ("/", "/today", "/files/bench.js", "/api/today", "/api/clock?part=1", "/grams")

    def ask(number: int) -> int:
        with at.client() as client:
            return client.get(paths[number % len(paths)]).status_code

    for _ in range(10):
        with ThreadPoolExecutor(200) as pool:
            statuses = Counter(pool.map(ask, range(200)))
        if set(statuses) != {200}:
            yield f"{dict(statuses)}"
    print("  10 times 200 requests")


def wrong_keys(at: Server) -> Faults:
    """Guessing closes the door to the guesser's address, and to no other."""
    request = f"GET /api/today HTTP/1.1\r\nHost: {NAME}\r\nX-Satcheck-Key: %s\r\n\r\n"
    forged = request.replace("\r\n\r\n", "\r\nX-Forwarded-For: 10.9.8.%s\r\n\r\n")
    told = Counter(raw(at, (forged % ("guess", n)).encode(), "127.0.0.5")[9:12] for n in range(100))
    print(f"  100 wrong keys: {dict(told)}")
    if told != {b"401": MOST_WRONG, b"429": 100 - MOST_WRONG}:
        yield f"{dict(told)}"
    if raw(at, (request % at.key).encode(), "127.0.0.5")[9:12] != b"429":
        yield "the right key was let in between"
    if not is_served(at):
        yield "another address was refused"


# --- names and paths ---------------------------------------------------------------------------

HOSTS = (
    "", "evil.test", f"{NAME}.evil.test", f"evil.test#{NAME}", f"{NAME}@evil.test", "[::1", "*",
    f"{NAME}\x00.evil.test", "127.0.0.1.evil.test", "2130706433", "localhost.evil.test",
)  # fmt: skip
PLACES = (
    "/files/../serve.py", "/files/..%2fserve.py", "/files/%2e%2e/serve.py", "/files/....//key",
    "/files/..%5c..%5ckey", "/files/%00", "/files/bench.js%00.html", "/files//etc/passwd",
    "/files/%2fetc%2fpasswd", "//etc/passwd", "/../../../etc/passwd", "/..;/key", "/key",
    "/shop.ledger", "/under_way/", "/.git/config", "/%2e%2e/%2e%2e/etc/passwd", "/files/",
    "/files/.", "/files/..", "/api", "/api/", "//api/today", "/API/today", "/api%2ftoday",
    "/./api/today", "/files/../api/today", "/api/../key", "http://evil.test/api/today",
    "/api/photos/..%2f..%2fkey", "/api/photos/%2e%2e/series", "/api/photos/a.jpg/plain.jpg",
    "/api/photos/0/..%2f..%2fphoto.jpg", "/?k=", "/%", "/%zz", "/\xff", "/" + "a" * 20_000,
)  # fmt: skip
SECRETS = (b"root:", b"import ", b"SQLite format", b"[core]", b'"parts"', b'"received"')
"""What stands in files and answers that nobody without the key may get."""


def paths(at: Server) -> Faults:
    """Odd paths without the key, each by several methods."""
    tried = 0
    for place in PLACES:
        for method in ("GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"):
            tried += 1
            request = f"{method} {place} HTTP/1.1\r\nHost: {NAME}\r\nContent-Length: 0\r\n"
            answer = raw(at, f"{request}Connection: close\r\n\r\n".encode("latin-1"))
            yield from _leaks(at, answer, f"{method} {place[:40]}")
    print(f"  {tried} requests")


def hosts(at: Server) -> Faults:
    """Foreign names, with the key: a page elsewhere that rebinds its name gets nothing."""
    for host in HOSTS:
        request = f"GET /api/today HTTP/1.1\r\nHost: {host}\r\nX-Satcheck-Key: {at.key}\r\n\r\n"
        if raw(at, request.encode("latin-1"))[9:12] not in (b"421", b"400"):
            yield f"let in as {host!r}"
    twice = f"GET /api/today HTTP/1.1\r\nHost: {NAME}\r\nHost: evil.test\r\n"
    if raw(at, f"{twice}X-Satcheck-Key: {at.key}\r\n\r\n".encode())[9:12] != b"400":
        yield "let in under two names"
    print(f"  {len(HOSTS) + 1} names")


def _leaks(at: Server, answer: bytes, what: str) -> Faults:
    status = answer[9:12]
    head, _, body = answer.partition(b"\r\n\r\n")
    if status.startswith(b"5"):
        yield f"{what}: {answer[:15]!r}"
    if at.key.encode() in answer or any(secret in body for secret in SECRETS):
        yield f"{what}: {body[:80]!r}"
    # What is no HTTP is refused before the application is asked.
    missing = [name for name in SECURITY if name.encode() not in head.lower()]
    if status and missing and b"Invalid HTTP request" not in body:
        yield f"{what}: no {missing}"


def smuggling(at: Server) -> Faults:
    """Bodies with two lengths, and more than one request in one go: none is let in keyless."""
    inner = f"GET /api/today HTTP/1.1\r\nHost: {NAME}\r\n\r\n"
    for extra in (
        f"Content-Length: 0\r\nContent-Length: {len(inner)}\r\n",
        f"Content-Length: {len(inner)}\r\nTransfer-Encoding: chunked\r\n",
        "Transfer-Encoding: chunked, identity\r\n", "Transfer-Encoding: xchunked\r\n",
        "Content-Length: +5\r\n", "Content-Length: -1\r\n", "Content-Length : 5\r\n",
        "X: a\rX-Satcheck-Key: b\r\n", "Upgrade: websocket\r\nConnection: Upgrade\r\n",
    ):  # fmt: skip
        request = f"POST /api/photos HTTP/1.1\r\nHost: {NAME}\r\n{extra}\r\n{inner}"
        answer = raw(at, request.encode())
        if b" 200 " in answer.split(b"\r\n")[0] or b'"parts"' in answer:
            yield f"{extra!r}: {answer[:60]!r}"
    print("  9 requests")


# --- script in every field ---------------------------------------------------------------------


def scripts(at: Server) -> Faults:
    """Names of parts, people, resins and files that are markup, on every page, in chromium."""
    with open_ledger(at.records / "shop.ledger", lambda: datetime.now(UTC)) as ledger:
        made = inspection_of(name=f"{SCRIPT}.jpg")
        for view, name in (("medial", "d" * 32), (SCRIPT, "e" * 32)):
            told = Context(SCRIPT, SCRIPT, view, None, SCRIPT, name)
            record_inspection(ledger, made, told)
    with at.client() as client:
        for field in ("part", "picture", "fibre", "initials"):
            sent = {"id": hashlib.md5(field.encode()).hexdigest(), "initials": "AB", "fibre": "x",
                    "picture": "p", "counts": [[0] * 3] * 3, field: SCRIPT}  # fmt: skip
            client.post("/api/lesson/results", content=json.dumps(sent))
            client.post("/api/photos", content=json.dumps({**sent, "view": "medial", "size": 1}))
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=at.chromium)
        page = browser.new_page()
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        for place in ("/today", "/", "/grams", "/lesson"):
            page.goto(f"{at.base}{place}#k={at.key}")
            page.wait_for_timeout(1500)
            if page.evaluate("window.hit"):
                yield f"{place}: the script ran"
        page.goto(f"{at.base}/today#k={at.key}")
        page.wait_for_timeout(1000)
        if SCRIPT not in page.inner_text("body"):
            yield "/today does not show the part's name as text"
        browser.close()
    print(f"  4 pages; refused by the policy: {[text for text in said if 'Refused' in text]}")


# --- https -------------------------------------------------------------------------------------


def https(at: Server) -> Faults:
    """Serve under a certificate made by openssl: plain http and old versions get nothing."""
    cert, key, port = at.records / "cert.pem", at.records / "key.pem", free_port()
    subject = ["-subj", f"/CN={NAME}", "-addext", f"subjectAltName=DNS:{NAME}"]
    words = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", *subject]
    subprocess.run([*words, "-keyout", key, "-out", cert], check=True, capture_output=True)
    command = [sys.executable, "-m", "satcheck", "serve", "--records", str(at.records / "tls")]
    command += ["--host", "127.0.0.1", "--port", str(port), "--name", NAME]
    command += ["--tls-cert", str(cert), "--tls-key", str(key)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as process:
        new = ssl.create_default_context(cafile=str(cert))
        for _ in range(300):
            with contextlib.suppress(OSError), _tls(port, new) as sock:
                print(f"  {sock.version()}")
                break
            time.sleep(0.2)
        else:
            yield "no https"
        for version in (ssl.TLSVersion.TLSv1, ssl.TLSVersion.TLSv1_1):
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # that these are old is why they are tried
                old = ssl.create_default_context(cafile=str(cert))
                old.minimum_version = old.maximum_version = version
            with contextlib.suppress(OSError), _tls(port, old):
                yield f"{version.name} was spoken"
        with contextlib.suppress(httpx.HTTPError):
            yield f"plain http: {httpx.get(f'http://127.0.0.1:{port}/').status_code}"
        process.terminate()


def _tls(port: int, context: ssl.SSLContext) -> ssl.SSLSocket:
    sock = socket.create_connection(("127.0.0.1", port), 10)
    return context.wrap_socket(sock, server_hostname=NAME)


# --- a scanner's map of the routes -------------------------------------------------------------

_TEXT = {"type": "string"}
_ID = {"type": "string", "pattern": "^[0-9a-f]{32}$"}
_SHOT = {"id": _ID, "part": _TEXT, "view": {"enum": ["medial", "lateral"]},
         "fibre": {"enum": ["basalt", "glass"]}, "size": {"type": "integer"},
         "of": {**_ID, "nullable": True}, "distal": {**_TEXT, "nullable": True},
         "inside": {"type": "array", "items": {"type": "array", "items": {"type": "number"}}},
         }  # fmt: skip
_SHEET = {"id": _ID, "part": _TEXT,
          "entries": {"type": "object", "additionalProperties": _TEXT}}  # fmt: skip
_ROUND = {"id": _ID, "initials": _TEXT, "picture": _TEXT, "fibre": _TEXT,
          "counts": {"type": "array", "items": {"type": "array", "items": {"type": "integer"}}},
          }  # fmt: skip
BODIES: dict[str, Any] = {
    "/api/photos": _SHOT, "/api/grams/{sheet}": _SHEET, "/api/lesson/results": _ROUND,
    "/api/clock": {"minutes": {"type": "number"}, "gelled": {"type": "boolean"}},
}  # fmt: skip


def openapi() -> dict[str, Any]:
    """Return the routes as an OpenAPI document, made from the routes themselves."""
    routes = (*photo_routes.ROUTES, *grams_routes.ROUTES, *lesson_routes.ROUTES)
    places: dict[str, Any] = {}
    for route in routes:
        for method in sorted((route.methods or {"GET"}) - {"HEAD"}):
            found: dict[str, Any] = {"responses": {"default": {"description": "any"}}}
            names = [piece[1:-1] for piece in route.path.replace(".", "/").split("/")
                     if piece.startswith("{")]  # fmt: skip
            found["parameters"] = [
                {"name": name, "in": "path", "required": True, "schema": _TEXT} for name in names
            ] + [{"name": name, "in": "query", "schema": _TEXT} for name in ("part", "offset")]
            if method == "POST" and route.path in BODIES:
                schema = {"type": "object", "properties": BODIES[route.path]}
                found["requestBody"] = {"content": {"application/json": {"schema": schema}}}
            places.setdefault(route.path, {})[method.lower()] = found
    return {"openapi": "3.0.3", "info": {"title": "satcheck", "version": "1"}, "paths": places}


ATTACKS: tuple[Callable[[Server], Faults], ...] = (
    paths, hosts, smuggling, scripts, half_uploads, floods, slow, wrong_keys, https,
)  # fmt: skip


def attack(at: Server, names: Sequence[str]) -> int:
    """Run some attacks, or all; return how many faults there were."""
    count = 0
    for one in ATTACKS:
        if names and one.__name__ not in names:
            continue
        print(f"{one.__name__}: {(one.__doc__ or '').splitlines()[0]}")
        for fault in one(at):
            count += 1
            print(f"  FAULT {fault}")
    log = (at.records / "serve.log").read_text()
    if "Traceback" in log:
        count += 1
        print(f"  FAULT on the server's screen:\n{log[log.index('Traceback') :]}")
    return count


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("attacks", nargs="*", metavar="ATTACK")
    parser.add_argument("--openapi", type=Path, metavar="FILE")
    told = parser.parse_args()
    if told.openapi:
        told.openapi.write_text(json.dumps(openapi(), indent=1))
        return
    with tempfile.TemporaryDirectory() as folder, server(Path(folder)) as at:
        count = attack(at, told.attacks)
    print(f"{count} faults")
    sys.exit(bool(count))


if __name__ == "__main__":
    main()
