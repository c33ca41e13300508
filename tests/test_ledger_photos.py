"""Photos lie beside the ledger whole, without their place, and only there."""

import errno
import hashlib
from io import BytesIO
from pathlib import Path

import pytest
from ledgers import clock_from, keep_photo, note
from PIL import Image

from satcheck.errors import LedgerError, UsageError
from satcheck.ledger.book import Ledger, open_ledger
from satcheck.ledger.photos import kept_photo, photo_path

GPS = 0x8825


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return open_ledger(tmp_path / "shop.ledger", clock_from())


def located_jpeg() -> bytes:
    """Return a JPEG that says where it was taken: 48 degrees north."""
    image, stream = Image.new("RGB", (32, 32)), BytesIO()
    exif = image.getexif()
    exif[GPS] = {1: "N", 2: (48.0, 8.0, 9.0)}
    image.save(stream, "JPEG", exif=exif)
    return stream.getvalue()


def test_a_kept_photo_has_lost_its_place_and_is_named_by_what_the_phone_sent(
    ledger: Ledger,
) -> None:
    sent = located_jpeg()
    assert Image.open(BytesIO(sent)).getexif().get_ifd(GPS)
    entry = keep_photo(ledger, sent)
    kept = kept_photo(ledger, entry)
    assert not Image.open(BytesIO(kept)).getexif().get_ifd(GPS)
    assert entry.body["photo"] == hashlib.sha256(sent).hexdigest()
    assert entry.body["kept"] == hashlib.sha256(kept).hexdigest()


def test_a_photo_that_was_kept_before_stays_as_it_is(ledger: Ledger) -> None:
    entry = keep_photo(ledger)
    path = photo_path(ledger.path, entry.body["file"])
    path.write_bytes(b"as it is")
    assert keep_photo(ledger).body == entry.body
    assert path.read_bytes() == b"as it is", "an entry names the first copy by its own sha256"
    assert not ledger.path.with_name("prepared").exists()


def test_a_photo_goes_to_a_ledger_on_another_disk(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    rename = Path.replace

    def on_one_disk(source: Path, target: Path) -> Path:
        if source.name == "prepared":
            raise OSError(errno.EXDEV, "Invalid cross-device link")
        return rename(source, target)

    monkeypatch.setattr(Path, "replace", on_one_disk)
    assert kept_photo(ledger, keep_photo(ledger)) == b"\xff\xd8 photo"
    assert not ledger.path.with_name("prepared").exists()


def test_a_photo_that_is_gone_is_a_sentence(ledger: Ledger) -> None:
    entry = keep_photo(ledger)
    photo_path(ledger.path, entry.body["file"]).unlink()
    with pytest.raises(LedgerError, match="cannot be read"):
        kept_photo(ledger, entry)


def test_a_photo_that_cannot_be_written_is_a_sentence(ledger: Ledger) -> None:
    (ledger.path.parent / "photos").write_text("a file in the folder's place")
    with pytest.raises(LedgerError, match="cannot be written"):
        keep_photo(ledger)


@pytest.mark.parametrize("name", ["", "..", "../shop.ledger", "/etc/passwd", "a/b.jpg"])
def test_a_name_that_leads_out_of_the_folder_is_refused(ledger: Ledger, name: str) -> None:
    with pytest.raises(UsageError, match="own folder"):
        photo_path(ledger.path, name)


def test_a_note_is_no_photo(ledger: Ledger) -> None:
    with pytest.raises(UsageError, match="is a note; a photo is allowed"):
        kept_photo(ledger, ledger.append(note("film torn")))
