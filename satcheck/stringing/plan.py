"""Which way to string: from where there is too much resin to where there is too little.

The labels are an order, not a weight of resin. Lean and heavy count one step off good, starved and
rich two, each by its area; the plan therefore ranks moves and never says how many grams. It is
solved as a transport along the surface of the part. The rules of the trade are common practice,
no published source.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from satcheck.judgement.advice import describe_zones
from satcheck.judgement.verdict import ENOUGH, MATTERS_MM, MATTERS_PITCHES
from satcheck.model import SCALE, Cells, Inspection, Label
from satcheck.series.grid import Bool, cell_area, cell_labels, disjoint_zones, judged, surface
from satcheck.stringing.rules import RULES, Rule
from satcheck.stringing.transport import transport

State = Literal["string", "add resin", "stop", "too late", "not judged"]

STEPS: Mapping[Label, int] = {label: int(label) - int(Label.GOOD) for label in SCALE}
"""Steps off good, negative for too little: an order. Own rule."""
SHORT = 0.25
"""Steps off good, net and on average over what was judged, from which this side as a whole lacks
resin: a quarter of it lean, or an eighth starved, with nothing to string from (own rule)."""
HIDDEN = 0.2
"""Share of the part that may be unseen without a word, as for a retake (``advice``)."""
HURRY, LATE = 10.0, 4.0
"""Minutes left from which advice gets shorter, and from which one thing is said (own rule)."""
CAVEAT = (
    "The plan ranks moves by what the photo shows. It does not weigh resin, and it knows nothing "
    "of the side that the photo does not show."
)


@dataclass(frozen=True)
class Move:
    """One way to string."""

    source: str
    target: str
    share: float
    """Share of all that is lacking that this move settles, 0 to 1: a rank, not a weight."""
    distance: float
    """Along the surface, in pitches."""
    direction: str
    """"distally", "proximally", "round to the left" or "to the right", "" within one zone."""
    sentence: str


@dataclass(frozen=True)
class Need:
    """A zone with too much or too little."""

    zone: str
    amount: float
    """Steps off good times area, in pitches²: an order, not a weight."""


@dataclass(frozen=True)
class Plan:
    """What to do with the resin that is on the part.

    ``sentences`` are what a technician reads, most urgent first, fewer as the time runs out.
    """

    state: State
    sentences: tuple[str, ...]
    moves: tuple[Move, ...]
    too_much: tuple[Need, ...]
    too_little: tuple[Need, ...]
    rules: tuple[Rule, ...]
    shortfall: float = 0.0
    """What is lacking beyond what is too much, in steps off good on average; negative: too much."""
    judged: float = 0.0
    """Judged area in pitches²."""
    caveat: str = CAVEAT


def plan(inspection: Inspection, minutes_left: float | None = None) -> Plan:
    """Return what to do with the resin on the part.

    Parameters
    ----------
    inspection : Inspection
        One view of a part, with its cells.
    minutes_left : float, optional
        Of the working time that the shop entered from its resin's data sheet; 0 or less: over.

    Raises
    ------
    ValueError
        If ``minutes_left`` is not a number.
    """
    if minutes_left is not None and np.isnan(minutes_left):
        raise ValueError("minutes left must be a number")
    labels = cell_labels(inspection)
    if inspection.cells is None or _share_judged(inspection.cells, labels) < ENOUGH:
        return _without("not judged", "Too little of the part was judged to plan by this photo.")
    scene = _scene(inspection.cells, labels)
    if minutes_left is not None and minutes_left <= 0:
        return _too_late(scene)
    return _solved(scene, minutes_left)


@dataclass(frozen=True)
class _Spot:
    """A zone's need and where it lies, in pitches along and round the surface."""

    need: Need
    along: float
    round: float


@dataclass(frozen=True, eq=False)
class _Scene:
    """What a photo shows: zones with too much and too little, and how far they lie apart."""

    much: tuple[_Spot, ...]
    little: tuple[_Spot, ...]
    distances: NDArray[np.float64]
    """(n, m) in pitches along the surface, from too much to too little."""
    urgent: bool
    """Whether something is starved or rich, not only lean or heavy."""
    judged: float
    """Judged area in pitches²."""
    hidden: float
    """Share of the part that was not judged, 0 to 1."""

    @property
    def shortfall(self) -> float:
        """Return what is lacking beyond what is too much, in steps per judged area."""
        lacking, excess = (sum(s.need.amount for s in side) for side in (self.little, self.much))
        return (lacking - excess) / self.judged if self.judged else 0.0


def _share_judged(cells: Cells, labels: NDArray[np.uint8]) -> float:
    return float(judged(labels)[cells.part].mean()) if cells.part.any() else 0.0


def _scene(cells: Cells, labels: NDArray[np.uint8]) -> _Scene:
    steps = np.where(judged(labels), labels.astype(int) - int(Label.GOOD), 0)
    size = cells.step / (cells.pitch or 2 * cells.step)  # of a cell, in pitches
    place = surface(cells)
    sides: tuple[list[_Spot], list[_Spot]] = ([], [])
    for name, zone in disjoint_zones(cells).items():
        for sign, side in zip((1, -1), sides, strict=True):
            where = zone & (sign * steps > 0)
            if not _matters(cells, where):
                continue
            weight = np.abs(steps[where])
            along, across = (
                float(np.average(axis[where], weights=weight) * size)
                for axis in (place.along, place.round)
            )
            need = Need(name, float(weight.sum() * size**2))
            side.append(_Spot(need, along, across))
    sources, sinks = (np.array([[s.along, s.round] for s in s_]).reshape(-1, 2) for s_ in sides)
    distances = np.hypot(*np.moveaxis(sources[:, None] - sinks[None], 2, 0))
    urgent = _matters(cells, np.asarray(np.abs(steps) == STEPS[Label.RICH]))
    area = float(judged(labels).sum()) * size**2
    hidden = 1 - _share_judged(cells, labels)
    return _Scene(tuple(sides[0]), tuple(sides[1]), distances, urgent, area, hidden)


def _matters(cells: Cells, where: Bool) -> bool:
    """Return whether some cells together are as large as a patch that names a zone."""
    size, unit = cell_area(cells)
    least = MATTERS_MM if unit == "mm²" else MATTERS_PITCHES
    return float(where.sum()) * size >= np.pi / 4 * least**2


def _solved(scene: _Scene, minutes: float | None) -> Plan:
    excess, lacking = ([spot.need.amount for spot in side] for side in (scene.much, scene.little))
    moves = _moves(scene, transport(excess, lacking, scene.distances), sum(lacking))
    state: State = "string" if scene.much or scene.little else "stop"
    if scene.little and scene.shortfall >= SHORT:
        state = "add resin"
    elif minutes is not None and minutes <= LATE and not scene.urgent:
        state = "stop"
    return Plan(
        state,
        _sentences(state, scene, moves, minutes),
        moves,
        tuple(spot.need for spot in scene.much),
        tuple(spot.need for spot in scene.little),
        () if state == "stop" else _rules(scene, moves, minutes),
        scene.shortfall,
        scene.judged,
    )


def _moves(scene: _Scene, flow: NDArray[np.float64], lacking: float) -> tuple[Move, ...]:
    """Return the moves of a transport, those that settle most first."""
    found = []
    for k, m in np.argwhere(flow > 1e-6 * max(lacking, 1e-12)):
        source, sink = scene.much[k], scene.little[m]
        way = _direction(source, sink)
        found.append(
            Move(
                source.need.zone,
                sink.need.zone,
                float(flow[k, m] / lacking),
                float(scene.distances[k, m]),
                way,
                _told(source.need.zone, sink.need.zone, way),
            )
        )
    return tuple(sorted(found, key=lambda move: (-move.share, move.distance)))


def _direction(source: _Spot, sink: _Spot) -> str:
    if source.need.zone == sink.need.zone:
        return ""
    down, right = sink.along - source.along, sink.round - source.round
    if abs(down) >= abs(right):
        return "distally" if down > 0 else "proximally"
    return "round to the right" if right > 0 else "round to the left"


def _told(source: str, target: str, way: str) -> str:
    if source == target:
        return f"Even out the {source}: from its heavy spot into its dry one."
    end = " and stop short of the edge" if target == "brim" else ""
    return f"String from the {source} {way} to the {target}{end}."


def _most(minutes: float | None) -> int:
    """Return how many sentences there is time for."""
    if minutes is None or minutes > HURRY:
        return 4
    return 2 if minutes > LATE else 1


def _sentences(
    state: State, scene: _Scene, moves: Sequence[Move], minutes: float | None
) -> tuple[str, ...]:
    much, little = _names(scene.much), _names(scene.little)
    told = []
    if state == "stop" and (much or little):
        told.append("Stop: nothing judged is starved or rich, and little time is left.")
        moves, much, little = (), "", ""
    if state == "add resin":
        told.append(f"This side lacks resin as a whole: add some, for the {little}.")
    told += [move.sentence for move in moves]
    if not little and much:
        told.append(f"Nothing here lacks resin: string some out of the {much} with a soft band.")
    if little and not moves and state == "string":
        # Common practice, no source: resin tends to stay proximally, in the thicker layup.
        told.append(f"No zone has too much: string a little down to the {little}.")
    if state == "stop" and not told:
        told.append("Stop: what was judged is even. More stringing only dries it.")
    if scene.hidden > HIDDEN:
        told.append(f"Look by eye at the {100 * scene.hidden:.0f} % that was not judged.")
    return tuple(told[: _most(minutes)])


def _names(spots: Sequence[_Spot]) -> str:
    """Return the spots' zones in words, "" where there are none."""
    return describe_zones([spot.need.zone for spot in spots]) if spots else ""


def _too_late(scene: _Scene) -> Plan:
    told = (
        "Stop: the working time that you entered is over. Leave the part alone.",
        "If the cup still flows, your resin's data sheet decides, not this clock.",
    )
    much, little = (tuple(spot.need for spot in side) for side in (scene.much, scene.little))
    return Plan("too late", told, (), much, little, (), scene.shortfall, scene.judged)


def _without(state: State, sentence: str) -> Plan:
    return Plan(state, (sentence,), (), (), (), ())


def _rules(scene: _Scene, moves: Sequence[Move], minutes: float | None) -> tuple[Rule, ...]:
    """Return the rules of the trade that this plan calls for."""
    much, little = ({s.need.zone for s in side} for side in (scene.much, scene.little))
    calls = {
        "brim": "brim" in little,
        "undercut": "lock" in much,
        "bridge": "lock" in little,
        "vacuum": scene.shortfall >= SHORT,  # a strong draw may be what starves it
        "band": bool(moves or much or little),
        "proximal": any(zone.startswith("proximal") for zone in much) and bool(little),
        "warm": bool(much) and minutes is not None and minutes <= HURRY,
    }
    return tuple(rule for rule in RULES if calls.get(rule.name, False))
