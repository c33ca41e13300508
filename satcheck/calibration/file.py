"""A shop's calibration: per fibre the two mixtures and the bounds, as a readable TOML file."""

import hashlib
import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import tomli_w

from satcheck.calibration.evidence import ZoneEvidence, row_from_table, row_to_table
from satcheck.errors import CalibrationError, UsageError
from satcheck.files import write_whole
from satcheck.judgement.mixture import CLASSES, Mixture
from satcheck.model import MEASURE, SCALE, CalibrationFacts
from satcheck.statistics.promise import CONFIDENCE, Promise

SCHEMA = "satcheck.calibration/1"
BORDERS: tuple[str, ...] = tuple(f"{low.word}/{high.word}" for low, high in pairwise(SCALE))
"""'starved/lean', 'lean/good', 'good/heavy', 'heavy/rich'."""

HEADER = """\
# Bounds of a laminating shop, from its own labelled parts. Made by satcheck; read by satcheck.
# Saturation index: -1 starved, 0 good, +1 rich. A cell below the first bound is starved, between
# the first and the second lean, and so on. The id is made from the content: a file changed by
# hand is refused, so that no record names bounds that were not in force.
"""
DEMO_PROMISE = "Demo bounds from invented parts: no promise. Calibrate on your own parts."
FIRST_FORM = "Provisional: from {parts} parts; no promise about errors is made."


@dataclass(frozen=True, eq=False)
class FibreBounds:
    """What a shop's labelled parts say about one fibre.

    Attributes
    ----------
    fibre : str
    bounds : tuple of 4 floats
        Saturation index at each of ``BORDERS``, ascending, within -1 to 1.
    dry, full : Mixture
        For starved against the rest, and for rich against good.
    parts, photos : int
        How many parts and photos the bounds rest on.
    light : (float, float)
        Natural log of luminance between which 96 % of the labelled cells lie.
    visibility : mapping of class to (low, middle, high)
        Quartiles of weave visibility that the labelled cells showed; for people, not for verdicts.
    evidence : tuple of ZoneEvidence
        What each labelled zone showed; empty in files of the first form.
    promise : Promise or None
        None in files of the first form.
    cue_note : str
        Why these cues, in one sentence; blank where nothing was compared.
    """

    fibre: str
    bounds: tuple[float, float, float, float]
    dry: Mixture
    full: Mixture
    parts: int
    photos: int
    light: tuple[float, float]
    visibility: Mapping[str, tuple[float, float, float]]
    evidence: tuple[ZoneEvidence, ...] = ()
    promise: Promise | None = None
    cue_note: str = ""

    @property
    def sentence(self) -> str:
        """Return what the bounds promise, in one sentence."""
        if self.promise is None:
            return FIRST_FORM.format(parts=self.parts)
        return self.promise.sentence


@dataclass(frozen=True, eq=False)
class Calibration:
    """All fibres of a shop."""

    id: str
    fibres: Mapping[str, FibreBounds]
    created: str
    version: str
    is_demo: bool
    photos: tuple[str, ...]
    """sha256 of the labelled photos."""
    parent: str | None = None
    """Id of the calibration that parts were added to."""

    def bounds_for(self, fibre: str) -> FibreBounds:
        """Return one fibre's bounds.

        Raises
        ------
        UsageError
            If the calibration does not hold the fibre; the message lists those it holds.
        """
        if fibre not in self.fibres:
            known = ", ".join(sorted(self.fibres))
            raise UsageError(f"fibre {fibre!r} is not in the calibration; it holds {known}")
        return self.fibres[fibre]

    def facts(self, fibre: str) -> CalibrationFacts:
        """Return what a record says of the bounds that it rests on."""
        bounds = self.bounds_for(fibre)
        promise = DEMO_PROMISE if self.is_demo else bounds.sentence
        named = dict(zip(BORDERS, bounds.bounds, strict=True))
        return CalibrationFacts(self.id, fibre, named, bounds.parts, self.is_demo, promise)


def make_calibration(
    fibres: Mapping[str, FibreBounds],
    created: str,
    version: str,
    is_demo: bool,
    photos: tuple[str, ...],
    parent: str | None = None,
) -> Calibration:
    """Return a calibration whose id is made from its content."""
    draft = Calibration("", fibres, created, version, is_demo, photos, parent)
    return replace(draft, id=_content_id(_to_table(draft)))


def write_calibration(calibration: Calibration, path: Path) -> None:
    """Write a calibration as TOML, whole or not at all."""
    text = HEADER + tomli_w.dumps({**_to_table(calibration), "id": calibration.id})
    write_whole(path, text.encode())


def read_calibration(path: Path) -> Calibration:
    """Read a calibration.

    Raises
    ------
    CalibrationError
        If the file is missing, damaged, changed since it was written, of a newer schema, or of
        another measure (``model.MEASURE``).
    """
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise CalibrationError(str(path), "cannot be read", "give a calibration file") from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise CalibrationError(
            str(path), "is not a calibration (no valid TOML)", "make one with satcheck calibrate"
        ) from error
    return _from_table(table, str(path))


def default_calibration_path() -> Path | None:
    """Return the demo calibration, beside the package or within it; None where there is none."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "demo_calibration", package.parent / "calibration"):
        if (folder / "demo.toml").is_file():
            return folder / "demo.toml"
    return None


def _content_id(table: Mapping[str, Any]) -> str:
    content = {key: value for key, value in table.items() if key != "id"}
    # A file changed by hand may hold what JSON has no word for, such as a date.
    packed = json.dumps(content, sort_keys=True, separators=(",", ":"), default=str).encode()
    return hashlib.sha256(packed).hexdigest()[:16]


def _to_table(calibration: Calibration) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "created": calibration.created,
        "version": calibration.version,
        "measure": MEASURE,
        "demo": calibration.is_demo,
        **({} if calibration.parent is None else {"parent": calibration.parent}),
        "photos": list(calibration.photos),
        "fibre": {name: _fibre_table(f) for name, f in sorted(calibration.fibres.items())},
    }


def _fibre_table(fibre: FibreBounds) -> dict[str, Any]:
    return {
        "parts": fibre.parts,
        "photos": fibre.photos,
        "bounds": dict(zip(BORDERS, (round(b, 4) for b in fibre.bounds), strict=True)),
        "light": [round(v, 4) for v in fibre.light],
        "visibility": {k: [round(v, 5) for v in q] for k, q in sorted(fibre.visibility.items())},
        "dry": _mixture_table(fibre.dry),
        "full": _mixture_table(fibre.full),
        **_shown(fibre),
    }


def _shown(fibre: FibreBounds) -> dict[str, Any]:
    """Return what the bounds promise and rest on; left out where a file of the first form had none.

    The sentence stands there for readers; parts and errors say the same.
    """
    table: dict[str, Any] = {}
    if fibre.cue_note:
        table["cue_note"] = fibre.cue_note
    if fibre.promise is not None:
        table["promise"] = {
            "parts": fibre.promise.parts,
            "errors": fibre.promise.errors,
            "confidence": CONFIDENCE,
            "sentence": fibre.promise.sentence,
        }
    if fibre.evidence:
        table["evidence"] = [row_to_table(row) for row in fibre.evidence]
    return table


def _promise(entry: Mapping[str, Any]) -> Promise | None:
    if "promise" not in entry:
        return None
    parts, errors = int(entry["promise"]["parts"]), int(entry["promise"]["errors"])
    if not 0 <= errors <= parts:
        raise ValueError(f"a promise with {errors} errors of {parts} parts")
    return Promise(parts, errors)


def _mixture_table(mixture: Mixture) -> dict[str, Any]:
    """Return a mixture with six significant digits, far below what a few parts can fix."""

    def rounded(array: Any) -> Any:
        return [rounded(a) for a in array] if np.ndim(array) else float(f"{array:.6g}")

    return {
        "cues": list(mixture.cues),
        "centre": rounded(mixture.centre),
        "scale": rounded(mixture.scale),
        "means": dict(zip(CLASSES, rounded(mixture.means), strict=True)),
        "scatter": dict(zip(CLASSES, rounded(mixture.scatter), strict=True)),
        "between": rounded(mixture.between),
    }


def _from_table(table: Mapping[str, Any], name: str) -> Calibration:
    schema = table.get("schema")
    if schema != SCHEMA:
        problem = "is no calibration" if schema is None else f"has the schema {schema!r}"
        raise CalibrationError(name, problem, f"this version reads {SCHEMA!r}")
    try:
        fibres = {fibre: _fibre(fibre, entry) for fibre, entry in table["fibre"].items()}
        calibration = Calibration(
            str(table["id"]),
            fibres,
            str(table["created"]),
            str(table["version"]),
            bool(table["demo"]),
            tuple(str(p) for p in table["photos"]),
            None if table.get("parent") is None else str(table["parent"]),
        )
    except (LookupError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise CalibrationError(name, f"is damaged ({error})", "make it again") from error
    if not fibres:
        raise CalibrationError(name, "holds no fibre", "make it again from labelled parts")
    if _content_id(table) != calibration.id:
        raise CalibrationError(
            name, "was changed since it was made (its id does not match)", "make it again"
        )
    measure = table.get("measure", 1)
    if measure != MEASURE:
        problem = f"was made from photos measured another way (measure {measure})"
        remedy = f"this version's measure is {MEASURE}: calibrate again from the photos"
        raise CalibrationError(name, problem, remedy)
    return calibration


def _fibre(name: str, entry: Mapping[str, Any]) -> FibreBounds:
    a, b, c, d = (float(entry["bounds"][border]) for border in BORDERS)
    if not -1 <= a <= b <= c <= d <= 1:
        raise ValueError(f"bounds of {name} are not ascending within -1 to 1")
    shown = {k: (float(v[0]), float(v[1]), float(v[2])) for k, v in entry["visibility"].items()}
    return FibreBounds(
        name,
        (a, b, c, d),
        _mixture(entry["dry"]),
        _mixture(entry["full"]),
        int(entry["parts"]),
        int(entry["photos"]),
        (float(entry["light"][0]), float(entry["light"][1])),
        shown,
        tuple(row_from_table(row) for row in entry.get("evidence", ())),
        _promise(entry),
        str(entry.get("cue_note", "")),
    )


def _mixture(entry: Mapping[str, Any]) -> Mixture:
    cues = tuple(str(c) for c in entry["cues"])
    size = len(cues)

    def array(value: Any, *shape: int) -> Any:
        result = np.array(value, np.float64)
        if result.shape != shape or not np.isfinite(result).all():
            raise ValueError(f"an array of {shape} numbers is missing or has other numbers")
        return result

    mixture = Mixture(
        cues,
        array(entry["centre"], size),
        array(entry["scale"], size),
        array([entry["means"][c] for c in CLASSES], 3, size),
        array([entry["scatter"][c] for c in CLASSES], 3, size, size),
        array(entry["between"], size, size),
    )
    for matrix in (*mixture.scatter, mixture.between):
        np.linalg.cholesky(matrix)
    return mixture
