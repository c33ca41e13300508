"""The lesson's page: one file that works offline, on a phone and on a projector."""

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from satcheck.lesson.model import Decision, Fibre, Lesson, Pair, Search
from satcheck.lesson.texts import CAUTIONS, FIBRE_NOTES, LOOKS, PRACTICE, TO_DO, TRICKS
from satcheck.model import SCALE
from satcheck.pages.frame import render


def lesson_page(lesson: Lesson) -> str:
    """Return the page as HTML text; the pictures are in it."""
    data = {
        "fibres": [_fibre(fibre) for fibre in lesson.fibres],
        "pairs": [_pair(pair) for pair in lesson.pairs],
        "searches": [_search(search) for search in lesson.searches],
        "decisions": [_decision(decision) for decision in lesson.decisions],
        "looks": {label.word: LOOKS[label] for label in SCALE},
        "todo": {label.word: TO_DO[label] for label in SCALE},
        "practice": PRACTICE,
    }
    return render("lesson.html", data=data, lesson=lesson, cautions=CAUTIONS)


def _uri(picture: bytes) -> str:
    return f"data:image/jpeg;base64,{base64.b64encode(picture).decode('ascii')}"


def _fibre(fibre: Fibre) -> dict[str, Any]:
    stops = [
        {
            "state": stop.state.word,
            "picture": _uri(stop.picture),
            "visibility": round(stop.visibility, 4),
            "photo": stop.photo,
            "note": stop.note,
        }
        for stop in fibre.stops
    ]
    note = FIBRE_NOTES.get(fibre.name, "")
    return {
        "name": fibre.name, "stops": stops, "good": list(fibre.good), "top": fibre.top, "note": note
    }  # fmt: skip


def _pair(pair: Pair) -> dict[str, Any]:
    look, how = TRICKS[pair.trick]
    return {
        "fibre": pair.fibre,
        "trick": pair.trick,
        "spoiled": _uri(pair.spoiled),
        "clear": _uri(pair.clear),
        "kept": round(pair.kept, 3),
        "look": look,
        "how": how,
        "note": pair.note,
    }


def _search(search: Search) -> dict[str, Any]:
    return {
        "name": search.name,
        "fibre": search.exercise.fibre,
        "shares": list(search.exercise.shares),
        "picture": _uri(search.picture),
        "size": [search.width, search.height],
        "truth": _rows(search.truth),
        "tool": _rows(search.tool),
        "shop": _rows(search.shop),
        "note": search.note,
    }


def _rows(grid: NDArray[np.uint8]) -> list[str]:
    """Return a grid as one string of digits a row."""
    return ["".join(str(int(code)) for code in row) for row in grid]


def _decision(decision: Decision) -> dict[str, Any]:
    return {
        "name": decision.name,
        "picture": _uri(decision.picture),
        "situation": decision.situation,
        "options": list(decision.options),
        "answer": decision.answer,
        "reasons": list(decision.reasons),
        "note": decision.note,
    }
