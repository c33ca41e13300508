"""One photo a shift of a reference coupon or an accepted part, as a row of measured quantities.

From records, or from a table with the columns taken, visibility, colour, pitch, blur and size.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from satcheck.errors import TableError, UsageError
from satcheck.flags import Reason
from satcheck.model import Cells, Inspection
from satcheck.tables import read_rows

QUANTITIES: Mapping[str, str] = {
    "visibility": "how visible the weave is",
    "blur": "how soft the picture is: higher is softer",
    "colour": "red against blue of the light",
    "pitch": "the weave's pitch in mm, by the card",
    "size": "the weave's pitch in pixels, by the distance",
}
SIGNED = ("colour",)
HIDDEN = Reason.EDGE | Reason.TAPE | Reason.OBLIQUE | Reason.CLIPPED | Reason.GLARE | Reason.WRINKLE
"""Where a photo does not show the surface as it is, however good the photo."""
WORDS = ("camera", "calibration", "verdict")


@dataclass(frozen=True)
class Shift:
    """What one photo told; a quantity that it did not tell is left out."""

    name: str
    taken: str
    values: Mapping[str, float]
    camera: str
    """What tells cameras apart, such as the photo's size; blank if unknown."""
    calibration: str
    verdict: str


def shifts_of_table(table: Path) -> tuple[Shift, ...]:
    """Return the shifts of a table, which runs forward in time.

    Raises
    ------
    TableError
        Where a row cannot be used, naming the line.
    """
    made: list[Shift] = []
    last = row = None
    for row in read_rows(table, ("taken",), (*QUANTITIES, *WORDS)):
        taken = row.moment("taken")
        if last is not None and taken <= last:
            raise row.refuse(
                f"taken {row.cells['taken']} is no later than the row before",
                "one row a photo, in the order of time, is allowed; give the time of day too",
            )
        last = taken
        values = {
            name: row.number(name, low=-math.inf if name in SIGNED else 0)
            for name in QUANTITIES if row.cells[name]
        }  # fmt: skip
        if not values:
            raise row.refuse("nothing is measured", f"one and more of {', '.join(QUANTITIES)}")
        words = {name: row.cells[name] for name in WORDS}
        made.append(Shift(f"line {row.line}", row.cells["taken"], values, **words))
    if row is None:
        raise TableError(str(table), 1, "there is no shift", "give a row a shift")
    return tuple(made)


@dataclass(frozen=True)
class _Seen:
    """What is kept of a record: not its label map and cells, of which a year's fill the memory."""

    shift: Shift
    """With what needs no card."""
    taken: str | None
    sha256: str
    fibre: str
    part: str | None
    """By the card."""
    by_card: Mapping[str, float]
    by_weave: Mapping[str, float]


def shifts_of_records(records: Iterable[tuple[str, Inspection]]) -> tuple[Shift, ...]:
    """Return the shifts of inspections with their files' names, in the order they were taken.

    Where a photo has no time the order stays as it is given. A quantity has one source in all of
    them: the card, where most records read it; else the weave itself. A photo that the source
    does not cover leaves it out. Records that are read as they are asked for are let go one by
    one.

    Raises
    ------
    UsageError
        If they are not of one fibre and one part, or a photo is there twice.
    """
    seen = [_seen(name, made) for name, made in records]
    _check_alike(seen)
    if all(one.taken for one in seen):
        seen.sort(key=lambda one: one.taken or "")
    measured = _from_one_source(seen)
    return tuple(
        replace(one.shift, values={**one.shift.values, **values})
        for one, values in zip(seen, measured, strict=True)
    )


def _seen(name: str, made: Inspection) -> _Seen:
    shift = Shift(
        name=name,
        taken=(made.photo.taken or "").replace("T", " "),
        values=_always(made),
        camera=f"{made.photo.width} x {made.photo.height}",
        calibration=made.calibration.id,
        verdict=made.verdict.word,
    )
    return _Seen(
        shift=shift,
        taken=made.photo.taken,
        sha256=made.photo.sha256,
        fibre=made.calibration.fibre,
        part=None if made.card is None else made.card.part,
        by_card=_by_card(made),
        by_weave=_by_weave(made),
    )


def _from_one_source(seen: Sequence[_Seen]) -> Sequence[Mapping[str, float]]:
    """Return blur, colour and pitch of each: by the card if it told in most, else by the weave."""
    measured: list[dict[str, float]] = [{} for _ in seen]
    for name in ("blur", "colour", "pitch"):
        is_by_card = 2 * sum(name in one.by_card for one in seen) > len(seen)
        for have, one in zip(measured, seen, strict=True):
            values = one.by_card if is_by_card else one.by_weave
            have.update({name: values[name]} if name in values else {})
    return measured


def _check_alike(seen: Sequence[_Seen]) -> None:
    known: dict[str, str] = {}
    traits: Sequence[tuple[str, Callable[[_Seen], str | None]]] = (
        ("fibre", lambda one: one.fibre),
        ("part", lambda one: one.part),
    )
    for one in seen:
        name = one.shift.name
        if one.sha256 in known:
            raise UsageError(
                f"{name}: the same photo as {known[one.sha256]}; a photo each is allowed"
            )
        known[one.sha256] = name
    for word, trait in traits:
        found = {trait(one): one.shift.name for one in reversed(seen) if trait(one)}
        if len(found) > 1:
            told = " and ".join(f"{value} ({name})" for value, name in found.items())
            raise UsageError(f"photos of {word} {told}; drift needs the same coupon every time")


def _always(made: Inspection) -> Mapping[str, float]:
    """Return what needs no card: visibility, and the pitch in pixels."""
    cells = made.cells
    if cells is None:
        return {}
    found = {"visibility": _median(cells.visibility[_shown(cells)])}
    if cells.pitch is not None:
        found["size"] = cells.pitch
    return _finite(found)


def _by_card(made: Inspection) -> Mapping[str, float]:
    card, cells = made.card, made.cells
    found: dict[str, float] = {}
    if card is None or card.problem is not None:
        return found
    if card.mtf and min(card.mtf.values()) > 0:
        found["blur"] = -math.log(sum(card.mtf.values()) / len(card.mtf))
    if card.white_gains is not None and min(card.white_gains) > 0:
        found["colour"] = math.log2(card.white_gains[2] / card.white_gains[0])
    if card.mm_per_px is not None and cells is not None and cells.pitch is not None:
        found["pitch"] = cells.pitch * card.mm_per_px
    return _finite(found)


def _by_weave(made: Inspection) -> Mapping[str, float]:
    """Return blur and colour by the coupon itself, which is the same every time."""
    cells = made.cells
    if cells is None:
        return {}
    clear = _shown(cells)
    found = {}
    if {"fine", "medium"} <= set(cells.cues):
        found["blur"] = _median((cells.cues["medium"] - cells.cues["fine"])[clear])
    if "red_blue" in cells.cues:
        found["colour"] = _median(cells.cues["red_blue"][clear]) / math.log(2)
    return _finite(found)


def _shown(cells: Cells) -> NDArray[np.bool_]:
    """Return where the surface shows; soft and dark cells too, as drift is to be seen in them."""
    return np.asarray(cells.part & ((cells.reasons & np.uint32(HIDDEN)) == 0))


def _median(values: NDArray[np.float32]) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else math.nan


def _finite(values: Mapping[str, float]) -> Mapping[str, float]:
    return {name: value for name, value in values.items() if math.isfinite(value)}
