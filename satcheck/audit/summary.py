"""What an auditor looks for in an audit's rows: faults and where, what was not judged, trends."""

import hashlib
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from satcheck.audit.found import Problem
from satcheck.audit.likeness import near_groups
from satcheck.audit.rows import PartRow, PhotoRow, mean, mean_reasons
from satcheck.lines import counted
from satcheck.model import ZONES, CalibrationFacts, Interval, Label
from satcheck.report import DEMO_NOTE
from satcheck.statistics.control import Chart, chart, level_of_shares
from satcheck.statistics.intervals import wilson
from satcheck.statistics.sampling import Plan, sampling_plan, wrong_that_pass

BASELINE, FEWEST = 20, 10
"""Parts that set a trend's level, by default and at least; as in ``studies.drift``."""

AQL = 2.5
"""Per cent; ours, so that a month's lot asks for a look at 5 to 20 parts. The shop sets its own."""

SUPPORTS = (
    "This supports inspection by qualified people and does not replace it. It certifies neither "
    "the strength nor the fit of a socket."
)
EACH = (
    "A lot plan suits parts made alike. Sockets are one-offs: each is inspected by a qualified "
    "person before it is fitted, whatever a sample says."
)


@dataclass(frozen=True)
class ZoneCount:
    """In how many parts a zone is starved or rich, of those where it was judged."""

    zone: str
    starved: int
    rich: int
    judged: int
    cumulative: float
    """Share of all starved zones, 0 to 1, that this zone and those before it make."""


@dataclass(frozen=True)
class Group:
    """How the parts of one technician, resin, fibre or month did."""

    name: str
    """Blank where nobody was named."""
    parts: int
    fails: Interval | None
    """Share of the judged parts that fail, Wilson's interval; None where none is judged."""
    starved: float | None
    """Mean share of judged zones that are starved."""
    evenness: float | None
    share_judged: float


@dataclass(frozen=True, eq=False)
class Trend:
    """One quantity over the parts in the order of time, with its control chart."""

    quantity: str
    whose: str
    """Technician; blank for all."""
    parts: tuple[str, ...]
    times: tuple[str, ...]
    values: tuple[float, ...]
    baseline: int
    """The first parts, which set the level; the chart is of the later ones."""
    chart: Chart | None
    problem: str
    """Why there is no chart; blank where there is one."""

    @property
    def alarm(self) -> int | None:
        """Return the first part at which the chart warns, from 0; None where it does not."""
        if self.chart is None or not self.chart.alarms.any():
            return None
        return self.baseline + int(self.chart.alarms.argmax())


@dataclass(frozen=True)
class SecondLook:
    """Which parts a person looks at: all that fail or were not judged, and some that pass."""

    plan: Plan | None
    """None where no part passes."""
    parts: tuple[str, ...]
    """Drawn by a hash of calibration and photos, so that nobody picks them and all can check."""
    wrong: int
    """So many wrong parts, and no more, still let the lot pass in one of ten and more."""

    @property
    def lets_pass(self) -> float:
        """Return them as a share of the lot, 0 to 1."""
        return 0.0 if self.plan is None else self.wrong / self.plan.lot


@dataclass(frozen=True)
class Repeated:
    """Files with the same bytes, and the parts that they stand for."""

    paths: tuple[str, ...]
    parts: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Summary:
    """An audit, summed up."""

    made_at: str
    """As shown."""
    folders: tuple[str, ...]
    parts: tuple[PartRow, ...]
    calibrations: tuple[CalibrationFacts, ...]
    problems: tuple[Problem, ...]
    repeated: tuple[Repeated, ...]
    near: tuple[tuple[PhotoRow, ...], ...]
    """Photos that look nearly the same."""
    others: int
    absent: tuple[str, ...]
    """Photos that the table names and that do not lie in the folders."""
    pareto: tuple[ZoneCount, ...]
    reasons: Mapping[str, float]
    """Mean share of a part that each keeps from judgement; a part counts once, as it does in
    ``share_judged``, however many photos show it."""
    groups: Mapping[str, tuple[Group, ...]]
    """By technician, resin, fibre and month; those left out that would have one row."""
    trends: tuple[Trend, ...]
    second: SecondLook

    @property
    def photos(self) -> tuple[PhotoRow, ...]:
        """Return all photos, part by part."""
        return tuple(photo for part in self.parts for photo in part.photos)

    @property
    def alike(self) -> tuple[tuple[str, ...], ...]:
        """Return the parts whose numbers differ in capitals alone, as written, group by group."""
        spelled: dict[str, list[str]] = defaultdict(list)
        for part in self.parts:
            spelled[part.part.casefold()].append(part.part)
        return tuple(tuple(sorted(some)) for some in spelled.values() if len(some) > 1)

    @property
    def contradicted(self) -> tuple[PhotoRow, ...]:
        """Return the photos whose card names another part than the table or the record."""
        return tuple(photo for photo in self.photos if photo.mind)

    @property
    def share_judged(self) -> float:
        """Return the mean share judged, 0 to 1."""
        return mean([part.share_judged for part in self.parts]) or 0.0

    def count(self, outcome: str) -> int:
        """Return how many parts have an outcome: fail, pass or not judged."""
        return sum(part.outcome == outcome for part in self.parts)

    @property
    def statement(self) -> tuple[str, ...]:
        """Return what the audit rests on and what it does not say; every output carries it."""
        return statement(self.calibrations)


def statement(calibrations: Sequence[CalibrationFacts]) -> tuple[str, ...]:
    """Return which calibrations, what they promise, and what a verdict does not replace."""
    told = [
        f"Calibration {one.id}, {one.fibre}, from {counted(one.parts, 'part')}: {one.promise}"
        for one in calibrations
    ]
    demo = [DEMO_NOTE] if any(facts.is_demo for facts in calibrations) else []
    return (*told, *demo, SUPPORTS)


def summarise(
    parts: Sequence[PartRow],
    *,
    made_at: str = "",
    folders: Sequence[str] = (),
    problems: Sequence[Problem] = (),
    others: int = 0,
    absent: Sequence[str] = (),
    aql: float = AQL,
) -> Summary:
    """Return what stands out among the parts."""
    photos = [photo for part in parts for photo in part.photos]
    facts = {photo.inspection.calibration.fibre: photo.inspection.calibration for photo in photos}
    hashes = {photo.sha256: photo.likeness for photo in photos if photo.likeness is not None}
    by_key = {photo.sha256: photo for photo in photos}
    return Summary(
        made_at=made_at,
        folders=tuple(folders),
        parts=tuple(parts),
        calibrations=tuple(facts[fibre] for fibre in sorted(facts)),
        problems=tuple(problems),
        repeated=_repeated(photos),
        near=tuple(tuple(by_key[key] for key in group) for group in near_groups(hashes)),
        others=others,
        absent=tuple(absent),
        pareto=pareto(parts),
        reasons=mean_reasons([part.reasons for part in parts]),
        groups=_groups(parts),
        trends=_trends(parts),
        second=second_look(parts, aql),
    )


def _repeated(photos: Sequence[PhotoRow]) -> tuple[Repeated, ...]:
    rows: dict[str, list[PhotoRow]] = defaultdict(list)
    for photo in photos:
        if photo.copies:
            rows[photo.sha256].append(photo)
    return tuple(
        Repeated((some[0].path, *some[0].copies), tuple(sorted({photo.part for photo in some})))
        for some in rows.values()
    )


def pareto(parts: Sequence[PartRow]) -> tuple[ZoneCount, ...]:
    """Return the zones by how many parts they are starved in, most first; a part counts once."""
    counts = []
    for zone in ZONES:
        labels = [_labels(part, zone) for part in parts]
        starved = sum(Label.STARVED in found for found in labels)
        rich = sum(Label.RICH in found for found in labels)
        counts.append((zone, starved, rich, sum(bool(found) for found in labels)))
    counts.sort(key=lambda count: (-count[1], -count[2]))
    total, so_far, made = sum(count[1] for count in counts), 0, []
    for zone, starved, rich, judged in counts:
        so_far += starved
        made.append(ZoneCount(zone, starved, rich, judged, so_far / total if total else 0.0))
    return tuple(made)


def _labels(part: PartRow, zone: str) -> set[Label]:
    return {z.verdict for photo in part.photos for z in photo.judged_zones if z.name == zone}


def _groups(parts: Sequence[PartRow]) -> dict[str, tuple[Group, ...]]:
    traits: dict[str, Callable[[PartRow], str]] = {
        "technician": lambda part: part.joined(lambda photo: photo.by),
        "resin": lambda part: part.joined(lambda photo: photo.resin),
        "fibre": lambda part: part.joined(lambda photo: photo.inspection.calibration.fibre),
        "month": lambda part: part.when[:7],
    }
    made = {}
    for trait, of in traits.items():
        ordered = sorted(parts, key=of)
        rows = tuple(_group(name, list(some)) for name, some in groupby(ordered, key=of))
        if len(rows) > 1:
            made[trait] = rows
    return made


def _group(name: str, parts: Sequence[PartRow]) -> Group:
    judged = [part for part in parts if part.outcome != "not judged"]
    return Group(
        name=name,
        parts=len(parts),
        fails=wilson(sum(part.fails for part in judged), len(judged)) if judged else None,
        starved=mean([part.share_starved for part in judged if part.share_starved is not None]),
        evenness=mean([part.evenness for part in parts if part.evenness is not None]),
        share_judged=mean([part.share_judged for part in parts]) or 0.0,
    )


def _trends(parts: Sequence[PartRow]) -> tuple[Trend, ...]:
    """Return the trends of all parts, and of each technician that has enough for limits."""
    quantities: dict[str, Callable[[PartRow], float | None]] = {
        "share of zones starved": lambda part: part.share_starved,
        "evenness": lambda part: part.evenness,
        "share judged": lambda part: part.share_judged,
    }
    made = [trend(parts, name, of) for name, of in quantities.items()]
    people = sorted({part.joined(lambda photo: photo.by) for part in parts} - {""})
    for who in people if len(people) > 1 else ():
        own = [part for part in parts if part.joined(lambda photo: photo.by) == who]
        found = trend(own, "share of zones starved", lambda part: part.share_starved, who)
        made += [found] if found.chart is not None else []
    return tuple(one for one in made if one.values)


def trend(
    parts: Sequence[PartRow],
    quantity: str,
    of: Callable[[PartRow], float | None],
    whose: str = "",
) -> Trend:
    """Return a quantity over the parts in the order of time; parts without it are left out."""
    known = [(part, value) for part in parts if (value := of(part)) is not None]
    known.sort(key=lambda pair: (pair[0].when, pair[0].part))
    values = [value for _, value in known]
    baseline = min(BASELINE, max(FEWEST, len(values) // 2))
    made, problem = None, ""
    if len(values) <= baseline:
        problem = f"{counted(len(values), 'part')}; limits need {FEWEST + 1} and more"
    else:
        level = level_of_shares(values[:baseline])
        if level.sd <= 1e-9:
            problem = f"the first {baseline} parts are all alike, so no spread is known"
        else:
            made = chart(values[baseline:], level)
    names, times = tuple(part.part for part, _ in known), tuple(part.when for part, _ in known)
    return Trend(quantity, whose, names, times, tuple(values), baseline, made, problem)


def second_look(parts: Sequence[PartRow], aql: float = AQL) -> SecondLook:
    """Return the sampling plan for the parts that pass, and which of them were drawn."""
    passing = [part for part in parts if part.outcome == "pass"]
    if not passing:
        return SecondLook(None, (), 0)
    plan = sampling_plan(len(passing), aql)
    drawn = sorted(passing, key=_lot_number)[: plan.size]
    wrong = wrong_that_pass(plan)
    return SecondLook(plan, tuple(sorted(part.part for part in drawn)), wrong)


def _lot_number(part: PartRow) -> str:
    said = [photo.inspection.calibration.id + photo.sha256 for photo in part.photos]
    return hashlib.sha256("".join(sorted(said)).encode()).hexdigest()
