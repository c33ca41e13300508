"""An audit as text for a terminal, as CSV for a spreadsheet and as JSON for programs."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from satcheck.audit.rows import PartRow, PhotoRow, photo_headline
from satcheck.audit.summary import SUPPORTS, Group, Summary, Trend
from satcheck.audit.wording import (
    absent_sentence,
    alike_sentence,
    judged_sentence,
    listed,
    others_sentence,
    outcome_sentence,
    pareto_sentence,
    percent,
    same_file_sentence,
    second_sentences,
    trend_sentence,
)
from satcheck.ledger.listing import shown
from satcheck.lines import wrapped
from satcheck.model import ZONES, Label, ZoneVerdict
from satcheck.tables import unformula

SCHEMA = "satcheck.audit/1"
MOST_ROWS = 60
"""Parts that the terminal lists; the files hold all."""

_ROW = "{:<16} {:<11} {:>7} {:>6}  {}"
PART_COLUMNS = (
    *("part", "outcome", "verdict", "where", "share_judged", "evenness", "photos", "views"),
    *("views_without_photo", "technician", "resin", "when", "by_weight", "weight_and_photo"),
    *("not_judged", "fibre", "calibration", "promise", "caution"),
)
PHOTO_COLUMNS = (
    *("part", "part_from", "view", "photo", "copies", "sha256", "verdict", "headline"),
    *("share_judged", "evenness", "why_not_judged", "technician", "resin", "when", "when_from"),
    *(f"zone {zone}" for zone in ZONES),
    *("advice", "ledger_entry", "fibre", "calibration", "promise", "version", "caution"),
    "mind",
)


def text(found: Summary) -> str:
    """Return the audit for a terminal: ASCII but for names, 80 columns but for paths."""
    lines = [outcome_sentence(found), ""]
    lines += [_ROW.format("part", "verdict", "judged", "photos", "where").rstrip()]
    lines += [_text_row(part) for part in found.parts[:MOST_ROWS]]
    if len(found.parts) > MOST_ROWS:
        lines.append(f"... {len(found.parts) - MOST_ROWS} more in parts.csv")
    second = second_sentences(found.second, found.count("fail"), found.count("not judged"))
    said = [
        judged_sentence(found),
        pareto_sentence(found),
        *(trend_sentence(one) for one in found.trends if one.chart is not None),
        *second,
    ]
    if found.second.plan is not None and not found.second.plan.is_all:
        said.insert(-1, f"Drawn: {listed(found.second.parts, 20)}.")
    lines += ["", *(wrapped(shown(line, len(line))) for line in said), ""]
    lines += [*_contradicted(found), *_twice(found), *(wrapped(line) for line in found.statement)]
    return "\n".join([*lines, *_unreadable(found)])


def _text_row(part: PartRow) -> str:
    verdict = part.verdict.word.upper() if part.fails else part.verdict.word
    where = part.where or (part.open if part.outcome == "not judged" else "")
    cells = (shown(part.part, 16), verdict, percent(part.share_judged), len(part.photos))
    indent = " " * len(_ROW.format("", "", "", "", ""))
    row = _ROW.format(*cells, shown(where, len(where))).rstrip()
    return wrapped(row, indent)


def _contradicted(found: Summary) -> list[str]:
    """Return which photos show the card of another part."""
    photos = found.contradicted
    lines = [f"Mind: {shown(p.path, 200)}: {shown(p.mind, 240)}" for p in photos[:MOST_ROWS]]
    if len(photos) > MOST_ROWS:
        lines.append(f"... {len(photos) - MOST_ROWS} more in photos.csv")
    return [*lines, ""] if lines else []


def _twice(found: Summary) -> list[str]:
    """Return which parts and photos are there twice, or nearly."""
    lines = [shown(alike_sentence(names), 240) for names in found.alike]
    lines += [shown(same_file_sentence(same), 240) for same in found.repeated]
    for group in found.near:
        numbers = {photo.part for photo in group}
        across = " UNDER DIFFERENT PARTS" if len(numbers) > 1 else ""
        names = listed([photo.path for photo in group])
        lines.append(f"Nearly the same photo{across}: {shown(names, 200)}")
    if len(lines) > MOST_ROWS:
        lines = [*lines[:MOST_ROWS], f"... {len(lines) - MOST_ROWS} more in audit.json"]
    return [*lines, ""] if lines else []


def _unreadable(found: Summary) -> list[str]:
    lines = []
    if found.absent:
        lines.append(shown(absent_sentence(found), 400))
    if found.others:
        lines.append(others_sentence(found))
    if found.problems:
        lines.append(f"NOT READ ({len(found.problems)}):")
    lines += [
        f"  {shown(problem.name, 200)}: {shown(problem.sentence, 300)}"
        for problem in found.problems
    ]
    return ["", *lines] if lines else []


def parts_csv(found: Summary) -> str:
    """Return one line a part; text is never taken for a formula."""
    return _csv(PART_COLUMNS, map(_part_values, found.parts))


def photos_csv(found: Summary) -> str:
    """Return one line a photo; text is never taken for a formula."""
    return _csv(PHOTO_COLUMNS, map(_photo_values, found.photos))


def _csv(columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([unformula(row[column]) for column in columns] for row in rows)
    return stream.getvalue()


def _part_values(part: PartRow) -> dict[str, Any]:
    facts = [photo.inspection.calibration for photo in part.photos]
    return {
        "part": part.part,
        "outcome": part.outcome,
        "verdict": part.verdict.word,
        "where": part.where,
        "share_judged": round(part.share_judged, 4),
        "evenness": None if part.evenness is None else round(part.evenness, 4),
        "photos": len(part.photos),
        "views": part.joined(lambda photo: photo.view),
        "views_without_photo": ", ".join(part.unseen),
        "technician": part.joined(lambda photo: photo.by),
        "resin": part.joined(lambda photo: photo.resin),
        "when": part.when,
        "by_weight": None if part.scale is None else part.scale.weight,
        "weight_and_photo": None if part.scale is None else part.scale.sentence,
        "not_judged": part.open,
        "fibre": part.joined(lambda photo: photo.inspection.calibration.fibre),
        "calibration": part.joined(lambda photo: photo.inspection.calibration.id),
        "promise": " ".join(sorted({one.promise for one in facts})),
        "caution": SUPPORTS,
    }


def _photo_values(photo: PhotoRow) -> dict[str, Any]:
    inspection = photo.inspection
    evenness, facts = inspection.evenness, inspection.calibration
    zones = {zone.name: zone for zone in inspection.zones}
    return {
        "part": photo.part,
        "part_from": photo.part_from,
        "view": photo.view,
        "photo": photo.path,
        "copies": "; ".join(photo.copies),
        "sha256": photo.sha256,
        "verdict": photo.verdict.word,
        "headline": photo_headline(photo),
        "share_judged": round(inspection.share_judged, 4),
        "evenness": None if evenness is None else round(evenness.value, 4),
        "why_not_judged": _reasons(inspection.reasons),
        "technician": photo.by,
        "resin": photo.resin,
        "when": photo.when,
        "when_from": "record" if photo.is_when_recorded else "photo",
        **{f"zone {name}": _zone(zones.get(name)) for name in ZONES},
        "advice": " ".join(inspection.advice),
        "ledger_entry": photo.entry,
        "fibre": facts.fibre,
        "calibration": facts.id,
        "promise": facts.promise,
        "version": inspection.version,
        "caution": SUPPORTS,
        "mind": photo.mind,
    }


def _zone(zone: ZoneVerdict | None) -> str:
    return Label.NOT_JUDGED.word if zone is None else zone.verdict.word


def _reasons(reasons: Mapping[str, float]) -> str:
    return ", ".join(f"{word} {percent(share)}" for word, share in reasons.items())


def as_json(found: Summary) -> dict[str, Any]:
    """Return the audit as plain values, ready for ``json.dumps``."""
    plan = found.second.plan
    return {
        "schema": SCHEMA,
        "made_at": found.made_at,
        "folders": list(found.folders),
        "statement": list(found.statement),
        "counts": {
            "parts": len(found.parts),
            "photos": len(found.photos),
            **{outcome: found.count(outcome) for outcome in ("fail", "pass", "not judged")},
        },
        "share_judged": found.share_judged,
        "not_judged": dict(found.reasons),
        "zones": [vars(zone) | {} for zone in found.pareto],
        "groups": {
            trait: [_group(group) for group in groups] for trait, groups in found.groups.items()
        },
        "trends": [_trend(one) for one in found.trends],
        "second_look": {
            "plan": None if plan is None else vars(plan) | {},
            "parts": list(found.second.parts),
            "lets_pass": found.second.lets_pass,
        },
        "parts": [
            _part_values(part)
            | {"photos": [_photo_values(photo) | {"copies": list(photo.copies)}
                          for photo in part.photos]}
            for part in found.parts
        ],
        "spelled_alike": [list(names) for names in found.alike],
        "same_file": [list(same.paths) for same in found.repeated],
        "nearly_the_same": [[photo.path for photo in group] for group in found.near],
        "not_read": [vars(problem) | {} for problem in found.problems],
        "passed_over": found.others,
        "not_in_folders": list(found.absent),
    }  # fmt: skip


def _group(group: Group) -> dict[str, Any]:
    return vars(group) | {"fails": None if group.fails is None else vars(group.fails) | {}}


def _trend(one: Trend) -> dict[str, Any]:
    made = one.chart
    return {
        "quantity": one.quantity,
        "technician": one.whose or None,
        "parts": list(one.parts),
        "times": list(one.times),
        "values": list(one.values),
        "baseline": one.baseline,
        "ewma": None if made is None else [float(value) for value in made.ewma],
        "limits": None if made is None else list(made.limits),
        "moved_since": None if one.alarm is None else one.parts[one.alarm],
        "problem": one.problem or None,
    }
