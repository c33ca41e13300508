"""The gel clock: minutes that a technician entered from the resin's data sheet, counted down.

It knows no chemistry. Heat, promoter, peroxide and batch change the working time; the data sheet
and the shop's own log come first. Starts and stops are in the ledger, so that every phone shows
the same clock, and a record of the part holds it.
"""

import math
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

from satcheck.errors import UsageError
from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import Draft, Entry, Kind, timestamp
from satcheck.ledger.search import Search
from satcheck.ledger.sheets import newest_sheet
from satcheck.web.words import say

LEAST_MINUTES, MOST_MINUTES = 1.0, 240.0
"""Working times that a data sheet may give; beyond them a slip of the thumb (own rule)."""

FORGET_SECONDS = 12 * 3600.0
"""So long after its start a clock that nobody stopped is yesterday's (own rule)."""


class _Running(NamedTuple):
    """A clock that runs: its working time in minutes, and the seconds since its start."""

    minutes: float
    gone: float


class Clocks:
    """The clocks of the parts, one a part."""

    def __init__(
        self,
        ledger: Ledger,
        now: Callable[[], datetime],
        ticks: Callable[[], float] = time.monotonic,
    ) -> None:
        self._ledger, self._now, self._ticks = ledger, now, ticks
        self._begun: dict[str, float] = {}
        """Ticks at the start of the clocks that started here, by the id of their entry."""

    def start(self, part: str, minutes: object) -> None:
        """Start a part's clock now.

        Raises
        ------
        UsageError
            If the working time is not a number of minutes from 1 to 240, or the clock runs: to
            start it anew, from a phone that did not know, would give the mix more time than it has.
        """
        is_number = isinstance(minutes, int | float) and not isinstance(minutes, bool)
        value = float(minutes) if is_number else math.nan  # type: ignore[arg-type]
        if not LEAST_MINUTES <= value <= MOST_MINUTES:
            raise UsageError(say("gel_bad"))
        if self._running(part) is not None:
            raise UsageError(say("gel_runs"))
        entry = self._record({"part": part, "event": "start", "minutes": value})
        self._begun[entry.id] = self._ticks()

    def gelled(self, part: str) -> float | None:
        """Note that a part's mix has gelled now; return the minutes, None where no clock ran.

        Its mix sheet tells resin, promoter and temperature, so that the shop learns from it.
        """
        running = self._running(part)
        if running is None:
            return None
        minutes = round(running.gone / 60, 2)
        event = {"part": part, "event": "gelled", "minutes": minutes}
        self._record({**event, **self._mixed(part, running)})
        return minutes

    def stop(self, part: str) -> None:
        """Stop a part's clock."""
        if self._running(part) is not None:
            self._record({"part": part, "event": "stop"})

    def seconds_left(self, part: str) -> float | None:
        """Return the seconds that are left of a part's working time; None where no clock runs.

        Negative where the time is over.
        """
        running = self._running(part)
        return None if running is None else 60 * running.minutes - running.gone

    def _running(self, part: str) -> _Running | None:
        found = self._ledger.find(Search(kind=Kind.GEL_CLOCK, part=part), limit=1)
        if not found or found[0].body.get("event") != "start":
            return None
        begun = datetime.fromisoformat(found[0].made_at)
        gone = (self._now().astimezone(UTC) - begun).total_seconds()
        ticked = self._begun.get(found[0].id)
        # The computer's clock may be set, and ticks stop while it sleeps: more is gone for sure.
        gone = gone if ticked is None else max(gone, self._ticks() - ticked)
        if not 0 <= gone <= FORGET_SECONDS:
            return None
        return _Running(float(found[0].body["minutes"]), gone)

    def _mixed(self, part: str, running: _Running) -> dict[str, object]:
        """Return what the part's mix sheet says of this mix; an older sheet is of another one."""
        sheet = newest_sheet(self._ledger, Kind.MIX, part)
        oldest = self._now().astimezone(UTC) - timedelta(seconds=running.gone + FORGET_SECONDS)
        if sheet is None or sheet.made_at < timestamp(oldest):
            return {}
        told = {
            "resin": sheet.body["resin"],
            "promoter": sheet.body["sheet"]["parts_promoter"] or 0.0,
            "temperature": sheet.body.get("temperature"),
        }
        return {key: value for key, value in told.items() if value is not None}

    def _record(self, body: dict[str, object]) -> Entry:
        return self._ledger.append(Draft(Kind.GEL_CLOCK, body))
