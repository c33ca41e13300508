"""Which examples a lesson uses: proposed from the labels, chosen and noted by the trainer.

The trainer's file is a table: ``use`` is yes or no, ``note`` is plain text for the learner.
"""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from satcheck.lesson.crops import Spot, best_spot
from satcheck.lesson.scoring import CLASSES
from satcheck.lesson.specimens import Specimen
from satcheck.model import SCALE, STATES, Label
from satcheck.tables import as_typed, read_rows, unformula

COLUMNS = ("use", "part_of_lesson", "photo", "fibre", "state", "why", "note")
PARTS = ("see", "find", "decide")
FILE = "picks.csv"
DECISIONS = 2
"""Photos of a fibre that ask which way to string (own rule)."""
LEAST, ODD = 1e-3, 0.5
"""Visibility that counts as none, and the weight of an unusual one (own rule)."""
EVEN = 0.9
"""Share of good from which a part is an example of when to stop (own rule)."""
KNOWN = 0.3
"""Share of a part that must be labelled to ask what to do with it: above the quarter that a plan
needs (own rule)."""


@dataclass(frozen=True)
class Pick:
    """One example: ``state`` is that of a slider's stop, None in the other parts."""

    part: str
    photo: str
    fibre: str
    state: Label | None
    why: str
    note: str = ""
    use: bool = True


def propose(specimens: Sequence[Specimen]) -> tuple[Pick, ...]:
    """Propose examples: the clearest of each state, the borderline ones, the misjudged ones."""
    found: list[Pick] = []
    for fibre in sorted({s.labelled.fibre for s in specimens}):
        own = [s for s in specimens if s.labelled.fibre == fibre]
        found += _see(fibre, own) + _find(fibre, own) + _decide(fibre, own)
    return tuple(found)


def _see(fibre: str, own: Sequence[Specimen]) -> list[Pick]:
    """Return for each state the photo in which it is clearest, and a second choice unused."""
    found = []
    for state in SCALE:
        spots = [(s, b) for s in own if (b := best_spot(s, state))]
        usual = float(np.median([max(b.visibility, LEAST) for _, b in spots])) if spots else LEAST
        ranked = sorted(spots, key=lambda pair: _strangeness(pair[1], usual))
        for k, (specimen, _) in enumerate(ranked[:2]):
            found.append(Pick("see", specimen.name, fibre, state, "clearest", use=k == 0))
    return found


def _strangeness(spot: Spot, usual: float) -> float:
    """Return how unlike the state's usual look in the shop's photos a place is."""
    return abs(float(np.log(max(spot.visibility, LEAST) / usual))) * ODD - spot.merit


def _find(fibre: str, own: Sequence[Specimen]) -> list[Pick]:
    """Return the photo that is clearest, most borderline and worst judged, each once."""
    left = [s for s in own if _urgent(s) > 0]
    merits = {"clearest": _clear, "borderline": _between, "misjudged": _misjudged}
    found = []
    for why, merit in merits.items():
        if left:
            best = max(left, key=merit)
            left.remove(best)
            found.append(Pick("find", best.name, fibre, None, why))
    return found


def _decide(fibre: str, own: Sequence[Specimen]) -> list[Pick]:
    """Return photos with much to move, and the most even one: it is best left alone."""
    known = [s for s in own if np.isin(s.truth[s.cells.part], SCALE).mean() >= KNOWN]
    ranked = sorted((s for s in known if _urgent(s) > 0), key=_both, reverse=True)[:DECISIONS]
    even = [s for s in known if _share(s, Label.GOOD) > EVEN]
    ranked += [max(even, key=lambda s: _share(s, Label.GOOD))] if even else []
    return [Pick("decide", s.name, fibre, None, "clearest") for s in ranked]


def _share(specimen: Specimen, *labels: Label) -> float:
    known = np.isin(specimen.truth, SCALE)
    return float(np.isin(specimen.truth[known], labels).mean()) if known.any() else 0.0


def _urgent(specimen: Specimen) -> float:
    return _share(specimen, Label.STARVED, Label.RICH)


def _clear(specimen: Specimen) -> float:
    """Return how far satcheck and the truth agree, weighed by how much is to be told apart."""
    shares = sorted(_share(specimen, label) for label in CLASSES)
    return min(shares[-2], 0.3) * (1 - _misjudged(specimen))


def _between(specimen: Specimen) -> float:
    return _share(specimen, Label.LEAN, Label.HEAVY)


def _misjudged(specimen: Specimen) -> float:
    """Return the share of starved, good and rich cells that satcheck called otherwise."""
    both = np.isin(specimen.truth, CLASSES) & np.isin(specimen.tool, SCALE)
    return float((specimen.truth[both] != specimen.tool[both]).mean()) if both.any() else 0.0


def _both(specimen: Specimen) -> float:
    """Return how much there is to move: the smaller of too much and too little."""
    dry = _share(specimen, Label.STARVED, Label.LEAN)
    wet = _share(specimen, Label.HEAVY, Label.RICH)
    return min(dry, wet) + 0.1 * max(dry, wet)


def write_picks(picks: Sequence[Pick]) -> str:
    """Return the trainer's table as CSV text."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(COLUMNS)
    for p in picks:
        state = "" if p.state is None else p.state.word
        cells = ["yes" if p.use else "no", p.part, p.photo, p.fibre, state, p.why, p.note]
        rows.writerow([unformula(cell) for cell in cells])
    return out.getvalue()


def read_picks(path: Path) -> tuple[Pick, ...]:
    """Read the trainer's table.

    Raises
    ------
    TableError
        On the first row that cannot be used, by its line number.
    """
    found = []
    for row in read_rows(path, COLUMNS[:4], COLUMNS[4:]):
        part = row.word("part_of_lesson", PARTS)
        state = row.word("state", tuple(STATES), may_be_blank=part != "see")
        found.append(
            Pick(
                part,
                as_typed(row.text("photo")),
                as_typed(row.text("fibre")),
                STATES[state] if state else None,
                as_typed(row.cells["why"]),
                as_typed(row.cells["note"]),
                row.word("use", ("yes", "no")) == "yes",
            )
        )
    return tuple(found)
