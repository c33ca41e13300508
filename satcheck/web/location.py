"""Take the place out of a photo's bytes before it is kept, without touching its pixels.

The directory of GPS data is emptied where it stands, and so are GPS entries of XMP: no byte moves,
so every container stays as it was but for the checksums of PNG chunks, which are made anew.

References
----------
TIFF 6.0 (directories of 12-byte entries); EXIF 2.32, tag 0x8825 (GPS directory);
PNG, third edition (chunk checksums).
"""

import re
import struct
import zlib
from collections.abc import Iterator
from itertools import islice

_GPS_POINTER = 0x8825
_TIFF = (b"II\x2a\x00", b"MM\x00\x2a")
# A name is looked for from its first letter only: from each of a run's letters, a run of a megabyte
# would take an hour and more.
_XMP = re.compile(
    rb"""(?<!\w)\w+:GPS\w+\s*=\s*("[^"]*"|'[^']*')|(?<=<)(\w+:GPS\w+)>[^<]*(?=</\2>)"""
)
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8}
_MOST_ENTRIES = 64
_MOST_BLOCKS = 1000
"""TIFF blocks of a byte order that are looked at, EXIF's own among the first (own rule)."""
_PNG = b"\x89PNG\r\n\x1a\n"
_METADATA = 1 << 20
"""Bytes before which a camera writes its EXIF; HEIC may also write it behind the pixels."""


def without_location(data: bytes) -> bytes:
    """Return a photo's bytes with every GPS entry of EXIF and XMP emptied; the length stays."""
    changed = bytearray(data)
    for start, end in ((0, _METADATA), (len(data) - _METADATA, len(data))):
        for mark in _TIFF:
            for at in islice(_places(data, mark, max(0, start), end), _MOST_BLOCKS):
                _empty_directory(changed, at)
        if data.find(b":GPS", max(0, start), end) < 0:
            continue  # in the middle of a picture's data the search for a whole entry is slow
        for found in _XMP.finditer(data, max(0, start), end):
            _empty_value(changed, found)
    if bytes(changed) == data:
        return data
    if data.startswith(_PNG):
        _renew_checksums(changed)
    return bytes(changed)


def _places(data: bytes, mark: bytes, start: int, end: int) -> Iterator[int]:
    """Yield where a mark begins."""
    while (start := data.find(mark, start, end)) >= 0:
        yield start
        start += 1


def _empty_directory(data: bytearray, base: int) -> None:
    """Empty the GPS directory of the TIFF block that begins at ``base``, if it has one."""
    order = "<" if data[base : base + 2] == b"II" else ">"
    try:
        (first,) = struct.unpack_from(f"{order}I", data, base + 4)
        at = _find_pointer(data, base + first, order)
        if at is None:
            return
        (offset,) = struct.unpack_from(f"{order}I", data, at + 8)
        (count,) = struct.unpack_from(f"{order}H", data, base + offset)
        for index in range(min(count, _MOST_ENTRIES)):
            _empty_entry(data, base, base + offset + 2 + 12 * index, order)
        struct.pack_into(f"{order}H", data, base + offset, 0)
        data[base + offset + 2 : base + offset + 6] = bytes(4)  # no further directory
    except struct.error:
        return  # no TIFF block after all, or a cut one


def _find_pointer(data: bytearray, directory: int, order: str) -> int | None:
    (count,) = struct.unpack_from(f"{order}H", data, directory)
    for index in range(min(count, _MOST_ENTRIES)):
        at = directory + 2 + 12 * index
        if struct.unpack_from(f"{order}H", data, at)[0] == _GPS_POINTER:
            return at
    return None


def _empty_entry(data: bytearray, base: int, at: int, order: str) -> None:
    _, kind, count, offset = struct.unpack_from(f"{order}HHII", data, at)
    length = _SIZES.get(kind, 1) * count
    if 4 < length < 4096 and base + offset + length <= len(data):
        data[base + offset : base + offset + length] = bytes(length)
    data[at : at + 12] = bytes(12)


def _empty_value(data: bytearray, found: re.Match[bytes]) -> None:
    """Put blanks in the place of an attribute's or an element's value."""
    text = found.group()
    start = text.index(b">" if found.group(1) is None else text[-1:]) + 1
    end = len(text) - (found.group(1) is not None)
    data[found.start() + start : found.start() + end] = b" " * (end - start)


def _renew_checksums(data: bytearray) -> None:
    at = len(_PNG)
    while at + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, at)
        if at + 12 + length > len(data):
            return
        checksum = zlib.crc32(data[at + 4 : at + 8 + length])
        struct.pack_into(">I", data, at + 8 + length, checksum)
        at += 12 + length
