"""From labelled photos and the trainer's picks to a lesson; no disk, no clock, no chance."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.calibration.file import Calibration
from satcheck.errors import UsageError
from satcheck.judgement.verdict import ENOUGH
from satcheck.lesson.choice import Exercise
from satcheck.lesson.crops import best_spot, contrast, cut, exposed, jpeg, spoiled
from satcheck.lesson.model import Decision, Fibre, Grid, Lesson, Pair, Search, Stop
from satcheck.lesson.picks import Pick
from satcheck.lesson.scoring import CLASSES
from satcheck.lesson.specimens import Specimen
from satcheck.lesson.texts import PRACTICE, TRICKS, capital
from satcheck.model import SCALE, Label
from satcheck.rejudging import redrawn
from satcheck.report import whole_percent
from satcheck.stringing.plan import Plan, plan

LONG_SIDE = 640
"""Pixels of a photo's longer side on the page: sharp on a phone, small enough to send."""
GRID_SIDE = 64
"""Cells of a marking grid's longer side: about a fingertip on a phone."""
MARGIN = 0.04
MINUTES = 18.0
BACK = {
    "distally": "proximally",
    "proximally": "distally",
    "round to the left": "round to the right",
    "round to the right": "round to the left",
}


def build_lesson(
    specimens: Sequence[Specimen], picks: Sequence[Pick], calibration: Calibration, source: str
) -> Lesson:
    """Return the lesson of some picks.

    Raises
    ------
    UsageError
        If a pick names a photo that is not among the specimens, a state that it does not show, or
        a part of which too little is labelled to decide by.
    """
    by_name = {s.name: s for s in specimens}
    chosen = [(p, _known(p, by_name)) for p in picks if p.use]
    if not chosen:
        raise UsageError("no example is picked; yes in the column use is allowed")
    pieces = _pieces([pair for pair in chosen if pair[0].part == "see"])
    decide = [pair for pair in chosen if pair[0].part == "decide"]
    return Lesson(
        fibres=_fibres(pieces, calibration),
        pairs=_pairs(pieces),
        searches=tuple(_search(pick, s) for pick, s in chosen if pick.part == "find"),
        decisions=tuple(_decision(k, pick, s) for k, (pick, s) in enumerate(decide)),
        source=source,
        calibration=calibration.id,
    )


def _known(pick: Pick, specimens: dict[str, Specimen]) -> Specimen:
    found = specimens.get(pick.photo)
    if found is None or found.labelled.fibre != pick.fibre:
        raise UsageError(f"pick {pick.photo}: no {pick.fibre} photo of the table has this name")
    return found


@dataclass(frozen=True, eq=False)
class _Piece:
    """One picked place: its picture and what was measured there."""

    pick: Pick
    state: Label
    picture: NDArray[np.uint8]
    visibility: float


def _pieces(see: Sequence[tuple[Pick, Specimen]]) -> dict[str, list[_Piece]]:
    """Return the pieces of each fibre, driest first, under one exposure."""
    made: dict[str, list[_Piece]] = {}
    for name in sorted({pick.fibre for pick, _ in see}):
        own = sorted((_piece(p, s) for p, s in see if p.fibre == name), key=lambda p: p.state)
        pictures = exposed([piece.picture for piece in own])
        made[name] = [replace(p, picture=new) for p, new in zip(own, pictures, strict=True)]
    return made


def _piece(pick: Pick, specimen: Specimen) -> _Piece:
    spot = None if pick.state is None else best_spot(specimen, pick.state)
    if spot is None or pick.state is None:
        word = "" if pick.state is None else pick.state.word
        raise UsageError(f"pick {pick.photo}: shows no {word} place large enough")
    return _Piece(pick, pick.state, cut(specimen, spot.row, spot.column), spot.visibility)


def _fibres(pieces: Mapping[str, Sequence[_Piece]], calibration: Calibration) -> tuple[Fibre, ...]:
    made = []
    for name, own in pieces.items():
        stops = tuple(
            Stop(name, p.state, jpeg(p.picture), p.visibility, p.pick.photo, p.pick.note)
            for p in own
        )
        low, _, high = calibration.bounds_for(name).visibility.get("good", (0.0, 0.0, 0.0))
        top = 1.1 * max([high, *(stop.visibility for stop in stops)])
        made.append(Fibre(name, stops, (low, high), top))
    return tuple(made)


def _pairs(pieces: Mapping[str, Sequence[_Piece]]) -> tuple[Pair, ...]:
    found = []
    for name, own in pieces.items():
        for piece in (p for p in own if p.state is Label.STARVED):
            clear = contrast(piece.picture)
            for trick in TRICKS:
                bad = spoiled(piece.picture, trick)
                kept = contrast(bad) / max(clear, 1e-6)
                found.append(
                    Pair(name, trick, jpeg(bad), jpeg(piece.picture), kept, piece.pick.note)
                )
    return tuple(found)


@dataclass(frozen=True, eq=False)
class _View:
    """The part's box in a photo: its picture, and labels at its grid."""

    specimen: Specimen
    picture: NDArray[np.uint8]
    corner: tuple[float, float]
    size: tuple[float, float]

    def grid(self, labels: NDArray[np.uint8]) -> Grid:
        """Return cell labels at the centres of a grid over the picture, by nearest cell."""
        width, height = self.size
        step = max(self.size) / GRID_SIDE
        columns, rows = max(1, round(width / step)), max(1, round(height / step))
        x = self.corner[0] + (np.arange(columns) + 0.5) * width / columns
        y = self.corner[1] + (np.arange(rows) + 0.5) * height / rows
        points = np.stack([each.ravel() for each in np.meshgrid(x, y)])
        matrix = self.specimen.cells.to_photo
        at = np.floor(np.linalg.solve(matrix[:, :2], points - matrix[:, 2:])).astype(int)
        column, row = at
        inside = (row >= 0) & (row < labels.shape[0]) & (column >= 0) & (column < labels.shape[1])
        found = np.zeros(len(column), np.uint8)
        found[inside] = labels[row[inside], column[inside]]
        return np.asarray(found.reshape(rows, columns))


def _view(specimen: Specimen) -> _View:
    """Cut the part out of its photo; sizes in pixels of the stored photo."""
    photo = specimen.photo
    y, x = np.nonzero(specimen.inspection.labels)
    margin = MARGIN * max(np.ptp(x), np.ptp(y))
    height, width = photo.rgb.shape[:2]
    x0, x1 = max(0, int(x.min() - margin)), min(width, int(x.max() + margin) + 1)
    y0, y1 = max(0, int(y.min() - margin)), min(height, int(y.max() + margin) + 1)
    piece = photo.rgb[y0:y1, x0:x1]
    shrink = min(1.0, LONG_SIDE / max(piece.shape[:2]))
    small = cv2.resize(piece, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    corner, size = (x0 / photo.scale, y0 / photo.scale), (x1 - x0, y1 - y0)
    stored = (size[0] / photo.scale, size[1] / photo.scale)
    return _View(specimen, np.asarray(small, np.uint8), corner, stored)


def _search(pick: Pick, specimen: Specimen) -> Search:
    view = _view(specimen)
    truth, tool, shop = (view.grid(g) for g in (specimen.truth, specimen.tool, specimen.shop))
    counted = np.isin(truth, CLASSES)
    good, starved, rich = (
        float((truth[counted] == label).mean()) if counted.any() else 0.0 for label in CLASSES
    )
    height, width = view.picture.shape[:2]
    exercise = Exercise(pick.fibre, (good, starved, rich))
    return Search(
        pick.photo, jpeg(view.picture, 80), width, height, truth, tool, shop, exercise, pick.note
    )


def _decision(number: int, pick: Pick, specimen: Specimen) -> Decision:
    """Ask what to do next; the answer is the plan's, made from the labels, not from the tool."""
    cells, photo = specimen.cells, specimen.photo
    known = np.where(np.isin(specimen.truth, (*SCALE, 0)), specimen.truth, Label.NOT_JUDGED)
    drawn = redrawn(
        known.astype(np.uint8), cells.to_photo * photo.scale, specimen.inspection.labels
    )
    found = plan(replace(specimen.inspection, labels=drawn), MINUTES)
    if found.state == "not judged":
        raise UsageError(
            f"pick {pick.photo}: its labels tell too little of the part to decide by; "
            f"{whole_percent(ENOUGH)} of it and more is allowed"
        )
    options = _options(found)
    answer = options[0]
    turned = options[number % len(options) :] + options[: number % len(options)]
    return Decision(
        pick.photo,
        jpeg(_view(specimen).picture, 80),
        f"{capital(pick.fibre)}, in the middle of stringing. {MINUTES:.0f} minutes of working "
        "time are left.",
        turned,
        turned.index(answer),
        _reasons(found),
        pick.note,
    )


def _options(found: Plan) -> tuple[str, ...]:
    """Return what one could do, the right thing first."""
    move = found.moves[0] if found.moves else None
    if move is not None and move.direction:
        back = BACK[move.direction]
        wrong = [f"String from the {move.target} {back} to the {move.source}."]
    else:
        wrong = ["String from the proximal centre distally to the distal centre."]
    if found.state != "stop":
        wrong.append("Stop: it is even enough, and more stringing only dries it.")
    wrong += ["Warm the whole part now and wait.", "Add resin and string it over the brim's edge."]
    return (found.sentences[0], *wrong[:3])


def _reasons(found: Plan) -> tuple[str, ...]:
    much, little = ([n.zone for n in side] for side in (found.too_much, found.too_little))
    told = [f"Too much resin: {', '.join(much) or 'nowhere'}."]
    told.append(f"Too little: {', '.join(little) or 'nowhere'}.")
    told += [f"{rule.sentence} {rule.reason} ({PRACTICE}.)" for rule in found.rules]
    return (*told, found.caveat)
