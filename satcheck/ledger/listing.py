"""Entries as text for a terminal: a list with one line each, one in full, and their trend."""

import json
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from datetime import datetime, tzinfo

from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import Entry, Kind
from satcheck.ledger.recording import stored_inspection
from satcheck.ledger.search import Search
from satcheck.ledger.trend import VERDICTS, Point
from satcheck.ledger.verifying import Report
from satcheck.lines import counted
from satcheck.report import text_report

CORRECTED = "* corrected by a later entry, so it no longer counts; --current leaves it out"
NAME, NOBODY = 12, "(not told)"
"""Signs of a trend's column of names, and what stands there where nobody was named."""
_ROW = "{:<16}  {:<9} {:<10}  {:<14}  {:<10}  {}"
_POINT = " {:>5} {:>7} {:>4} {:>4} {:>5} {:>4} {:>6} {:>6} {:>8}"


def list_lines(
    entries: Iterable[Entry], corrected_by: Callable[[str], str], zone: tzinfo | None = None
) -> Iterator[str]:
    """Yield one line an entry under a header, 80 columns; times by the computer's own clock.

    Parameters
    ----------
    entries : iterable of Entry
    corrected_by : callable
        Returns the id of what corrects an entry, from its id; blank where nothing does.
    zone : tzinfo, optional
        For another clock.
    """
    yield _ROW.format("time", "id", "kind", "part or photo", "verdict", "by")
    marked = False
    for entry in entries:
        is_old = bool(corrected_by(entry.id))
        marked = marked or is_old
        verdict = str(entry.body.get("verdict") or "")
        cells = (entry.kind[:10], shown(_what(entry), 14), shown(verdict, 10), shown(entry.by, 12))
        name = entry.id[:8] + "*" * is_old
        yield _ROW.format(local(entry.made_at, zone), name, *cells).rstrip()
    if marked:
        yield CORRECTED


def trend_text(points: Sequence[Point], period: str, group: str | None = None) -> str:
    """Return one line a point under a header, 80 columns unless two groups begin alike.

    Parameters
    ----------
    points : sequence of Point
    period : str
        What the first column is called.
    group : str, optional
        What is told apart, in the user's word; None leaves its column out.
    """
    names = {} if group is None else _names({point.group or NOBODY for point in points})
    above = ("", "", "", "", "", "", "not", "share", "")
    heads = ("count", *VERDICTS[:-1], "judged", "judged", "evenness")
    rows: list[tuple[str, str, Sequence[object]]] = [
        ("", "", above),
        (period, group or "", heads),
    ]
    for point in points:
        counts = (point.verdicts.get(verdict, 0) for verdict in VERDICTS)
        judged = f"{100 * point.share_judged:.0f} %"
        even = "" if point.evenness is None else f"{point.evenness:.2f}"
        whose = "" if group is None else names[point.group or NOBODY]
        rows.append((point.period, whose, (point.inspections, *counts, judged, even)))
    wide = max([NAME, *map(len, names.values())])
    start = "{:<8}" if group is None else f"{{:<8}} {{:<{wide}}}"
    return "\n".join(
        f"{start.format(when, whose)}{_POINT.format(*cells)}".rstrip()
        for when, whose, cells in rows
    )


def _names(groups: Collection[str]) -> dict[str, str]:
    """Return how each group is shown: cut to its column, whole where two would look the same."""
    cut = {name: shown(name, NAME) for name in groups}
    times = Counter(cut.values())
    return {name: cut[name] if times[cut[name]] == 1 else _whole(name) for name in groups}


def _whole(name: str) -> str:
    """Return all of a name; what a terminal does not show stands there by its code."""
    return name if name.isprintable() else ascii(name)[1:-1]


def _what(entry: Entry) -> str:
    """Return the part's number, else the photo's name."""
    inspection = entry.body.get("inspection")
    photo = inspection.get("photo") if isinstance(inspection, dict) else entry.body
    name = photo.get("name") if isinstance(photo, Mapping) else None
    return str(entry.body.get("part") or name or "")


def entry_text(ledger: Ledger, entry: Entry, zone: tzinfo | None = None) -> str:
    """Return an entry with all that it says; an inspection as it was reported at first."""
    later = ledger.find(Search(corrects=entry.id), limit=None)
    who = f"by {shown(entry.by)}" if entry.by else "(technician not recorded)"
    lines = [
        f"{entry.kind} {entry.id}",
        f"recorded {local(entry.made_at, zone)} {who}",
        *([f"corrects {entry.corrects}"] if entry.corrects else []),
        *(f"CORRECTED by {new.id}: this entry no longer counts" for new in later),
    ]
    if entry.kind == Kind.INSPECTION:
        named = ((key, entry.body.get(key)) for key in ("part", "view", "series", "resin"))
        lines += [f"{key} {shown(str(value))}" for key, value in named if value]
        return "\n".join([*lines, "", text_report(stored_inspection(ledger, entry))])
    body = json.dumps(entry.body, indent=1, ensure_ascii=False)
    return "\n".join([*lines, *(shown(line, len(line)) for line in body.splitlines())])


def verify_text(report: Report) -> str:
    """Return what a check found, and the hash to note for the next one."""
    if report.first:
        who = f" ({report.first.id[:8]})" if report.first.id else ""
        return (
            f"BROKEN at entry {report.first.seq}{who}: {report.first.problem}.\n"
            "What stands before it is whole; keep this file, and go back to a backup."
        )
    entries = counted(report.head.seq, "entry", "entries")
    index = "" if report.index_agrees else (
        "\nThe index for lists is out of step: satcheck ledger verify --reindex makes it again."
    )  # fmt: skip
    return (
        f"Whole: {entries}. Last hash {report.head.hash}\n"
        "Note this hash elsewhere: later, --noted HASH shows that nothing before it was rewritten."
        f"{index}"
    )


def local(time: str, zone: tzinfo | None = None) -> str:
    """Return an entry's time to the minute, by the computer's own clock or in a zone."""
    return datetime.fromisoformat(time).astimezone(zone).strftime("%Y-%m-%d %H:%M")


def shown(text: str, width: int = 80) -> str:
    """Return text that a terminal only shows: nothing in it moves a cursor or hides a line."""
    plain = "".join(sign if sign.isprintable() else "?" for sign in text)
    return plain if len(plain) <= width else f"{plain[: width - 1]}~"
