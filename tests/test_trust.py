"""Where a photo is doubted, on frames whose light, tape and outline are known."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from satcheck.flags import Reason
from satcheck.frame import Frame
from satcheck.trust.blur import Blur
from satcheck.trust.doubt import (
    FAINT_WEAVE,
    FEWEST_PIXELS,
    LANE,
    LEAST_WEAVE,
    RIM,
    SHAKEN,
    SOFT_PIXELS,
    doubt,
    tells_pitch,
)
from satcheck.weave.lattice import Lattice
from satcheck.weave.measure import Weave
from satcheck.weave.spectrum import contrast

HEIGHT, WIDTH = 240, 200
LEFT, RIGHT, TOP, BOTTOM = 20, 180, 20, 220  # of the part, pixels
PITCH = 10.0


def frame(light: float = 0.2) -> Frame:
    """Return an evenly lit part of 160 by 200 pixels."""
    part = np.zeros((HEIGHT, WIDTH), bool)
    part[TOP:BOTTOM, LEFT:RIGHT] = True
    nothing = np.zeros_like(part)
    linear = np.full((HEIGHT, WIDTH, 3), light, np.float32)
    still = np.array([[1.0, 0, 0], [0, 1.0, 0]])
    return Frame(linear, part, part.astype(np.uint8), nothing, nothing, nothing, still, 1.0)


def weave_of(seen: Frame, pitch: float = PITCH) -> Weave:
    step = round(pitch / 2)
    rows, columns = np.arange(step // 2, HEIGHT, step), np.arange(step // 2, WIDTH, step)
    nothing = np.full((len(rows), len(columns)), np.nan, np.float32)
    flat = contrast(seen.light, seen.laminate, pitch)
    return Weave(seen, None, pitch, columns, rows, nothing, nothing, nothing, {}, flat)


def doubted(seen: Frame, reason: Reason, pitch: float = PITCH) -> NDArray[np.bool_]:
    return np.asarray(
        (doubt(weave_of(seen, pitch), None, is_pitch_known=True).reasons & np.uint32(reason)) > 0
    )


def at(weave: Weave, y: slice, x: slice) -> tuple[slice, slice]:
    """Return the cells whose centres lie within a range of pixels."""
    rows = np.searchsorted(weave.rows, (y.start, y.stop))
    columns = np.searchsorted(weave.columns, (x.start, x.stop))
    return slice(*rows), slice(*columns)


def middle(weave: Weave) -> tuple[slice, slice]:
    return at(weave, slice(TOP + 20, BOTTOM - 20), slice(LEFT + 20, RIGHT - 20))


def test_a_clean_photo_is_believed_but_for_its_rim() -> None:
    weave = weave_of(frame())
    reasons = doubt(weave, None, is_pitch_known=True).reasons
    assert reasons.dtype == np.uint32
    assert not reasons[middle(weave)].any()
    assert set(reasons.ravel()) <= {0, Reason.EDGE, Reason.EDGE | Reason.OBLIQUE}
    assert not reasons[~np.asarray(weave.at_cells(weave.frame.laminate), bool)].any()


@settings(max_examples=25)
@given(st.floats(6, 24))
def test_the_rim_is_as_wide_as_its_share_of_a_pitch(pitch: float) -> None:
    """By each cell's distance from the nearest pixel beyond the part."""
    weave = weave_of(frame(), pitch)
    y, x = weave.rows[:, None], weave.columns[None, :]
    near = np.minimum(np.minimum(y - TOP, BOTTOM - 1 - y), np.minimum(x - LEFT, RIGHT - 1 - x)) + 1
    on_part = near >= 1
    rim = doubted(frame(), Reason.EDGE, pitch)
    assert (rim == (on_part & (near < RIM * pitch))).all()
    assert rim.any()


def test_the_flanks_are_oblique_and_the_ends_are_not() -> None:
    weave = weave_of(frame(), 5.0)
    lane = np.abs(weave.columns - (LEFT + RIGHT) / 2) / ((RIGHT - LEFT) / 2)
    found = doubted(frame(), Reason.OBLIQUE, 5.0)
    rows = (weave.rows >= TOP) & (weave.rows < BOTTOM)
    assert (found == (rows[:, None] & (lane > LANE) & (lane <= 1))).all()
    assert found.any()


def test_tape_is_no_part_and_its_border_is_doubted() -> None:
    tape = np.zeros((HEIGHT, WIDTH), bool)
    tape[100:120] = frame().laminate[100:120]
    seen = replace(frame(), laminate=frame().laminate & ~tape, covered=tape)
    weave = weave_of(seen)
    reasons = doubt(weave, None, is_pitch_known=True).reasons
    x = slice(LEFT + 20, RIGHT - 20)
    assert not reasons[at(weave, slice(100, 120), x)].any()  # outside: nothing to be judged
    beside = [at(weave, slice(97, 100), x), at(weave, slice(120, 123), x)]
    assert all((reasons[cells] == Reason.TAPE).all() and reasons[cells].size for cells in beside)
    assert not reasons[at(weave, slice(40, 90), x)].any()
    assert not doubted(frame(), Reason.TAPE).any()


@pytest.mark.parametrize(
    ("light", "reason"), [(1.0, Reason.CLIPPED), (0.001, Reason.DARK)], ids=["blown out", "black"]
)
def test_what_the_sensor_lost_is_doubted_there_alone(light: float, reason: Reason) -> None:
    linear = frame().linear.copy()
    linear[80:140, 70:130] = light
    seen = replace(frame(), linear=linear)
    weave = weave_of(seen)
    found = doubted(seen, reason)
    assert found[at(weave, slice(82, 138), slice(72, 128))].all()
    far = np.ones_like(found)
    far[at(weave, slice(70, 150), slice(60, 140))] = False
    assert not found[far].any()
    assert not doubted(frame(), reason).any()


def test_one_channel_blown_out_is_enough() -> None:
    """Red laminate under a warm lamp: the weave of the strongest channel is gone."""
    linear = frame().linear.copy()
    linear[..., 0] = 1.0
    seen = replace(frame(), linear=linear)
    assert doubted(seen, Reason.CLIPPED)[middle(weave_of(seen))].all()


def test_single_glints_and_black_pixels_are_no_reason() -> None:
    """A twentieth of the pixels, scattered: pores and sparkles of the cloth."""
    rng = np.random.default_rng(1)
    linear = frame().linear.copy()
    linear[rng.random((HEIGHT, WIDTH)) < 0.05] = 1.0
    linear[rng.random((HEIGHT, WIDTH)) < 0.05] = 0.0
    weave = weave_of(replace(frame(), linear=linear))
    assert not doubt(weave, None, is_pitch_known=True).reasons[middle(weave)].any()


@pytest.mark.parametrize("light", [0.01, 0.05, 0.2, 0.6])
def test_light_and_dark_laminate_within_the_sensors_range_are_believed(light: float) -> None:
    """Carbon at 1 % of white in a well-exposed photo is dark, and not too dark."""
    weave = weave_of(frame(light))
    assert not doubt(weave, None, is_pitch_known=True).reasons[middle(weave)].any()


@pytest.mark.parametrize(("light", "is_lost"), [(0.75, False), (0.85, True)])
def test_a_part_exposed_to_within_a_third_of_a_stop_of_white_is_not_judged(
    light: float, is_lost: bool
) -> None:
    """White is 2 ** (1 / 3) times 0.8."""
    weave = weave_of(frame(light))
    assert doubted(frame(light), Reason.CLIPPED)[middle(weave)].all() == is_lost


@pytest.mark.parametrize("factor", [0.7, 0.95, 1.05, 2.0])
def test_too_few_pixels_a_pitch_spoil_the_whole_part(factor: float) -> None:
    pitch = factor * FEWEST_PIXELS
    weave = weave_of(frame(), pitch)
    found = doubted(frame(), Reason.PIXELS, pitch)
    assert (found == (np.asarray(weave.at_cells(weave.frame.laminate), bool) & (factor < 1))).all()


def test_sampling_takes_a_quarter_of_a_tows_contrast_at_the_fewest_pixels_a_third_at_one_less() -> (
    None
):
    """Closed forms at one cycle a pitch: sinc of a pixel, Gaussian of half a pixel."""

    def kept(pitch: float) -> float:
        frequency = 1 / pitch
        return float(np.sinc(frequency) * np.exp(-2 * (np.pi * frequency * 0.5) ** 2))

    assert kept(FEWEST_PIXELS) == pytest.approx(0.77, abs=0.005)
    assert kept(FEWEST_PIXELS - 1) == pytest.approx(0.66, abs=0.005)


def whole_part(weave: Weave, reason: Reason, blur: Blur | None, is_pitch_known: bool) -> bool:
    """Return whether a reason holds on the whole part; it must hold on all of it or nowhere."""
    found = (doubt(weave, blur, is_pitch_known).reasons & np.uint32(reason)) > 0
    part = np.asarray(weave.at_cells(weave.frame.laminate), bool)
    assert not found[~part].any()
    assert found[part].all() or not found.any()
    return bool(found.any())


SHARP = Blur(0.8, 1.0)


def with_lattice(strength: float | None) -> Weave:
    lattice = None if strength is None else Lattice(PITCH, 42, 2, strength)
    return replace(weave_of(frame()), lattice=lattice)


@pytest.mark.parametrize("is_pitch_known", [False, True])
@pytest.mark.parametrize(
    ("strength", "blur", "is_weave"),
    [
        (None, None, False),
        (0.9 * LEAST_WEAVE, None, False),
        (1.1 * LEAST_WEAVE, None, True),
        (None, SHARP, False),
        (0.9 * FAINT_WEAVE, SHARP, False),
        (1.1 * FAINT_WEAVE, SHARP, True),
        (1.1 * FAINT_WEAVE, None, False),
    ],
)
def test_a_photo_must_show_its_weave_or_be_told_the_pitch(
    strength: float | None, blur: Blur | None, is_weave: bool, is_pitch_known: bool
) -> None:
    """A faint weave is enough where sharp edges say that resin hides it, not the photo."""
    expected = not is_weave and not is_pitch_known
    weave = with_lattice(strength)
    assert whole_part(weave, Reason.NO_WEAVE, blur, is_pitch_known) == expected


def test_a_faint_weave_in_a_soft_photo_is_lost_to_the_blur() -> None:
    """The edges that would vouch for the photo speak against it."""
    assert whole_part(with_lattice(1.1 * FAINT_WEAVE), Reason.FOCUS, Blur(3.0, 1.0), False)
    assert not whole_part(with_lattice(1.1 * FAINT_WEAVE), Reason.FOCUS, SHARP, False)


@pytest.mark.parametrize(
    ("strength", "tells"),
    [(None, False), (1.1 * FAINT_WEAVE, False), (0.9 * LEAST_WEAVE, False), (LEAST_WEAVE, True)],
)
def test_a_faint_weave_lends_its_pitch_to_no_other_photo(
    strength: float | None, tells: bool
) -> None:
    assert tells_pitch(with_lattice(strength)) == tells


@pytest.mark.parametrize(
    ("most", "roundness", "reason"),
    [
        (1.1, 0.2, None),  # as sharp as phones are
        (3.0, 1.0, Reason.FOCUS),
        (3.0, 0.3, Reason.SHAKE),
        (3.0, SHAKEN + 0.01, Reason.FOCUS),
        (3.0, SHAKEN - 0.01, Reason.SHAKE),
    ],
)
def test_a_soft_photo_is_out_of_focus_or_shaken(
    most: float, roundness: float, reason: Reason | None
) -> None:
    """A blur of 3 px, three tenths of a pitch, takes all of a tow's edge."""
    weave = weave_of(frame())
    found = {
        r for r in (Reason.FOCUS, Reason.SHAKE) if whole_part(weave, r, Blur(most, roundness), True)
    }
    assert found == ({reason} if reason else set())


@pytest.mark.parametrize("scale", [1.0, 0.25])
def test_a_blur_counts_against_the_pitch_in_the_photos_own_pixels(scale: float) -> None:
    """A Gaussian of a tenth of a pitch keeps 82 % of it, one of 0.2 pitches 45 % (closed form)."""
    still = np.array([[1 / scale, 0, 0], [0, 1 / scale, 0]])
    weave = weave_of(replace(frame(), scale=scale, to_photo=still), 40.0)
    pitch = 40.0 / scale
    for share, kept, is_soft in ((0.1, 0.82, False), (0.2, 0.45, True)):
        assert np.exp(-2 * (np.pi * share) ** 2) == pytest.approx(kept, abs=0.01)
        blur = Blur(share * pitch, 1.0)
        assert blur.most > SOFT_PIXELS
        assert whole_part(weave, Reason.FOCUS, blur, True) == is_soft


@pytest.mark.parametrize(("most", "is_soft"), [(0.95, False), (1.05, True)])
def test_what_a_phones_own_optics_blur_is_no_soft_photo_however_fine_the_weave(
    most: float, is_soft: bool
) -> None:
    """Both are more than 0.15 of the pitch of 6 px, which a coarse weave would not bear."""
    assert whole_part(weave_of(frame(), 6.0), Reason.FOCUS, Blur(most, 1.0), True) == is_soft
