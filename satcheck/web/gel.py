"""The gel clock: minutes that a technician entered from the resin's data sheet, counted down.

It knows no chemistry. Heat, promoter, peroxide and batch change the working time; the data sheet
and the shop's own log come first. Starts and stops are in the ledger, so that every phone shows
the same clock, and a record of the part holds it.
"""

import math
from collections.abc import Callable
from datetime import UTC, datetime

from satcheck.errors import UsageError
from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import Draft, Kind
from satcheck.ledger.search import Search
from satcheck.web.words import say

LEAST_MINUTES, MOST_MINUTES = 1.0, 240.0
"""Working times that a data sheet may give; beyond them a slip of the thumb (own rule)."""

FORGET_SECONDS = 12 * 3600.0
"""So long after its start a clock that nobody stopped is yesterday's (own rule)."""


class Clocks:
    """The clocks of the parts, one a part."""

    def __init__(self, ledger: Ledger, now: Callable[[], datetime]) -> None:
        self._ledger, self._now = ledger, now

    def start(self, part: str, minutes: object) -> None:
        """Start a part's clock now.

        Raises
        ------
        UsageError
            If the working time is not a number of minutes from 1 to 240.
        """
        is_number = isinstance(minutes, int | float) and not isinstance(minutes, bool)
        value = float(minutes) if is_number else math.nan  # type: ignore[arg-type]
        if not LEAST_MINUTES <= value <= MOST_MINUTES:
            raise UsageError(say("gel_bad"))
        self._record({"part": part, "event": "start", "minutes": value})

    def stop(self, part: str) -> None:
        """Stop a part's clock."""
        if self.seconds_left(part) is not None:
            self._record({"part": part, "event": "stop"})

    def seconds_left(self, part: str) -> float | None:
        """Return the seconds that are left of a part's working time; None where no clock runs.

        Negative where the time is over.
        """
        found = self._ledger.find(Search(kind=Kind.GEL_CLOCK, part=part), limit=1)
        if not found or found[0].body.get("event") != "start":
            return None
        begun = datetime.fromisoformat(found[0].made_at)
        gone = (self._now().astimezone(UTC) - begun).total_seconds()
        return None if gone > FORGET_SECONDS else 60 * float(found[0].body["minutes"]) - gone

    def _record(self, body: dict[str, object]) -> None:
        self._ledger.append(Draft(Kind.GEL_CLOCK, body))
