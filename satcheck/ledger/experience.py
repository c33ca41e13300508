"""The shop's own experience, from the weighings and gelled mixes that its ledger holds."""

from dataclasses import dataclass
from typing import Any

from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import Kind
from satcheck.ledger.search import Search
from satcheck.resin.experience import (
    Prediction,
    ResinUse,
    WorkingTime,
    predict_resin,
    predict_working_time,
    prediction_to_json,
)
from satcheck.resin.mix_sheet import MixSheet

MOST_RECORDS = 1000
"""Newest records that a prediction rests on: resins and habits change (own rule)."""


@dataclass(frozen=True)
class Experience:
    """What the shop's records say of a mix that is planned."""

    resin: Prediction
    """What the part will take, with what the bag takes and without what stays in the cup, g."""
    working_time: Prediction | None
    """Minutes to gel; None where no temperature was told."""


def experience(
    ledger: Ledger, sheet: MixSheet, fibre: str | None, temperature: float | None = None
) -> Experience:
    """Return what earlier parts of the same fibre and resin took, and how soon the resin gelled.

    Parameters
    ----------
    ledger : Ledger
    sheet : MixSheet
        Of the part that is planned.
    fibre : str or None
        The fibre's name as it was weighed; None has no experience.
    temperature : float, optional
        °C.
    """
    uses = () if fibre is None else resin_uses(ledger, sheet.resin.name, fibre)
    times = () if temperature is None else working_times(ledger, sheet.resin.name)
    return Experience(
        predict_resin(uses, sheet.mix.fabric),
        None
        if temperature is None
        else predict_working_time(times, temperature, sheet.mix.parts_promoter or 0.0),
    )


def resin_uses(ledger: Ledger, resin: str, fibre: str) -> tuple[ResinUse, ...]:
    """Return dry fabric and resin used of each part weighed with its mix, newest first.

    A cup that nobody weighed was not empty: such a part is left out.
    """
    search = Search(kind=Kind.WEIGHING, resin=resin, fibre=fibre, current=True)
    found = (
        e.body["sheet"]["weighings"]
        for e in ledger.find(search, limit=MOST_RECORDS)
        if "cup" in e.body["entries"]["masses"]
    )
    return tuple(
        ResinUse(float(w["fabric"]), float(w["mixed"]) - float(w["cup"]))
        for w in found
        if w["mixed"] is not None and w["mixed"] > w["cup"]
    )


def working_times(ledger: Ledger, resin: str) -> tuple[WorkingTime, ...]:
    """Return how long each mix of a resin took to gel, where its temperature is known."""
    search = Search(kind=Kind.GEL_CLOCK, resin=resin, current=True)
    found = (e.body for e in ledger.find(search, limit=MOST_RECORDS))
    return tuple(
        WorkingTime(float(b["minutes"]), float(b["temperature"]), float(b["promoter"]))
        for b in found
        if b.get("event") == "gelled" and b.get("temperature") is not None
    )


def experience_sentences(found: Experience) -> tuple[str, ...]:
    """Return what the records say, or why they say nothing."""
    told = (found.resin, found.working_time)
    return tuple(each.sentence for each in told if each is not None)


def experience_to_json(found: Experience) -> dict[str, Any]:
    """Return the predictions as plain values."""
    time = found.working_time
    return {
        "resin": prediction_to_json(found.resin),
        "working_time": None if time is None else prediction_to_json(time),
    }
