"""From a photo to everything measured on its part; the pixel side in one call."""

from concurrent.futures import Future
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.beside import beside
from satcheck.card.find import CardSighting, find_cards
from satcheck.errors import UsageError
from satcheck.frame import Cutout
from satcheck.model import CardFacts, Cells, Label, Side
from satcheck.outline.find import (
    Part,
    at_working_size,
    find_part,
    part_in_box,
    part_in_outline,
)
from satcheck.photo.read import Photo, closer
from satcheck.trust.blur import photo_blur
from satcheck.trust.card import CardReading, corrected, implausible_scale, read_card
from satcheck.trust.doubt import doubt, tells_pitch
from satcheck.weave.measure import Sought, Weave, measure, seek
from satcheck.zones import split_zones


@dataclass(frozen=True, eq=False)
class Hints:
    """What a person may tell about a photo; lengths in pixels of the upright stored photo.

    ``card_ruler`` is the measured length of the card's printed ruler, in mm.
    """

    distal: Side | None = None
    pitch: float | None = None
    mm_per_px: float | None = None
    box: tuple[float, float, float, float] | None = None
    outline: NDArray[np.floating] | None = None
    card_ruler: float = 100.0


@dataclass(frozen=True, eq=False)
class Measurement:
    """One photo, measured.

    Attributes
    ----------
    cells : Cells
        Coordinates in pixels of the upright stored photo.
    laminate, silhouette : (H, W) bool arrays
        In pixels of the photo as it was looked at: ``Photo.rgb``, or more.
    distal : Side
    distal_guessed : bool
    cut : tuple of Side
        Sides of the picture at which the part runs out of it.
    card : CardFacts or None
        None where no card was seen.
    """

    cells: Cells
    laminate: NDArray[np.bool_]
    silhouette: NDArray[np.bool_]
    distal: Side
    distal_guessed: bool
    cut: tuple[Side, ...] = ()
    card: CardFacts | None = None


def measure_photo(photo: Photo, hints: Hints) -> Measurement | None:
    """Measure the part in a photo; None where no part was found.

    A part that is small in a reduced photo is looked at more closely.

    Raises
    ------
    UsageError
        If a drawn outline or box holds nothing, or a told scale or pitch makes no sense with the
        part.
    """
    small = at_working_size(photo.rgb)  # takes both cores; the rest of the search takes one
    with beside() as second:
        cards = second.submit(find_cards, photo.rgb, hints.card_ruler / 100)
        part = _part(photo, small, hints, cards)
    if part is None or not part.silhouette.any():
        return None
    return _measured(photo, part, cards, hints)


def _measured(photo: Photo, part: Part, cards: Future[CardSighting], hints: Hints) -> Measurement:
    """Measure a part; of a photo with more pixels where it is small in this one."""
    pitch = None if hints.pitch is None else hints.pitch * photo.scale
    with beside() as second:
        bared = second.submit(part.laminate)
        blurred = second.submit(photo_blur, photo.rgb, part.silhouette)
        zones = split_zones(part.silhouette, hints.distal)
        cutout = Cutout.of(photo.rgb, part.silhouette, zones, bared.result)
        second.submit(lambda: cutout.linear)
        sought = seek(cutout, pitch)
        if sought.is_coarse and (near := closer(photo)) is not None:
            cards = second.submit(find_cards, near.rgb, hints.card_ruler / 100)
            return _measured(near, _seen_closer(part, near, hints), cards, hints)
        if hints.pitch is not None:
            _check_pitch(hints.pitch, sought, photo)
        weave = measure(sought)
        blur = blurred.result()
    told = hints.mm_per_px
    if told is not None and (wrong := implausible_scale(told, weave, photo.scale)):
        raise UsageError(f"{photo.name}: {wrong[0].lower()}{wrong[1:-1]}")
    card = read_card(cards.result(), weave, photo.scale, hints.card_ruler)
    reasons = doubt(weave, blur, pitch is not None).reasons
    is_pitch_known = pitch is not None or tells_pitch(weave)
    cells = _cells(weave, reasons, photo.scale, told, card, is_pitch_known)
    facts = None if card is None else card.facts
    return Measurement(
        cells, bared.result(), part.silhouette, zones.distal, zones.guessed, zones.cut, facts
    )


def _check_pitch(pitch: float, sought: Sought, photo: Photo) -> None:
    """Raise UsageError where a told pitch, in stored pixels, cannot be found on the part."""
    least, most = (found / photo.scale for found in sought.pitches)
    if not least <= pitch <= most:
        wide = sought.cutout.width / photo.scale
        raise UsageError(
            f"{photo.name}: a pitch of {pitch:g} pixels does not suit a part {wide:.0f} pixels "
            f"wide; {least:.3g} to {most:.3g} pixels of the upright photo are allowed"
        )


def _seen_closer(part: Part, near: Photo, hints: Hints) -> Part:
    """Return a part in the pixels of a closer look; it is not searched for again."""
    if hints.outline is not None:
        return part_in_outline(near.rgb, np.asarray(hints.outline) * near.scale)
    return part.at(near.rgb.shape[:2])


def spread(labels: NDArray[np.uint8], cells: Cells, photo: Photo, laminate: NDArray[np.bool_],
           silhouette: NDArray[np.bool_]) -> NDArray[np.uint8]:  # fmt: skip
    """Return cell labels as a label map (H, W) of the upright photo, within the laminate.

    Tape and cord are outside; laminate that no cell reaches is not judged (9).
    """
    to_rgb = cells.to_photo * (laminate.shape[1] / photo.width)
    centred = to_rgb.copy()
    centred[:, 2] += to_rgb[:, :2] @ np.array([0.5, 0.5]) - 0.5
    size = (laminate.shape[1], laminate.shape[0])
    drawn = np.asarray(cv2.warpAffine(labels, centred, size, flags=cv2.INTER_NEAREST), np.uint8)
    drawn[drawn == 0] = Label.NOT_JUDGED
    return drawn * (laminate & silhouette)


def _part(
    photo: Photo, small: NDArray[np.uint8], hints: Hints, sighting: Future[CardSighting]
) -> Part | None:
    if hints.outline is not None:
        part = part_in_outline(photo.rgb, np.asarray(hints.outline) * photo.scale, small)
        if not part.silhouette.any():
            raise UsageError(
                f"{photo.name}: the outline lies off the picture; "
                f"its corners are pixels of the upright photo, {photo.width} x {photo.height}"
            )
        return part
    if hints.box is not None:
        x0, y0, x1, y1 = (round(v * photo.scale) for v in hints.box)
        boxed = part_in_box(photo.rgb, (x0, y0, x1, y1), small)
        if boxed is None:
            raise UsageError(
                f"{photo.name}: the box {hints.box} holds no part; draw it around the whole part"
            )
        return boxed

    def cards() -> NDArray[np.bool_] | None:
        masks = [card.mask(photo.rgb.shape[:2]) for card in sighting.result().cards]
        return np.logical_or.reduce(masks) if masks else None

    return find_part(photo.rgb, cards, small=small)


def _cells(
    weave: Weave,
    reasons: NDArray[np.uint32],
    scale: float,
    mm_per_px: float | None,
    card: CardReading | None,
    is_pitch_known: bool,
) -> Cells:
    kept = None if card is None else card.kept
    visibility, uncertainty = corrected(weave.visibility, weave.uncertainty, kept)
    if card is not None:
        mm_per_px = card.facts.mm_per_px if mm_per_px is None else mm_per_px
        reasons = reasons | card.reasons
    return Cells(
        to_photo=weave.to_photo / scale,
        pitch=weave.pitch / weave.frame.scale / scale if is_pitch_known else None,
        mm_per_px=mm_per_px,
        zone=np.asarray(weave.at_cells(weave.frame.zones), np.uint8),
        brim=np.asarray(weave.at_cells(weave.frame.brim), np.bool_),
        lock=np.asarray(weave.at_cells(weave.frame.lock), np.bool_),
        visibility=visibility,
        uncertainty=uncertainty,
        cues=weave.cues,
        reasons=reasons,
        shared_uncertainty=0.0 if kept is None else kept.uncertainty,
    )
