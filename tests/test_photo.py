"""Photos to pixels: orientation, colour profiles, reduction, and every bad file refused."""

import hashlib
import struct
import warnings
import zlib
from dataclasses import fields
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageCms

from satcheck.errors import PhotoError
from satcheck.light import encode_srgb
from satcheck.photo.read import Photo, decode_photo, read_photo

Pixels = NDArray[np.uint8]
FORMATS = ("JPEG", "PNG", "WEBP", "HEIC")


def corners(height: int = 320, width: int = 400) -> Pixels:
    """Four quarters of different colour: no turn or mirror image of it equals another."""
    rgb = np.full((height, width, 3), 60, np.uint8)
    rgb[: height // 2, : width // 2] = 200, 60, 60
    rgb[: height // 2, width // 2 :] = 60, 200, 60
    rgb[height // 2 :, : width // 2] = 60, 60, 200
    return rgb


def encode(
    rgb: Pixels, kind: str = "JPEG", exif: Image.Exif | None = None, icc: bytes | None = None
) -> bytes:
    """Write a photo as nearly lossless as its kind allows."""
    file = BytesIO()
    picture = Image.fromarray(rgb)
    extra = {} if icc is None else {"icc_profile": icc}
    raw = (exif or Image.Exif()).tobytes()
    if kind == "HEIC":  # raw EXIF makes the encoder write the turn as a box, as phones do
        picture.info.update(extra)
        heif = pillow_heif.from_pillow(picture)
        heif.save(file, quality=95, chroma=444, exif=raw)
    elif kind == "JPEG":
        picture.save(file, kind, quality=97, subsampling=0, exif=raw, **extra)
    elif kind == "WEBP":
        picture.save(file, kind, lossless=True, exif=raw, **extra)
    else:
        picture.save(file, kind, exif=raw, **extra)
    return file.getvalue()


def saved(picture: Image.Image, kind: str, **options: object) -> bytes:
    file = BytesIO()
    picture.save(file, kind, **options)
    return file.getvalue()


def with_orientation(value: int) -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = value
    return exif


# --- upright -----------------------------------------------------------------------------------

# EXIF 2.32, 0x0112: on which visual side lie the stored row 0 and the stored column 0
SIDES = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def stored(upright: Pixels, orientation: int) -> Pixels:
    """Lay out `upright` as a camera with this orientation stores it, straight from the words."""
    row, column = SIDES[orientation]
    pixels = upright if row in ("top", "bottom") else upright.transpose(1, 0, 2)
    pixels = pixels[::-1] if row in ("bottom", "right") else pixels
    pixels = pixels[:, ::-1] if column in ("bottom", "right") else pixels
    return np.ascontiguousarray(pixels)


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize("orientation", SIDES)
def test_every_orientation_comes_out_upright(kind: str, orientation: int) -> None:
    upright = corners()
    data = encode(stored(upright, orientation), kind, with_orientation(orientation))
    photo = decode_photo(data, "p")
    assert (photo.width, photo.height, photo.scale) == (400, 320, 1.0)
    difference = np.abs(photo.rgb[8:-8:16, 8:-8:16].astype(int) - upright[8:-8:16, 8:-8:16])
    assert difference.max() <= 6


@pytest.mark.parametrize("value", [0, 9, 65535])
def test_an_orientation_that_does_not_exist_turns_nothing(value: int) -> None:
    photo = decode_photo(encode(corners(), "PNG", with_orientation(value)), "p")
    np.testing.assert_array_equal(photo.rgb, corners())


def test_heic_is_not_turned_by_its_exif() -> None:
    # An Exif object, unlike raw bytes, makes the encoder write EXIF but no turning box.
    file = BytesIO()
    heif = pillow_heif.from_pillow(Image.fromarray(corners()))
    heif.save(file, quality=95, exif=with_orientation(6))
    photo = decode_photo(file.getvalue(), "p")
    assert photo.rgb.shape == (320, 400, 3)


def test_heic_is_not_turned_by_its_xmp() -> None:
    file = BytesIO()
    heif = pillow_heif.from_pillow(Image.fromarray(corners()))
    xmp = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><r tiff:Orientation="1"/></x:xmpmeta>'
    heif.save(file, quality=95, xmp=xmp)  # the encoder would turn a 6 into a box
    data = file.getvalue().replace(b'Orientation="1"', b'Orientation="6"')
    assert data != file.getvalue()
    assert decode_photo(data, "p").rgb.shape == (320, 400, 3)


def test_orientation_holds_for_a_reduced_photo() -> None:
    upright = corners(640, 800)
    data = encode(stored(upright, 6), "JPEG", with_orientation(6))
    photo = decode_photo(data, "p", max_pixels=200_000)
    assert (photo.width, photo.height, photo.scale) == (800, 640, 0.5)
    assert np.abs(photo.rgb[20, 20].astype(int) - (200, 60, 60)).max() <= 6


# --- what is kept and what is not --------------------------------------------------------------


def exif_of_a_phone() -> Image.Exif:
    exif = Image.Exif()
    exif[0x8769] = {0x9003: "2031:05:06 07:08:09"}
    exif[0x8825] = {1: "N", 2: (12.0, 34.0, 56.0), 3: "E", 4: (65.0, 43.0, 21.0)}
    return exif


@pytest.mark.parametrize("kind", FORMATS)
def test_time_is_read_and_place_is_not(kind: str) -> None:
    data = encode(corners(), kind, exif_of_a_phone())
    photo = decode_photo(data, "p")
    assert photo.taken == "2031-05-06T07:08:09"
    assert photo.sha256 == hashlib.sha256(data).hexdigest()
    kept = {field.name for field in fields(Photo)}
    assert kept == {"name", "sha256", "width", "height", "taken", "rgb", "data"}
    assert photo.data is data  # as it came, to be looked at again; `test_web_location` what is kept
    assert set(vars(photo)) == kept


@pytest.mark.parametrize("text", ["", "0000:00:00 00:00:00", "yesterday", "2031:13:01 00:00:00"])
def test_an_unset_or_senseless_time_is_none(text: str) -> None:
    exif = Image.Exif()
    exif[0x8769] = {0x9003: text}
    assert decode_photo(encode(corners(), "JPEG", exif), "p").taken is None


def test_damaged_exif_does_not_cost_the_photo() -> None:
    data = encode(corners(), "JPEG", exif_of_a_phone())
    at = data.index(b"Exif\0\0") + 6
    photo = decode_photo(data[:at] + b"\xff" * 24 + data[at + 24 :], "p")
    assert photo.taken is None


def test_what_a_decoder_warns_of_is_not_shown() -> None:
    exif = Image.Exif()
    exif[0x010E] = "a description of more than four bytes"
    data = encode(corners(), "JPEG", exif)
    at = data.index(b"\x01\x0e\x00\x02") + 8  # tag, type and count: then where the text lies
    broken = data[:at] + b"\0\xff\xff\xff" + data[at + 4 :]
    with pytest.warns(UserWarning, match="Truncated"):  # so there is something to be silent about
        Image.open(BytesIO(broken)).getexif()
    with warnings.catch_warnings(record=True) as seen:
        warnings.simplefilter("always")
        decode_photo(broken, "p")
    assert not seen


def test_content_counts_and_not_the_file_name(tmp_path: Path) -> None:
    path = tmp_path / "prüfling.jpg"
    path.write_bytes(encode(corners(), "HEIC"))
    assert read_photo(path).name == "prüfling.jpg"


def test_the_first_picture_of_an_mpo_is_read() -> None:
    first, second = Image.fromarray(corners()), Image.fromarray(corners()[::-1].copy())
    data = saved(first, "MPO", save_all=True, append_images=[second], quality=95)
    photo = decode_photo(data, "p")
    assert np.abs(photo.rgb[20, 20].astype(int) - (200, 60, 60)).max() <= 6


def test_an_alpha_channel_that_hides_nothing_is_dropped() -> None:
    picture = Image.fromarray(corners())
    picture.putalpha(255)
    np.testing.assert_array_equal(decode_photo(saved(picture, "PNG"), "p").rgb, corners())


# --- colour profiles ---------------------------------------------------------------------------

# Published chromaticities x, y of red, green, blue: SMPTE EG 432-1 (P3) and IEC 61966-2-1; both
# with white D65. Bradford matrix and the D50 of profiles: ICC.1:2022.
P3 = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
BT709 = ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060))
D65 = np.array([0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290])
D50 = np.array([0.9642, 1, 0.8249])
BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


def to_xyz(primaries: tuple[tuple[float, float], ...]) -> NDArray[np.float64]:
    """Matrix from linear RGB to XYZ under D65."""
    columns = np.array([[x / y, 1, (1 - x - y) / y] for x, y in primaries]).T
    return np.asarray(columns * np.linalg.solve(columns, D65))


def s15(*values: float) -> bytes:
    return struct.pack(f">{len(values)}i", *(round(65536 * value) for value in values))


def p3_profile() -> bytes:
    """Build the smallest matrix profile (ICC.1) of Display P3: colorants, white, sRGB curve."""
    cone = np.diag((BRADFORD @ D50) / (BRADFORD @ D65))
    colorants = np.linalg.inv(BRADFORD) @ cone @ BRADFORD @ to_xyz(P3)
    curve = (
        b"para" + bytes(4) + b"\0\3\0\0" + s15(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    )
    # The white that some profiles give is the display's own: relative colorimetry must not see it.
    tags = {b"wtpt": b"XYZ \0\0\0\0" + s15(*D65)}
    for index, colour in enumerate((b"r", b"g", b"b")):
        tags[colour + b"XYZ"] = b"XYZ \0\0\0\0" + s15(*colorants[:, index])
        tags[colour + b"TRC"] = curve
    table, body, start = struct.pack(">I", len(tags)), b"", 128 + 4 + 12 * len(tags)
    for name, value in tags.items():
        table += name + struct.pack(">II", start + len(body), len(value))
        body += value
    size = struct.pack(">I", start + len(body))
    head = size + bytes(4) + bytes([4, 0x20, 0, 0]) + b"mntrRGB XYZ " + bytes(12) + b"acsp"
    return (head + bytes(28) + s15(*D50)).ljust(128, b"\0") + table + body


def patches(*colours: tuple[int, int, int]) -> Pixels:
    """Draw upright stripes of even colour, 100 pixels wide."""
    return np.repeat(np.array([colours] * 300, np.uint8), 100, axis=1)


COLOURS = ((128, 128, 128), (20, 20, 20), (255, 255, 255), (180, 120, 100), (90, 140, 80))


def p3_as_srgb(colour: tuple[int, int, int]) -> Pixels:
    matrix = np.linalg.inv(to_xyz(BT709)) @ to_xyz(P3)
    encoded = np.array(colour) / 255
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    return encode_srgb(matrix @ linear)


@pytest.mark.parametrize("kind", FORMATS)
def test_display_p3_is_converted_by_the_published_primaries(kind: str) -> None:
    photo = decode_photo(encode(patches(*COLOURS), kind, icc=p3_profile()), "p")
    expected = np.array([p3_as_srgb(colour) for colour in COLOURS]).astype(int)
    tolerance = 1 if kind in ("PNG", "WEBP") else 3
    assert np.abs(photo.rgb[150, 50::100] - expected).max() <= tolerance
    np.testing.assert_array_equal(expected[:3], COLOURS[:3])  # grey stays grey
    assert np.abs(expected[3:] - np.array(COLOURS[3:])).max() > 8  # and colour does change


@pytest.mark.parametrize("with_profile", [True, False])
def test_srgb_is_left_untouched(with_profile: bool) -> None:
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    data = encode(patches(*COLOURS), "PNG", icc=icc if with_profile else None)
    np.testing.assert_array_equal(decode_photo(data, "p").rgb, patches(*COLOURS))


@pytest.mark.parametrize("icc", [b"no profile", p3_profile()[:200]], ids=["text", "cut"])
def test_a_useless_profile_is_refused(icc: bytes) -> None:
    with pytest.raises(PhotoError, match="colour profile cannot be used"):
        decode_photo(encode(corners(), "JPEG", icc=icc), "p")


def test_a_profile_of_another_colour_space_is_refused() -> None:
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    with pytest.raises(PhotoError, match="colour profile cannot be used"):
        decode_photo(encode(corners(), "PNG", icc=icc), "p")


# --- reduction ---------------------------------------------------------------------------------

PERIOD = 24


def stripes() -> Pixels:
    """Draw stripes of one period across, slightly aslant so that they take every value."""
    y, x = np.mgrid[:960, :1440]
    wave = 128 + 60 * np.sin(2 * np.pi * (x / PERIOD + y / 480))
    return np.repeat(np.rint(wave)[..., None], 3, axis=2).astype(np.uint8)


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
@pytest.mark.parametrize("factor", [1.5, 2, 3, 4])
def test_reduction_keeps_level_and_texture(kind: str, factor: float) -> None:
    rgb = stripes()
    photo = decode_photo(encode(rgb, kind), "p", max_pixels=round(960 * 1440 / factor**2))
    assert photo.rgb.shape == (960 / factor, 1440 / factor, 3)
    assert (photo.width, photo.height) == (1440, 960)
    assert photo.scale == pytest.approx(1 / factor)
    assert photo.rgb.mean() == pytest.approx(rgb.mean(), abs=0.3)
    # Closed form: the mean over `factor` pixels passes a sine by sinc(factor / period). A step of
    # 3/2 weighs 2 to 1 and passes up to 1.6 % less; the JPEG decoder's own scaling passes more.
    expected = np.sinc(factor / PERIOD) * rgb.std()
    assert 0.98 * expected < photo.rgb.std() < 1.005 * rgb.std()


def test_a_step_of_one_and_a_half_keeps_fine_texture_even() -> None:
    # Negative control of the choice of steps: a step near 1 beats with a texture of 4 pixels.
    rows = np.where(np.arange(1440) % 4 < 2, 60, 200).astype(np.uint8)
    rgb = np.ascontiguousarray(np.broadcast_to(rows[None, :, None], (960, 1440, 3)))
    photo = decode_photo(encode(rgb, "PNG"), "p", max_pixels=1_300_000)
    contrast = photo.rgb[480, :, 0].reshape(-1, 24).std(axis=1)
    near_one = cv2.resize(rgb, (1394, 930), interpolation=cv2.INTER_AREA)
    beating = near_one[465, :1392, 0].reshape(-1, 24).std(axis=1)
    assert contrast.std() < 0.001 * contrast.mean()
    assert beating.std() > 0.02 * beating.mean()


def test_a_heic_is_reduced_from_its_picture_not_its_thumbnail() -> None:
    file = BytesIO()
    heif = pillow_heif.from_pillow(Image.fromarray(stripes()))
    heif.info["thumbnails"] = [720]
    heif.save(file, quality=95, chroma=444)
    (thumbnail,) = pillow_heif.open_heif(file.getvalue()).info["thumbnails"]
    assert thumbnail == 720
    photo = decode_photo(file.getvalue(), "p", max_pixels=720 * 480)
    exact = cv2.resize(stripes(), (720, 480), interpolation=cv2.INTER_AREA)
    assert np.abs(photo.rgb.astype(int) - exact).max() <= 6


@pytest.mark.parametrize(
    ("width", "height", "max_pixels", "side"),
    [(400, 300, 120_000, 400), (401, 300, 120_000, 267), (401, 301, 31_000, 201)],
)
def test_a_photo_is_reduced_only_beyond_the_limit(
    width: int, height: int, max_pixels: int, side: int
) -> None:
    photo = decode_photo(encode(corners(height, width)), "p", max_pixels)
    assert photo.rgb.shape[1] == side


# --- bad input ---------------------------------------------------------------------------------


def png(width: int, height: int, bits: int = 8, pixels: bytes = b"") -> bytes:
    """Write an RGB PNG chunk by chunk: what is claimed and what follows need not agree."""
    ihdr = b"IHDR" + struct.pack(">IIBBBBB", width, height, bits, 2, 0, 0, 0)
    chunks = [ihdr, b"IDAT" + zlib.compress(pixels), b"IEND"]
    framed = [struct.pack(">I", len(c) - 4) + c + struct.pack(">I", zlib.crc32(c)) for c in chunks]
    return b"\x89PNG\r\n\x1a\n" + b"".join(framed)


def claimed_jpeg(width: int, height: int) -> bytes:
    data = encode(corners(300, 300))
    at = data.index(b"\xff\xc0") + 5  # SOF0: length, precision, then height and width
    return data[:at] + struct.pack(">HH", height, width) + data[at + 4 :]


def frames(kind: str) -> bytes:
    other = Image.fromarray(255 - corners())
    return saved(Image.fromarray(corners()), kind, save_all=True, append_images=[other])


def see_through() -> Image.Image:
    picture = Image.fromarray(corners())
    picture.putalpha(254)
    return picture


RGB = Image.fromarray(corners())
BAD: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "empty"),
    "text": (b"These are notes.\n" * 9, "not a photo"),
    "zeros": (bytes(5000), "not a photo"),
    "GIF": (saved(RGB, "GIF"), "GIF"),
    "animated GIF": (frames("GIF"), "GIF"),
    "TIFF": (saved(RGB, "TIFF"), "TIFF"),
    "BMP": (saved(RGB, "BMP"), "BMP"),
    "AVIF": (b"\0\0\0\x1cftypavif\0\0\0\0avifmif1miaf" + bytes(300), "AVIF"),
    "film": (b"\0\0\0\x18ftypmp42\0\0\0\0isommp42" + bytes(300), "film"),
    "animated WebP": (frames("WEBP"), "animated"),
    "animated PNG": (frames("PNG"), "animated"),
    "16-bit PNG": (png(300, 300, 16, bytes(300 * 1801)), "16 bits a channel"),
    "16-bit grey PNG": (saved(Image.new("I;16", (300, 300)), "PNG"), "16 bits a channel"),
    "grey JPEG": (saved(RGB.convert("L"), "JPEG"), "grey"),
    "grey PNG with alpha": (saved(RGB.convert("LA"), "PNG"), "grey"),
    "black and white": (saved(RGB.convert("1"), "PNG"), "black and white"),
    "CMYK": (saved(RGB.convert("CMYK"), "JPEG"), "CMYK"),
    "palette": (saved(RGB.convert("P"), "PNG"), "palette"),
    "alpha PNG": (saved(see_through(), "PNG"), "see-through"),
    "alpha WebP": (saved(see_through(), "WEBP"), "see-through"),
    "keyed PNG": (saved(RGB, "PNG", transparency=(200, 60, 60)), "see-through"),
    "1x1": (saved(Image.new("RGB", (1, 1)), "PNG"), "1 x 1 pixels; at least 300"),
    "299": (encode(corners(299, 400)), "at least 300 on the shorter side"),
    "panorama": (encode(corners(300, 901)), "3 times the shorter"),
    "300 megapixel JPEG": (claimed_jpeg(20_000, 15_000), "300 megapixels.*at most 200"),
    "300 megapixel PNG": (png(15_000, 20_000), "300 megapixels.*at most 50"),
    "PNG bomb": (png(2**31 - 1, 2**31 - 1), "at most 50 megapixels.*200 as a JPEG"),
    "PNG without pixels": (png(400, 300), "damaged or cut short"),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_file_is_refused_in_one_sentence(
    case: str, capfd: pytest.CaptureFixture[str]
) -> None:
    data, problem = BAD[case]
    with pytest.raises(PhotoError, match=problem) as caught:
        decode_photo(data, "IMG_7.jpg")
    message = str(caught.value)
    assert message.startswith("IMG_7.jpg: ")
    assert "allowed" in message.split("; ")[1]
    assert len(message.splitlines()) == 1
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("size", [(300, 900), (300, 300)])
def test_the_limits_themselves_are_allowed(size: tuple[int, int]) -> None:
    assert decode_photo(encode(corners(*size)), "p").rgb.shape == (*size, 3)


@pytest.mark.parametrize(
    "make", ["missing.jpg", "folder.jpg", "a" * 300, "nul\0.jpg"], ids=lambda name: name[:8]
)
def test_a_path_that_is_no_file_is_refused(tmp_path: Path, make: str) -> None:
    (tmp_path / "folder.jpg").mkdir()
    with pytest.raises(PhotoError, match=r"no such file|folder|cannot be opened") as caught:
        read_photo(tmp_path / make)
    assert caught.value.name == make


WHOLE = {kind: encode(corners(), kind, exif_of_a_phone(), p3_profile()) for kind in FORMATS}
WHOLE["progressive"] = saved(RGB, "JPEG", progressive=True)


@pytest.mark.parametrize("kind", WHOLE)
@pytest.mark.parametrize("share", [0.3, 0.6, 0.9, 0.97])
def test_a_cut_file_is_refused(kind: str, share: float, capfd: pytest.CaptureFixture[str]) -> None:
    data = WHOLE[kind][: int(share * len(WHOLE[kind]))]
    with pytest.raises(PhotoError, match="damaged or cut short"):
        decode_photo(data, "p")
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("max_pixels", [12_000_000, 20_000])
def test_a_jpeg_cut_and_padded_with_zeros_is_refused(max_pixels: int) -> None:
    data = saved(RGB, "JPEG", comment=b"\xff\xd9")  # as the end of a thumbnail in the header
    half = data[: len(data) * 3 // 4].ljust(100_000, b"\0")
    with pytest.raises(PhotoError, match="damaged or cut short"):
        decode_photo(half, "p", max_pixels)


def test_a_jpeg_cut_and_ended_by_hand_is_refused(capfd: pytest.CaptureFixture[str]) -> None:
    data = saved(RGB, "JPEG")
    ended = data[: len(data) * 3 // 4] + b"\xff\xd9"
    filled = np.asarray(Image.open(BytesIO(ended)))  # another decoder fills the rest with grey
    assert filled.shape == (RGB.height, RGB.width, 3)
    assert filled[-8:].std() < 5
    with pytest.raises(PhotoError, match="damaged or cut short"):
        decode_photo(ended, "p")
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("before_end", [True, False])
def test_bytes_that_are_no_picture_at_a_jpegs_end_do_no_harm(
    before_end: bool, capfd: pytest.CaptureFixture[str]
) -> None:
    data, more = saved(RGB, "JPEG"), bytes(40)
    longer = data[:-2] + more + data[-2:] if before_end else data + more
    assert (decode_photo(longer, "p").rgb == decode_photo(data, "p").rgb).all()
    assert capfd.readouterr() == ("", "")


@settings(max_examples=250)
@given(
    kind=st.sampled_from(sorted(WHOLE)),
    edits=st.lists(st.tuples(st.floats(0, 0.9999), st.binary(min_size=1, max_size=4)), max_size=6),
    cut=st.floats(0.01, 1),
    is_cut=st.booleans(),
)
def test_a_mutated_file_is_a_photo_or_a_photo_error(
    kind: str, edits: list[tuple[float, bytes]], cut: float, is_cut: bool
) -> None:
    data = bytearray(WHOLE[kind])
    for where, new in edits:
        # the square puts most edits into the headers
        at = int(where**2 * len(data))
        data[at : at + len(new)] = new
    mutated = bytes(data[: int(cut * len(data))] if is_cut else data)
    try:
        photo = decode_photo(mutated, "p")
    except PhotoError:
        return  # anything else that is raised fails the test
    assert photo.rgb.shape == (photo.height, photo.width, 3)


MAGIC = [b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF\x40\0\0\0WEBP", b"\0\0\0\x18ftypheic"]


@given(magic=st.sampled_from(MAGIC), tail=st.binary(max_size=200))
def test_bytes_behind_a_right_beginning_are_refused(magic: bytes, tail: bytes) -> None:
    with pytest.raises(PhotoError):
        decode_photo(magic + tail, "p")
