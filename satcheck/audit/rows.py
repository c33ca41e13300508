"""An audit's photos and parts as rows, from the ledger's records alone."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from satcheck.audit.found import Found
from satcheck.flags import largest_first
from satcheck.judgement.advice import describe_zones
from satcheck.ledger.entries import Entry
from satcheck.model import VERDICT_ORDER, VIEWS, Inspection, Label, ZoneVerdict
from satcheck.record import inspection_from_json
from satcheck.report import exit_status, headline, main_reason, whole_percent
from satcheck.resin_and_photo import Beside

FAULTS = (Label.STARVED, Label.RICH)
BEFORE_CARD = ("table", "record")
"""What names a part before the card in its photo does."""


@dataclass(frozen=True, eq=False)
class PhotoRow:
    """One photo and its verdict."""

    path: str
    copies: tuple[str, ...]
    """Further files with the same bytes."""
    part: str
    part_from: str
    """Where the part's number is from: table, record, card, file name, sub-folder, photo alone."""
    view: str
    """Blank where it is not known."""
    by: str
    resin: str
    when: str
    """ISO 8601: when the photo was taken, local time; else when it was recorded, UTC."""
    is_when_recorded: bool
    entry: str
    """Id of the ledger's entry."""
    inspection: Inspection
    """Without label map and cells."""
    likeness: int | None
    """Difference hash; None where no picture tells it."""

    @property
    def sha256(self) -> str:
        """Return the photo's sha256."""
        return self.inspection.photo.sha256

    @property
    def verdict(self) -> Label:
        """Return the photo's verdict."""
        return self.inspection.verdict

    @property
    def fails(self) -> bool:
        """Return whether a zone is starved or rich."""
        return exit_status(self.inspection) == 1

    @property
    def mind(self) -> str:
        """Return that the card in the photo names another part; blank where it does not."""
        card, source = self.inspection.card, self.part_from
        if card is None or source not in BEFORE_CARD or not card.names_another(self.part):
            return ""
        return (
            f"The card in the photo says part {card.part}, the {source} says {self.part}: the "
            f"{source} counts."
        )

    @property
    def judged_zones(self) -> tuple[ZoneVerdict, ...]:
        """Return the zones of which anything was judged."""
        return tuple(z for z in self.inspection.zones if z.verdict is not Label.NOT_JUDGED)

    def zones(self, label: Label) -> tuple[str, ...]:
        """Return the names of the zones of a label."""
        return tuple(zone.name for zone in self.inspection.zones if zone.verdict is label)


@dataclass(frozen=True, eq=False)
class PartRow:
    """One part and all its photos, in the order of views, then names."""

    part: str
    photos: tuple[PhotoRow, ...]
    scale: Beside | None
    """The scale's verdict beside the worst photo's, where the ledger holds a weighing."""

    @property
    def worst(self) -> PhotoRow:
        """Return the photo with the worst verdict."""
        return min(self.photos, key=lambda photo: VERDICT_ORDER.index(photo.verdict))

    @property
    def verdict(self) -> Label:
        """Return the worst verdict of the photos."""
        return self.worst.verdict

    @property
    def fails(self) -> bool:
        """Return whether a zone is starved or rich in any photo."""
        return any(photo.fails for photo in self.photos)

    @property
    def outcome(self) -> str:
        """Return fail, pass or not judged."""
        if self.fails:
            return "fail"
        return "not judged" if self.verdict is Label.NOT_JUDGED else "pass"

    @property
    def share_judged(self) -> float:
        """Return the mean share judged of the photos, 0 to 1."""
        return mean([photo.inspection.share_judged for photo in self.photos]) or 0.0

    @property
    def evenness(self) -> float | None:
        """Return the evenness of the least even photo, 0 to 1; None where none has one."""
        found = [p.inspection.evenness.value for p in self.photos if p.inspection.evenness]
        return min(found, default=None)

    @property
    def share_starved(self) -> float | None:
        """Return the share of judged zones that are starved, 0 to 1; None where none is judged."""
        zones = [zone for photo in self.photos for zone in photo.judged_zones]
        return mean([float(zone.verdict is Label.STARVED) for zone in zones])

    @property
    def when(self) -> str:
        """Return when the newest photo was taken or recorded."""
        return max(photo.when for photo in self.photos)

    @property
    def unseen(self) -> tuple[str, ...]:
        """Return the views of which there is no photo; none where no view is named at all."""
        seen = {photo.view for photo in self.photos} - {""}
        return tuple(view for view in VIEWS if view not in seen) if seen else ()

    @property
    def where(self) -> str:
        """Return where it is starved or rich, view by view; blank where it is neither."""
        said = []
        for photo in self.photos:
            for label in FAULTS:
                if names := photo.zones(label):
                    view = f"{photo.view}: " if photo.view and len(self.photos) > 1 else ""
                    said.append(f"{label.word} {view}{describe_zones(names)}")
        return "; ".join(dict.fromkeys(said))

    @property
    def open(self) -> str:
        """Return what was not judged and why, in one sentence without its full stop."""
        hopeless = [photo for photo in self.photos if photo.verdict is Label.NOT_JUDGED]
        reason = main_reason(self.reasons)
        if len(hopeless) == len(self.photos):
            return f"nothing judged ({reason})" if reason else "nothing judged"
        said = [f"{whole_percent(1 - self.share_judged)} not judged"]
        if reason:
            said[0] += f" ({reason})"
        if hopeless:
            said.append(f"{len(hopeless)} of {len(self.photos)} photos not judged at all")
        if self.unseen:
            said.append(f"no photo from {', '.join(self.unseen)}")
        return ", ".join(said)

    def joined(self, pick: Callable[[PhotoRow], str]) -> str:
        """Return what the photos say of one thing, each answer once."""
        return ", ".join(sorted({pick(photo) for photo in self.photos} - {""}))

    @property
    def reasons(self) -> Mapping[str, float]:
        """Return the mean share of the photos that each reason keeps from judgement, 0 to 1."""
        return mean_reasons([photo.inspection.reasons for photo in self.photos])


def photo_row(
    found: Found, entry: Entry, known: str | None, copies: Sequence[str], likeness: int | None
) -> PhotoRow:
    """Return the row of a photo.

    Parameters
    ----------
    known : str or None
        The part's number by the ledger, no guess from a name.
    copies : sequence of str
        Further files with the same bytes.
    """
    body = entry.body
    inspection = inspection_from_json(body["inspection"], entry.id[:12])
    part, source = _part(found, known, inspection)
    taken = inspection.photo.taken
    return PhotoRow(
        path=str(found.path),
        copies=tuple(copies),
        part=part,
        part_from=source,
        view=found.told.view or str(body.get("view") or ""),
        by=found.told.technician or entry.by,
        resin=found.told.resin or str(body.get("resin") or ""),
        when=taken or datetime.fromisoformat(entry.made_at).strftime("%Y-%m-%dT%H:%M:%S"),
        is_when_recorded=taken is None,
        entry=entry.id,
        inspection=inspection,
        likeness=likeness,
    )


def _part(found: Found, known: str | None, inspection: Inspection) -> tuple[str, str]:
    """Return the part's number and where it is from; see `audit.gathering`."""
    card = inspection.card.part if inspection.card else None
    sources = (*BEFORE_CARD, "card")
    for part, source in zip((found.told.part, known, card), sources, strict=True):
        if part:
            return part, source
    return found.fallback, found.fallback_from


def part_rows(
    photos: Iterable[PhotoRow], weigh: Callable[[str, Inspection], Beside | None]
) -> tuple[PartRow, ...]:
    """Return the parts, failing ones first, then those not judged, by their number within."""
    of_part: dict[str, list[PhotoRow]] = defaultdict(list)
    for photo in photos:
        of_part[photo.part].append(photo)
    rows = []
    for part, some in of_part.items():
        some.sort(key=lambda photo: (_view_order(photo.view), photo.path))
        row = PartRow(part, tuple(some), None)
        rows.append(PartRow(part, row.photos, weigh(part, row.worst.inspection)))
    return tuple(sorted(rows, key=_urgency))


def _urgency(row: PartRow) -> tuple[int, int, str]:
    outcome = ("fail", "not judged", "pass").index(row.outcome)
    return outcome, VERDICT_ORDER.index(row.verdict), row.part


def _view_order(view: str) -> int:
    return VIEWS.index(view) if view in VIEWS else len(VIEWS)


def mean_reasons(every: Sequence[Mapping[str, float]]) -> Mapping[str, float]:
    """Return the mean share that each reason keeps from judgement, 0 to 1, largest first."""
    total: dict[str, float] = defaultdict(float)
    for reasons in every:
        for word, share in reasons.items():
            total[word] += share / len(every)
    return largest_first(total)


def mean(values: Sequence[float]) -> float | None:
    """Return the mean of values; None where there is none."""
    return sum(values) / len(values) if values else None


def photo_headline(photo: PhotoRow) -> str:
    """Return a photo's verdict in one line."""
    return headline(photo.inspection)
