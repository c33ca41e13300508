"""What the reference card says about a photo: whether to believe it, and what follows from it.

The card lies beside the part and not on it: its focus tells the part's only so far. So it widens
an interval with the correction, it keeps cells from judgement, and it never makes a cell judged.
The cues of judgement stay as they are measured, since a calibration has measured its own so:
that is why a cell is judged only where far more of the contrast is left than a correction needs.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satcheck.card.find import SAME_SCALE, Card, CardSighting
from satcheck.flags import Reason
from satcheck.model import CardFacts, Interval
from satcheck.trust.doubt import LEAST_WEAVE
from satcheck.weave.measure import Weave
from satcheck.weave.spectrum import power
from satcheck.weave.track import ANNULUS, QUIET, WINDOW

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Bits = NDArray[np.uint32]

# Common practice, no source: tows of 1 to 8 mm; from a child's hand socket to one up to the hip.
TOW_MM = (1.0, 8.0)
PART_MM = (40.0, 700.0)
LEAST_MTF = 0.3  # at the tow's frequency, to correct; errors stay within 15 % (tests)
# At the tow's frequency, to judge. On 15 demo photos blurred further, without any other gate, 6 %
# of starved pixels were called good, heavy or rich down to an MTF of .68, 7 % at .56, 18 % at .42.
JUDGED_MTF = 0.55
NULL, NEAR_NULL = 0.1, 1.25  # MTF that counts as a null, and within 1 / 0.8 of the tow's frequency
NULL_STEPS = 33  # frequencies at which a null is looked for
SHAKEN = 0.36  # ln MTF across a shake over that along it: widths of 0.6; the silhouette's are 0.55
# Standard deviation of the ratio of the part's blur to the card's: 0.77 to 1.3 as the range of 95 %
# for a card in about the same plane (a trial of ours).
FOCUS_MISMATCH = 0.134
LEAST_TEXTURE = 0.8  # share of a texture below which noise reduction has eaten into the weave
TOO_BLURRED = "the edge is too blurred for its field"
ROOMY = 2.5  # pixels per mm from which an edge's field is wide enough for any photo worth judging
MOST_WINDOWS = 400
PRINTED_RULER = 100.0  # mm, of a card printed at 100 %
DIRECTIONS = ("0", "45", "90", "135")
Z95 = 1.96


@dataclass(frozen=True)
class Kept:
    """Share of the weave's contrast that the camera kept, and its relative standard uncertainty."""

    share: float
    uncertainty: float

    @property
    def interval(self) -> Interval:
        """Return the share with the interval that holds it with 95 % confidence."""
        factor = math.exp(Z95 * self.uncertainty)
        return Interval(self.share, self.share / factor, self.share * factor)


@dataclass(frozen=True, eq=False)
class CardReading:
    """What a photo's card comes to: facts for the record, and bits of ``flags.Reason`` per cell."""

    facts: CardFacts
    kept: Kept | None
    reasons: Bits


def read_card(
    sighting: CardSighting, weave: Weave, scale: float, ruler: float = PRINTED_RULER
) -> CardReading | None:
    """Return what the card tells about a part's photo; None where there is no card.

    Parameters
    ----------
    sighting : CardSighting
        Of the picture that ``weave`` was measured in.
    weave : Weave
    scale : float
        Pixels of that picture per pixel of the stored photo.
    ruler : float
        Length of the card's printed ruler in mm that ``sighting`` rests on.
    """
    nothing = np.zeros(weave.visibility.shape, np.uint32)
    card = sighting.usable
    problem = sighting.problem
    if card is not None:
        problem = implausible_scale(scale / card.px_per_mm, weave, scale)
    if problem is not None:
        told = f"{problem} The card was not used."
        return CardReading(CardFacts(problem=told, ruler=ruler), None, nothing)
    if card is None:
        return None
    texture = _texture(card, weave)
    gains = None if card.white_gains is None else tuple(float(g) for g in card.white_gains)
    kept = kept_contrast(card, weave)
    facts = CardFacts(
        part=card.part,
        mm_per_px=scale / card.px_per_mm,
        ruler=ruler,
        mtf=_by_direction(card, weave),
        kept=None if kept is None else kept.interval,
        texture={f"{name:g}": share for name, share in sorted(texture.items())},
        white_gains=gains,  # type: ignore[arg-type]
    )
    return CardReading(facts, kept, _doubts(card, weave, texture))


def implausible_scale(mm_per_px: float, weave: Weave, scale: float) -> str | None:
    """Return one sentence where a scale makes the tows or the part too large or too small.

    Parameters
    ----------
    mm_per_px : float
        Millimetres per pixel of the stored photo.
    weave : Weave
    scale : float
        Pixels of the picture that ``weave`` was measured in, per pixel of the stored photo.
    """
    mm = mm_per_px / (weave.frame.scale * scale)
    sizes = [("the part", float(weave.frame.laminate.any(1).sum()) * mm, PART_MM)]
    if weave.lattice is not None and weave.lattice.strength >= LEAST_WEAVE:
        sizes.append(("a tow", weave.pitch * mm, TOW_MM))
    for what, size, (least, most) in sizes:
        if not least <= size <= most:
            return (
                f"A scale of {mm_per_px:.3g} mm per pixel makes {what} {size:,.1f} mm large; "
                f"{least:g} to {most:g} mm is allowed."
            )
    return None


def other_part(card: CardFacts, typed: str | None) -> str | None:
    """Return one sentence where the card names another part than a person typed."""
    if not typed or not card.names_another(typed):
        return None
    return f"The card in the photo says part {card.part}, typed was {typed}: the typed one counts."


def other_scale(card: CardFacts, typed: float | None) -> str | None:
    """Return one sentence where the card's scale is clearly another than a person typed.

    Scales in mm per pixel. So much as two cards beside one part may differ, this one may.
    """
    told = card.mm_per_px
    if typed is None or told is None or 1 / SAME_SCALE <= typed / told <= SAME_SCALE:
        return None
    return (
        f"By the card it is {told:.3g} mm per pixel, typed was {typed:.3g}: the typed one counts."
    )


def lost_ruler(typed: float) -> str | None:
    """Return one sentence where a ruler was measured, in mm, of a card that is not in the photo."""
    if typed == PRINTED_RULER:
        return None
    return f"No card was found in the photo: the {typed:g} mm typed for its ruler were not used."


def kept_contrast(card: Card, weave: Weave) -> Kept | None:
    """Return how much of the weave's contrast the camera kept; None where that is not known.

    With S(f) the power spectrum seen, noise removed, and M(f) the MTF, the scene had S / M^2:
    the share is the root of sum(S) over sum(S / M^2), within the annulus in which visibility is
    measured. A part out of the card's plane has another width of blur, by a factor k, and for a
    Gaussian blur M^(k^2): the share's uncertainty is its change over the spread of k.
    """
    seen = _spectrum(weave)
    clear = _clear_mtf(card, weave)
    if seen is None or clear is None or clear < LEAST_MTF:
        return None
    signal, fx, fy = seen
    mtf = card.mtf_map(fx, fy)
    error = card.mtf_error(1 / _pitch(weave))
    if mtf is None or error is None:
        return None
    log_mtf = np.log(np.maximum(mtf, NULL))

    def share(k: float) -> float:
        return math.sqrt(float(signal.sum() / (signal * np.exp(-2 * k**2 * log_mtf)).sum()))

    change = math.log(share(1 - FOCUS_MISMATCH) / share(1 + FOCUS_MISMATCH)) / 2
    return Kept(share(1.0), math.hypot(change, error))


def corrected(visibility: F32, uncertainty: F32, kept: Kept | None) -> tuple[F32, F32]:
    """Return visibility and its standard uncertainty as a camera that keeps all would show them."""
    if kept is None:
        return visibility, uncertainty
    share = np.float32(kept.share)
    return visibility / share, uncertainty / share


def _pitch(weave: Weave) -> float:
    """Return the tow pitch in pixels of the picture."""
    return weave.pitch / weave.frame.scale


def _to_picture(weave: Weave) -> F64:
    """Return the (2, 2) map from frequencies in the frame to those in the picture."""
    return np.asarray(np.linalg.inv(weave.frame.to_photo[:, :2]).T)


def _across_tows(weave: Weave) -> tuple[float, ...]:
    """Return the directions across either tow family in the picture, radians."""
    if weave.lattice is None:
        return ()
    turn = math.radians(weave.lattice.angle)
    normals = np.array([(math.cos(turn), math.sin(turn)), (math.cos(turn), -math.sin(turn))])
    return tuple(math.atan2(y, x) for x, y in normals @ _to_picture(weave).T)


def _clear_mtf(card: Card, weave: Weave) -> float | None:
    """Return the lower MTF across either tow family; 0 near a null, None where it is not known."""
    frequency = 1 / _pitch(weave)
    lowest = math.inf
    for angle in _across_tows(weave):
        at_tow = card.mtf(frequency, angle)
        if at_tow is None:
            return None
        up_to = [card.mtf(f, angle) for f in np.linspace(0, NEAR_NULL * frequency, NULL_STEPS)]
        if any(mtf is not None and mtf < NULL for mtf in up_to):
            return 0.0
        lowest = min(lowest, at_tow)
    return lowest if math.isfinite(lowest) else None


def _doubts(card: Card, weave: Weave, texture: Mapping[float, float]) -> Bits:
    """Return what the card's MTF and its fine textures keep from judgement."""
    reasons = np.zeros(weave.visibility.shape, np.uint32)
    clear = _clear_mtf(card, weave)
    if clear is None:
        reasons |= np.uint32(Reason.FOCUS if _is_beyond_measure(card) else Reason.NONE)
    elif clear < JUDGED_MTF:
        reasons |= np.uint32(Reason.SHAKE if _is_shaken(card, weave) else Reason.FOCUS)
    reasons[_smoothed(weave.visibility, texture)] |= np.uint32(Reason.DENOISE)
    reasons[~np.asarray(weave.at_cells(weave.frame.laminate), bool)] = 0
    return reasons


def _is_beyond_measure(card: Card) -> bool:
    """Return whether most of the card's edges are too blurred to be measured."""
    blurred = sum(reason == TOO_BLURRED for reason in card.edge_failures)
    return card.px_per_mm >= ROOMY and blurred > (len(card.edges) + len(card.edge_failures)) / 2


def _is_shaken(card: Card, weave: Weave) -> bool:
    """Return whether the blur is far wider in one direction than in another."""
    angles = np.linspace(0, np.pi, 12, endpoint=False)
    found = [card.mtf(1 / _pitch(weave), float(angle)) for angle in angles]
    loss = [-math.log(mtf) for mtf in found if mtf is not None]
    return bool(loss) and min(loss) < SHAKEN * max(loss)


def _smoothed(visibility: F32, texture: Mapping[float, float]) -> NDArray[np.bool_]:
    """Return the cells whose contrast is one at which the card's textures were smoothed away.

    A texture is compared by the modulation that is left of it, as the weave's is.
    """
    if not texture:
        return np.zeros(visibility.shape, bool)
    left, share = zip(*sorted((name * kept, kept) for name, kept in texture.items()), strict=True)
    seen = np.log(np.maximum(np.nan_to_num(visibility), 1e-6))
    return np.asarray(np.interp(seen, np.log(np.maximum(left, 1e-6)), share) < LEAST_TEXTURE)


def _texture(card: Card, weave: Weave) -> Mapping[float, float]:
    """Return the transfers of the card's textures whose pitch is nearest to the tow's."""
    coarse, fine = card.texture_transfer, card.fine_texture_transfer
    tow = _pitch(weave) / card.px_per_mm
    return fine if fine and tow < math.sqrt(3.0 * 1.5) else coarse


def _by_direction(card: Card, weave: Weave) -> dict[str, float]:
    frequency = 1 / _pitch(weave)
    found = {d: card.mtf(frequency, math.radians(float(d))) for d in DIRECTIONS}
    return {d: mtf for d, mtf in found.items() if mtf is not None}


def _spectrum(weave: Weave) -> tuple[F64, F64, F64] | None:
    """Return the weave's mean power in the annulus, noise removed, and its frequencies, (n,) each.

    Frequencies are cycles per pixel of the picture; each stands for itself and its mirror.
    """
    frame, pitch = weave.frame, weave.pitch
    size = round(WINDOW * pitch / 2) * 2
    row, column = np.nonzero(np.asarray(weave.at_cells(frame.depth)) > 0.7 * size)
    if row.size == 0 or weave.lattice is None:
        return None
    step = math.ceil(row.size / MOST_WINDOWS)
    y, x = weave.rows[row[::step]] - size // 2, weave.columns[column[::step]] - size // 2
    mean = power(weave.flat, y, x, size, size).mean(0, dtype=np.float64)
    fx, fy = np.meshgrid(np.fft.rfftfreq(size), np.fft.fftfreq(size))
    radius = pitch * np.hypot(fx, fy)
    quiet = mean[(radius > QUIET) & (radius < 0.5 * pitch)]
    noise = float(np.median(quiet)) if quiet.size else 0.0
    ring = (radius > ANNULUS[0]) & (radius < ANNULUS[1])
    signal = np.maximum(mean[ring] - noise, 0) * np.where(fx[ring] > 0, 2.0, 1.0)
    if not signal.any():
        return None
    frequencies = np.stack([fx[ring], fy[ring]], 1) @ _to_picture(weave).T
    return signal, frequencies[:, 0], frequencies[:, 1]
