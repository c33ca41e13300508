"""From indices to labels: bounds, doubts, holes, specks and textures of one direction."""

from dataclasses import replace

import numpy as np
import pytest
from grids import fibre_bounds, grid, place
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation

from satcheck.flags import Reason
from satcheck.judgement import labelling
from satcheck.judgement.labelling import (
    BROAD,
    DIM_CAUTION,
    DIMMER,
    MOSTLY_DARK,
    SHADOW,
    label_cells,
    label_saturation,
)
from satcheck.judgement.saturation import Saturation
from satcheck.judgement.spots import (
    CORE,
    OFF_LATTICE,
    ON_LATTICE,
    ONE_WAY,
    SPECK,
    SURELY_ONE_WAY,
    TWO_WAY,
)
from satcheck.model import Cells, Label

SHAPE = (30, 36)
Labels = NDArray[np.uint8]
WORST, BEST = -0.95, 0.0


def labelled(
    monkeypatch: pytest.MonkeyPatch,
    index: NDArray[np.floating],
    cells: Cells | None = None,
    *,
    is_usual: bool = True,
) -> tuple[Labels, NDArray[np.uint32]]:
    """Label cells whose saturation index is given."""
    found = Saturation(index.astype(np.float32), np.full(index.shape, np.nan, np.float32), is_usual)
    monkeypatch.setattr(labelling, "saturation", lambda *_: found)
    return label_cells(cells or grid(index.shape), fibre_bounds())


def away(where: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the cells farther than a pitch from some: nearer, a window sees both."""
    return np.asarray(~binary_dilation(where, np.ones((3, 3)), 2))


def index_of(starved: NDArray[np.bool_]) -> NDArray[np.float64]:
    return np.where(starved, WORST, BEST)


def textured(coherence: NDArray[np.floating]) -> Cells:
    """Return cells whose texture is as one-directional as told, 0 to 1."""
    cells = grid(coherence.shape)
    return replace(cells, cues={**cells.cues, "coherence": coherence.astype(np.float32)})


def test_the_bounds_part_the_scale(monkeypatch: pytest.MonkeyPatch) -> None:
    """Bounds at -0.6, -0.2, 0.3 and 0.7; stripes wide enough that none is a speck."""
    stripes = np.repeat([-0.9, -0.4, 0.0, 0.5, 0.9], 6)
    labels, reasons = labelled(monkeypatch, np.tile(stripes, (30, 1)))
    assert labels[15].tolist() == np.repeat([1, 2, 3, 4, 5], 6).tolist()
    assert not reasons.any()


@pytest.mark.parametrize("bound", [-0.625, -0.25, 0.375, 0.75])
def test_a_bound_belongs_to_the_drier_side(bound: float) -> None:
    """Bounds that single precision holds exactly, so that an index can lie on one."""
    fibre = fibre_bounds(bounds=(-0.625, -0.25, 0.375, 0.75))
    found = []
    for value in (bound - 1e-3, bound, bound + 1e-3):
        index = np.full(SHAPE, value, np.float32)
        index[:4, :4] = WORST  # a starved spot needs a certain core
        labels, _ = label_saturation(
            Saturation(index, np.full_like(index, np.nan), True),
            grid(SHAPE),
            fibre.bounds,
            fibre.light,
        )
        found.append(int(labels[15, 15]))
    assert found[0] == found[1] == found[2] - 1


def test_a_starved_spot_needs_a_certain_core(monkeypatch: pytest.MonkeyPatch) -> None:
    """A spot that hovers about the bound is lean; with a few certain cells it is starved."""
    doubtful, certain = place(SHAPE, 3, 3, 8, 8), place(SHAPE, 16, 3, 8, 8)
    index = np.where(doubtful | certain, (CORE - 0.6) / 2, BEST)
    index[place(SHAPE, 18, 5, 1, SPECK)] = WORST
    index[place(SHAPE, 5, 5, 1, SPECK - 1)] = WORST
    labels, _ = labelled(monkeypatch, index)
    assert (labels[doubtful] == Label.LEAN).all()
    assert (labels[certain] == Label.STARVED).all()


def test_what_cannot_be_judged_is_not(monkeypatch: pytest.MonkeyPatch) -> None:
    index = index_of(np.zeros(SHAPE, bool))
    index[5, 5] = np.nan
    reasons = np.zeros(SHAPE, np.uint32)
    reasons[7, 7] = Reason.GLARE | Reason.FOCUS
    zone = np.where(place(SHAPE, 20, 0, 10, 36), 0, 1).astype(np.uint8)
    labels, found = labelled(monkeypatch, index, grid(SHAPE, reasons=reasons, zone=zone))
    assert labels[5, 5] == labels[7, 7] == Label.NOT_JUDGED
    assert found[5, 5] != 0
    assert found[7, 7] == Reason.GLARE | Reason.FOCUS
    assert set(labels[:20].ravel()) == {Label.GOOD, Label.NOT_JUDGED}
    assert set(labels[20:].ravel()) == {Label.OUTSIDE}
    assert reasons[5, 5] == 0  # what was measured is left as it is


def test_a_hole_within_starved_cloth_is_starved(monkeypatch: pytest.MonkeyPatch) -> None:
    """A good place of one pitch amid starved cloth; one as large as a quarter of the part stays."""
    ring = place(SHAPE, 4, 4, 22, 28)
    small, large = place(SHAPE, 14, 14, 2, 2), place(SHAPE, 7, 9, 16, 17)
    assert labelled(monkeypatch, index_of(ring & ~small))[0][14, 14] == Label.STARVED
    labels, _ = labelled(monkeypatch, index_of(ring & ~large))
    assert (labels[large & away(ring & ~large)] == Label.GOOD).all()
    assert not (labels[large] == Label.STARVED).any()


def test_a_hole_that_cannot_be_judged_is_not_filled(monkeypatch: pytest.MonkeyPatch) -> None:
    hole = place(SHAPE, 14, 14, 2, 2)
    reasons = np.where(hole, Reason.GLARE, 0).astype(np.uint32)
    starved = place(SHAPE, 4, 4, 22, 28)
    labels, _ = labelled(monkeypatch, index_of(starved), grid(SHAPE, reasons=reasons))
    assert (labels[hole] == Label.NOT_JUDGED).all()
    assert (labels[starved & ~hole] == Label.STARVED).all()


def test_a_bay_that_opens_to_good_cloth_is_no_hole(monkeypatch: pytest.MonkeyPatch) -> None:
    bay = place(SHAPE, 4, 14, 12, 2)
    labels, _ = labelled(monkeypatch, index_of(place(SHAPE, 4, 4, 22, 28) & ~bay))
    assert not (labels[bay] == Label.STARVED).any()


def test_a_starved_speck_is_only_lean(monkeypatch: pytest.MonkeyPatch) -> None:
    speck, patch = place(SHAPE, 5, 5, 2, 2), place(SHAPE, 15, 15, 8, 8)
    labels, _ = labelled(monkeypatch, index_of(speck | patch))
    assert (labels[speck] == Label.LEAN).all()
    assert (labels[patch] == Label.STARVED).all()
    assert (labels[away(speck | patch)] == Label.GOOD).all()
    assert not (labels[~patch] == Label.STARVED).any()


def test_between_good_and_starved_lies_lean(monkeypatch: pytest.MonkeyPatch) -> None:
    """A window at the border sees both: a neighbour of starved cloth is not called good."""
    patch = place(SHAPE, 10, 10, 10, 10)
    labels, _ = labelled(monkeypatch, index_of(patch))
    beside = binary_dilation(patch, np.ones((3, 3))) & ~patch
    assert (labels[patch] == Label.STARVED).all()
    assert (labels[beside] == Label.LEAN).all()


def test_nothing_within_a_pitch_of_starved_cloth_is_called_good(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Two cells of half a pitch each are lean, the third is good."""
    labels, _ = labelled(monkeypatch, index_of(place(SHAPE, 10, 10, 10, 10)))
    assert list(labels[15, 20:24]) == [Label.LEAN, Label.LEAN, Label.GOOD, Label.GOOD]


def test_cloth_that_touches_by_a_corner_is_one_patch(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twelve cells in a slanting row of corners, as a thin slanting streak falls on the grid."""
    streak = np.zeros(SHAPE, bool)
    streak[np.arange(5, 17), np.arange(5, 17)] = True
    assert (labelled(monkeypatch, index_of(streak))[0][streak] == Label.STARVED).all()


@pytest.mark.parametrize(
    ("order", "label"),
    [
        (OFF_LATTICE - 0.1, Label.NOT_JUDGED),
        (OFF_LATTICE + 0.1, Label.STARVED),
        (np.nan, Label.STARVED),
    ],
)
def test_a_spot_whose_texture_does_not_follow_the_braid_is_a_wrinkle(
    monkeypatch: pytest.MonkeyPatch, order: float, label: Label
) -> None:
    """Where the lattice's share was not measured, the spot stays starved: the safer error."""
    spot = place(SHAPE, 10, 10, 8, 8)
    cells = grid(SHAPE)
    cells = replace(cells, cues={**cells.cues, "order": np.full(SHAPE, order, np.float32)})
    labels, reasons = labelled(monkeypatch, index_of(spot), cells)
    assert (labels[spot] == label).all()
    assert ((reasons[spot] == Reason.WRINKLE) == (label == Label.NOT_JUDGED)).all()
    assert (labels[away(spot)] == Label.GOOD).all(), "only starved-looking spots are doubted"


def test_the_two_way_part_of_such_a_spot_stays_starved(monkeypatch: pytest.MonkeyPatch) -> None:
    """A dry patch that a fold runs into: on the lattice and two-way is weave, not on it alone."""
    spot, weave = place(SHAPE, 10, 10, 8, 12), place(SHAPE, 11, 10, 7, 4)
    end = place(SHAPE, 10, 10, 1, 4)
    cells = textured(np.where(end, TWO_WAY + 0.1, TWO_WAY - 0.1))
    order = np.where(weave | end, ON_LATTICE + 0.1, OFF_LATTICE - 0.5).astype(np.float32)
    cells = replace(cells, cues={**cells.cues, "order": order})
    labels, _ = labelled(monkeypatch, index_of(spot), cells)
    assert (labels[weave] == Label.STARVED).all()
    assert (labels[spot & ~weave] == Label.NOT_JUDGED).all()


@pytest.mark.parametrize(("coherence", "label"), [(0.98, Label.NOT_JUDGED), (0.1, Label.STARVED)])
def test_texture_of_one_direction_is_not_called_starved(
    monkeypatch: pytest.MonkeyPatch, coherence: float, label: Label
) -> None:
    """A wrinkle or the edge of a reflection; where the cloth is good it is no doubt."""
    ridge = place(SHAPE, 5, 10, 20, 8)
    labels, reasons = labelled(monkeypatch, index_of(ridge), textured(np.full(SHAPE, coherence)))
    assert (labels[ridge] == label).all()
    assert (labels[away(ridge)] == Label.GOOD).all()
    doubted = (reasons & np.uint32(Reason.WRINKLE)) > 0
    assert (doubted == (ridge & (label is Label.NOT_JUDGED))).all()


def test_a_spot_is_one_directional_as_a_whole_or_where_it_surely_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A fold is doubted but for the dry spot it runs into; a seam across dry cloth, by itself."""
    fold, end = place(SHAPE, 2, 4, 10, 8), place(SHAPE, 9, 4, 3, 8)
    unsure = place(SHAPE, 9, 4, 1, 8)
    cloth, seam = place(SHAPE, 16, 4, 10, 20), place(SHAPE, 16, 10, 10, 2)
    coherence = np.where(fold & ~end, (ONE_WAY + 1) / 2, TWO_WAY / 2)
    coherence[unsure] = (TWO_WAY + ONE_WAY) / 2
    coherence[seam] = (SURELY_ONE_WAY + 1) / 2
    labels, reasons = labelled(monkeypatch, index_of(fold | cloth), textured(coherence))
    dry = end & ~unsure
    assert (((reasons & np.uint32(Reason.WRINKLE)) > 0) == ((fold & ~dry) | seam)).all()
    assert (labels[dry | (cloth & ~seam)] == Label.STARVED).all()
    coherence[seam] = (ONE_WAY + SURELY_ONE_WAY) / 2  # not sure enough within cloth that is not
    labels, _ = labelled(monkeypatch, index_of(fold | cloth), textured(coherence))
    assert (labels[cloth] == Label.STARVED).all()


def under(light: float | NDArray[np.floating]) -> Cells:
    """Return cells under a light, or under one each."""
    cells = grid(SHAPE)
    return replace(cells, cues={**cells.cues, "light": np.full(SHAPE, light, np.float32)})


def test_a_light_far_darker_than_any_labelled_photo_is_not_judged(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Brighter than any is no doubt: the sensor's own limit is flagged before."""
    least, most = fibre_bounds().light
    light = np.full(SHAPE, least, np.float32)
    light[:5], light[5:10], light[-5:] = least - DIMMER - 0.01, least - DIMMER + 0.01, most + 1
    cells = under(light)
    labels, reasons = labelled(monkeypatch, np.full(SHAPE, WORST), cells)
    assert (reasons[:5] == Reason.DARK).all()
    assert (labels[:5] == Label.NOT_JUDGED).all()
    assert not reasons[5:].any()
    assert (labels[5:] == Label.STARVED).all()


@pytest.mark.parametrize(("darker", "label"), [(-0.01, Label.GOOD), (0.01, Label.LEAN)])
def test_a_cell_darker_than_any_labelled_is_taken_for_drier_than_it_looks(
    monkeypatch: pytest.MonkeyPatch, darker: float, label: Label
) -> None:
    lean = fibre_bounds().bounds[1]
    cells = under(fibre_bounds().light[0] - darker)
    labels, _ = labelled(monkeypatch, np.full(SHAPE, lean + DIM_CAUTION / 2), cells)
    assert (labels == label).all()


def in_the_dark(share: float) -> Cells:
    """Return cells of which a share is far darker than any labelled one."""
    least, _ = fibre_bounds().light
    light = np.full(SHAPE, least, np.float32)
    light[: round(share * SHAPE[0])] = least - DIMMER - 0.01
    return under(light)


def test_a_mostly_dark_photo_shows_starved_cloth_and_no_good_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    starved = np.zeros(SHAPE, bool)
    starved[-6:] = True
    labels, reasons = labelled(monkeypatch, index_of(starved), in_the_dark(MOSTLY_DARK + 0.1))
    assert set(np.unique(labels)) == {Label.STARVED, Label.LEAN, Label.NOT_JUDGED}
    assert (labels[starved] == Label.STARVED).all()
    assert (reasons[labels == Label.NOT_JUDGED] == Reason.DARK).all()


@pytest.mark.parametrize(("odds", "label"), [(0.0, Label.STARVED), (-3.0, Label.LEAN)])
def test_a_lit_flank_whose_weave_is_no_starved_one_is_lean(odds: float, label: Label) -> None:
    flank, dry = place(SHAPE, 0, 0, 30, 12), place(SHAPE, 10, 24, 8, 8)
    weave = np.where(flank, odds, 2.0).astype(np.float32)
    found = Saturation(index_of(flank | dry).astype(np.float32), weave, is_usual=True)
    fibre = fibre_bounds()
    labels, _ = label_saturation(found, grid(SHAPE), fibre.bounds, fibre.light)
    assert (labels[flank] == label).all()
    assert (labels[dry] == Label.STARVED).all()


@pytest.mark.parametrize(("depth", "is_seen"), [(SHADOW - 0.05, True), (SHADOW + 0.05, False)])
def test_deep_shadow_shows_starved_cloth_and_no_good_one(
    monkeypatch: pytest.MonkeyPatch, depth: float, is_seen: bool
) -> None:
    """Half of the part far under the other half's light, all of it within the calibrated light."""
    shadow, dry = place(SHAPE, 15, 0, 15, 36), place(SHAPE, 22, 0, 8, 36)
    light = np.where(shadow, -depth, 0).astype(np.float32)
    cells = under(light)
    index = index_of(dry).astype(np.float32)
    found = Saturation(index, np.full_like(index, np.nan), is_usual=True)
    labels, reasons = label_saturation(found, cells, fibre_bounds().bounds, (-9.0, 0.0))
    assert (labels[:15] == Label.GOOD).all()
    assert (labels[24:] == Label.STARVED).all()
    assert (labels[15:20] == (Label.GOOD if is_seen else Label.NOT_JUDGED)).all()
    assert (reasons[15:20] == (0 if is_seen else Reason.DARK)).all()


def test_a_veil_shows_starved_cloth_and_no_good_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """It hides weave and makes none; glare has a texture of its own, so nothing there counts."""
    veiled, glaring = place(SHAPE, 0, 0, 30, 12), place(SHAPE, 0, 24, 30, 12)
    reasons = np.where(veiled, Reason.VEIL, np.where(glaring, Reason.GLARE, 0)).astype(np.uint32)
    dry = place(SHAPE, 0, 0, 12, 36)
    labels, found = labelled(monkeypatch, index_of(dry), grid(SHAPE, reasons=reasons))
    assert (labels[dry & ~glaring] == Label.STARVED).all()
    assert not found[dry & ~glaring].any()
    assert (labels[15:, :10] == Label.NOT_JUDGED).all()
    assert (found[15:, :10] == Reason.VEIL).all()
    assert (labels[15:, 15:21] == Label.GOOD).all()
    assert (labels[glaring] == Label.NOT_JUDGED).all()
    assert (found[glaring] == Reason.GLARE).all()


@pytest.mark.parametrize(("rows", "is_seen"), [(12, True), (11, False)])
def test_without_a_weave_reference_a_broad_starved_spot_counts_and_nothing_else(
    monkeypatch: pytest.MonkeyPatch, rows: int, is_seen: bool
) -> None:
    """Its pitch may be a quarter off: too much for lean, and for a small spot."""
    dry = place(SHAPE, 0, 0, rows, 36)
    assert bool(np.count_nonzero(dry) >= BROAD) == is_seen
    index = index_of(dry)
    index[20:] = -0.4  # lean
    usual, _ = labelled(monkeypatch, index)
    assert (usual[dry] == Label.STARVED).all()
    assert (usual[22:] == Label.LEAN).all()
    lost = grid(SHAPE, reasons=np.full(SHAPE, Reason.NO_WEAVE, np.uint32))
    labels, reasons = labelled(monkeypatch, index, lost)
    assert (labels[dry] == (Label.STARVED if is_seen else Label.NOT_JUDGED)).all()
    assert (labels[~dry] == Label.NOT_JUDGED).all()
    assert (reasons == np.where(dry & is_seen, 0, Reason.NO_WEAVE)).all()


def test_an_unusual_photo_shows_starved_and_lean_cloth_and_no_good_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its offset may hide starved places; those that show, and what is doubtful, still count."""
    index = index_of(place(SHAPE, 24, 0, 6, 36))
    index[:6], index[6:12], index[12:18] = -0.4, 0.5, 0.9
    labels, reasons = labelled(monkeypatch, index, is_usual=False)
    usual, _ = labelled(monkeypatch, index)
    seen = np.isin(usual, (Label.STARVED, Label.LEAN))
    assert set(np.unique(usual)) == {1, 2, 3, 4, 5}
    assert (labels[seen] == usual[seen]).all()
    assert (labels[~seen] == Label.NOT_JUDGED).all()
    assert (reasons == np.where(seen, 0, Reason.UNUSUAL)).all()


def test_a_photo_with_dark_corners_shows_good_cloth(monkeypatch: pytest.MonkeyPatch) -> None:
    cells = in_the_dark(MOSTLY_DARK - 0.1)
    labels, _ = labelled(monkeypatch, np.full(SHAPE, BEST), cells)
    assert (labels[cells.cues["light"] >= fibre_bounds().light[0]] == Label.GOOD).all()


@pytest.mark.parametrize(("around", "label"), [(WORST, Label.STARVED), (-0.4, Label.LEAN)])
def test_a_hole_takes_the_label_of_what_surrounds_it(
    monkeypatch: pytest.MonkeyPatch, around: float, label: Label
) -> None:
    """Half starved, half lean around it: the hole is only lean."""
    ring, hole = place(SHAPE, 4, 4, 22, 28), place(SHAPE, 14, 17, 3, 3)
    index = index_of(ring & ~hole)
    index[place(SHAPE, 4, 18, 22, 14) & ~hole] = around
    labels, _ = labelled(monkeypatch, index)
    assert (labels[hole] == label).all()


@pytest.mark.parametrize("offset", [-0.4, 0.0, 0.4])
def test_cues_become_labels_whatever_the_photos_offset(offset: float) -> None:
    """No double: the left starved, the middle good, the right rich, through the mixtures."""
    left, right = place(SHAPE, 0, 0, 30, 12), place(SHAPE, 0, 24, 30, 12)
    cues = {
        "dry": (3.0 * left + offset).astype(np.float32),
        "full": (3.0 * right - offset).astype(np.float32),
    }
    cells = grid(SHAPE)
    labels, _ = label_cells(replace(cells, cues={**cells.cues, **cues}), fibre_bounds())
    assert set(labels[:, 2:10].ravel()) == {Label.STARVED}
    assert set(labels[:, 15:21].ravel()) == {Label.GOOD}
    assert set(labels[:, 26:34].ravel()) == {Label.RICH}
