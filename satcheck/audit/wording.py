"""What an audit found, in sentences that terminal, page and sheet share."""

from collections.abc import Sequence

from satcheck.audit.summary import EACH, Group, Repeated, SecondLook, Summary, Trend
from satcheck.lines import counted
from satcheck.report import whole_percent

MANY = 6
"""So many of a list are named before the rest is counted."""

CHANCE = "as up to 1 of 3 rows in order warn so within 30 parts"
"""How often a trend warns falsely: `control.level_of_shares`."""


def percent(share: float | None) -> str:
    """Return a share in whole percent; only all is 100 % and only none is 0 %."""
    return "-" if share is None else whole_percent(share)


def listed(names: Sequence[str], most: int = MANY) -> str:
    """Return names with commas, the rest counted."""
    rest = len(names) - most
    return ", ".join(names[:most]) + (f" and {rest} more" if rest > 0 else "")


def outcome_sentence(found: Summary) -> str:
    """Return how many parts fail, pass and could not be judged."""
    parts = counted(len(found.parts), "part")
    photos = counted(len(found.photos), "photo")
    return (
        f"{parts} in {photos}: {found.count('fail')} fail, {found.count('pass')} pass, "
        f"{found.count('not judged')} not judged."
    )


def judged_sentence(found: Summary) -> str:
    """Return the share not judged, and why."""
    worth = [f"{word} {percent(share)}" for word, share in found.reasons.items() if share >= 0.005]
    why = f" ({listed(worth, 4)})" if worth else ""
    return f"Not judged: {percent(1 - found.share_judged)} of the parts as seen{why}."


def pareto_sentence(found: Summary) -> str:
    """Return which zones starve most."""
    starved = [zone for zone in found.pareto if zone.starved]
    if not starved:
        return "No judged zone is starved."
    worst = starved[:3]
    ties = sum(zone.starved == worst[-1].starved for zone in starved[3:])
    said = [f"{zone.zone} ({zone.starved} of {counted(zone.judged, 'part')})" for zone in worst]
    more = f"; {counted(ties, 'more zone')} as often as the last" if ties else ""
    return f"Starved most often: {', '.join(said)}{more}."


def trend_sentence(found: Trend) -> str:
    """Return whether a quantity has moved, and since which part."""
    name = f"{found.quantity.capitalize()}{f', {found.whose}' if found.whose else ''}"
    if found.chart is None:
        return f"{name}: no limits yet ({found.problem})."
    if found.alarm is None:
        later = counted(len(found.values) - found.baseline, "part")
        return f"{name}: has not moved in the {later} since the first {found.baseline}."
    chart, at = found.chart, found.alarm
    way = chart.way(at - found.baseline)
    part = f"part {found.parts[at]} ({found.times[at][:10]})"
    if chart.alarms[-1] and chart.way(-1) == way:
        told = f"{name}: has moved {way} since {part}"
    else:
        now = chart.way(-1) if chart.alarms[-1] else "within its limits"
        told = f"{name}: had moved {way} at {part}, and is {now} now"
    return f"{told}; look for the cause, {CHANCE}."


def second_sentences(second: SecondLook, failing: int, unjudged: int) -> tuple[str, ...]:
    """Return who should be looked at again, by plan and by verdict."""
    first = _without_plan(failing, unjudged)
    plan = second.plan
    if plan is None:
        return first, EACH
    if plan.is_all:
        drawn = f"Of the {plan.lot} that pass, look at all: the plan asks for as many (AQL "
        return first, f"{drawn}{plan.aql:g} %, ISO 2859-1, level II, normal, single).", EACH
    allowed = "none is" if plan.accept == 0 else f"at most {plan.accept} are"
    return (
        first,
        f"Of the {plan.lot} that pass, look at {plan.size} (ISO 2859-1, level II, normal, single, "
        f"AQL {plan.aql:g} %, letter {plan.letter}). Where {allowed} found starved or rich, the "
        f"lot stands; else look at all. With {second.wrong} of the {plan.lot} wrong it still "
        "passes one time in ten or more.",
        EACH,
    )


def _without_plan(failing: int, unjudged: int) -> str:
    """Return which parts are looked at again whatever the plan says."""
    fail = "the one that fails" if failing == 1 else f"the {failing} that fail"
    rest = "the one not judged" if unjudged == 1 else f"the {unjudged} not judged"
    named = [words for count, words in ((failing, fail), (unjudged, rest)) if count]
    return f"Look at {' and '.join(named)}." if named else "None fails, and all were judged."


def same_file_sentence(same: Repeated) -> str:
    """Return which files have the same bytes, and whether they stand for several parts."""
    if len(same.parts) > 1:
        return f"The same file UNDER DIFFERENT PARTS ({listed(same.parts)}): {listed(same.paths)}"
    counted_for = ", ".join(same.parts)
    times = "twice" if len(same.paths) == 2 else f"{len(same.paths)} times"
    return f"The same file {times}, counted once for part {counted_for}: {listed(same.paths)}"


def alike_sentence(names: Sequence[str]) -> str:
    """Return that parts may be one, in several spellings; each may pass where the whole fails."""
    return (
        f"Spelled alike, counted as {len(names)} parts: {listed(names)}. If they are one, write "
        "its number in one way (--table): its worst photo decides."
    )


def absent_sentence(found: Summary) -> str:
    """Return which photos the table names that were not audited, as they lie elsewhere."""
    photos = counted(len(found.absent), "photo")
    return f"NOT IN THESE FOLDERS: {photos} of the table: {listed(found.absent)}"


def others_sentence(found: Summary) -> str:
    """Return how many files were no photos."""
    files = counted(found.others, "file that is no photo", "files that are no photos")
    return f"Passed over: {files}."


def group_row(group: Group) -> tuple[str, ...]:
    """Return a technician's, resin's, fibre's or month's row, as `GROUP_HEAD`."""
    fails = "-"
    if group.fails is not None:
        low, high = 100 * group.fails.low, 100 * group.fails.high
        fails = f"{percent(group.fails.value)} ({low:.0f}-{high:.0f})"
    even = "-" if group.evenness is None else f"{group.evenness:.2f}"
    return (
        *(group.name or "not named", str(group.parts), fails),
        *(percent(group.starved), even, percent(group.share_judged)),
    )


GROUP_HEAD = ("", "parts", "fail (95 %)", "zones starved", "evenness", "judged")
