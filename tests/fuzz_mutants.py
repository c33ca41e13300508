"""Broken photos from whole ones: bytes, boxes, chunks, segments, EXIF and profiles gone wrong.

The same seed and number give the same file. Most mutants stay small (300 pixels), so that many
thousands can be read.
"""

import random
import struct
import zlib
from collections.abc import Callable
from functools import cache
from io import BytesIO

import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image, ImageCms
from scenes import Braid, Shape, View, draw

Rng = random.Random
_REFUSED = ("CMYK", "grey", "alpha", "palette", "frames")

SIDE = 300
"""The smallest side that is read."""
NUMBERS = (
    0,
    1,
    2,
    3,
    8,
    0x2A,
    0x7F,
    0x80,
    0xFF,
    0x7FFF,
    0x8000,
    0xFFFF,
    2**31 - 1,
    2**31,
    2**32 - 1,
)
"""Counts, lengths and offsets at the edge of what a field holds."""


def mutant(seed: int, number: int) -> tuple[str, bytes]:
    """Return the kind of a broken photo, for messages, and its bytes."""
    rng = Rng(f"{seed}:{number}")
    # What is refused for its colours or frames is met less often than what would be read.
    kinds = sorted(whole_photos())
    kind = rng.choice((*kinds, *4 * [k for k in kinds if k.split()[-1] not in _REFUSED]))
    data = whole_photos()[kind]
    for _ in range(rng.choice((1, 1, 1, 2, 4, 16))):
        steps = [*_ANYWHERE, *_OF_KIND.get(kind.split()[0], [])]
        step = rng.choice(steps)
        data = step(rng, data)
    return kind, data


@cache
def whole_photos() -> dict[str, bytes]:
    """Return a small whole photo of every kind and feature, by name; the first word is its kind."""
    photo, other = _picture(1), _picture(2)
    exif, icc = _exif(), ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    cmyk, grey = photo.convert("CMYK"), photo.convert("L")
    see_through = photo.copy()
    see_through.putalpha(grey)
    made = {
        "JPEG": _saved(photo, "JPEG", exif=exif, icc_profile=icc),
        "JPEG fine": _saved(photo, "JPEG", quality=97, subsampling=0, comment=b"remark"),
        "JPEG progressive": _saved(photo, "JPEG", progressive=True, exif=exif),
        "JPEG CMYK": _saved(cmyk, "JPEG"),
        "JPEG grey": _saved(grey, "JPEG"),
        "JPEG pair": _saved(photo, "MPO", save_all=True, append_images=[other], exif=exif),
        "PNG": _saved(photo, "PNG", exif=exif, icc_profile=icc),
        "PNG alpha": _saved(see_through, "PNG"),
        "PNG palette": _saved(photo.convert("P"), "PNG"),
        "PNG frames": _saved(photo, "PNG", save_all=True, append_images=[other]),
        "WebP": _saved(photo, "WEBP", exif=exif, icc_profile=icc),
        "WebP lossless": _saved(photo, "WEBP", lossless=True),
        "WebP alpha": _saved(see_through, "WEBP"),
        "WebP frames": _saved(photo, "WEBP", save_all=True, append_images=[other]),
    }
    for name, picture in {"HEIC": photo, "HEIC alpha": see_through, "HEIC grey": grey}.items():
        picture.info["icc_profile"] = icc
        file = BytesIO()
        pillow_heif.from_pillow(picture).save(file, exif=exif, quality=60)
        made[name] = file.getvalue()
    return made


def _picture(seed: int) -> Image.Image:
    """Return a small woven part before a light wall, so that all of a coder is used."""
    y, x = np.mgrid[0:SIDE, 0:SIDE]
    tone = 110 + 60 * np.sin(x / 3) * np.sin(y / 3) + 20 * (x > 150)
    noise = np.random.default_rng(seed).normal(0, 6, (SIDE, SIDE, 3))
    rgb = tone[..., None] + noise + np.array([20.0 * seed, 0, -20])
    away = (x < 40) | (x > 260) | (y < 20) | (y > 280)
    rgb = np.where(away[..., None], 220 + 0.2 * noise, rgb)
    return Image.fromarray(np.clip(rgb, 0, 255).astype(np.uint8))


def _exif() -> bytes:
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "invented"
    exif.get_ifd(0x8769)[0x9003] = "2026:03:04 05:06:07"
    exif.get_ifd(0x8825)[2] = (12.0, 34.0, 56.0)
    return exif.tobytes()


def _saved(picture: Image.Image, kind: str, **options: object) -> bytes:
    file = BytesIO()
    picture.save(file, kind, **options)
    return file.getvalue()


# --- anywhere ----------------------------------------------------------------------------------


def _place(rng: Rng, size: int) -> int:
    """Return a place in a file, more often near its beginning, where the headers are."""
    return int(rng.random() ** rng.choice((1, 3, 6)) * max(1, size - 1))


def _flip(rng: Rng, data: bytes) -> bytes:
    changed = bytearray(data)
    for _ in range(rng.choice((1, 2, 8, 64))):
        if changed:
            changed[_place(rng, len(changed))] ^= 1 << rng.randrange(8)
    return bytes(changed)


def _overwrite(rng: Rng, data: bytes) -> bytes:
    at, size = _place(rng, len(data)), rng.choice((1, 2, 4))
    number = rng.choice(NUMBERS) % (1 << 8 * size)
    return data[:at] + number.to_bytes(size, rng.choice(("big", "little"))) + data[at + size :]


def _cut(rng: Rng, data: bytes) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def _pad(rng: Rng, data: bytes) -> bytes:
    return data + rng.choice((bytes(5000), rng.randbytes(500), data[:2000]))


def _leave_out(rng: Rng, data: bytes) -> bytes:
    at = _place(rng, len(data))
    return data[:at] + data[at + rng.choice((1, 2, 4, 100, 3000)) :]


def _repeat(rng: Rng, data: bytes) -> bytes:
    at, size = _place(rng, len(data)), rng.choice((1, 4, 64, 1000))
    return data[:at] + data[at : at + size] * rng.choice((2, 3, 50)) + data[at + size :]


def _splice(rng: Rng, data: bytes) -> bytes:
    other = rng.choice(list(whole_photos().values()))
    at = _place(rng, min(len(data), len(other)))
    return data[:at] + other[at:]


def _directories(rng: Rng, data: bytes) -> bytes:
    """Spoil a block of TIFF directories: EXIF of any container; lengths, kinds, places, loops."""
    base = max(data.find(b"II*\0"), data.find(b"MM\0*"))
    if base < 0:
        return _overwrite(rng, data)
    changed = bytearray(data)
    for _ in range(rng.choice((1, 3, 9))):
        at = base + rng.randrange(4, 150)
        number = rng.choice((*NUMBERS, 8, rng.randrange(400)))  # 8: the first directory, a loop
        size = rng.choice((2, 4))
        changed[at : at + size] = (number % (1 << 8 * size)).to_bytes(
            size, rng.choice(("big", "little"))
        )
    return bytes(changed)


def _profile(rng: Rng, data: bytes) -> bytes:
    """Spoil the colour profile where it lies open (not in a PNG)."""
    at = data.find(b"acsp") - 36
    if at < 0:
        return _flip(rng, data)
    changed = bytearray(data)
    for _ in range(rng.choice((1, 4, 20))):
        place = at + rng.choice((rng.randrange(128), rng.randrange(128, 400), rng.randrange(588)))
        changed[place : place + 4] = rng.choice((*NUMBERS, rng.getrandbits(32))).to_bytes(4, "big")
    return bytes(changed)


# --- by kind -----------------------------------------------------------------------------------


def _segments(data: bytes) -> list[bytes]:
    """Return the segments of a JPEG's header, and the rest as the last one."""
    at, found = 2, [data[:2]]
    while at + 4 <= len(data) and data[at] == 0xFF and data[at + 1] != 0xDA:
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        found.append(data[at:end])
        at = end
    return [*found, data[at:]]


def _shuffle_segments(rng: Rng, data: bytes) -> bytes:
    first, *middle = _segments(data)
    if rng.random() < 0.5:
        rng.shuffle(middle)
    else:
        middle.insert(rng.randrange(len(middle) + 1), rng.choice(middle))
    return first + b"".join(middle)


def _resize_jpeg(rng: Rng, data: bytes) -> bytes:
    return _after(data, (b"\xff\xc0\0\x11", b"\xff\xc2\0\x11"), 5, _two_sides(rng, ">HH"))


def _more_scans(rng: Rng, data: bytes) -> bytes:
    at = data.find(b"\xff\xda")
    end = data.find(b"\xff", at + 20)
    return data if at < 0 else data[:end] + data[at:end] * rng.choice((1, 50, 400)) + data[end:]


def _chunks(data: bytes) -> list[tuple[bytes, bytes]]:
    at, found = 8, []
    while at + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, at)
        found.append((data[at + 4 : at + 8], data[at + 8 : at + 8 + length]))
        at += 12 + length
    return found


def _png(chunks: list[tuple[bytes, bytes]]) -> bytes:
    framed = [
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        for name, body in chunks
    ]
    return b"\x89PNG\r\n\x1a\n" + b"".join(framed)


def _spoil_chunk(rng: Rng, data: bytes) -> bytes:
    """Spoil a chunk and sign it again: a wrong checksum would end the reading too early."""
    chunks = _chunks(data)
    if not chunks:
        return _flip(rng, data)
    at = rng.randrange(len(chunks))
    name, body = chunks[at]
    act = rng.randrange(5)
    if act == 0:
        rng.shuffle(chunks)
    elif act == 1:
        chunks.insert(rng.randrange(len(chunks)), chunks[at])
    elif act == 2:
        extra = rng.choice((b"iCCPx\0\0", b"zTXtx\0\0", b"iTXtx\0\1\0\0\0"))
        bomb = zlib.compress(bytes(20_000_000) if rng.random() < 0.1 else rng.randbytes(900))
        chunks.insert(1, (extra[:4], extra[4:] + bomb))
    elif act == 3 and name == b"IHDR":
        chunks[at] = name, _two_sides(rng, ">II") + body[8:]
    else:
        chunks[at] = (
            rng.choice((name, b"eXIf", b"tRNS", b"acTL", b"fcTL", b"pHYs")),
            _flip(rng, body),
        )
    return _png(chunks)


def _resize_webp(rng: Rng, data: bytes) -> bytes:
    side = rng.choice((1, 0x3FFF, 0xFFFF)).to_bytes(2, "little")
    changed = _after(data, (b"\x9d\x01\x2a",), 3, side + side)
    return _after(changed, (b"VP8X",), 12, rng.choice((b"\xff" * 6, bytes(6), rng.randbytes(6))))


_BOXES = (
    *(b"ispe", b"iloc", b"iinf", b"ipma", b"hvcC", b"irot", b"colr", b"pixi"),
    *(b"iref", b"meta", b"mdat", b"auxC", b"ftyp", b"iprp", b"pitm", b"infe"),
)


def _spoil_boxes(rng: Rng, data: bytes) -> bytes:
    """Spoil a box of HEIC: its size, its name, or a number in it."""
    names = [
        b"ispe",
        b"iloc",
        b"iinf",
        b"ipma",
        b"hvcC",
        b"irot",
        b"colr",
        b"pixi",
        b"iref",
        b"meta",
    ]
    name = rng.choice([*names, b"mdat", b"auxC", b"ftyp", b"iprp", b"pitm", b"infe"])
    at = data.find(name)
    if at < 4:
        return _flip(rng, data)
    if rng.random() < 0.3:
        return data[: at - 4] + rng.choice(NUMBERS).to_bytes(4, "big") + data[at:]
    if rng.random() < 0.2:
        return data[:at] + rng.choice(_BOXES) + data[at + 4 :]
    place = at + 4 + rng.randrange(40)
    return data[:place] + rng.choice(NUMBERS).to_bytes(4, "big") + data[place + 4 :]


def _two_sides(rng: Rng, form: str) -> bytes:
    """Return width and height, often absurd."""
    most = 0xFFFF if form == ">HH" else 2**31 - 1
    return struct.pack(
        form, *(min(most, rng.choice((1, 299, 301, 8192, 16384, most))) for _ in "wh")
    )


def _after(data: bytes, marks: tuple[bytes, ...], skip: int, new: bytes) -> bytes:
    """Overwrite what stands ``skip`` bytes behind the beginning of the first mark found."""
    for mark in marks:
        if (at := data.find(mark)) >= 0:
            return data[: at + skip] + new + data[at + skip + len(new) :]
    return data


Step = Callable[[Rng, bytes], bytes]
_ANYWHERE: list[Step] = [
    _flip, _overwrite, _cut, _pad, _leave_out, _repeat, _splice, _directories, _profile,
]  # fmt: skip
_OF_KIND: dict[str, list[Step]] = {
    "JPEG": [_shuffle_segments, _resize_jpeg, _more_scans],
    "PNG": [_spoil_chunk] * 3,
    "WebP": [_resize_webp],
    "HEIC": [_spoil_boxes] * 4,
}


# --- odd content of sound files ----------------------------------------------------------------


def odd_photo(seed: int, number: int) -> tuple[str, bytes]:
    """Return a sound JPEG of what nobody means to photograph: for what measures, not what reads."""
    rng = Rng(f"odd {seed}:{number}")
    tone = _part(rng) if rng.random() < 0.7 else _texture(rng, *_sides(rng))
    height, width = tone.shape
    for _ in range(rng.choice((0, 1, 1, 2, 5))):
        y, x = rng.randrange(-60, height), rng.randrange(-60, width)
        top, left = max(0, y), max(0, x)
        bottom = min(height, y + rng.choice((1, 9, 120, 350, 900)) + 60)
        right = min(width, x + rng.choice((1, 9, 120, 350, 900)) + 60)
        tone[top:bottom, left:right] = _texture(rng, bottom - top, right - left)
    tint = np.array([rng.uniform(0.3, 1.2) for _ in "rgb"])
    rgb = tone[..., None] * rng.choice((np.ones(3), tint)) * rng.choice((0.02, 0.3, 1, 1, 1, 4))
    picture = Image.fromarray(np.clip(rgb, 0, 255).astype(np.uint8))
    return "odd", _saved(picture, "JPEG", quality=rng.choice((1, 30, 75, 95)))


def _sides(rng: Rng) -> tuple[int, int]:
    width, height = (rng.choice((300, 301, 420, 640, 900)) for _ in "wh")
    return max(height, -(-width // 3)), max(width, -(-height // 3))


def _part(rng: Rng) -> NDArray[np.float64]:
    """Return grey codes of a woven part, rarely a good photo of one."""
    braid = Braid(
        pitch=rng.choice((2.5, 6, 12, 30, 80)) * rng.uniform(0.8, 1.25),
        angle=rng.uniform(5, 85),
        over=rng.choice((1, 2, 3)),
        amplitude=rng.choice((0.0, 0.02, 0.1, 0.5)),
        aperiodic=rng.random() < 0.2,
    )
    is_round = rng.random() < 0.5  # a cone needs tows that fit its thinner end
    shape = Shape(rng.randrange(300, 500), rng.randrange(300, 800), is_round)
    view = View(rng.choice((0, 0.5, 3)), rng.choice((0, 0.005, 0.1)), rng.choice((0.1, 1, 3)))
    scene = draw(np.random.default_rng(rng.getrandbits(32)), braid, shape, view)
    return scene.rgb[..., 0].astype(float)


def _texture(rng: Rng, height: int, width: int) -> NDArray[np.float64]:
    """Return grey codes (height, width) of one of the textures that a measure may trip over."""
    y, x = np.mgrid[0:height, 0:width].astype(float)
    size = rng.choice((1, 2, 3.5, 9, 30, 200)) * rng.uniform(0.8, 1.25)
    turn = rng.uniform(0, np.pi)
    across, along = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    numbers = np.random.default_rng(rng.getrandbits(32))
    made = rng.choice(
        (
            np.full((height, width), rng.choice((0.0, 1, 90, 254, 255))),
            numbers.uniform(0, 255, (height, width)),
            127 + 80 * np.sin(across / size) * np.sin(along / size),
            np.where(np.floor(across / size) % 2, 30.0, 220.0),
            np.where((np.floor(across / size) + np.floor(along / size)) % 2, 0.0, 255.0),
            across / (abs(across).max() + 1) * 255,
            60 + 40 * np.sin(np.hypot(across, along) / size),
        )
    )
    return np.clip(made + numbers.normal(0, rng.choice((0.0, 2, 20)), (height, width)), 0, 255)
