"""What labelled zones showed: the evidence behind a fibre's bounds, kept with them.

Each row comes from an index that did not see the zone's part, or says that it did. Rows are small,
so a calibration keeps them: new parts can be added to them later without the old photos.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from satcheck.model import SCALE, Label

WHOLE = "whole part"
"""Zone of a row on a part that was accepted without a word on its zones."""

EDGES: tuple[float, ...] = tuple(round(0.02 * k, 2) for k in range(-25, 31))
"""Bounds between lean and good that are tried, of the saturation index."""

NOT_EVEN_LEAN = (Label.GOOD, Label.HEAVY, Label.RICH)
"""What a starved zone may not be called."""


@dataclass(frozen=True)
class ZoneEvidence:
    """One labelled zone of one photo.

    Attributes
    ----------
    part, file : str
    photo : str
        sha256 of the photo.
    zone : str
        Of ``parts_table.ZONE_WORDS``, or ``WHOLE``.
    label, called : Label
        What the shop says, and what the bounds say.
    edge : float
        The smallest of ``EDGES`` from which on, as the bound between lean and good, the zone is
        not called good or heavier; infinite where none does it.
    index, visibility : float
        Medians of the zone's saturation index and weave visibility; NaN where unmeasured.
    seen : bool
        Whether the index was fitted with the part, as the others were too little to fit: no promise
        counts it.
    """

    part: str
    file: str
    photo: str
    zone: str
    label: Label
    called: Label
    edge: float
    index: float
    visibility: float
    seen: bool = False

    @property
    def name(self) -> str:
        """Return how a message names it."""
        return f"{self.file}, {self.zone} (part {self.part})"

    @property
    def is_judged(self) -> bool:
        """Return whether the photo let the zone be judged at all."""
        return self.called is not Label.NOT_JUDGED


def worst_by_part(rows: Iterable[ZoneEvidence]) -> dict[str, ZoneEvidence]:
    """Return of each part the starved zone that looks least so; parts without one are left out."""
    worst: dict[str, ZoneEvidence] = {}
    for row in rows:
        if row.label is Label.STARVED and row.is_judged:
            known = worst.get(row.part)
            if known is None or row.edge > known.edge:
                worst[row.part] = row
    return worst


def tally(rows: Iterable[ZoneEvidence]) -> dict[Label, Counter[Label]]:
    """Return how often zones of each label were called what, without those that the index saw."""
    found = {label: Counter[Label]() for label in SCALE}
    for row in rows:
        if not row.seen:
            found[row.label][row.called] += 1
    return {label: calls for label, calls in found.items() if calls}


def good_sentence(rows: Iterable[ZoneEvidence]) -> str:
    """Return how zones labelled good were called, in a sentence; blank where there are none."""
    calls = tally(rows).get(Label.GOOD)
    if calls is None:
        return ""
    mild = calls[Label.LEAN] + calls[Label.HEAVY]
    wrong = calls[Label.STARVED] + calls[Label.RICH]
    lost = f", {calls[Label.NOT_JUDGED]} not judged" if calls[Label.NOT_JUDGED] else ""
    return (
        f"Zones labelled good: {calls[Label.GOOD]} of {calls.total()} called good, {mild} lean or "
        f"heavy, {wrong} starved or rich{lost}."
    )


def under(row: ZoneEvidence, lean: float) -> ZoneEvidence:
    """Return a row with what it is called where the bound between lean and good is another."""
    if row.called not in (Label.LEAN, *NOT_EVEN_LEAN):
        return row
    if row.edge <= lean:
        return replace(row, called=Label.LEAN)
    return replace(row, called=Label.GOOD) if row.called is Label.LEAN else row


def row_to_table(row: ZoneEvidence) -> dict[str, Any]:
    """Return a row as plain values; ``seen`` is left out where it is false."""
    words = {"label": row.label.word, "called": row.called.word}
    numbers = {"index": round(row.index, 4), "visibility": round(row.visibility, 5)}
    table = vars(row) | words | numbers
    return table if row.seen else {key: value for key, value in table.items() if key != "seen"}


def row_from_table(entry: Mapping[str, Any]) -> ZoneEvidence:
    """Return the row that plain values hold.

    Raises
    ------
    KeyError, TypeError, ValueError
        If one is missing or is none.
    """
    row = ZoneEvidence(
        part=str(entry["part"]),
        file=str(entry["file"]),
        photo=str(entry["photo"]),
        zone=str(entry["zone"]),
        label=_label(entry["label"]),
        called=_label(entry["called"]),
        edge=float(entry["edge"]),
        index=float(entry["index"]),
        visibility=float(entry["visibility"]),
        seen=bool(entry.get("seen", False)),
    )
    if row.label not in SCALE or row.called is Label.OUTSIDE or row.edge != row.edge:
        raise ValueError(f"the evidence on {row.name} has no state or no edge")
    return row


def _label(word: str) -> Label:
    return Label[word.upper().replace(" ", "_")]
