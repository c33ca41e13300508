"""A real server for the browser's tests: its own process, on a port of its own, by a mapped name.

127.0.0.1 hides what a browser forbids on plain http, so pages are opened as http://shop.test.
"""

import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx

CHROMIUM = "/usr/bin/chromium"
NAME = "shop.test"


@dataclass(frozen=True)
class Server:
    """A running server."""

    port: int
    key: str
    process: subprocess.Popen[bytes]
    records: Path

    @property
    def base(self) -> str:
        """Return the address as a phone sees it."""
        return f"http://{NAME}:{self.port}"

    @property
    def link(self) -> str:
        """Return the address of the QR code."""
        return f"{self.base}/#k={self.key}"

    @property
    def chromium(self) -> list[str]:
        """Return the arguments by which chromium finds the server."""
        return ["--no-sandbox", "--disable-gpu", f"--host-resolver-rules=MAP {NAME} 127.0.0.1"]

    def client(self) -> httpx.Client:
        """Return a client with the key."""
        headers = {"X-Satcheck-Key": self.key}
        return httpx.Client(base_url=f"http://127.0.0.1:{self.port}", headers=headers, timeout=120)


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def server(records: Path, port: int | None = None, *more: str) -> Iterator[Server]:
    """Start the server as a shop does, and stop it as Ctrl+C does."""
    port = port or free_port()
    command = [sys.executable, "-m", "satcheck", "serve", "--records", str(records)]
    command += ["--host", "127.0.0.1", "--port", str(port), "--name", NAME, *more]
    records.mkdir(parents=True, exist_ok=True)
    with (records / "serve.log").open("ab") as log:
        process = subprocess.Popen(command, stdout=log, stderr=log)
    try:
        _wait(process, port, records / "serve.log")
        key = (records / "key").read_text().strip()
        yield Server(port, key, process, records)
    finally:
        process.terminate()
        process.wait(20)


def _wait(process: subprocess.Popen[bytes], port: int, log: Path) -> None:
    for _ in range(600):
        assert process.poll() is None, log.read_text()
        try:
            httpx.get(f"http://127.0.0.1:{port}/")
        except httpx.TransportError:
            time.sleep(0.2)
        else:
            return
    raise AssertionError(log.read_text())
