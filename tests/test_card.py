"""The card found and read in rendered photos of its own PDF, with pose and blur known."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np
import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from satcheck.card import markers as card_markers
from satcheck.card.find import Card, CardSighting, find_cards
from satcheck.card.greys import Exposure
from satcheck.card.layout import IDS_PER_DESIGN, LAYOUT, Rect, marker_dictionary
from satcheck.card.markers import jacobian, project
from satcheck.card.sheet import write_card
from satcheck.errors import UsageError
from satcheck.light import encode_srgb, lightness, linear_light
from satcheck.trust.card import TOO_BLURRED

FloatArray = NDArray[np.float64]
Light = NDArray[np.float32]
Photo = NDArray[np.uint8]
DPI = 600
BACKGROUND = 0.12
HEIGHT, WIDTH = 1200, 1600
CENTRE = np.array((LAYOUT.width / 2, LAYOUT.height / 2))


@lru_cache
def sheet(part: str | None = "L-204/7") -> Light:
    """Return the card's linear light, (height, width), as printed from its PDF."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "card.pdf"
        write_card(path, part)
        page = pypdfium2.PdfDocument(path)[0]
        pixels = page.render(scale=DPI / 72, grayscale=True).to_numpy()
    return linear_light(np.asarray(pixels, np.uint8).squeeze())


@dataclass(frozen=True)
class Pose:
    """A pinhole camera's view: pixels per mm at the card's centre, angles in degrees."""

    scale: float = 8.0
    roll: float = 4.0
    tilt: float = 0.0
    azimuth: float = 0.0
    x: float = WIDTH / 2
    y: float = HEIGHT / 2

    def homography(self) -> FloatArray:
        """Return millimetres to pixels: K [r1 r2 t], in closed form."""
        focal = 1.1 * WIDTH
        axis = np.radians(self.tilt) * np.array(
            (math.cos(math.radians(self.azimuth)), math.sin(math.radians(self.azimuth)), 0)
        )
        roll, _ = cv2.Rodrigues(np.array((0, 0, math.radians(self.roll))))
        turn = cv2.Rodrigues(axis)[0] @ roll
        camera = np.array([(focal, 0, self.x), (0, focal, self.y), (0, 0, 1)])
        to_centre = np.array([(1, 0, -CENTRE[0]), (0, 1, -CENTRE[1]), (0, 0, 1)])
        view = np.column_stack([turn[:, 0], turn[:, 1], (0, 0, focal / self.scale)])
        return np.asarray(camera @ view @ to_centre)


@lru_cache
def seen(pose: Pose, part: str | None = "L-204/7") -> Light:
    """Return the card's linear light on a plain table, each pixel the mean of 2 x 2 samples."""
    shift = np.array([(1, 0, 0.5), (0, 1, 0.5), (0, 0, 1)])
    fine = np.linalg.inv(shift) @ np.diag((2.0, 2.0, 1.0)) @ shift @ pose.homography()
    to_fine = fine @ np.diag((25.4 / DPI, 25.4 / DPI, 1.0)) @ shift
    size = (2 * WIDTH, 2 * HEIGHT)
    card = cv2.warpPerspective(
        sheet(part), to_fine, size, flags=cv2.INTER_LINEAR, borderValue=BACKGROUND
    )
    card = cv2.resize(card, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA)
    light = np.asarray(card, np.float32)
    light.flags.writeable = False  # it is kept
    return light


def photo(
    light: Light,
    blur: float | tuple[float, float] = 0.8,
    gains: tuple[float, float, float] = (0.8, 0.8, 0.8),
    noise: float = 0.01,
) -> Photo:
    """Take the photo: Gaussian blur (along x, y), one gain a channel, noise, sRGB codes."""
    along, across = blur if isinstance(blur, tuple) else (blur, blur)
    blurred = cv2.GaussianBlur(light, (0, 0), sigmaX=along, sigmaY=across)
    rgb = np.asarray(blurred, np.float32)[..., None] * np.array(gains, np.float32)
    return encode_srgb(rgb + noise * grain() * np.sqrt(rgb))


@lru_cache
def grain() -> Light:
    return np.random.default_rng(5).standard_normal((HEIGHT, WIDTH, 3), np.float32)


def only_card(sighting: CardSighting) -> Card:
    assert len(sighting.cards) == 1
    return sighting.cards[0]


def read(pose: Pose, **kind: float) -> Card:
    return only_card(find_cards(photo(seen(pose), **kind)))  # type: ignore[arg-type]


def cover(light: Light, pose: Pose, rect: Rect, value: float = 0.2) -> Light:
    quad = project(pose.homography(), rect.corners())
    return np.asarray(
        cv2.fillConvexPoly(light.copy(), np.rint(quad).astype(np.int32), value), np.float32
    )


@pytest.mark.parametrize(
    "pose",
    [
        Pose(),
        Pose(roll=90),
        Pose(roll=183, tilt=20, azimuth=10),
        Pose(roll=40, tilt=35, azimuth=120),
        Pose(scale=6, roll=-70, tilt=45, azimuth=60),
        Pose(scale=4, roll=15),
    ],
)
def test_pose_and_scale_are_those_of_the_homography(pose: Pose) -> None:
    card = read(pose)
    truth = pose.homography()
    scale = math.sqrt(abs(np.linalg.det(jacobian(truth, CENTRE))))
    assert card.px_per_mm == pytest.approx(scale, rel=0.003)
    error = card.corners - project(truth, LAYOUT.outline.corners())
    assert np.abs(error).max() < 1.0
    assert np.abs(project(card.homography, np.array([CENTRE])) - (pose.x, pose.y)).max() < 1.0


@given(
    roll=st.floats(0, 360), tilt=st.floats(0, 45), azimuth=st.floats(0, 360), scale=st.floats(4, 7)
)
@settings(max_examples=5)
def test_any_pose_up_to_45_degrees(roll: float, tilt: float, azimuth: float, scale: float) -> None:
    pose = Pose(scale, roll, tilt, azimuth)
    truth = math.sqrt(abs(np.linalg.det(jacobian(pose.homography(), CENTRE))))
    assert read(pose).px_per_mm == pytest.approx(truth, rel=0.01)


@pytest.mark.parametrize("index", range(len(LAYOUT.markers)))
def test_any_single_marker_gives_an_approximate_pose(index: int) -> None:
    pose = Pose(roll=25, tilt=15, azimuth=70)
    light = seen(pose)
    for other in set(range(len(LAYOUT.markers))) - {index}:
        light = cover(light, pose, LAYOUT.marker(other))
    card = only_card(find_cards(photo(light)))
    assert card.markers == (index,)
    truth = math.sqrt(abs(np.linalg.det(jacobian(pose.homography(), CENTRE))))
    assert card.px_per_mm == pytest.approx(truth, rel=0.05)
    error = card.corners - project(pose.homography(), LAYOUT.outline.corners())
    assert np.abs(error).max() < 8 * card.px_per_mm


@pytest.mark.parametrize("hidden", [Rect(-5, -5, 70, 115), Rect(68, -5, 85, 115)])
def test_half_a_card_still_gives_scale_greys_and_mtf(hidden: Rect) -> None:
    pose = Pose(roll=10, tilt=10)
    card = only_card(find_cards(photo(cover(seen(pose), pose, hidden), blur=1.2)))
    truth = math.sqrt(abs(np.linalg.det(jacobian(pose.homography(), CENTRE))))
    assert card.px_per_mm == pytest.approx(truth, rel=0.02)
    assert card.exposure is not None
    assert card.exposure.white == pytest.approx(0.8, rel=0.03)
    expected = math.exp(-2 * (math.pi * 1.2 * 0.1) ** 2)
    assert card.mtf(0.1, 0.3) == pytest.approx(expected, rel=0.05)


@pytest.mark.parametrize("sigma", [0.8, 1.2, 2.0])
@pytest.mark.parametrize("pose", [Pose(), Pose(roll=33, tilt=30, azimuth=45)])
def test_mtf_of_a_known_blur(pose: Pose, sigma: float) -> None:
    # Closed form: Gaussian times the aperture of the pixel, sinc f; the print's own raster of
    # 0.3 px and the bilinear sampling take a little more.
    card = read(pose, blur=sigma)
    for frequency in (0.05, 0.1, 0.15):
        expected = math.exp(-2 * (math.pi * sigma * frequency) ** 2) * np.sinc(frequency)
        for angle in (0.0, 0.7, 1.6, 2.5):
            assert card.mtf(frequency, angle) == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize("roll", [4.0, 50.0])
def test_mtf_follows_the_direction_of_the_blur(roll: float) -> None:
    card = only_card(find_cards(photo(seen(Pose(roll=roll)), blur=(2.0, 0.8))))
    for angle, sigma in ((0.0, 2.0), (math.pi / 2, 0.8), (math.pi / 4, math.sqrt(2.32))):
        expected = math.exp(-2 * (math.pi * sigma * 0.1) ** 2) * np.sinc(0.1)
        assert card.mtf(0.1, angle) == pytest.approx(expected, abs=0.03)
        assert card.mtf(0.1, angle + math.pi) == pytest.approx(card.mtf(0.1, angle))


def test_mtf_is_none_where_too_few_edges_tell() -> None:
    pose = Pose()
    light = cover(seen(pose), pose, Rect(4, 22, 33, 54))
    card = only_card(find_cards(photo(cover(light, pose, Rect(111, 48, 31, 28)))))
    assert len(card.edges) == 4
    assert card.mtf(0.1, 0.0) is None
    assert not card.texture_transfer


def test_textures_pass_unharmed_without_noise_reduction() -> None:
    for pose in (Pose(scale=10), Pose(scale=9, roll=30, tilt=25, azimuth=40)):
        card = read(pose, blur=1.0)
        assert sorted(card.texture_transfer) == [0.01, 0.02, 0.04, 0.08]
        assert min(card.texture_transfer.values()) > 0.88
        assert max(card.texture_transfer.values()) < 1.1


def non_local_means(rgb: Photo) -> Photo:
    return np.asarray(cv2.fastNlMeansDenoisingColored(rgb, None, 8, 8, 5, 9), np.uint8)


def bilateral(rgb: Photo) -> Photo:
    return np.asarray(cv2.bilateralFilter(rgb, 15, 30, 6), np.uint8)


@pytest.mark.parametrize("denoise", [non_local_means, bilateral])
def test_noise_reduction_shows_in_the_faint_textures(denoise: Callable[[Photo], Photo]) -> None:
    rgb = photo(seen(Pose(scale=7)), blur=0.8, noise=0.02)[200:-200, 250:-250].copy()
    assert only_card(find_cards(rgb)).texture_transfer[0.02] > 0.85
    card = only_card(find_cards(denoise(rgb)))
    assert min(card.texture_transfer.values()) < 0.8


def test_white_gains_undo_a_known_tint() -> None:
    card = only_card(find_cards(photo(seen(Pose()), gains=(0.8, 0.7, 0.45))))
    assert card.white_gains == pytest.approx([0.7 / 0.8, 1, 0.7 / 0.45], rel=0.01)


@pytest.mark.parametrize("level", [0.1, 0.4, 0.9])
def test_exposure_is_the_light_on_the_paper(level: float) -> None:
    exposure = only_card(find_cards(photo(seen(Pose()), gains=(level,) * 3))).exposure
    assert exposure is not None
    assert exposure.white == pytest.approx(level, rel=0.02)
    assert exposure.slope == pytest.approx(1, abs=0.02)
    assert exposure.residual < 0.02


def test_where_the_paper_is_blown_out_the_grey_ground_still_tells() -> None:
    card = only_card(find_cards(photo(seen(Pose()), gains=(1.5,) * 3, blur=1.0)))
    assert card.exposure is not None
    assert card.exposure.white == pytest.approx(1.5, rel=0.03)
    assert card.edge_failures == ("the bright side is clipped",) * 8
    assert card.mtf(0.1, 1.0) == pytest.approx(math.exp(-0.02 * math.pi**2), abs=0.03)
    assert card.is_screen is None


def test_part_number_is_read_and_absent_without_one() -> None:
    assert read(Pose(roll=40, tilt=30)).part == "L-204/7"
    assert only_card(find_cards(photo(seen(Pose(), part=None)))).part is None


@pytest.mark.parametrize(
    ("scale", "is_plausible"), [(0.91, True), (1.09, True), (0.89, False), (1.11, False)]
)
def test_printed_scale_makes_true_millimetres(scale: float, is_plausible: bool) -> None:
    sighting = find_cards(photo(seen(Pose())), printed_scale=scale)
    card = only_card(sighting)
    assert card.px_per_mm == pytest.approx(8 / scale, rel=0.003)
    far = np.array([(LAYOUT.width * scale, LAYOUT.height * scale)])
    assert project(card.homography, far)[0] == pytest.approx(card.corners[2], abs=1e-6)
    assert (sighting.problem is None) == is_plausible


@pytest.mark.parametrize("scale", [0.0, -1.0, math.nan, math.inf])
def test_printed_scale_must_be_a_length(scale: float) -> None:
    with pytest.raises(UsageError, match="printed scale"):
        find_cards(np.zeros((9, 9, 3), np.uint8), scale)


@pytest.mark.parametrize("design", [0, 2])
def test_card_of_another_design_is_named_and_not_read(design: int) -> None:
    scene = np.full((HEIGHT, WIDTH), 200, np.uint8)
    for place, index in enumerate((0, 2, 5)):
        number = IDS_PER_DESIGN * design + index
        marker = cv2.aruco.generateImageMarker(marker_dictionary(), number, 120)
        scene[300:420, 300 + 300 * place : 420 + 300 * place] = marker
    sighting = find_cards(np.repeat(scene[..., None], 3, axis=2))
    assert sighting.cards == ()
    assert sighting.problem is not None
    assert f"is of design {design}, this version reads design {LAYOUT.design}" in sighting.problem


def test_one_marker_of_another_design_is_taken_for_chance() -> None:
    scene = np.full((HEIGHT, WIDTH), 200, np.uint8)
    number = IDS_PER_DESIGN * (LAYOUT.design + 1)
    scene[300:420, 300:420] = cv2.aruco.generateImageMarker(marker_dictionary(), number, 120)
    assert find_cards(np.repeat(scene[..., None], 3, axis=2)) == CardSighting((), None)


def test_the_exposure_at_a_reflectance_is_the_curves_there() -> None:
    """A tone curve that is a power law: 0.8 r^1.2, at 0.3 as anywhere of slope 1.2."""
    greys = np.array([0.05, 0.15, 0.4, 1.0])
    exposure = Exposure(greys, 0.8 * greys**1.2, 0.8, 1.2, 0.0)
    assert exposure.local(0.3) == pytest.approx((0.8 * 0.3**1.2, 1.2))


@pytest.mark.parametrize(
    ("other", "problem"),
    [
        ("L-204/7", None),
        ("L-205", "There are cards of different parts in one photo: L-204/7, L-205."),
    ],
)
def test_two_cards_are_told_apart(other: str, problem: str | None) -> None:
    left, right = Pose(5, roll=85, x=450), Pose(5, roll=-80, tilt=20, x=1150)
    both = np.where(seen(right, other) == np.float32(BACKGROUND), seen(left), seen(right, other))
    sighting = find_cards(photo(both))
    assert sorted(card.part or "" for card in sighting.cards) == sorted(["L-204/7", other])
    assert all(card.px_per_mm == pytest.approx(4.9, abs=0.15) for card in sighting.cards)
    assert sighting.problem == problem


def test_cards_at_two_distances_are_a_problem() -> None:
    near, far = Pose(6, roll=85, x=450), Pose(4, roll=-80, x=1150)
    both = np.where(seen(far) == np.float32(BACKGROUND), seen(near), seen(far))
    sighting = find_cards(photo(both))
    assert sighting.problem == (
        "There are cards at different distances; leave the one beside the part."
    )
    assert len(sighting.cards) == 2
    assert sighting.usable is None


def test_the_card_to_go_by_is_the_one_that_shows_most() -> None:
    pose = Pose(5, roll=85, x=450)
    light = cover(seen(pose), pose, LAYOUT.marker(0))
    both = np.where(
        seen(Pose(5, roll=-80, x=1150)) == np.float32(BACKGROUND),
        light,
        seen(Pose(5, roll=-80, x=1150)),
    )
    usable = find_cards(photo(both)).usable
    assert usable is not None
    assert usable.markers == (0, 1, 2, 3, 4, 5)


def test_the_mtf_map_is_the_mtf_frequency_by_frequency() -> None:
    card = read(Pose(), blur=1.5)
    fx, fy = np.array([0.0, 0.08, 0.05, -0.1]), np.array([0.0, 0.0, 0.12, 0.06])
    found = card.mtf_map(fx, fy)
    for x, y, mtf in zip(fx, fy, found if found is not None else (), strict=True):
        assert mtf == pytest.approx(card.mtf(float(np.hypot(x, y)), math.atan2(y, x)), abs=0.01)
    assert (card.mtf_error(0.1) or 1) < 0.05
    no_edges = replace(card, edges=())
    assert (no_edges.mtf_map(fx, fy), no_edges.mtf_error(0.1)) == (None, None)


def test_a_card_too_blurred_to_measure_says_so() -> None:
    card = read(Pose(scale=4), blur=3.0)
    assert card.edge_failures.count(TOO_BLURRED) > 8  # of 16


def scenes_without_card() -> Iterator[Photo]:
    generator = np.random.default_rng(3)
    yield generator.integers(0, 256, (HEIGHT, WIDTH, 3)).astype(np.uint8)
    yield np.zeros((HEIGHT, WIDTH, 3), np.uint8)
    yield np.zeros((1, 1, 3), np.uint8)
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    weave = 128 + 100 * np.sign(np.sin((x + y) / 9.0) * np.sin((x - y) / 9.0))
    yield np.repeat(weave.astype(np.uint8)[..., None], 3, axis=2)


@pytest.mark.parametrize("rgb", list(scenes_without_card()))
def test_without_a_card_nothing_is_found_and_nothing_is_wrong(rgb: Photo) -> None:
    assert find_cards(rgb) == CardSighting((), None)


@pytest.mark.parametrize("pitch_px", [2.6, 3.7, 6.1])
def test_screen_is_told_from_print(pitch_px: float) -> None:
    light = seen(Pose())
    x = np.arange(WIDTH, dtype=np.float32)
    grid = light * (1 + 0.15 * np.sin(2 * math.pi * x / pitch_px)).astype(np.float32)
    sighting = find_cards(photo(grid, blur=0.5))
    assert only_card(sighting).is_screen
    assert sighting.problem is not None
    assert "screen" in sighting.problem
    for quality in (95, 50):  # negative control: JPEG's blocks are no screen
        jpeg = cv2.imencode(".jpg", photo(light), [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
        decoded = np.asarray(cv2.imdecode(jpeg, cv2.IMREAD_COLOR), np.uint8)
        assert only_card(find_cards(decoded)).is_screen is False


def test_bent_card_is_a_problem() -> None:
    light = seen(Pose())
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float32)
    bow = (18 * np.sin((x - 200) / 1200 * math.pi)).astype(np.float32)
    bent = np.asarray(cv2.remap(light, x, y + bow, cv2.INTER_LINEAR), np.float32)
    problem = find_cards(photo(bent)).problem
    assert problem is not None
    assert "bent" in problem


def test_implausible_scale_is_a_problem(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("satcheck.card.find.PHOTO_SIDES", (60.0, 100.0))
    upright = np.ascontiguousarray(np.rot90(photo(seen(Pose()))))
    problem = find_cards(upright).problem
    assert problem == (
        "By the card the photo's longer side would be 200 mm: its scale is implausible."
    )


@pytest.mark.parametrize("pose", [Pose(), Pose(scale=5, roll=60, tilt=40, x=300)])
def test_mask_holds_the_card_and_three_millimetres_around_it(pose: Pose) -> None:
    mask = read(pose).mask((HEIGHT, WIDTH))
    homography = pose.homography()
    for rect, is_inside in (
        (LAYOUT.outline.corners(-2), True),
        (LAYOUT.outline.corners(-9), False),
    ):
        middles = (rect + np.roll(rect, 1, axis=0)) / 2
        for x, y in np.rint(project(homography, middles)).astype(int):
            if 0 <= x < WIDTH and 0 <= y < HEIGHT:
                assert mask[y, x] == is_inside


def test_greys_have_their_nominal_lightness() -> None:
    codes = np.array([grey.code for grey in LAYOUT.greys[:6]], np.uint8)
    assert lightness(linear_light(codes)) == pytest.approx([90, 78, 66, 54, 42, 30], abs=0.3)
    for weave in LAYOUT.weaves:
        assert weave.modulation == pytest.approx(weave.contrast, rel=0.2)


@pytest.mark.parametrize(
    ("published", "codes"),
    [
        # Neutrals of the classic 24-patch chart, from the published reference data of both
        # generations; the codes of the older one are the ideal ones, rounded.
        ((96.539, 81.257, 66.766, 50.867, 35.656, 20.461), (245, 202, 162, 121, 84, 49)),
        ((95.190, 81.290, 66.890, 50.760, 35.630, 20.640), None),
    ],
)
def test_lightness_of_the_classic_chart(
    published: tuple[float, ...], codes: tuple[int, ...] | None
) -> None:
    encoded = encode_srgb(((np.array(published) + 16) / 116) ** 3)  # CIE 15, above L* 8
    assert codes is None or encoded.tolist() == list(codes)
    # Half a code is 0.2 L*.
    assert lightness(linear_light(encoded)) == pytest.approx(published, abs=0.21)


def test_small_photos_are_searched_at_full_size() -> None:
    small = cv2.resize(
        photo(seen(Pose(scale=9))), None, fx=0.3, fy=0.3, interpolation=cv2.INTER_AREA
    )
    card = only_card(find_cards(np.asarray(small, np.uint8)))
    assert card.px_per_mm == pytest.approx(2.7, rel=0.01)
    assert len(card_markers.detect_markers(np.asarray(small, np.uint8))) == 6
