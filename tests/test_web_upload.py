"""Photos on their way in: counted, taken up again, and safe from a stop of the server."""

import asyncio
import threading
from collections.abc import AsyncIterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from satcheck.web.shot import Shot
from satcheck.web.upload import MOST_OPEN, TooLarge, Uploads, UploadsFull, WrongOffset

ID = "0123456789abcdef" * 2


def shot(size: int, name: str = ID) -> Shot:
    return Shot(name, "4711", "anterior", "basalt", size)


async def pieces(*data: bytes) -> AsyncIterator[bytes]:
    for piece in data:
        yield piece


def send(uploads: Uploads, one: Shot, offset: int, *data: bytes) -> int:
    return asyncio.run(uploads.append(one, offset, pieces(*data)))


@given(st.binary(min_size=1, max_size=300), st.lists(st.integers(1, 60), max_size=8))
def test_a_photo_sent_in_any_pieces_arrives_as_it_was(
    tmp_path_factory: pytest.TempPathFactory, data: bytes, cuts: list[int]
) -> None:
    uploads = Uploads(tmp_path_factory.mktemp("up"))
    one, at = shot(len(data)), 0
    uploads.begin(one)
    for length in [*cuts, len(data)]:
        if at < len(data):
            at = send(uploads, one, at, data[at : at + length])
    assert uploads.photo(ID).read_bytes() == data
    assert uploads.waiting() == (one,)


def test_what_has_come_before_the_network_broke_is_kept(tmp_path: Path) -> None:
    uploads, one = Uploads(tmp_path), shot(6)
    uploads.begin(one)

    async def broken() -> AsyncIterator[bytes]:
        yield b"abc"
        raise ConnectionError

    with pytest.raises(ConnectionError):
        asyncio.run(uploads.append(one, 0, broken()))
    assert Uploads(tmp_path).begin(one) == 3, "also after the server was stopped"
    assert send(uploads, one, 3, b"def") == 6


@pytest.mark.parametrize("offset", [0, 2, 4, -1])
def test_a_piece_that_does_not_follow_on_is_not_written(tmp_path: Path, offset: int) -> None:
    uploads, one = Uploads(tmp_path), shot(9)
    uploads.begin(one)
    send(uploads, one, 0, b"abc")
    with pytest.raises(WrongOffset):
        send(uploads, one, offset, b"x")
    assert uploads.received(ID) == 3


def test_more_than_was_announced_is_dropped_as_it_streams(tmp_path: Path) -> None:
    uploads, one = Uploads(tmp_path), shot(5)
    uploads.begin(one)
    with pytest.raises(TooLarge):
        send(uploads, one, 0, b"abc", b"def", b"never read")
    assert list(tmp_path.iterdir()) == []


def test_what_is_announced_smaller_than_allowed_cannot_grow_past_it(tmp_path: Path) -> None:
    uploads, one = Uploads(tmp_path, most_bytes=4), shot(100)
    uploads.begin(one)
    with pytest.raises(TooLarge):
        send(uploads, one, 0, b"abcde")


def test_too_many_photos_under_way_are_turned_away(tmp_path: Path) -> None:
    uploads = Uploads(tmp_path)
    for number in range(MOST_OPEN):
        uploads.begin(shot(9, f"{number:032x}"))
    with pytest.raises(UploadsFull):
        uploads.begin(shot(9, "f" * 32))
    assert uploads.begin(shot(9, f"{0:032x}")) == 0, "one that is under way may go on"


def test_photos_that_end_meanwhile_do_not_disturb_a_new_one(tmp_path: Path) -> None:
    uploads, stop = Uploads(tmp_path), threading.Event()

    def others() -> None:
        while not stop.is_set():
            one = shot(3, "a" * 32)
            uploads.begin(one)
            send(uploads, one, 0, b"abc")
            uploads.drop(one.id)

    with ThreadPoolExecutor() as pool:
        other = pool.submit(others)
        try:
            for number in range(300):
                mine = shot(3, f"{number:032x}")
                assert uploads.begin(mine) == 0
                uploads.drop(mine.id)
        finally:
            stop.set()
        other.result()


def test_a_piece_more_does_not_drop_a_photo_that_is_whole(tmp_path: Path) -> None:
    uploads, one = Uploads(tmp_path), shot(3)
    uploads.begin(one)
    send(uploads, one, 0, b"abc")
    with pytest.raises(WrongOffset):
        send(uploads, one, 3, b"x")
    assert uploads.photo(ID).read_bytes() == b"abc"
