"""``satcheck ledger``: list, show, count, export, back up, merge and verify records."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from itertools import chain, islice
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from satcheck.cli.common import DEFECT, bar, complain, help_where_alone, say, say_lines
from satcheck.cli.recording import DEFAULT, now
from satcheck.errors import UsageError
from satcheck.lines import counted

if TYPE_CHECKING:
    from satcheck.ledger.book import Ledger
    from satcheck.ledger.search import Search

ledger = typer.Typer(
    invoke_without_command=True,
    callback=help_where_alone,
    rich_markup_mode=None,
    help="Records: what was judged, by whom and when. Nothing in them is changed or deleted.",
)


class Verdict(StrEnum):
    """The words of a verdict."""

    STARVED = "starved"
    LEAN = "lean"
    GOOD = "good"
    HEAVY = "heavy"
    RICH = "rich"
    NOT_JUDGED = "not judged"


class Period(StrEnum):
    """What the points of a trend are."""

    MONTH = "month"
    WEEK = "week"


class Group(StrEnum):
    """What a trend is told apart by."""

    TECHNICIAN = "technician"
    RESIN = "resin"
    CALIBRATION = "calibration"
    FIBRE = "fibre"


LedgerOption = Annotated[
    Path,
    typer.Option("--ledger", metavar="FILE", help="The ledger; satcheck.ledger here if not given."),
]
KindOption = Annotated[
    str | None, typer.Option(metavar="WORD", help="Only this kind, such as inspection.")
]
PartOption = Annotated[str | None, typer.Option(metavar="NUMBER", help="Only this part.")]
VerdictOption = Annotated[Verdict | None, typer.Option(help="Only this verdict.")]
ByOption = Annotated[str | None, typer.Option(metavar="NAME", help="Only what this person said.")]
ResinOption = Annotated[str | None, typer.Option(metavar="NAME", help="Only this resin.")]
SinceOption = Annotated[
    str | None, typer.Option(metavar="TIME", help="From this year, month, day or minute on.")
]
UntilOption = Annotated[
    str | None, typer.Option(metavar="TIME", help="To the end of this year, month, day or minute.")
]
CurrentOption = Annotated[
    bool, typer.Option("--current", help="Leave out what was corrected later.")
]
NameArgument = Annotated[str, typer.Argument(metavar="ID", help="The id, or its first digits.")]
WhoOption = Annotated[str, typer.Option("--by", metavar="NAME", help="Who does this.")]


@ledger.command("list")
def list_(
    file: LedgerOption = DEFAULT,
    kind: KindOption = None,
    part: PartOption = None,
    verdict: VerdictOption = None,
    by: ByOption = None,
    resin: ResinOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    current: CurrentOption = False,
    limit: Annotated[int, typer.Option(metavar="N", min=1, help="How many at most.")] = 50,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print CSV instead.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead.")] = False,
) -> None:
    """List entries, newest first. Times are those of this computer's clock."""
    from satcheck.ledger.exporting import csv_lines, json_lines
    from satcheck.ledger.listing import list_lines

    _check_form(as_csv=as_csv, as_json=as_json)
    search = _search(kind, part, verdict, by, resin, since, until, current=current)
    with _reading(file) as opened:
        most = min(limit, sys.maxsize - 1)  # SQLite takes no more
        found = opened.newest(search, most + 1)
        first, by_what = next(found, None), opened.corrected_by
        shown = () if first is None else chain([first], islice(found, most - 1))
        lines_of = csv_lines if as_csv else json_lines if as_json else list_lines
        if first is None and lines_of is list_lines:
            say("No such entry.")
        else:
            say_lines(lines_of(shown, by_what))
        is_cut = next(found, None) is not None
    if is_cut:
        complain(f"Only the newest {limit} are listed; --limit N lists more, export all.")


@ledger.command()
def show(
    name: NameArgument,
    file: LedgerOption = DEFAULT,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead.")] = False,
) -> None:
    """Show one entry in full."""
    from satcheck.ledger.exporting import json_text
    from satcheck.ledger.listing import entry_text

    with _reading(file) as opened:
        entry = opened.entry(name)
        say(json_text(entry) if as_json else entry_text(opened, entry))


@ledger.command()
def trend(
    file: LedgerOption = DEFAULT,
    period: Annotated[Period, typer.Option(help="One line a month, or an ISO week.")] = (
        Period.MONTH
    ),
    group: Annotated[Group | None, typer.Option(help="One line for each of these.")] = None,
    by: ByOption = None,
    resin: ResinOption = None,
    since: Annotated[
        str | None, typer.Option(metavar="TIME", help="From this year, month or week on.")
    ] = None,
    until: Annotated[
        str | None, typer.Option(metavar="TIME", help="To the end of this year, month or week.")
    ] = None,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print CSV instead.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead.")] = False,
) -> None:
    """Count verdicts by month or week.

    Oldest first, corrected inspections as corrected. Months and weeks are those of UTC; weeks are
    written as 2026-W10. Share judged and evenness are means.
    """
    from satcheck.ledger.exporting import trend_csv_lines, trend_json_text
    from satcheck.ledger.listing import trend_text
    from satcheck.ledger.trend import trend as points_of

    _check_form(as_csv=as_csv, as_json=as_json)
    told_by = "by" if group is Group.TECHNICIAN else group and group.value
    only = {key: value for key, value in (("by", by), ("resin", resin)) if value is not None}
    with _reading(file) as opened:
        points = points_of(opened, period.value, group=told_by, since=since, until=until, **only)
    if as_csv or as_json:
        say("\n".join(trend_csv_lines(points)) if as_csv else trend_json_text(points))
    elif points:
        say(trend_text(points, period.value, group and group.value))
    else:
        say("No such inspection." if only or since or until else "No inspection is recorded.")


@ledger.command()
def export(
    out: Annotated[
        Path, typer.Argument(metavar="OUT", help="New file; its name ends in .csv or .json.")
    ],
    file: LedgerOption = DEFAULT,
    kind: KindOption = None,
    part: PartOption = None,
    verdict: VerdictOption = None,
    by: ByOption = None,
    resin: ResinOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    current: CurrentOption = False,
) -> None:
    """Write entries as a table for a spreadsheet, or as JSON. Oldest first."""
    from satcheck.ledger.exporting import write_export

    search = _search(kind, part, verdict, by, resin, since, until, current=current)
    with _reading(file) as opened:
        write_export(opened.matching(search), opened.corrected_by, out)
    say(f"Exported to {out}.")


@ledger.command()
def backup(
    out: Annotated[Path, typer.Argument(metavar="OUT", help="New file for the copy.")],
    file: LedgerOption = DEFAULT,
) -> None:
    """Copy the ledger and its photos, whole. Others may go on writing."""
    from satcheck.ledger.copying import backup as copy

    with _reading(file) as opened:
        photos = copy(opened, out)
    say(f"Backed up to {out}; {photos} new photos copied beside it.")


@ledger.command()
def merge(
    other: Annotated[Path, typer.Argument(metavar="OTHER", help="The ledger to take from.")],
    file: LedgerOption = DEFAULT,
    by: WhoOption = "",
) -> None:
    """Take another ledger's entries that this one lacks, all or none. The other stays as it is.

    A merge that was stopped leaves this ledger whole; the same command goes on.
    """
    from satcheck.ledger.book import open_ledger
    from satcheck.ledger.copying import merge as take

    with _reading(other) as source, open_ledger(file, now) as target:
        merged = take(target, source, by)
    added, photos = counted(merged.added, "entry", "entries"), counted(merged.photos, "photo")
    say(f"{added} added, {merged.known} there before; {photos} copied.")
    if merged.disputed:
        names = ", ".join(id_[:8] for id_ in merged.disputed)
        say(f"Corrected otherwise in each ledger, so that both corrections count: {names}.")


@ledger.command()
def verify(
    file: LedgerOption = DEFAULT,
    noted: Annotated[
        str | None, typer.Option(metavar="HASH", help="A last hash that you noted earlier.")
    ] = None,
    photos: Annotated[bool, typer.Option("--photos", help="Also read every photo.")] = False,
    reindex: Annotated[
        bool, typer.Option("--reindex", help="Make the index for lists again first.")
    ] = False,
) -> None:
    """Check that no entry was changed, lost, added or moved.

    Exit status: 0 whole; 1 an entry is broken, and the first one is named; 2 not readable.
    """
    from satcheck.ledger.book import open_ledger
    from satcheck.ledger.listing import verify_text
    from satcheck.ledger.verifying import verify as check

    if reindex:
        with open_ledger(file, now, create=False) as opened:
            opened.reindex()
    with _reading(file) as opened, bar("entries") as show:
        report = check(opened, noted=noted, photos=photos, on_progress=show)
    say(verify_text(report))
    raise typer.Exit(DEFECT if report.first else 0)


@contextmanager
def _reading(file: Path) -> "Iterator[Ledger]":
    from satcheck.ledger.book import read_ledger

    with read_ledger(file) as opened:
        yield opened


def _check_form(*, as_csv: bool, as_json: bool) -> None:
    if as_csv and as_json:
        raise UsageError("--csv and --json: a list is printed as one of them")


def _search(
    kind: str | None,
    part: str | None,
    verdict: Verdict | None,
    by: str | None,
    resin: str | None,
    since: str | None,
    until: str | None,
    *,
    current: bool,
) -> "Search":
    from satcheck.ledger.search import Search, first_and_last, kind_of

    return Search(
        kind=None if kind is None else kind_of(kind),
        part=part,
        verdict=None if verdict is None else verdict.value,
        by=by,
        resin=resin,
        since=None if since is None else first_and_last(since)[0],
        until=None if until is None else first_and_last(until)[1],
        current=current,
    )
