"""Large content comes back whole, however it is held; zlib is the reference."""

import base64
import hashlib
import os
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from satcheck.ledger.blob import SAMPLE, Blob

NOISE = os.urandom(SAMPLE)
KINDS = {
    "text": b'{"zone": "distal left"}, ' * 20_000,
    "base64": base64.b64encode(os.urandom(300_000)),
    "a picture": os.urandom(200_000),
    "noise, then text": NOISE + b"weave " * 10_000,
    "text, then noise": b"weave " * 20_000 + NOISE,
}


@pytest.mark.parametrize("content", KINDS.values(), ids=KINDS.keys())
def test_it_comes_back_and_is_hardly_larger_than_zlib_makes_it(content: bytes) -> None:
    blob = Blob.of(content)
    assert blob.content == content
    assert blob.sha256 == hashlib.sha256(content).hexdigest()
    best = len(zlib.compress(content[:SAMPLE], 9))
    assert len(Blob.of(content[:SAMPLE]).data) <= 1.07 * best + 0.005 * SAMPLE


@given(st.binary(max_size=300))
def test_nothing_grows(content: bytes) -> None:
    blob = Blob.of(content)
    assert blob.content == content
    assert len(blob.data) <= len(content)


def test_what_is_packed_already_stays_as_it_is() -> None:
    content = os.urandom(100_000)
    assert Blob.of(content) == Blob(hashlib.sha256(content).hexdigest(), False, content)


def test_a_damaged_one_is_not_taken_for_whole() -> None:
    blob = Blob.of(KINDS["text"])
    with pytest.raises(zlib.error):
        Blob(blob.sha256, True, blob.data[:-9]).content  # noqa: B018
