"""How a server starts: what is wrong with its certificate or port is said before anything is."""

import asyncio
import re
import socket
from contextlib import closing
from pathlib import Path

import pytest

from satcheck.cli.app import main
from satcheck.errors import UsageError
from satcheck.web.serve import Place, address, allowed_hosts, check_names, listen, qr_text


@pytest.mark.parametrize("content", [None, b"", b"junk", b"-----BEGIN CERTIFICATE-----\nAA\n"])
def test_a_certificate_that_cannot_be_used_is_one_sentence_and_nothing_is_made(
    tmp_path: Path, content: bytes | None, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("cert.pem", "key.pem"):
        if content is not None:
            (tmp_path / name).write_bytes(content)
    words = ["--tls-cert", str(tmp_path / "cert.pem"), "--tls-key", str(tmp_path / "key.pem")]
    with pytest.raises(SystemExit) as stopped:
        main(["serve", "--records", str(tmp_path / "records"), *words])
    said = capsys.readouterr()
    assert (stopped.value.code, said.out) == (2, "")
    assert "no certificate with its key" in said.err
    assert len(said.err.splitlines()) == 1
    assert not (tmp_path / "records").exists()


def test_one_of_certificate_and_key_is_not_enough(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        main(["serve", "--records", str(tmp_path), "--tls-cert", "cert.pem"])
    assert "belong together" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["bad name!", "", "bench:8470", "-bench", "a..b", "fe80::1%eth0"])
def test_a_name_that_no_browser_can_ask_for_is_one_sentence_and_nothing_is_made(
    tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["serve", "--records", str(tmp_path / "records"), "--name", name])
    said = capsys.readouterr()
    assert (stopped.value.code, said.out) == (2, "")
    assert f"--name {name!r}: no name of a computer; letters a to z, digits" in said.err
    assert len(said.err.splitlines()) == 1
    assert not (tmp_path / "records").exists()


def test_names_and_addresses_of_a_computer_are_taken() -> None:
    names = ("bench", "Bench-2.local", "shop_pc", "192.0.2.7", "2001:db8::7")
    assert check_names(names) == names


def test_a_port_that_is_taken_is_named() -> None:
    with closing(socket.socket()) as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(UsageError, match=r"cannot listen there .*another --port"):
            listen(Place("127.0.0.1", taken.getsockname()[1]))


def test_a_server_whose_processes_do_not_start_says_so_in_a_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Status 2: 3 would say that a photo could not be judged. No process is up within no time."""
    monkeypatch.setattr("satcheck.web.workers._START_SECONDS", 0)
    with closing(listen(Place("127.0.0.1", 0))) as free:
        port = str(free.getsockname()[1])
    with pytest.raises(SystemExit) as ended:
        main(["serve", "--host", "127.0.0.1", "--port", port, "--records", str(tmp_path)])
    assert ended.value.code == 2
    assert re.fullmatch(
        "the processes that judge photos do not start .*\n", capsys.readouterr().err
    )


def test_a_small_answer_is_sent_at_once() -> None:
    """Nagle's algorithm (RFC 896) is off on what asyncio, as the server does, accepts there."""

    async def delays() -> int:
        told = asyncio.get_running_loop().create_future()

        def accepted(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            at = writer.get_extra_info("socket")
            told.set_result(at.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
            writer.close()

        with closing(listen(Place("127.0.0.1", 0))) as own:
            async with await asyncio.start_server(accepted, sock=own):
                _, writer = await asyncio.open_connection(*own.getsockname())
                writer.close()
                return int(await told)

    assert asyncio.run(delays()) != 0


def test_the_key_stands_where_no_browser_sends_it() -> None:
    place = Place("0.0.0.0", 8470, ("shop.test",), Path("c"), Path("k"))
    assert address(place, "abc") == "https://shop.test:8470/#k=abc"
    assert address(Place("::1", 8470), "abc") == "http://[::1]:8470/#k=abc"
    assert "shop.test" in allowed_hosts(place)


@pytest.mark.parametrize(("encoding", "is_drawn"), [("utf-8", True), ("ascii", False)])
def test_a_code_is_drawn_where_the_terminal_has_blocks(encoding: str, *, is_drawn: bool) -> None:
    assert (qr_text("http://bench.test:8470/#k=abc", encoding) is not None) is is_drawn
