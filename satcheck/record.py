"""An inspection as JSON and back: ``satcheck.inspection/1``, which other programs read.

A key never changes its meaning within the schema; new keys may come. Without ``cells`` a record
says everything a reader needs; with them it can be judged again under other bounds, without the
photo and without an image library.
"""

import base64
import math
import zlib
from collections.abc import Mapping
from dataclasses import fields
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from satcheck.beside import beside
from satcheck.errors import UsageError
from satcheck.flags import largest_first
from satcheck.model import (
    CalibrationFacts,
    CardFacts,
    Cells,
    Evenness,
    Inspection,
    Interval,
    Label,
    Patch,
    PhotoFacts,
    ZoneVerdict,
)

Record = TypeVar(
    "Record", PhotoFacts, CalibrationFacts, CardFacts, Evenness, Interval, Patch, Cells
)

SCHEMA = "satcheck.inspection/1"

CAUTIONS: tuple[str, ...] = (
    "This supports a trained eye and does not replace it.",
    "It certifies neither the strength nor the fit of a socket.",
    "Material data sheets, local codes and licensed practice come first.",
    "Resins, peroxides and solvents are hazardous: handle them as their safety data sheets say.",
)

_CODES, _YES_NO, _BITS, _NUMBERS = ("|u1",), ("|b1",), ("<u4",), ("<f4", "<f8")
_KINDS = (*_CODES, *_YES_NO, *_BITS, *_NUMBERS)
_MAPS: Mapping[str, tuple[str, ...]] = {
    "zone": _CODES, "brim": _YES_NO, "lock": _YES_NO, "visibility": _NUMBERS,
    "uncertainty": _NUMBERS, "reasons": _BITS,
}  # fmt: skip
"""The maps of cells beside the cues, and what they may consist of."""
QUICK = 1  # zlib
_LARGEST = 1 << 28
"""Bytes of one array: more than any photo yields, less than what harms a computer."""


def inspection_to_json(inspection: Inspection, *, cells: bool = True) -> dict[str, Any]:
    """Return an inspection as plain values, ready for ``json.dumps``.

    Parameters
    ----------
    inspection : Inspection
    cells : bool
        With the label map and all that was measured, each array as its dtype, its shape and its
        "planes": the first bytes of all its numbers, row by row and little-endian, then all second
        ones and so on, compressed by zlib, base64. Earlier records have "zlib" in its place: whole
        numbers one after the other.
    """
    facts, evenness = inspection.calibration, inspection.evenness
    record: dict[str, Any] = {
        "schema": SCHEMA,
        "version": inspection.version,
        "photo": vars(inspection.photo) | {},
        "calibration": vars(facts) | {"bounds": dict(facts.bounds)},
        "verdict": inspection.verdict.word,
        "evenness": None if evenness is None else vars(evenness) | {},
        "share_judged": inspection.share_judged,
        "distal": inspection.distal,
        "distal_guessed": inspection.distal_guessed,
        "zones": [_zone_to_json(zone) for zone in inspection.zones],
        "flagged": [_patch_to_json(patch) for patch in inspection.flagged],
        "reasons": dict(inspection.reasons),
        "advice": list(inspection.advice),
        "card": None if inspection.card is None else _card_to_json(inspection.card),
        "cut": list(inspection.cut),
        "warnings": list(inspection.warnings),
        "cautions": list(CAUTIONS),
    }
    if cells:
        with beside() as second:
            labels = second.submit(_pack, inspection.labels)
            record["cells"] = None if inspection.cells is None else _cells_to_json(inspection.cells)
        record["labels"] = labels.result()
    return record


def inspection_from_json(record: Mapping[str, Any], name: str = "record") -> Inspection:
    """Return the inspection that a record holds.

    Parameters
    ----------
    record : mapping
        What `inspection_to_json` returned; without cells the label map is empty (0, 0).
    name : str
        What to call the record in messages.

    Raises
    ------
    UsageError
        If the record is of another schema, or damaged.
    """
    schema = record.get("schema") if isinstance(record, Mapping) else None
    if schema != SCHEMA:
        raise UsageError(f"{name}: the schema is {schema!r}; {SCHEMA} is allowed")
    try:
        return _from_json(record)
    except (LookupError, TypeError, ValueError, AttributeError, OverflowError, zlib.error) as error:
        raise UsageError(f"{name}: damaged ({error}); a whole {SCHEMA} is allowed") from error


def _from_json(record: Mapping[str, Any]) -> Inspection:
    evenness, cells, labels = record["evenness"], record.get("cells"), record.get("labels")
    return Inspection(
        photo=_photo_from_json(record["photo"]),
        calibration=_build(CalibrationFacts, record["calibration"]),
        verdict=_label(record["verdict"]),
        evenness=None if evenness is None else _build(Evenness, evenness),
        zones=tuple(_zone_from_json(zone) for zone in record["zones"]),
        flagged=tuple(_patch_from_json(patch) for patch in record["flagged"]),
        reasons=largest_first(record["reasons"]),
        advice=tuple(record["advice"]),
        distal=record["distal"],
        distal_guessed=record["distal_guessed"],
        share_judged=record["share_judged"],
        labels=np.zeros((0, 0), np.uint8) if labels is None else _labels_from_json(labels),
        cells=None if cells is None else _cells_from_json(cells),
        version=record["version"],
        card=None if record.get("card") is None else _card_from_json(record["card"]),
        cut=tuple(record.get("cut", ())),
        warnings=tuple(record.get("warnings", ())),
    )


def _build(kind: type[Record], values: Mapping[str, Any]) -> Record:
    """Return a record of a kind; keys that a later version has added are left out."""
    known = {field.name for field in fields(kind)}
    return kind(**{key: value for key, value in values.items() if key in known})


def _label(word: str) -> Label:
    return Label[word.upper().replace(" ", "_")]


def _photo_from_json(photo: Mapping[str, Any]) -> PhotoFacts:
    made = _build(PhotoFacts, photo)
    _check_sizes({"width": made.width, "height": made.height})
    return made


def _labels_from_json(packed: Mapping[str, Any]) -> NDArray[np.uint8]:
    labels = _unpack(packed)
    if labels.ndim != 2 or labels.dtype.str not in _CODES:
        raise ValueError(f"labels of {labels.dtype}, {labels.shape}")
    return labels


def _zone_to_json(zone: ZoneVerdict) -> dict[str, Any]:
    return {
        "name": zone.name,
        "verdict": zone.verdict.word,
        "visibility": None if zone.visibility is None else vars(zone.visibility) | {},
        "share_judged": zone.share_judged,
        "reasons": dict(zone.reasons),
        "worst": None if zone.worst is None else _patch_to_json(zone.worst),
    }


def _zone_from_json(zone: Mapping[str, Any]) -> ZoneVerdict:
    visibility, worst = zone["visibility"], zone["worst"]
    return ZoneVerdict(
        name=zone["name"],
        verdict=_label(zone["verdict"]),
        visibility=None if visibility is None else _build(Interval, visibility),
        share_judged=zone["share_judged"],
        reasons=largest_first(zone["reasons"]),
        worst=None if worst is None else _patch_from_json(worst),
    )


def _patch_to_json(patch: Patch) -> dict[str, Any]:
    return vars(patch) | {"label": patch.label.word}


def _patch_from_json(patch: Mapping[str, Any]) -> Patch:
    return _build(Patch, {**patch, "label": _label(patch["label"])})


def _card_to_json(card: CardFacts) -> dict[str, Any]:
    return vars(card) | {
        "kept": None if card.kept is None else vars(card.kept) | {},
        "mtf": dict(card.mtf),
        "texture": dict(card.texture),
        "white_gains": None if card.white_gains is None else list(card.white_gains),
    }


def _card_from_json(card: Mapping[str, Any]) -> CardFacts:
    kept, gains = card["kept"], card["white_gains"]
    return _build(
        CardFacts,
        {
            **card,
            "kept": None if kept is None else _build(Interval, kept),
            "white_gains": None if gains is None else tuple(gains),
        },
    )


def _cells_to_json(cells: Cells) -> dict[str, Any]:
    packed = {
        name: _pack(value) if isinstance(value, np.ndarray) else value
        for name, value in vars(cells).items()
    }
    return packed | {"cues": {name: _pack(cue) for name, cue in cells.cues.items()}}


def _cells_from_json(cells: Mapping[str, Any]) -> Cells:
    plain = {
        name: _unpack(value) if isinstance(value, Mapping) and name != "cues" else value
        for name, value in cells.items()
    }
    cues = {name: _unpack(cue) for name, cue in cells["cues"].items()}
    made = _build(Cells, {"measure": 1} | plain | {"cues": cues})
    _check_cells(made)
    return made


def _check_cells(cells: Cells) -> None:
    """Refuse cells that cannot be: maps of other kinds or sizes, no way to the photo, no length.

    Which cues there are, is not asked here: other versions measured others.
    """
    shape = cells.zone.shape
    if len(shape) != 2 or 0 in shape:
        raise ValueError(f"cells of shape {shape}")
    maps = [(name, getattr(cells, name), kinds) for name, kinds in _MAPS.items()]
    maps += [(f"cue {name}", cue, _NUMBERS) for name, cue in cells.cues.items()]
    for name, found, kinds in maps:
        if found.shape != shape or found.dtype.str not in kinds:
            raise ValueError(f"{name} of {found.dtype}, {found.shape} in cells of {shape}")
    way = cells.to_photo
    if way.shape != (2, 3) or way.dtype.str not in _NUMBERS or not np.isfinite(way).all():
        raise ValueError("to_photo is no (2, 3) array of numbers")
    if np.linalg.det(way[:, :2]) == 0:
        raise ValueError("to_photo leads to a line")
    lengths = {"pitch": cells.pitch, "mm_per_px": cells.mm_per_px}
    _check_sizes({name: value for name, value in lengths.items() if value is not None})
    if not 0 <= cells.shared_uncertainty < math.inf:
        raise ValueError(f"shared_uncertainty {cells.shared_uncertainty}")


def _check_sizes(sizes: Mapping[str, Any]) -> None:
    """Refuse what is no number above 0."""
    for name, value in sizes.items():
        if type(value) not in (int, float) or not 0 < value < math.inf:
            raise ValueError(f"{name} {value!r}")


def _pack(array: NDArray[Any]) -> dict[str, Any]:
    """Return an array as plain values.

    Neighbours are alike in their leading bytes and not in the others: set apart, they take a sixth
    less of bytes and, searched for runs alone, two fifths of the time (13 cues of 29,000 cells:
    9 ms against 24).
    """
    little = np.ascontiguousarray(array, array.dtype.newbyteorder("<"))
    if little.dtype.str not in _KINDS:
        raise ValueError(f"an array of {array.dtype}; allowed are {', '.join(_KINDS)}")
    planes = little.reshape(-1, 1).view(np.uint8).T.tobytes()
    packer = zlib.compressobj(QUICK, strategy=zlib.Z_RLE)
    data = base64.b64encode(packer.compress(planes) + packer.flush()).decode("ascii")
    return {"dtype": little.dtype.str, "shape": list(little.shape), "planes": data}


def _unpack(packed: Mapping[str, Any]) -> NDArray[Any]:
    """Return a packed array; a record never makes more bytes than its shape says."""
    if packed["dtype"] not in _KINDS:
        raise ValueError(f"an array of {packed['dtype']}; allowed are {', '.join(_KINDS)}")
    dtype, shape = np.dtype(packed["dtype"]), tuple(int(n) for n in packed["shape"])
    size = int(np.prod(shape, dtype=np.int64)) * dtype.itemsize
    if min(shape, default=0) < 0 or size > _LARGEST:
        raise ValueError(f"an array of shape {shape}")
    stream = zlib.decompressobj()
    sent = packed["planes"] if "planes" in packed else packed["zlib"]
    data = bytearray(stream.decompress(base64.b64decode(sent, validate=True), size + 1))
    if "planes" in packed:
        planes = np.frombuffer(data, np.uint8).reshape(dtype.itemsize, -1)
        data = bytearray(planes.T.tobytes())
    return np.frombuffer(data, dtype).reshape(shape)
