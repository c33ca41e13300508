"""The place is taken out of every kind of photo, and nothing else changes."""

from io import BytesIO

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from satcheck.photo.read import decode_photo
from satcheck.web.location import without_location

PLACE = {1: "N", 2: (47.0, 33.0, 21.5), 3: "E", 4: (7.0, 35.0, 9.25), 29: "2026:03:04"}
TAKEN = "2026:03:04 05:06:07"


def photo_with_place(kind: str, order: str = "<") -> bytes:
    rng = np.random.default_rng(1)
    picture = Image.fromarray(rng.integers(0, 255, (320, 400, 3), np.uint8))
    exif = Image.Exif()
    exif.endian = order
    exif[0x0112] = 1
    exif.get_ifd(0x8769)[0x9003] = TAKEN
    exif.get_ifd(0x8825).update(PLACE)
    stream = BytesIO()
    if kind == "HEIC":
        pillow_heif.from_pillow(picture).save(stream, exif=exif.tobytes())
    else:
        picture.save(stream, kind, exif=exif.tobytes())
    return stream.getvalue()


def place(data: bytes) -> dict[int, object]:
    pillow_heif.register_heif_opener()
    return dict(Image.open(BytesIO(data)).getexif().get_ifd(0x8825))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIC"])
def test_a_photo_keeps_its_pixels_and_time_but_not_its_place(kind: str) -> None:
    data = photo_with_place(kind)
    assert place(data), "the control: the place was there"
    cleaned = without_location(data)
    assert place(cleaned) == {}
    assert len(cleaned) == len(data)
    before, after = (decode_photo(each, "part") for each in (data, cleaned))
    assert after.taken == before.taken == "2026-03-04T05:06:07"
    np.testing.assert_array_equal(after.rgb, before.rgb)


def test_no_number_of_the_place_is_left_behind() -> None:
    seconds = (925).to_bytes(4, "big") + (100).to_bytes(4, "big")  # 9.25 as a rational
    shorter = (37).to_bytes(4, "big") + (4).to_bytes(4, "big")
    data = photo_with_place("JPEG")
    orders = [number for n in (seconds, shorter) for number in (n, n[3::-1] + n[:3:-1])]
    assert any(number in data for number in orders)
    assert not any(number in without_location(data) for number in orders)


def test_the_place_in_xmp_is_blanked_too() -> None:
    xmp = b'<x exif:GPSLatitude="47,33.3N" exif:Other="1"/>'
    xmp += b"<exif:GPSLongitude>7,35E</exif:GPSLongitude><x exif:GPSAltitude='261/1'/>"
    cleaned = without_location(b"\xff\xd8\xff\xe1" + xmp)
    assert b"47,33" not in cleaned
    assert b"7,35E" not in cleaned
    assert b"261/1" not in cleaned
    assert b'exif:Other="1"' in cleaned


def test_a_file_made_to_keep_the_search_busy_is_searched_all_the_same() -> None:
    run = b"a" * 500_000  # looked at from each of its letters it would take twenty minutes
    data = b"\xff\xd8" + run + b' exif:GPSLatitude="47,33.3N" '
    assert without_location(data) == data.replace(b"47,33.3N", b" " * 8)


@pytest.mark.parametrize("order", ["<", ">"])
def test_many_tiff_heads_of_the_other_byte_order_do_not_hide_the_place(order: str) -> None:
    data = photo_with_place("JPEG", order)
    assert (b"MM\0*" in data) == (order == ">")
    heads = {"<": b"MM\0*", ">": b"II*\0"}[order] * 2_000
    comment = b"\xff\xfe" + (len(heads) + 2).to_bytes(2, "big") + heads
    assert place(without_location(data[:2] + comment + data[2:])) == {}


@pytest.mark.parametrize("data", [b"", b"II*\0", b"MM\0*\xff\xff\xff\xff", b"\xff\xd8" + bytes(99)])
def test_what_has_no_place_or_is_cut_short_comes_back_as_it_is(data: bytes) -> None:
    assert without_location(data) == data
