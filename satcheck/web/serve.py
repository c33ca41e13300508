"""Put the server together and run it: addresses, key, certificates, the code to scan."""

import asyncio
import ipaddress
import re
import socket
import ssl
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from io import StringIO
from pathlib import Path

import segno
import uvicorn
from starlette.applications import Starlette

from satcheck.calibration.file import read_calibration
from satcheck.errors import UsageError
from satcheck.files import make_writable
from satcheck.ledger.book import open_ledger
from satcheck.web.access import keep_key
from satcheck.web.app import make_app
from satcheck.web.asking import Shop
from satcheck.web.bench import Bench
from satcheck.web.gel import Clocks
from satcheck.web.grams import Grams
from satcheck.web.lesson import Lessons, read_lesson
from satcheck.web.patience import PatientProtocol
from satcheck.web.store import LedgerStore
from satcheck.web.upload import Uploads
from satcheck.web.workers import Workers

LEDGER = "shop.ledger"
_LABEL = "[a-z0-9_]([a-z0-9_-]*[a-z0-9_])?"
_NAME = re.compile(rf"{_LABEL}(\.{_LABEL})*", re.IGNORECASE)
_LONGEST_NAME = 253  # characters of a host name (RFC 1035 3.1, as written with dots)


@dataclass(frozen=True)
class Place:
    """Where to listen, and by which names phones may come."""

    host: str
    port: int
    names: tuple[str, ...] = ()
    certificate: Path | None = None
    certificate_key: Path | None = None

    @property
    def scheme(self) -> str:
        """Return "https" where there is a certificate."""
        return "https" if self.certificate else "http"


@contextmanager
def open_shop(
    calibration: Path,
    records: Path,
    hosts: Collection[str],
    *,
    ledger: Path | None = None,
    lesson: Path | None = None,
    renew_key: bool = False,
    workers: int | None = None,
) -> Iterator[tuple[Starlette, str]]:
    """Open the ledger and yield the application and its key.

    Everything that is kept goes under ``records``; the ledger is ``records/shop.ledger`` unless
    another is named. ``lesson`` is the page that ``satcheck lesson`` made.
    """
    make_writable(records)
    bounds = read_calibration(calibration)
    page = None if lesson is None else read_lesson(lesson)
    key = keep_key(records / "key", renew=renew_key)
    with open_ledger(ledger or records / LEDGER, _now) as book:
        store = LedgerStore(book)
        bench = Bench(store, Uploads(records / "under_way"), Workers(calibration, workers))
        sheets, lessons = Grams(book, store), Lessons(book, page)
        fibres = tuple(bounds.fibres)
        shop = Shop(bench, Clocks(book, _now), sheets, lessons, fibres, key, hosts)
        yield make_app(shop), key


def _now() -> datetime:
    return datetime.now().astimezone()


def own_address() -> str:
    """Return this computer's address on its network; nothing is sent to find it.

    192.0.2.1 is an address for documentation (RFC 5737), where nobody listens.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def check_names(names: Sequence[str]) -> tuple[str, ...]:
    """Return further names of this computer; raise UsageError where no browser can ask for one."""
    for name in names:
        if not (_NAME.fullmatch(name) and len(name) <= _LONGEST_NAME) and not _is_address(name):
            raise UsageError(
                f"--name {name!r}: no name of a computer; letters a to z, digits, hyphens and dots "
                "between them are allowed, as in bench.local, or an address; no port"
            )
    return tuple(names)


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return "%" not in name  # an interface of this computer, which means nothing to a phone


def allowed_hosts(place: Place) -> tuple[str, ...]:
    """Return the names and addresses by which a phone may ask for the page."""
    name = socket.gethostname()
    own = (own_address(), name, f"{name}.local", "localhost", "127.0.0.1", "::1")
    listening = () if place.host in ("0.0.0.0", "::") else (place.host,)
    return (*own, *listening, *place.names)


def address(place: Place, key: str) -> str:
    """Return the address for the QR code; the key stands behind #, which is never sent."""
    listening = own_address() if place.host in ("0.0.0.0", "::") else place.host
    host = place.names[0] if place.names else listening
    name = f"[{host}]" if ":" in host else host
    return f"{place.scheme}://{name}:{place.port}/#k={key}"


def qr_text(text: str, encoding: str) -> str | None:
    """Return a QR code for a terminal; None where its encoding has no blocks to draw it with."""
    stream = StringIO()
    segno.make(text, error="m", micro=False).terminal(stream, compact=True, border=2)
    try:
        stream.getvalue().encode(encoding)
    except UnicodeEncodeError:
        return None
    return stream.getvalue()


def check_certificate(certificate: Path, key: Path) -> None:
    """Raise UsageError where a certificate and its key (PEM, without a password) cannot be used."""
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, password="")
    except (OSError, ValueError) as error:  # SSLError is an OSError
        why = getattr(error, "strerror", None) or error
        raise UsageError(
            f"{certificate}, {key}: no certificate with its key ({why}); two PEM files that "
            "belong together, the key without a password, are allowed"
        ) from error


def listen(place: Place) -> socket.socket:
    """Return a bound socket; raise UsageError where the port cannot be had."""
    family = socket.AF_INET6 if ":" in place.host else socket.AF_INET
    # Only on a socket that is said to be TCP does asyncio send small things at once; else an answer
    # waits 40 ms for its header to be acknowledged (Nagle's algorithm, RFC 896).
    found = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        found.bind((place.host, place.port))
    except (OSError, OverflowError) as error:
        found.close()
        why = getattr(error, "strerror", None) or error
        raise UsageError(
            f"{place.host} port {place.port}: cannot listen there ({why}); "
            "another --port, 1024 to 65535, and an address of this computer are allowed"
        ) from error
    return found


def run(app: Starlette, place: Place, sockets: Sequence[socket.socket]) -> None:
    """Serve until Ctrl+C; raise UsageError where the processes that judge do not start."""
    config = uvicorn.Config(
        app,
        http=PatientProtocol,
        log_level="error",  # what a stranger sends must not push the code off the screen
        access_log=False,
        server_header=False,
        proxy_headers=False,
        timeout_graceful_shutdown=3,
        ssl_certfile=place.certificate,
        ssl_keyfile=place.certificate_key,
        h11_max_incomplete_event_size=16384,
        lifespan="off",  # it would tell of an error there by a traceback, and end with status 3
    )
    asyncio.run(_live(app, uvicorn.Server(config), sockets))


async def _live(app: Starlette, server: uvicorn.Server, sockets: Sequence[socket.socket]) -> None:
    async with app.router.lifespan_context(app):
        await server.serve(sockets=list(sockets))
