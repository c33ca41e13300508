"""What to look for in a ledger."""

from dataclasses import dataclass, fields

from satcheck.ledger.entries import storable


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
    by: str | None = None
    since: str | None = None
    until: str | None = None
    current: bool = False

    def sql(self) -> tuple[str, tuple[str, ...]]:
        """Return the condition on ``lookup`` and its values."""
        terms, values = ["1"], []
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
                terms.append(f'lookup."{field.name}" = ?')
            values.append(storable(value))
        if self.current:
            terms.append("NOT lookup.superseded")
        return " AND ".join(terms), tuple(values)
