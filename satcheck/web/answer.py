"""What the page shows of a kept photo, as plain values, from its record alone."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from satcheck.judgement.advice import describe_zones
from satcheck.model import VIEWS, Inspection, Label
from satcheck.series.align import align
from satcheck.series.change import change, summary
from satcheck.series.coverage import coverage
from satcheck.series.trend import trends
from satcheck.stringing.plan import plan
from satcheck.stringing.whole_part import whole_part
from satcheck.web.phrases import on_a_page, phrased, worded
from satcheck.web.store import Kept, Listed, Store
from satcheck.web.words import say

MOST_SERIES = 12
"""Photos of one view that the trend goes back (own rule): more do not fit a phone."""


RULE_PARTS = ("sentence", "reason", "caution", "origin")


def answer(kept: Kept) -> dict[str, Any]:
    """Return the verdict on one photo: what is read first, at arm's length."""
    record = kept.record
    word = str(record["verdict"])
    return {
        **_facts(kept),
        "verdict": word,
        "where": _where(record, word),
        "advice": [phrased(on_a_page(told)) for told in record["advice"]],
        "retake": word == Label.NOT_JUDGED.word,
        "demo": bool(record["calibration"]["is_demo"]),
        "share_judged": record["share_judged"],
        "width": record["photo"]["width"],
        "height": record["photo"]["height"],
        "card_note": _card_note(kept),
        "runs_out_note": say("runs_out") if record.get("cut") else "",
    }


def series_answer(kept: Kept, store: Store, minutes: float | None) -> dict[str, Any]:
    """Return what the earlier photos of the part add, and what to do next.

    Parameters
    ----------
    kept : Kept
        The photo that is looked at.
    store : Store
        Holds the other photos of its part.
    minutes : float or None
        Left of the working time, where the gel clock runs.
    """
    of_part = store.of_part(kept.part)
    until = [one for one in of_part if one.time < kept.time]
    same = [one for one in until if (one.view, one.fibre) == (kept.view, kept.fibre)]
    same = [*same, kept][-MOST_SERIES:]
    series = [store.inspection(one) for one in same]
    return {
        "photos": [
            {**_facts(one), "verdict": made.verdict.word}
            for one, made in zip(same, series, strict=True)
        ],
        "zones": _zones(series),
        "change": _change(series),
        "views": _views(of_part, store),
        "plan": _plan(series[-1], minutes),
    }


def today(kept: Sequence[Kept]) -> list[dict[str, Any]]:
    """Return the parts of a day, the one photographed last first, each with its views' series."""
    parts: dict[str, list[Kept]] = defaultdict(list)
    for one in kept:
        parts[one.part].append(one)
    newest_first = sorted(parts.values(), key=lambda photos: photos[-1].time, reverse=True)
    return [_part_today(photos) for photos in newest_first]


def _part_today(photos: Sequence[Kept]) -> dict[str, Any]:
    views: dict[str, list[Kept]] = {view: [] for view in VIEWS}
    for one in photos:
        views.setdefault(one.view, []).append(one)
    return {
        "part": photos[-1].part,
        "fibre": photos[-1].fibre,
        "newest": answer(photos[-1]),
        "views": [
            {
                "view": view,
                "photos": [{**_facts(one), "verdict": one.record["verdict"]} for one in shots],
            }
            for view, shots in views.items()
        ],
    }


def _facts(kept: Listed) -> dict[str, Any]:
    names = ("id", "part", "view", "fibre", "time")
    return {name: getattr(kept, name) for name in names}


def _where(record: Mapping[str, Any], word: str) -> str:
    """Return the zones that named the verdict, in words."""

    def named(label: str) -> list[str]:
        return [zone["name"] for zone in record["zones"] if zone["verdict"] == label]

    if word in (Label.GOOD.word, Label.NOT_JUDGED.word) or not named(word):
        return ""
    rich = named(Label.RICH.word) if word == Label.STARVED.word else []
    also = say("also_rich", zones=worded(describe_zones(rich))) if rich else ""
    return worded(describe_zones(named(word))) + also


def _card_note(kept: Kept) -> str:
    card = kept.record.get("card") or {}
    if card.get("problem"):
        return str(card["problem"])
    told = card.get("part")
    if told and str(told).strip().casefold() != kept.part.casefold():
        return say("card_part", part=told, typed=kept.part)
    return ""


def _zones(series: Sequence[Inspection]) -> list[dict[str, Any]]:
    found = trends(series) if series else ()
    verdicts = [{zone.name: zone.verdict.word for zone in one.zones} for one in series]
    return [
        {
            "zone": trend.zone,
            "words": [each.get(trend.zone, Label.NOT_JUDGED.word) for each in verdicts],
            "places": [
                {"photo": p.photo, "place": p.place, "starved": p.starved, "rich": p.rich}
                for p in trend.points
            ],
            "trend": trend.word,
        }
        for trend in found
    ]


def _change(series: Sequence[Inspection]) -> list[str]:
    if len(series) < 2:
        return [say("first_photo")]
    earlier, later = series[-2:]
    found = summary(change(earlier, later, align(earlier, later)))
    return [phrased(told) for told in found]


def _views(of_part: Sequence[Listed], store: Store) -> dict[str, Any]:
    newest = {one.view: one for one in of_part if one.view in VIEWS}
    # While the resin moves, only the newest photo of a view tells how it looks now.
    shown = {view: store.inspection(one) for view, one in newest.items()}
    seen = coverage({view: [one] for view, one in shown.items()})
    whole = whole_part({view: plan(one) for view, one in shown.items()})
    return {
        "sentences": [phrased(told) for told in seen.sentences],
        "whole": phrased(whole),
        "views": [
            {
                "view": view,
                "verdict": shown[view].verdict.word if view in shown else None,
                "id": newest[view].id if view in newest else None,
            }
            for view in VIEWS
        ],
    }


def _plan(now: Inspection, minutes: float | None) -> dict[str, Any]:
    found = plan(now, minutes)
    named = {zone.name for zone in now.zones if zone.verdict is now.verdict}
    # The line under the verdict speaks of the zones that named it, the list below of them all.
    moves = found.moves if found.state == "string" else ()
    towards = [move.sentence for move in moves if {move.source, move.target} & named]
    return {
        "state": found.state,
        "first": phrased((towards or [*found.sentences, ""])[0]),
        "sentences": [phrased(told) for told in found.sentences],
        "rules": [
            {name: phrased(getattr(rule, name)) for name in RULE_PARTS} for rule in found.rules
        ],
        "caveat": phrased(found.caveat),
    }
