"""Entries as text for a terminal: a list with one line each, and one entry in full."""

import json
from collections.abc import Iterable, Mapping
from datetime import datetime, tzinfo

from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import Entry, Kind
from satcheck.ledger.recording import stored_inspection
from satcheck.ledger.search import Search
from satcheck.ledger.verifying import Report
from satcheck.report import text_report

_ROW = "{:<16}  {:<8}  {:<10}  {:<14}  {:<10}  {}"


def list_text(entries: Iterable[Entry], zone: tzinfo | None = None) -> str:
    """Return one line an entry under a header, 80 columns; times by the computer's own clock.

    ``zone`` is for another clock.
    """
    lines = [_ROW.format("time", "id", "kind", "part or photo", "verdict", "by")]
    for entry in entries:
        verdict = str(entry.body.get("verdict") or "")
        cells = (entry.kind[:10], shown(_what(entry), 14), shown(verdict, 10), shown(entry.by, 12))
        lines.append(_ROW.format(local(entry.made_at, zone), entry.id[:8], *cells).rstrip())
    return "\n".join(lines)


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
    entries = "1 entry" if report.head.seq == 1 else f"{report.head.seq} entries"
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
