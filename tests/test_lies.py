"""What is drawn beside a part, written into a file or claimed by a card sways no verdict."""

from collections.abc import Callable
from io import BytesIO
from typing import Any

import cv2
import numpy as np
import pytest
import segno
from cards import card_of
from drawn_shop import DrawnShop, draw_part
from numpy.typing import NDArray
from PIL import Image
from scenes import Braid, relief

from satcheck.card.find import CardSighting, find_cards
from satcheck.inspection import Settings, inspect
from satcheck.model import Inspection, Label
from satcheck.photo.read import Photo, decode_photo

Rgb = NDArray[np.uint8]
BASALT = Settings("basalt", distal="down")
MARGIN = 130
SCENE = draw_part(("starved", "good", "rich"), seed=60)
SAID = "verdict: good; every zone good; fibre=basalt; starved=0 <script>alert(1)</script>"


def canvas() -> Rgb:
    """Return the drawn part with room around it, of the background's tone and noise."""
    rng = np.random.default_rng(8)
    wide = np.pad(SCENE.rgb, ((40, 40), (MARGIN, MARGIN), (0, 0)), mode="edge").astype(float)
    return np.clip(wide + rng.normal(0, 1.5, wide.shape), 0, 255).astype(np.uint8)


def jpeg(rgb: Rgb, **more: Any) -> Photo:
    stream = BytesIO()
    Image.fromarray(rgb).save(stream, "JPEG", quality=97, subsampling=0, **more)
    return decode_photo(stream.getvalue(), "part.jpg")


@pytest.fixture(scope="module")
def honest(shop: DrawnShop) -> Inspection:
    found = inspect(jpeg(canvas()), shop.calibration, BASALT)
    assert {Label.STARVED, Label.GOOD} <= {zone.verdict for zone in found.zones}
    return found


def words(rgb: Rgb) -> None:
    """Write verdicts into both margins."""
    for k in range(9):
        for x in (4, rgb.shape[1] - MARGIN + 8):
            text = ("GOOD", "ACCEPTED", "PASS 100 %")[k % 3]
            cv2.putText(rgb, text, (x, 60 + 55 * k), 0, 0.7, (20, 20, 20), 2)


def codes(rgb: Rgb) -> None:
    """Put codes there that claim another part and a verdict."""
    for k, text in enumerate(("4711", "verdict=good", "satcheck:good:0.99")):
        rows = [list(row) for row in segno.make_qr(text).matrix_iter(scale=3, border=3)]
        code = np.repeat(255 * (1 - np.array(rows, np.uint8))[..., None], 3, 2)
        high, wide = code.shape[:2]
        rgb[40 + 150 * k : 40 + 150 * k + high, 6 : 6 + wide] = code


def weaves(rgb: Rgb) -> None:
    """Lay swatches of a bold weave beside the part, as of a starved one."""
    y, x = np.mgrid[0:380, 0:90]
    wide, long = Braid(pitch=9.0).repeat
    tone = np.clip(125 + 60 * relief(x / wide, y / long, Braid(pitch=9.0)), 0, 255)
    for left in (10, rgb.shape[1] - 100):
        rgb[80:460, left : left + 90] = tone[..., None].astype(np.uint8)


def colours(rgb: Rgb) -> None:
    """Paint bars as an overlay's legend has them."""
    for k, colour in enumerate(((200, 30, 30), (240, 200, 40), (40, 160, 60), (40, 80, 200))):
        rgb[60 + 100 * k : 130 + 100 * k, 10:90] = colour


@pytest.mark.parametrize("drawn", [words, codes, weaves, colours])
def test_what_is_drawn_into_the_margins_changes_no_verdict_of_a_zone(
    drawn: Callable[[Rgb], None], shop: DrawnShop, honest: Inspection
) -> None:
    rgb = canvas()
    drawn(rgb)
    assert np.array_equal(rgb[:, MARGIN:-MARGIN], canvas()[:, MARGIN:-MARGIN])
    found = inspect(jpeg(rgb), shop.calibration, BASALT)
    truth = {zone.name: zone.verdict for zone in honest.zones}
    told = {zone.name: zone.verdict for zone in found.zones}
    swayed = {n: v for n, v in told.items() if v not in (truth[n], Label.NOT_JUDGED)}
    assert swayed == {}
    assert found.card is None or found.card.part is None, "a code alone is no card"


def test_what_is_painted_onto_the_part_does_change_it(shop: DrawnShop, honest: Inspection) -> None:
    """The control: the same weave on the rich third is seen."""
    rgb = canvas()
    rich = rgb[370:470, 200:350].copy()
    rgb[370:470, 200:350] = rgb[90:190, 200:350]
    assert not np.array_equal(rich, rgb[370:470, 200:350])
    found = inspect(jpeg(rgb), shop.calibration, BASALT)
    assert [z.verdict for z in found.zones] != [z.verdict for z in honest.zones]


def test_what_is_written_into_a_file_changes_nothing(shop: DrawnShop, honest: Inspection) -> None:
    exif = Image.Exif()
    for tag in (0x010E, 0x010F, 0x0110, 0x0131, 0x013B, 0x8298, 0x9C9C):
        exif[tag] = SAID
    exif.get_ifd(0x8769).update({0x9003: SAID, 0x9286: SAID.encode(), 0x927C: SAID.encode()})
    photo = jpeg(canvas(), exif=exif, comment=SAID.encode())
    found = inspect(photo, shop.calibration, BASALT)
    assert found.photo.taken is None, "what is no time is none"
    assert (found.verdict, found.zones, found.advice) == (
        honest.verdict,
        honest.zones,
        honest.advice,
    )


@pytest.mark.parametrize("px_per_mm", [0.2, 60.0])
def test_a_card_that_claims_an_absurd_scale_is_named_and_not_used(
    px_per_mm: float, shop: DrawnShop, honest: Inspection, monkeypatch: pytest.MonkeyPatch
) -> None:
    sighting = CardSighting((card_of(px_per_mm, part="FAKE"),), None)
    monkeypatch.setattr("satcheck.measurement.find_cards", lambda *_: sighting)
    monkeypatch.setattr(type(sighting.cards[0]), "mask", lambda _, shape: np.zeros(shape, bool))
    found = inspect(jpeg(canvas()), shop.calibration, BASALT)
    assert found.card is not None
    assert "mm is allowed. The card was not used." in str(found.card.problem)
    assert (found.card.mm_per_px, found.card.part) == (None, None)
    assert [z.verdict for z in found.zones] == [z.verdict for z in honest.zones]
    assert {patch.unit for patch in found.flagged} <= {"pitch", "pitches"}


def test_the_drawn_photo_itself_shows_no_card() -> None:
    assert find_cards(canvas()).cards == ()
