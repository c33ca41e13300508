"""The card's PDF: rasterised and measured again."""

from itertools import combinations
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray

from satcheck.card.layout import IDS_PER_DESIGN, LAYOUT, Rect, marker_dictionary
from satcheck.card.sheet import MAX_PART_LENGTH, PAGES, SheetSize, write_card
from satcheck.errors import UsageError

DPI = 600
PX_PER_MM = DPI / 25.4
Raster = NDArray[np.uint8]


def rasterise(path: Path) -> Raster:
    page = pypdfium2.PdfDocument(path)[0]
    return np.asarray(page.render(scale=DPI / 72, grayscale=True).to_numpy(), np.uint8).squeeze()


@pytest.fixture(scope="module", params=["A6", "A4"])
def size(request: pytest.FixtureRequest) -> SheetSize:
    return "A4" if request.param == "A4" else "A6"


@pytest.fixture(scope="module")
def page(size: SheetSize, tmp_path_factory: pytest.TempPathFactory) -> Raster:
    path = tmp_path_factory.mktemp("card") / "card.pdf"
    write_card(path, "L-204/7", size)
    return rasterise(path)


def cut(page: Raster, rect: Rect, place: tuple[float, float], inset: float = 0.0) -> Raster:
    corners = (rect.corners(inset) + np.array(place)) * PX_PER_MM
    (left, top), (right, bottom) = np.rint(corners[[0, 2]]).astype(int)
    return page[top:bottom, left:right]


def test_page_has_its_nominal_size(page: Raster, size: SheetSize) -> None:
    width, height, _ = PAGES[size]
    assert page.shape == pytest.approx((height * PX_PER_MM, width * PX_PER_MM), abs=1)


def test_marker_pitch_is_true_within_a_twentieth_of_a_millimetre(
    page: Raster, size: SheetSize
) -> None:
    detector = cv2.aruco.ArucoDetector(marker_dictionary())
    for x, y in PAGES[size][2]:
        sheet = cut(page, LAYOUT.outline, (x, y))
        quads, ids, _ = detector.detectMarkers(sheet)
        centres = {
            int(number) - IDS_PER_DESIGN * LAYOUT.design: np.reshape(quad, (4, 2)).mean(axis=0)
            for quad, number in zip(quads, np.ravel(ids), strict=True)
        }
        assert sorted(centres) == list(range(len(LAYOUT.markers)))
        for a, b in combinations(centres, 2):
            nominal = np.hypot(*np.subtract(LAYOUT.markers[a], LAYOUT.markers[b]))
            pitch = np.linalg.norm(centres[a] - centres[b]) / PX_PER_MM
            assert pitch == pytest.approx(nominal, abs=0.05)


def test_markers_have_neither_hairlines_nor_notches(page: Raster, size: SheetSize) -> None:
    for place in PAGES[size][2]:
        for index in range(len(LAYOUT.markers)):
            bits = cv2.aruco.generateImageMarker(
                marker_dictionary(), LAYOUT.design * IDS_PER_DESIGN + index, 8
            )
            ink = cut(page, LAYOUT.marker(index), place, inset=0.1)
            cells = cv2.resize(bits, ink.shape[::-1], interpolation=cv2.INTER_NEAREST)
            is_inside = cv2.blur(cells, (9, 9))
            assert not ink[is_inside == 0].any()
            assert (ink[is_inside == 255] == 255).all()


def test_check_ruler_measures_100_mm(page: Raster, size: SheetSize) -> None:
    for place in PAGES[size][2]:
        strip = Rect(LAYOUT.ruler.x - 5, LAYOUT.ruler.y + 1.9, LAYOUT.ruler.width + 10, 0.5)
        dark = np.flatnonzero(cut(page, strip, place).mean(axis=0) < 128)
        starts = dark[np.flatnonzero(np.diff(dark, prepend=-9) > 1)]
        assert starts.size == 101
        assert (starts[-1] - starts[0]) / PX_PER_MM == pytest.approx(100, abs=0.05)


def test_patches_have_their_codes(page: Raster, size: SheetSize) -> None:
    for place in PAGES[size][2]:
        for grey in (*LAYOUT.greys, LAYOUT.white):
            assert np.unique(cut(page, grey.rect, place, inset=0.3)) == [grey.code]
        for weave in LAYOUT.weaves:
            patch = cut(page, weave.rect, place, inset=0.3)
            on_level = (patch == weave.dark) | (patch == weave.light)
            assert on_level.mean() > 0.85
            assert {patch.min(), patch.max()} == {weave.dark, weave.light}
            assert np.mean(patch == weave.light) == pytest.approx(0.5, abs=0.1)


def test_part_number_is_in_the_qr_field(page: Raster, size: SheetSize) -> None:
    for place in PAGES[size][2]:
        text, _, _ = cv2.QRCodeDetector().detectAndDecode(cut(page, LAYOUT.qr, place, inset=-2.5))
        assert text == "L-204/7"


def test_the_card_says_its_part_its_unit_and_how_to_print_it(tmp_path: Path) -> None:
    write_card(tmp_path / "card.pdf", "L-204/7")
    page = pypdfium2.PdfDocument(tmp_path / "card.pdf")[0]
    said = " ".join(page.get_textpage().get_text_range().split())
    for words in ("L-204/7", "100 mm", "Print at 100 %", "Lay the card flat beside the part",
                  f"Design {LAYOUT.design}"):  # fmt: skip
        assert words in said
    assert "cm" not in said


def test_longest_part_number_still_reads(tmp_path: Path) -> None:
    part = "W" * MAX_PART_LENGTH
    write_card(tmp_path / "card.pdf", part)
    field = cut(rasterise(tmp_path / "card.pdf"), LAYOUT.qr, (0, 0), inset=-2.5)
    assert cv2.QRCodeDetector().detectAndDecode(field)[0] == part


def test_card_without_part_has_an_empty_qr_field(tmp_path: Path) -> None:
    write_card(tmp_path / "card.pdf")
    assert (cut(rasterise(tmp_path / "card.pdf"), LAYOUT.qr, (0, 0)) == 255).all()


def test_file_is_deterministic_and_asks_not_to_be_scaled(tmp_path: Path, size: SheetSize) -> None:
    for name in ("a.pdf", "b.pdf"):
        write_card(tmp_path / name, "L-204/7", size)
    first = (tmp_path / "a.pdf").read_bytes()
    assert first == (tmp_path / "b.pdf").read_bytes()
    assert b"/PrintScaling /None" in first
    write_card(tmp_path / "c.pdf", "L-204/8", size)
    assert first != (tmp_path / "c.pdf").read_bytes()


@pytest.mark.parametrize("part", ["", " L1", "L1 ", "Ä7", "a\nb", "x" * (MAX_PART_LENGTH + 1)])
def test_part_numbers_that_do_not_fit_are_refused(part: str, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="allowed: 1 to 24 printable ASCII"):
        write_card(tmp_path / "card.pdf", part)
    assert not (tmp_path / "card.pdf").exists()


def test_unknown_size_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="allowed: A6, A4"):
        write_card(tmp_path / "card.pdf", None, "A5")  # type: ignore[arg-type]


def test_fields_keep_clear_of_each_other_and_of_the_markers_quiet_zone() -> None:
    module = LAYOUT.marker_side / 8
    markers = [LAYOUT.marker(index).corners(-module) for index in range(len(LAYOUT.markers))]
    fields = [grey.rect.corners() for grey in (*LAYOUT.greys, LAYOUT.white, LAYOUT.edge_ground)]
    fields += [LAYOUT.weave_ground.rect.corners(), LAYOUT.qr.corners(-1.5)]
    fields += [square.corners() for square in LAYOUT.squares[:2]]
    for a, b in combinations([*markers, *fields], 2):
        apart = np.maximum(a.min(axis=0) - b.max(axis=0), b.min(axis=0) - a.max(axis=0))
        assert apart.max() >= -1e-9
