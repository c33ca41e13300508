"""What to look for in a ledger."""

from dataclasses import dataclass, fields
from datetime import datetime, timedelta, tzinfo

from satcheck.errors import UsageError
from satcheck.ledger.entries import Kind, storable, timestamp

_FORMS = {4: "%Y", 7: "%Y-%m", 10: "%Y-%m-%d", 16: "%Y-%m-%dT%H:%M"}
"""How a time may be typed, by its length."""
SHARPEST = (
    "request", "photo", "corrects", "series", "part", "calibration", "by", "resin", "verdict",
    "kind",
)  # fmt: skip
"""What an entry is looked up by, the word that fewest entries share first (own rule).

Without this SQLite may look through all starved entries for one technician's: 1.4 s in a million.
"""


@dataclass(frozen=True)
class Search:
    """Which entries to find; None asks for anything.

    Attributes
    ----------
    since, until : str or None
        Time or its beginning, as in "2026-03" or "2026-03-04T05:06"; both ends are included.
    photo : str or None
        sha256 of the photo's own bytes.
    current : bool
        Leave out what a later entry corrects.
    """

    kind: str | None = None
    part: str | None = None
    view: str | None = None
    series: str | None = None
    photo: str | None = None
    calibration: str | None = None
    fibre: str | None = None
    resin: str | None = None
    verdict: str | None = None
    request: str | None = None
    corrects: str | None = None
    by: str | None = None
    since: str | None = None
    until: str | None = None
    current: bool = False

    def sql(self) -> tuple[str, tuple[str, ...]]:
        """Return the condition on ``lookup`` and its values."""
        terms, values = ["1"], []
        sharpest = next((name for name in SHARPEST if getattr(self, name) is not None), None)
        for field in fields(self):
            value = getattr(self, field.name)
            if value is None or field.name == "current":
                continue
            if field.name == "since":
                terms.append("lookup.made_at >= ?")
            elif field.name == "until":
                terms.append("lookup.made_at < ?")
                value += "~"  # stands behind every sign of a time: all that begins so is included
            else:
                # A + keeps SQLite from the indexes of words that many entries share.
                held = "+" if field.name in SHARPEST and field.name != sharpest else ""
                terms.append(f'{held}lookup."{field.name}" = ?')
            values.append(storable(value))
        if self.current:
            terms.append("NOT lookup.superseded")
        return " AND ".join(terms), tuple(values)


def kind_of(word: str) -> Kind:
    """Return a kind by its word; raise UsageError, with those that there are, for another."""
    for kind in Kind:
        if kind.value == word.strip().lower():
            return kind
    raise UsageError(f"{word!r} is no kind of entry; allowed are {', '.join(Kind)}")


def first_and_last(text: str, zone: tzinfo | None = None) -> tuple[str, str]:
    """Return the first and the last moment of a year, month, day or minute, for a search.

    Parameters
    ----------
    text : str
        2026, 2026-03, 2026-03-04 or 2026-03-04T05:06.
    zone : tzinfo, optional
        Where that is meant; by the computer's own clock if None.

    Raises
    ------
    UsageError
        If it is no such time.
    """
    typed = text.strip().replace(" ", "T")
    try:
        start = datetime.strptime(typed, _FORMS[len(typed)])
        last = _next(start, len(typed)) - timedelta(microseconds=1)
        return (
            timestamp(start.replace(tzinfo=zone).astimezone()),
            timestamp(last.replace(tzinfo=zone).astimezone()),
        )
    except (LookupError, ValueError, OverflowError, OSError) as error:
        raise UsageError(
            f"{text!r} is no time; allowed are 2026, 2026-03, 2026-03-04 and 2026-03-04T05:06"
        ) from error


def _next(start: datetime, length: int) -> datetime:
    """Return when the next year, month, day or minute begins."""
    if length == 4:
        return start.replace(year=start.year + 1)
    if length == 7:
        months = start.year * 12 + start.month
        return start.replace(year=months // 12, month=months % 12 + 1)
    return start + (timedelta(days=1) if length == 10 else timedelta(minutes=1))
