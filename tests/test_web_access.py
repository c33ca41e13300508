"""Who may ask the server, and what every answer carries."""

import asyncio
from pathlib import Path

import httpx
import pytest
from starlette.responses import PlainTextResponse

from satcheck.errors import UsageError
from satcheck.web.access import MOST_WRONG, WRONG_SECONDS, Gate, WrongKeys, keep_key

KEY = "k" * 22
HEADER = "X-Satcheck-Key"


def gate() -> Gate:
    return Gate(PlainTextResponse("in"), KEY, ("shop.test", "10.0.0.5", "::1"))


def ask(path: str, headers: dict[str, str] | None = None, at: Gate | None = None) -> httpx.Response:
    async def answer() -> httpx.Response:
        transport = httpx.ASGITransport(app=at or gate())
        async with httpx.AsyncClient(transport=transport, base_url="http://shop.test") as client:
            return await client.get(path, headers=headers)

    return asyncio.run(answer())


def test_the_right_key_opens_and_nothing_else_does() -> None:
    assert ask("/api/x", {HEADER: KEY}).text == "in"
    wrong: list[dict[str, str]] = [{}, {HEADER: ""}, {HEADER: KEY[:-1]}, {"Cookie": KEY}]
    for headers in wrong:
        assert ask("/api/x", headers).status_code == 401
    assert ask(f"/api/x?k={KEY}").status_code == 401


def test_the_page_itself_needs_no_key_and_so_may_hold_nothing() -> None:
    assert ask("/").text == "in"


@pytest.mark.parametrize("host", ["shop.test:8470", "SHOP.test.", "10.0.0.5", "[::1]:8470"])
def test_a_known_host_is_let_in_with_any_port_and_case(host: str) -> None:
    assert ask("/", {"Host": host}).text == "in"


@pytest.mark.parametrize(
    "host", ["evil.test", "shop.test.evil.test", "", "10.0.0.50", "[::2]", "[::1"]
)
def test_another_host_is_refused_even_with_the_key(host: str) -> None:
    assert ask("/api/x", {"Host": host, HEADER: KEY}).status_code == 421


def test_many_wrong_keys_close_the_door_for_a_while() -> None:
    at = gate()
    for _ in range(MOST_WRONG):
        assert ask("/api/x", {HEADER: "wrong"}, at).status_code == 401
    answer = ask("/api/x", {HEADER: KEY}, at)
    assert answer.status_code == 429
    assert float(answer.headers["Retry-After"]) == WRONG_SECONDS


def test_the_door_opens_again_and_other_addresses_never_waited() -> None:
    wrong = WrongKeys()
    for _ in range(MOST_WRONG):
        wrong.count("10.0.0.9", 100.0)
    assert wrong.is_refused("10.0.0.9", 100.0 + WRONG_SECONDS)
    assert not wrong.is_refused("10.0.0.8", 100.0)
    assert not wrong.is_refused("10.0.0.9", 100.1 + WRONG_SECONDS)


@pytest.mark.parametrize("path", ["/", "/api/x"])
def test_every_answer_forbids_frames_sniffing_and_foreign_scripts(path: str) -> None:
    headers = ask(path).headers
    policy = headers["Content-Security-Policy"]
    assert "script-src 'self';" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Cache-Control"] == "no-store"


def test_the_key_is_random_stays_and_is_its_owners_alone(tmp_path: Path) -> None:
    key = keep_key(tmp_path / "key")
    assert keep_key(tmp_path / "key") == key
    assert (tmp_path / "key").stat().st_mode & 0o077 == 0
    assert keep_key(tmp_path / "key", renew=True) != key
    assert keep_key(tmp_path / "other") != key


@pytest.mark.parametrize("renew", [False, True])
@pytest.mark.parametrize("text", ["to the cupboard: 4711", "C sharp minor, but not of satcheck"])
def test_a_file_that_is_no_key_is_neither_used_nor_replaced(
    tmp_path: Path, text: str, *, renew: bool
) -> None:
    (tmp_path / "key").write_text(text)
    with pytest.raises(UsageError, match="no key of satcheck"):
        keep_key(tmp_path / "key", renew=renew)
    assert (tmp_path / "key").read_text() == text


def test_a_key_that_was_never_written_is_made(tmp_path: Path) -> None:
    (tmp_path / "key").touch()
    assert len(keep_key(tmp_path / "key")) == 22  # of 128 bits (RFC 4648)
