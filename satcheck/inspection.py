"""The one composition: a photo, a calibration and settings in, an inspection out.

No disk, no clock, no printing: the same input gives the same inspection anywhere.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satcheck import __version__
from satcheck.beside import beside
from satcheck.calibration.file import Calibration
from satcheck.flags import EXPLANATIONS, Reason
from satcheck.judgement.advice import advise
from satcheck.judgement.labelling import label_cells
from satcheck.judgement.verdict import judge
from satcheck.measurement import Hints, Measurement, measure_photo, spread
from satcheck.model import CalibrationFacts, CardFacts, Inspection, Label, PhotoFacts, Side
from satcheck.photo.read import Photo
from satcheck.trust.card import lost_ruler, other_part, other_scale
from satcheck.trust.exposure import lost_to_exposure


@dataclass(frozen=True, eq=False)
class Settings:
    """How to judge one photo. Lengths and coordinates are pixels of the upright stored photo."""

    fibre: str
    distal: Side | None = None
    view: str | None = None
    pitch: float | None = None
    mm_per_px: float | None = None
    box: tuple[float, float, float, float] | None = None
    outline: NDArray[np.floating] | None = None
    card_ruler: float = 100.0
    """Measured length of the card's printed ruler, mm."""
    part: str | None = None
    """The part's number, held against the card's."""

    @property
    def hints(self) -> Hints:
        """Return what the pixel side needs of the settings."""
        return Hints(
            self.distal, self.pitch, self.mm_per_px, self.box, self.outline, self.card_ruler
        )


def inspect(photo: Photo, calibration: Calibration, settings: Settings) -> Inspection:
    """Judge one photo.

    Raises
    ------
    UsageError
        If the calibration does not hold the fibre, a drawn outline or box holds nothing, or a
        told scale or pitch makes no sense with the part.
    """
    facts = calibration.facts(settings.fibre)
    measured = measure_photo(photo, settings.hints)
    if measured is None:
        return _without_part(photo, facts, settings)
    return _judged(photo, calibration, facts, measured, settings)


def _judged(
    photo: Photo,
    calibration: Calibration,
    facts: CalibrationFacts,
    measured: Measurement,
    settings: Settings,
) -> Inspection:
    cells = measured.cells
    labels, reasons = label_cells(cells, calibration.bounds_for(settings.fibre))
    with beside() as second:
        spreading = second.submit(
            spread, labels, cells, photo, measured.laminate, measured.silhouette
        )
        part = judge(cells, labels, reasons)
    return Inspection(
        photo=_facts(photo),
        calibration=facts,
        verdict=part.verdict,
        evenness=part.evenness,
        zones=part.zones,
        flagged=part.flagged,
        reasons=part.reasons,
        advice=advise(part.zones, part.reasons, part.share_judged, part.verdict),
        distal=measured.distal,
        distal_guessed=measured.distal_guessed,
        share_judged=part.share_judged,
        labels=spreading.result(),
        cells=cells,
        version=__version__,
        card=measured.card,
        cut=measured.cut,
        warnings=_warnings(measured.card, settings),
    )


def _warnings(card: CardFacts | None, settings: Settings) -> tuple[str, ...]:
    """Return where the card contradicts what a person told, or lacks though they measured it."""
    if card is None:
        found: tuple[str | None, ...] = (lost_ruler(settings.card_ruler),)
    else:
        found = (other_part(card, settings.part), other_scale(card, settings.mm_per_px))
    return tuple(sentence for sentence in found if sentence is not None)


def _without_part(photo: Photo, facts: CalibrationFacts, settings: Settings) -> Inspection:
    shares = {Reason.NO_PART: 1.0, **lost_to_exposure(photo.rgb)}
    reasons = {EXPLANATIONS[reason].word: share for reason, share in shares.items()}
    return Inspection(
        photo=_facts(photo),
        calibration=facts,
        verdict=Label.NOT_JUDGED,
        evenness=None,
        zones=(),
        flagged=(),
        reasons=reasons,
        advice=advise((), reasons, 0.0, Label.NOT_JUDGED),
        distal=settings.distal,
        distal_guessed=False,
        share_judged=0.0,
        labels=np.zeros(photo.rgb.shape[:2], np.uint8),
        cells=None,
        version=__version__,
    )


def _facts(photo: Photo) -> PhotoFacts:
    return PhotoFacts(photo.name, photo.sha256, photo.width, photo.height, photo.taken)
