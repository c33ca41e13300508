"""Photos made to break the reader: broken bytes, bombs, and too little memory."""

import struct
import zlib
from io import BytesIO

import cv2
import pytest
from fuzz_mutants import mutant, whole_photos
from fuzz_photos import MOST_MEMORY, fault, fuzz
from PIL import Image
from PIL.JpegImagePlugin import JpegImageFile

from satcheck.errors import PhotoError
from satcheck.photo import read as reader
from satcheck.photo.limits import MOST_PASSES, count_passes
from satcheck.photo.read import decode_photo


def test_broken_files_end_in_a_photo_or_one_sentence() -> None:
    """Sixty of them; ``fuzz_photos.py`` reads 20,000."""
    ends, faults, _ = fuzz(60)
    assert faults == []
    assert sum(ends.values()) == 60
    assert {end.split()[-1] for end in ends} == {"photo", "refused"}


@pytest.mark.parametrize(
    ("end", "sentence", "memory", "said"),
    [
        ("photo", "", 10**8, ""),
        ("refused", "mutant.jpg: it is torn; a whole one is allowed", 0, ""),
        ("refused", "mutant.jpg: it is torn", 0, "no such sentence"),
        ("refused", "mutant.jpg: torn;\n allowed", 0, "no such sentence"),
        ("hung", "", 0, "hung"),
        ("crashed", "status -11", 0, "crashed"),
        ("raised", "IndexError()", 0, "IndexError"),
        ("photo", "", MOST_MEMORY + 1, "MB in use"),
    ],
)
def test_the_fuzzer_tells_a_fault_from_an_answer(
    end: str, sentence: str, memory: int, said: str
) -> None:
    found = fault(end, sentence, memory)
    assert said in found
    assert bool(found) == bool(said)


def test_a_mutant_is_the_same_each_time_and_no_other() -> None:
    assert mutant(1, 7) == mutant(1, 7)
    assert len({mutant(1, number)[1] for number in range(40)}) == 40


# --- bombs: refused by the header, before a pixel is decoded -----------------------------------


def claimed(kind: str, width: int, height: int) -> bytes:
    """Return a small photo that claims another size."""
    data = bytearray(whole_photos()[kind])
    if kind == "PNG":
        data[16:24] = struct.pack(">II", width, height)
        data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
    elif kind == "WebP":  # the extended header's canvas and the picture's own size
        canvas = (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
        data[24:30] = canvas
        at = data.index(b"\x9d\x01\x2a") + 3
        data[at : at + 4] = struct.pack("<HH", width, height)
    elif kind == "HEIC":
        at = data.index(b"ispe") + 8
        data[at : at + 8] = struct.pack(">II", width, height)
    else:
        at = data.index(b"\xff\xc2" if "progressive" in kind else b"\xff\xc0") + 5
        data[at : at + 4] = struct.pack(">HH", height, width)
    return bytes(data)


@pytest.mark.parametrize("kind", ["PNG", "WebP", "HEIC", "JPEG progressive", "JPEG"])
def test_a_bomb_is_refused_before_it_is_decoded(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reader, "decoded", lambda *_: pytest.fail("it was decoded"))
    with pytest.raises(PhotoError, match="megapixels are allowed"):
        decode_photo(claimed(kind, 16380, 16380), "p")


def test_only_a_jpeg_in_one_pass_may_have_200_megapixels(monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object) -> None:
        raise PhotoError("p", "it was decoded", "")

    monkeypatch.setattr(reader, "decoded", stop)
    with pytest.raises(PhotoError, match="it was decoded"):
        decode_photo(claimed("JPEG", 16000, 12000), "p")
    for kind in ("PNG", "WebP", "JPEG progressive"):
        with pytest.raises(PhotoError, match="at most 50 megapixels"):
            decode_photo(claimed(kind, 16000, 12000), "p")
        with pytest.raises(PhotoError, match="it was decoded"):
            decode_photo(claimed(kind, 8192, 6144), "p")


def in_passes(times: int, remark: bytes = b"") -> bytes:
    """Return a progressive JPEG whose last pass is written ``times`` more."""
    data = whole_photos()["JPEG progressive"]
    last = data.rindex(b"\xff\xda")
    return data[:-2] + (remark + data[last:-2]) * times + data[-2:]


@pytest.mark.parametrize("remark", [b"", b"\xff\xfe\x00\x06\xff\xd9\xff\xd9"])
def test_a_jpeg_of_endless_passes_is_refused(remark: bytes) -> None:
    """Each costs time over all pixels, in a few bytes; a remark in between hides no end."""
    with pytest.raises(PhotoError, match=f"more than {MOST_PASSES} passes"):
        decode_photo(in_passes(MOST_PASSES, remark), "p")


@pytest.mark.parametrize("kind", ["JPEG", "JPEG fine", "JPEG progressive", "JPEG pair"])
def test_passes_are_those_of_the_first_picture(kind: str) -> None:
    data = whole_photos()[kind]
    with JpegImageFile(BytesIO(data)) as image:
        assert image.fp is not None
        passes = count_passes(data, image.fp.tell())
    assert passes == (data.count(b"\xff\xda") if kind == "JPEG progressive" else 1)


@pytest.mark.parametrize("error", [MemoryError(), cv2.error()])
def test_too_little_memory_is_no_damage(error: Exception, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        if isinstance(error, cv2.error):
            error.code = cv2.Error.StsNoMem
        raise error

    monkeypatch.setattr(reader, "decoded", full)
    with pytest.raises(PhotoError, match=r"not enough memory.*; a smaller photo is allowed"):
        decode_photo(whole_photos()["PNG"], "p")


def test_a_profile_that_unpacks_to_megabytes_costs_its_photo_only() -> None:
    file = BytesIO()
    Image.open(BytesIO(whole_photos()["PNG"])).save(file, "PNG", icc_profile=bytes(30_000_000))
    with pytest.raises(PhotoError, match=r"damaged|profile"):
        decode_photo(file.getvalue(), "p")
