"""What kind of file a photo is, told by its content, and its header opened."""

from io import BytesIO

from PIL.ImageFile import ImageFile
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.WebPImagePlugin import WebPImageFile

from satcheck.errors import PhotoError

KINDS = "a JPEG, HEIC, PNG, WebP or MPO photo is allowed"
WHOLE = "a whole JPEG, HEIC, PNG, WebP or MPO photo is allowed: copy it from the phone again"


def kind_of(data: bytes, name: str) -> str:
    """Return the kind of photo that the first bytes announce, or say what else it is."""
    if not data:
        raise PhotoError(name, "the file is empty", KINDS)
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WebP"
    if data[4:8] == b"ftyp":
        return _kind_by_boxes(data, name)
    foreign = {b"GIF8": "a GIF", b"II*\0": "a TIFF or raw file", b"MM\0*": "a TIFF or raw file"}
    found = foreign.get(data[:4])
    if data[:2] == b"BM" and data[6:10] == bytes(4):  # the four reserved bytes of a BMP
        found = "a BMP"
    raise PhotoError(name, f"this is {found or 'not a photo'}", KINDS)


def _kind_by_boxes(data: bytes, name: str) -> str:
    """Tell HEIC from its relatives by the brands of its file type box (ISO/IEC 23008-12)."""
    box = data[8 : min(int.from_bytes(data[:4], "big"), 512)]
    brands = {box[i : i + 4] for i in range(0, len(box), 4) if i != 4}  # [4:8] is a version
    if brands & {b"heic", b"heix", b"heim", b"heis"}:
        return "HEIC"
    found = "an AVIF" if brands & {b"avif", b"avis"} else "a film or another kind of picture"
    raise PhotoError(name, f"this is {found}", KINDS)


def open_header(data: bytes, kind: str) -> ImageFile:
    """Read the header. Each format's own class is called: it tries no other format on the bytes.

    For JPEG that means the first picture of an MPO too.
    """
    stream = BytesIO(data)
    if kind == "PNG":
        return PngImageFile(stream)
    if kind == "WebP":
        return WebPImageFile(stream)
    if kind == "HEIC":
        from pillow_heif import HeifImageFile  # an import that only this kind needs

        heif: ImageFile = HeifImageFile(stream)  # type: ignore[no-untyped-call]
        return heif
    return JpegImageFile(stream)
