"""Mix sheets and weighings as a page sends them: read, worked out, kept in the ledger, shown.

What the page shows is always made from what the ledger holds, so that a reload shows the same.
"""

from collections.abc import Mapping
from threading import Lock
from typing import Any

from satcheck.cautions import WEIGHING, cautions_for
from satcheck.errors import UsageError
from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import Entry, Kind
from satcheck.ledger.experience import experience, experience_sentences
from satcheck.ledger.sheets import (
    TEMPERATURE,
    SheetContext,
    newest_sheet,
    record_mix,
    record_weighing,
    stored_mix,
    stored_weighing,
)
from satcheck.mix_card import mix_card
from satcheck.model import VERDICT_ORDER
from satcheck.resin.balance import DOUBT, LINES
from satcheck.resin.mix import figure_text, percent_text, scale_text
from satcheck.resin.mix_sheet import MixSheet, make_mix_sheet
from satcheck.resin.uncertainty import doubt_text
from satcheck.resin.units import parse
from satcheck.resin.weigh_sheet import WeighSheet, make_weigh_sheet
from satcheck.resin_and_photo import beside, beside_text
from satcheck.web.phrases import phrased
from satcheck.web.store import Kept, Listed, Store
from satcheck.web.typed import (
    Typed,
    as_on_a_page,
    fields_of,
    mix_entries,
    read_typed,
    weigh_entries,
)
from satcheck.web.words import WORDS, say


class Grams:
    """The sheets of all parts."""

    def __init__(self, ledger: Ledger, store: Store) -> None:
        self._ledger, self._store = ledger, store
        self._lock = Lock()  # of two sheets at once the second takes the place of the first

    def save(self, kind: Kind, sent: Mapping[str, Any]) -> dict[str, Any]:
        """Keep a mix sheet or a weighing and return what the page shows of it.

        Raises
        ------
        WrongFieldError
            If a figure is missing or cannot be; nothing is kept then.
        UsageError
            If the page sent something else.
        """
        typed = read_typed(kind, sent)
        try:
            with self._lock:
                entry = self._mix(typed) if kind is Kind.MIX else self._weigh(typed)
        except UsageError as error:
            raise as_on_a_page(str(error), kind) from error
        return self._shown(entry)

    def of_part(self, part: str) -> dict[str, Any]:
        """Return both sheets of a part, None where there is none, and the fibre of its photos."""
        photos = self._store.of_part(part)
        sheets = {
            word: self._shown_or_none(newest_sheet(self._ledger, kind, part))
            for word, kind in KINDS.items()
        }
        return {"fibre": photos[-1].fibre if photos else None, **sheets}

    def by_weight(self, part: str) -> str | None:
        """Return the word for a part's weighing; None where it was not weighed."""
        entry = newest_sheet(self._ledger, Kind.WEIGHING, part)
        return None if entry is None else entry.body["sheet"]["by_weight"] or "none"

    def card(self, part: str) -> bytes | None:
        """Return the card to print of a part's mix (PDF, A6); None where there is none."""
        entry = newest_sheet(self._ledger, Kind.MIX, part)
        return None if entry is None else mix_card(stored_mix(entry))

    def beside_photo(self, kept: Kept) -> dict[str, str] | None:
        """Return what the scale says beside one photo; None where the part was not weighed."""
        entry = newest_sheet(self._ledger, Kind.WEIGHING, kept.part)
        try:
            sheet = None if entry is None else stored_weighing(entry)
        except UsageError:
            return None
        return None if sheet is None else self._beside(sheet, kept)

    def _mix(self, typed: Typed) -> Entry:
        entries, warm = mix_entries(typed), typed.entries.get("temperature")
        temperature = None if warm is None else parse(warm, TEMPERATURE, "--temperature")
        context = SheetContext(part=typed.part, request=typed.id)
        return record_mix(self._ledger, entries, make_mix_sheet(entries), context, temperature)

    def _weigh(self, typed: Typed) -> Entry:
        entries = weigh_entries(typed)
        context = SheetContext(part=typed.part, request=typed.id)
        return record_weighing(self._ledger, entries, make_weigh_sheet(entries), context)

    def _shown_or_none(self, entry: Entry | None) -> dict[str, Any] | None:
        """Return a sheet; None for one that another face recorded and a page cannot show."""
        try:
            return None if entry is None else self._shown(entry)
        except UsageError:
            return None

    def _shown(self, entry: Entry) -> dict[str, Any]:
        old = None if entry.corrects is None else self._ledger.entry(entry.corrects)
        facts = {"saved": entry.made_at, "replaces": None if old is None else old.made_at}
        if entry.kind == Kind.MIX:
            sheet = stored_mix(entry)
            temperature = entry.body.get("temperature")
            found = experience(self._ledger, sheet, entry.body.get("fibre"), temperature)
            told = {
                **mix_shown(sheet),
                "experience": [phrased(s) for s in experience_sentences(found)],
            }
            return {**facts, **told, "what": _what(sheet, entry), "fields": fields_of(entry)}
        weighed = stored_weighing(entry)
        photos = self._photos(weighed, str(entry.body.get("part", "")))
        return {**facts, **weigh_shown(weighed), "photos": photos, "fields": fields_of(entry)}

    def _photos(self, sheet: WeighSheet, part: str) -> list[dict[str, Any]]:
        """Return what scale and photo say together, for the newest photo of each view."""
        newest = {listed.view: listed for listed in self._store.of_part(part)}
        found = [self._beside(sheet, listed) for listed in newest.values()]
        worst_first = [label.word for label in VERDICT_ORDER]
        return sorted(
            (each for each in found if each is not None),
            key=lambda each: worst_first.index(each["verdict"]),
        )

    def _beside(self, sheet: WeighSheet, listed: Listed) -> dict[str, str] | None:
        inspection = self._store.inspection(listed)
        both = beside(sheet, inspection)
        if both is None:
            return None
        names = ("id", "view", "time")
        facts = {name: str(getattr(listed, name)) for name in names}
        return {**facts, "verdict": inspection.verdict.word, "sentence": beside_text(both)}


KINDS: Mapping[str, Kind] = {"mix": Kind.MIX, "weigh": Kind.WEIGHING}
"""What the page calls the two sheets."""


def mix_shown(sheet: MixSheet) -> dict[str, Any]:
    """Return what a page shows of a mix: the amounts first, then what to mind, then the sums."""
    made = sheet.mix
    shares = {"hardener": made.parts_hardener, "promoter": made.parts_promoter}
    weighed = {"promoter": made.promoter, "hardener": made.hardener}
    rows = [{"word": "resin", "grams": scale_text(made.resin), "how": ""}]
    rows += [
        {"word": word, "grams": figure_text(grams), "how": say("amount_share", share=f"{share:g}")}
        for word, grams in weighed.items()
        if grams and (share := shares[word]) is not None
    ]
    reach = say("amount_range", low=scale_text(made.low), high=scale_text(made.high))
    rows.append({"word": "in all", "grams": scale_text(made.total), "how": reach})
    return {
        "amounts": rows,
        "warnings": list(made.warnings),
        "sums": [f"{s.words}: {figure_text(s.value)} {s.unit} ({s.how})" for s in made.steps],
        "cautions": [phrased(each.words) for each in sheet.cautions],
        "limits": [f"{each.substance}: {each.limit} ({each.source})" for each in sheet.limits],
    }


def weigh_shown(sheet: WeighSheet) -> dict[str, Any]:
    """Return what a page shows of a weighing: whether it is enough, then every figure."""
    results, target = sheet.balance.results, sheet.target
    resin, fraction = results["resin"], results["volume_fraction"]
    wanted = "" if target is None else say(
        "weight_wanted",
        **_rounded(100 * fraction.value, 100 * DOUBT * fraction.u),
        low=percent_text(target.low),
        high=percent_text(target.high),
    )  # fmt: skip
    return {
        "by_weight": sheet.by_weight or "none",
        "resin": say("weight_resin", **_rounded(resin.value, DOUBT * resin.u)),
        "wanted": wanted,
        "figures": [_figure(key, each.value, each.u) for key, each in results.items()],
        "warnings": list(sheet.balance.warnings),
        "cautions": [phrased(each.words) for each in cautions_for(WEIGHING)],
    }


def _what(sheet: MixSheet, entry: Entry) -> str:
    """Return what a mix is for, so that a wrong fibre is seen before it is weighed out."""
    target, resin = sheet.mix.target, sheet.resin.name
    return say(
        "mix_what",
        fabric=f"{sheet.mix.fabric:g}",
        fibre=entry.body.get("fibre", ""),
        resin=WORDS.get(f"resin_{resin}", resin),
        low=percent_text(target.low),
        high=percent_text(target.high),
    )


def _rounded(value: float, doubt: float) -> dict[str, str]:
    """Return value and doubt with as many digits as the doubt has a use for."""
    digits = 0 if doubt >= 0.95 else 1
    return {"value": f"{value:.{digits}f}", "doubt": doubt_text(doubt, digits)}


def _figure(key: str, value: float, u: float) -> str:
    line = LINES[key]
    doubt = doubt_text(DOUBT * u * line.factor, line.digits)
    shown = f"{value * line.factor:.{line.digits}f} ± {doubt}"
    return f"{say(f'figure_{key}')}: {shown} {line.unit}".rstrip()
