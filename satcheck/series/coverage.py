"""Which views and zones of a part its photos have shown, and which nobody has seen yet."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from satcheck.judgement.advice import describe_zones
from satcheck.judgement.verdict import ENOUGH
from satcheck.lines import joined
from satcheck.model import VIEWS, ZONES, Inspection


@dataclass(frozen=True)
class ViewCoverage:
    """What the photos of one view have shown."""

    view: str
    photos: int
    seen: tuple[str, ...]
    """Zones that at least one photo could judge."""
    unseen: Mapping[str, str] = field(default_factory=dict)
    """Other zones, and the reason that hid most of them; "" where no photo was taken."""


@dataclass(frozen=True)
class Coverage:
    """What has been seen of a part."""

    views: tuple[ViewCoverage, ...]
    sentences: tuple[str, ...]
    """What has not been seen, or that all has; never empty."""


def coverage(photos: Mapping[str, Sequence[Inspection]], views: Sequence[str] = VIEWS) -> Coverage:
    """Say what has been seen of a part.

    Parameters
    ----------
    photos : mapping of str to sequence of Inspection
        By view. Views that are not among ``views`` come after them.
    views : sequence of str
        Those that together show the part.
    """
    names = [*views, *(view for view in photos if view not in views)]
    found = tuple(_view(name, photos.get(name, ())) for name in names)
    return Coverage(found, _sentences(found))


def _view(name: str, photos: Sequence[Inspection]) -> ViewCoverage:
    best: dict[str, float] = dict.fromkeys(ZONES, 0.0)
    why: dict[str, str] = dict.fromkeys(ZONES, "")
    for inspection in photos:
        if inspection.cut:
            continue  # its zones are those of what shows, not the part's
        for zone in inspection.zones:
            if zone.share_judged >= best.get(zone.name, 0.0):
                best[zone.name] = zone.share_judged
                why[zone.name] = max(zone.reasons, key=zone.reasons.__getitem__, default="")
    seen = tuple(zone for zone in ZONES if best[zone] >= ENOUGH)
    unseen = {zone: why[zone] for zone in ZONES if zone not in seen}
    return ViewCoverage(name, len(photos), seen, unseen)


def _sentences(views: Sequence[ViewCoverage]) -> tuple[str, ...]:
    missing = [view.view for view in views if not view.seen]
    found = []
    if missing:
        many = "views have" if len(missing) > 1 else "view has"
        found.append(f"The {joined(missing)} {many} not been seen yet.")
    for view in views:
        if view.seen and view.unseen:
            reasons = [reason for reason in view.unseen.values() if reason]
            why = f" ({joined(sorted(set(reasons)))})" if reasons else ""
            where = describe_zones(view.unseen)
            found.append(f"In the {view.view} view the {where} was not seen{why}.")
    return tuple(found) or ("Every view of the part has been seen.",)
