"""A study's result as short tables and sentences: what terminal and page both show."""

from dataclasses import dataclass

from satcheck.lines import counted, wrapped
from satcheck.statistics.agreement import Kappa
from satcheck.statistics.control import DECISION, SLACK, WEIGHT, WIDTH
from satcheck.statistics.gauge import Gauge
from satcheck.statistics.intervals import percent_up
from satcheck.studies.agreement import AgreementStudy, Held, Misses, Pair
from satcheck.studies.detection import DetectionStudy, round_up
from satcheck.studies.drift import REMEDIES, DriftStudy, Watched
from satcheck.studies.ratings import OUTCOMES
from satcheck.studies.repeatability import RepeatabilityStudy
from satcheck.studies.shifts import QUANTITIES


@dataclass(frozen=True)
class Table:
    """A heading, a head row, and rows of words; all but the first column are numbers."""

    heading: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Summary:
    """What a study says: its meaning first."""

    title: str
    sentence: str
    cautions: tuple[str, ...]
    tables: tuple[Table, ...]
    notes: tuple[str, ...]
    """How it was computed, and after whom."""


def as_text(summary: Summary) -> str:
    """Return a summary as plain text for a terminal, the tables first and the meaning last."""
    lines: list[str] = []
    for table in summary.tables:
        rows = (table.head, *table.rows)
        widths = [max(len(row[k]) for row in rows) for k in range(len(table.head))]
        lines += [f"{table.heading}:"]
        lines += [
            "  " + "  ".join(f"{cell:<{w}}" if k == 0 else f"{cell:>{w}}"
                             for k, (cell, w) in enumerate(zip(row, widths, strict=True)))
            for row in rows
        ]  # fmt: skip
        lines.append("")
    return "\n".join([*lines, *map(wrapped, (summary.sentence, *summary.cautions))])


def summarise_agreement(study: AgreementStudy) -> Summary:
    """Return the kappas, the dangerous misses, and what they mean."""
    pairs = [*study.pairs, *([study.pooled] if study.pooled else [])]
    several = [("all inspectors together", study.between)] if study.between else []
    groups = [*several, *((f"{rater} with own repeats", k) for rater, k in study.within.items())]
    tables = []
    if pairs:
        near = () if pairs[0].weighted is None else ("near misses",)
        over = ("raters", "kappa", "95 % interval", "parts", "ratings", "same", *near)
        tables.append(Table("Two by two (Cohen)", over, tuple(map(_pair_row, pairs))))
    if groups:
        rows = tuple((name, *_kappa_cells(kappa)) for name, kappa in groups)
        head = ("raters", "kappa", "95 % interval", "parts", "items", "same")
        tables.append(Table("Together (Fleiss)", head, rows))
    if study.held:
        bad = "rejected" if study.words == OUTCOMES else "starved"
        head = ("rater", "same every time", "95 % interval", "steady", f"{bad} missed",
                f"{bad} wrongly")  # fmt: skip
        tables.append(
            Table(f"Held against {study.against}", head, tuple(map(_held_row, study.held)))
        )
    cautions = []
    if study.misses is not None and study.misses.parts:
        cautions.append(_missed(study.misses, study.words))
    if study.strangers:
        pairs_left = ", ".join(f"{first} and {second}" for first, second in study.strangers)
        cautions.append(
            f"Not compared, as they have judged no part, zone and trial in common: {pairs_left}."
        )
    for rater, count in study.not_judged.items():
        cautions.append(f"{rater}: not judged in {count} of the ratings, which are left out.")
    return Summary(
        title="Agreement of inspectors",
        sentence=study.sentence,
        cautions=tuple(cautions),
        tables=tuple(tables),
        notes=(
            "Kappa is agreement beyond chance: 1 is full, 0 is what chance gives (Cohen 1960, "
            "Fleiss 1971). Near misses: kappa that counts a neighbouring state in part (linear "
            "weights, Cicchetti & Allison 1971).",
            "The interval counts every part once, however many zones or repeats it has. From 0.75 "
            "kappa is taken for good, below 0.40 for poor (AIAG, Measurement Systems Analysis).",
        ),
    )


def _missed(misses: Misses, words: tuple[str, ...]) -> str:
    """Return how often the tool passed what most inspectors did not."""
    bad, passed = ("Rejected", "accepted") if words == OUTCOMES else ("Starved", "good or heavier")
    return (
        f"{bad} by most inspectors, {passed} by the tool: {misses.missed} of {misses.parts} parts; "
        f"at most {percent_up(misses.bound)} % of parts like these, with 95 % confidence."
    )


def _held_row(held: Held) -> tuple[str, ...]:
    interval = held.share_same
    return (
        held.rater,
        f"{held.same} of {held.items}",
        "" if interval is None else f"{100 * interval.low:.0f} to {100 * interval.high:.0f} %",
        f"{held.steady} of {held.items}",
        f"{held.missed} of {held.starved}",
        f"{held.false} of {held.others}",
    )


def _pair_row(pair: Pair) -> tuple[str, ...]:
    near = () if pair.weighted is None else (_number(pair.weighted.value),)
    return (f"{pair.first} - {pair.second}", *_kappa_cells(pair.kappa), *near)


def _kappa_cells(kappa: Kappa) -> tuple[str, ...]:
    interval = "" if kappa.low is None else f"{kappa.low:.2f} to {kappa.high:.2f}"
    return (
        _number(kappa.value), interval,
        str(kappa.parts), str(kappa.items), f"{100 * kappa.agreement:.0f} %",
    )  # fmt: skip


def _number(value: float | None) -> str:
    return "undefined" if value is None else f"{value:.2f}"


def summarise_repeatability(study: RepeatabilityStudy) -> Summary:
    """Return the spreads by both methods, and what they mean."""
    both = (study.by_range, study.anova.gauge)
    rows = [
        ("same person again (EV)", *(_sd(g.repeatability, g) for g in both)),
        ("person to person (AV)", *(_sd(g.reproducibility, g) for g in both)),
        ("photo and person (GRR)", *(_sd(g.gauge, g) for g in both)),
        ("part to part (PV)", *(_sd(g.part, g) for g in both)),
        ("all (TV)", *(f"{g.total:.4g}" for g in both)),
        ("groups told apart (ndc)", *(_groups(g) for g in both)),
    ]
    pooled = "added to repeatability" if study.anova.is_pooled else "counted with the persons"
    return Summary(
        title="Repeatability of photos",
        sentence=study.sentence,
        cautions=tuple(said for said in (_width(study), study.caution) if said),
        tables=(
            Table(
                f"{study.parts} parts, {len(study.persons)} persons, {study.trials} photos each",
                ("standard deviation (share)", "average and range", "analysis of variance"),
                tuple(rows),
            ),
        ),
        notes=(
            "Crossed gauge study after AIAG, Measurement Systems Analysis. Shares are of the "
            "total; their squares add up. Below 10 % is good, above 30 % too much, and 5 groups "
            "are wanted.",
            f"Interaction of person and part: p = {study.anova.p_interaction:.2f}, {pooled}. The "
            "shares depend on the parts: take some from starved to rich.",
        ),
    )


def _width(study: RepeatabilityStudy) -> str:
    """Return how near photos read; blank where nothing varied, which tells nothing of it."""
    if study.anova.gauge.share is None:
        return ""
    return (
        f"95 % of photos of a part read within ±{study.within:.3g} of its average, and no more "
        f"than {study.below:.3g} too low, with 95 % confidence."
    )


def _sd(value: float, gauge: Gauge) -> str:
    share = "" if not gauge.total else f" ({100 * value / gauge.total:.1f} %)"
    return f"{value:.4g}{share}"


def _groups(gauge: Gauge) -> str:
    if gauge.share is None:
        return "not told"
    return "no limit" if gauge.categories is None else str(gauge.categories)


def summarise_detection(study: DetectionStudy) -> Summary:
    """Return the sizes that are found, and what they mean."""
    told, unit = study.result, study.unit
    rows = [
        ("patches tried", str(told.trials)),
        ("found", str(told.hits)),
        (f"sizes tried, {unit}", f"{told.smallest:g} to {told.largest:g}"),
        (f"found 50 in 100 (a50), {unit}", _size(told.a50)),
        (f"found 90 in 100 (a90), {unit}", _size(told.a90)),
        (f"the same, 95 % confident (a90/95), {unit}", _size(told.a90_95, up=True)),
    ]
    if told.parts is not None:
        rows.insert(1, ("parts", str(told.parts)))
    cautions = [sentence for sentence in told.missing if sentence not in study.sentence]
    if told.is_separated and told.trouble != "falls":
        cautions.append(
            "No found patch is smaller than a missed one: the curve is Firth's penalised "
            "one, and more patches between the two will move it."
        )
    if told.effect > 1:
        cautions.append(
            f"Patches of one part are alike: {told.effect:.1f} of them are worth one, and the "
            "bound is wider for it."
        )
    scale = "size" if told.line is None or told.line.scale == "linear" else "logarithm of size"
    return Summary(
        title="Detection of starved patches",
        sentence=study.sentence,
        cautions=tuple(cautions),
        tables=(Table("Hit or miss by size", ("", "result"), tuple(rows)),),
        notes=(
            f"Logistic curve over the {scale}, bound by the likelihood ratio (MIL-HDBK-1823A). "
            "It speaks of patches, light and people like those of the study. Another curve or "
            "scale moves the bound by some per cent.",
        ),
    )


def _size(value: float | None, *, up: bool = False) -> str:
    if value is None:
        return "not told"
    if value <= 0:
        return "below all sizes"
    return f"{round_up(value):g}" if up else f"{value:.3g}"


def summarise_drift(study: DriftStudy) -> Summary:
    """Return where each quantity stands, and the likely cause where one has moved."""
    rows = tuple(_watched_row(study, watched) for watched in study.watched)
    first = [f"What moved: {cause.why}." for cause in study.causes[:1]]
    verdicts = [study.verdicts] if study.verdicts else []
    others = [
        f"Also possible: {cause.word} ({cause.why}). Do: {cause.remedy}."
        for cause in study.causes[1:]
    ]
    unwatched = [f"{w.name} is not watched: {w.problem}." for w in study.watched if w.problem]
    return Summary(
        title="Drift of the measurement",
        sentence=study.sentence,
        cautions=(*first, *verdicts, *others, *unwatched),
        tables=(
            Table(
                f"{counted(len(study.shifts), 'shift')}, level from the first {study.baseline}",
                ("quantity", "level", "now", "allowed", "CUSUM", "warns since"),
                rows,
            ),
        ),
        notes=(
            f"EWMA (weight {WEIGHT:g}, limits at {WIDTH:g} standard deviations of the average) and "
            f"CUSUM (slack {SLACK:g}, warns above {DECISION:g}). Now: the average of late. A level "
            "from few shifts is uncertain: with 20, a quantity in order warns falsely within the "
            "next 30 shifts in about 1 of 7 drawn rows. Look for the cause, then start a new row.",
            "What moved names the likely cause: " + "; ".join(
                f"{name}, {QUANTITIES[name]}: {word}" for name, (word, _) in REMEDIES.items()
            ) + ".",
        ),
    )  # fmt: skip


def _watched_row(study: DriftStudy, watched: Watched) -> tuple[str, ...]:
    made = watched.chart
    if made is None:
        return (watched.name, "", "", "", "", "not watched")
    low, high = made.limits
    first = None if watched.alarm is None else study.shifts[watched.alarm]
    worst = max(float(made.high[-1]), float(made.low[-1]))
    return (
        watched.name, f"{made.level.target:.4g}", f"{made.ewma[-1]:.4g}",
        f"{low:.4g} to {high:.4g}", f"{worst:.1f}",
        "" if first is None else first.taken or first.name,
    )  # fmt: skip
