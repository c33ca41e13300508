"""Mirrored light on parts whose colour and sheen are known."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from satcheck.flags import Reason
from satcheck.frame import Frame
from satcheck.light import luminance
from satcheck.trust.doubt import doubt
from satcheck.trust.glare import (
    COLOURED,
    GROWN,
    SKIRT,
    VEILED_NEUTRAL,
    body_colour,
    mirrored,
    mirrored_share,
    rise_across,
    saturation,
)
from satcheck.weave.measure import Weave

HEIGHT, WIDTH, PITCH = 300, 240, 10.0
LEFT, RIGHT, TOP, BOTTOM = 20, 220, 20, 280  # of the part, pixels
AMBER, GREY = (0.12, 0.07, 0.03), (0.05, 0.05, 0.05)
LAMP = (slice(100, 200), slice(105, 135))  # a streak along the part, three pitches wide
ACROSS = (slice(135, 165), slice(LEFT, RIGHT))  # the same from flank to flank
F32 = NDArray[np.float32]


def frame(
    body: tuple[float, ...] = AMBER,
    sheen: float = 0.0,
    relief: float = 0.0,
    lamp: tuple[slice, slice] = LAMP,
) -> Frame:
    """Return a part of one colour with a white streak: ``sheen`` of the body's luminance.

    ``relief`` is the modulation of a wave along the part, the same under the streak.
    """
    part = np.zeros((HEIGHT, WIDTH), bool)
    part[TOP:BOTTOM, LEFT:RIGHT] = True
    wave = 1 + relief * np.sin(2 * np.pi * np.arange(HEIGHT) / PITCH)
    linear = (wave[:, None, None] * np.array(body) * np.ones((HEIGHT, WIDTH, 1))).astype(np.float32)
    linear[lamp] += np.float32(sheen * (np.array(body) @ (0.2126, 0.7152, 0.0722)))
    nothing = np.zeros_like(part)
    still = np.array([[1.0, 0, 0], [0, 1.0, 0]])
    return Frame(linear, part, part.astype(np.uint8), nothing, nothing, nothing, still, 1.0)


def weave_of(seen: Frame) -> Weave:
    rows, columns = np.arange(2, HEIGHT, 5), np.arange(2, WIDTH, 5)
    nothing = np.full((len(rows), len(columns)), np.nan, np.float32)
    return Weave(seen, None, PITCH, columns, rows, nothing, nothing, nothing, {}, seen.light)


def inside(weave: Weave) -> tuple[slice, slice]:
    """Return the cells well within the streak."""
    return np.s_[(LAMP[0].start + 10) // 5 : (LAMP[0].stop - 10) // 5,
                 (LAMP[1].start + 8) // 5 : (LAMP[1].stop - 8) // 5]  # fmt: skip


@pytest.mark.parametrize("sheen", [0.0, 0.25, 1.0, 4.0])
def test_colour_tells_the_share_of_mirrored_light(sheen: float) -> None:
    """Closed form: a sheen of g of the body's luminance is g / (1 + g) of what is seen."""
    seen = frame(AMBER, sheen)
    body = body_colour(seen.linear, seen.laminate)
    share = mirrored_share(seen.linear, body)
    assert share[150, 120] == pytest.approx(sheen / (1 + sheen), abs=0.01)
    assert share[50, 50] == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize("sheen", [0.25, 1.0, 4.0])
def test_light_beside_it_tells_the_share_on_a_neutral_body(sheen: float) -> None:
    seen = frame(GREY, sheen)
    rise = rise_across(seen.linear[..., 1], seen.laminate, PITCH)
    assert rise[150, 120] == pytest.approx(sheen / (1 + sheen), abs=0.03)  # less the dark floor
    assert rise[150, 60] == pytest.approx(0, abs=0.01)


def test_a_veil_lowers_contrast_by_the_share_that_it_adds() -> None:
    """Contrast falls by 1 / (1 + g) under an additive veil (closed form)."""
    seen = frame(AMBER, 1.0, relief=0.2)
    column = luminance(seen.linear[LAMP[0], 120:121])[:, 0].astype(float)
    modulation = float(np.sqrt(2) * column.std() / column.mean())
    body = body_colour(seen.linear, seen.laminate)
    share = float(mirrored_share(seen.linear, body)[LAMP[0], 120].mean())
    assert modulation == pytest.approx(0.2 * (1 - share), rel=0.03)


def test_colour_chooses_the_measure() -> None:
    amber, grey = (body_colour(frame(b).linear, frame(b).laminate) for b in (AMBER, GREY))
    assert saturation(amber) > COLOURED > saturation(grey)


@pytest.mark.parametrize("body", [AMBER, GREY], ids=["amber", "grey"])
@pytest.mark.parametrize(
    ("sheen", "reason"), [(0.1, None), (0.8, Reason.VEIL), (1.5, Reason.VEIL), (9.0, Reason.GLARE)]
)
def test_a_sheen_is_a_veil_and_more_is_glare(
    body: tuple[float, ...], sheen: float, reason: Reason | None
) -> None:
    weave = weave_of(frame(body, sheen))
    reasons = doubt(weave, None, is_pitch_known=True).reasons[inside(weave)]
    assert (reasons == np.uint32(reason or 0)).all()


@pytest.mark.parametrize("body", [AMBER, GREY], ids=["amber", "grey"])
@pytest.mark.parametrize("sheen", [0.1, 1.5])
def test_a_lamp_across_the_part_is_a_veil_too(body: tuple[float, ...], sheen: float) -> None:
    found = mirrored(weave_of(frame(body, sheen, lamp=ACROSS)))
    assert found.veil[28:32, 8:40].all() == (sheen > 1)
    assert found.veil[28:32, 8:40].any() == (sheen > 1)
    assert not found.veil[6:24, 8:40].any()
    assert not found.glare.any()


@pytest.mark.parametrize("body", [AMBER, GREY], ids=["amber", "grey"])
def test_glare_is_grown_by_half_a_pitch_and_the_rest_is_believed(body: tuple[float, ...]) -> None:
    found = mirrored(weave_of(frame(body, 9.0)))
    lost = found.glare | found.veil
    rows, columns = np.arange(2, HEIGHT, 5), np.arange(2, WIDTH, 5)
    reach = GROWN * PITCH
    beside = (columns > LAMP[1].stop) & (columns < LAMP[1].stop + reach - 1)
    assert beside.any()
    assert found.glare[np.ix_((rows > 120) & (rows < 180), beside)].all()
    assert not lost[:, np.abs(columns - 120) > 30].any()


def test_a_broad_pale_place_on_a_coloured_body_is_a_veil_and_no_glare() -> None:
    """Dry tows may be as pale as a lamp, but no streak: what shows dry there can be believed."""
    broad = (slice(100, 200), slice(75, 165))  # nine pitches; a streak has six at most
    found = mirrored(weave_of(frame(AMBER, 9.0, lamp=broad)))
    assert found.veil[22:38, 17:31].all()
    assert not found.glare.any()


def broadly(seen: Frame, sheen: float, middle: float, pitches: float) -> tuple[Frame, F32]:
    """Return a part under a lamp that fades out to both sides, and its share of light (W,).

    Closed form: of a body under a sheen g the share g / (1 + g) is mirrored.
    """
    away = (np.arange(WIDTH) - middle) / (pitches * PITCH)
    added = sheen * np.exp(-(away**2) / 2)
    light = np.float32(seen.linear.mean() / seen.laminate.mean()) * np.ones(3, np.float32)
    linear = seen.linear + (added[:, None] * light).astype(np.float32) * seen.laminate[..., None]
    return replace(seen, linear=linear.astype(np.float32)), (added / (1 + added)).astype(np.float32)


@pytest.mark.parametrize("pitches", [1.0, 1.5, 2.0])
def test_a_lamp_on_a_neutral_body_is_doubted_out_to_where_it_has_faded(pitches: float) -> None:
    seen, share = broadly(frame(GREY), 9.0, 120, pitches)
    weave = weave_of(seen)
    found = mirrored(weave)
    lost = (found.glare | found.veil)[20:40]
    share = share[weave.columns]
    assert lost[:, share > SKIRT + 0.05].all()
    assert not lost[:, share < SKIRT - 0.2].any()
    narrow = rise_across(luminance(seen.linear), seen.laminate, PITCH)[150, weave.columns]
    assert pitches < 1.5 or (narrow[share > SKIRT] < VEILED_NEUTRAL).any(), "the skirts are why"


def test_a_broad_rise_that_no_streak_touches_is_shading() -> None:
    """A sheen as strong, but nowhere a streak; and beside a streak that it does not touch."""
    broad, share = broadly(frame(GREY), 1.2, 170, 3.0)
    weave = weave_of(broad)
    assert (share[weave.columns] > SKIRT).any()
    assert not mirrored(weave).veil[20:40].any()
    far = (slice(100, 200), slice(40, 60))
    linear = broad.linear.copy()
    linear[far] += 9 * np.float32(GREY[0])
    found = mirrored(weave_of(replace(broad, linear=linear)))
    assert found.glare[24:36, 9:11].all()
    assert not (found.glare | found.veil)[20:40, 20:].any()


def test_shading_round_the_part_is_no_glare() -> None:
    """Lambert's cosine over the width, on carbon: brighter in the middle and not mirrored."""
    seen = frame(GREY)
    lane = np.clip((np.arange(WIDTH) - 120) / 105, -1, 1)
    shaded = replace(seen, linear=(seen.linear * np.sqrt(1 - lane**2)[:, None]).astype(np.float32))
    weave = weave_of(shaded)
    middle = np.abs(weave.columns - 120) < 60
    found = mirrored(weave)
    assert not (found.glare | found.veil)[:, middle].any()


def test_a_picture_without_laminate_mirrors_nothing() -> None:
    bare = replace(frame(), laminate=np.zeros((HEIGHT, WIDTH), bool))
    found = mirrored(weave_of(bare))
    assert not found.glare.any()
    assert not found.veil.any()
