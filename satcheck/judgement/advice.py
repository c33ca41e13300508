"""What to do next: to the part while the resin flows, or for a better photo.

At most two sentences. A starved or rich zone comes first, then what hid the part, then lean and
heavy zones. Every rule of the trade in here is common practice, no source.
"""

from collections.abc import Collection, Mapping, Sequence

from satcheck.flags import EXPLANATIONS, Explanation, Reason
from satcheck.lines import joined
from satcheck.model import ACROSS, THIRDS, ZONES, Label, ZoneVerdict

RETAKE_SHARE = 0.2
"""From this share of the part on, what a better photo would show is worth asking for (own rule)."""

ALL = 0.9
"""From this share on, a reason holds for the whole part (own rule)."""

MOST = 2
"""Sentences a technician with wet gloves reads (own rule)."""

_GRID = ZONES[:9]
_GROUPS: Mapping[str, list[str]] = {
    **{f"{third} third": [f"{third} {side}" for side in ACROSS] for third in THIRDS},
    **{
        side if side == "centre" else f"{side} side": [f"{third} {side}" for third in THIRDS]
        for side in ACROSS
    },
}
# Where in the photo, in words. "Left" is left as seen with the proximal end up, as in every zone.
_PLACES: Mapping[str, list[str]] = {
    "at the proximal end": _GROUPS["proximal third"],
    "across the middle": _GROUPS["middle third"],
    "at the distal end": _GROUPS["distal third"],
    "on the left side": _GROUPS["left side"],
    "down the middle": _GROUPS["centre"],
    "on the right side": _GROUPS["right side"],
    **{f"at the {name}": [name] for name in _GRID},
}
_BY_WORD: Mapping[str, Explanation] = {each.word: each for each in EXPLANATIONS.values()}
_NO_PART, _NO_WEAVE = (EXPLANATIONS[reason].word for reason in (Reason.NO_PART, Reason.NO_WEAVE))


def advise(
    zones: Sequence[ZoneVerdict],
    reasons: Mapping[str, float],
    share_judged: float,
    verdict: Label,
) -> tuple[str, ...]:
    """Return at most two sentences on what to do next.

    Parameters
    ----------
    zones : sequence of ZoneVerdict
        May be empty where no part was found.
    reasons : mapping of str to float
        Short word of each reason, and the share (0 to 1) of the part that it keeps from judgement.
    share_judged : float
        0 to 1, of the part.
    verdict : Label
        Of the part.
    """
    if verdict is Label.NOT_JUDGED:
        return _retake(zones, reasons, is_refused=True) or (
            "Take the photo again: closer, in even light, and without mirrored lamps.",
        )
    by_label = {label: [zone.name for zone in zones if zone.verdict is label] for label in Label}
    urgent = _starved(by_label) + _rich(by_label)
    mild = _lean(by_label) + _heavy(by_label)
    retake = _retake(zones, reasons, is_refused=False)
    if not urgent and not mild and not retake:
        whole = share_judged >= 1 - RETAKE_SHARE
        return (
            "Every judged zone is good: leave it."
            if whole
            else "What was judged is good: look at the rest by eye, or take another view.",
        )
    return (urgent + retake + mild)[:MOST]


def describe_zones(names: Collection[str]) -> str:
    """Name zones in words, a whole third, side or part by its own name.

    >>> describe_zones(["middle left", "distal left", "distal centre", "distal right", "lock"])
    'distal third, middle left and lock'
    >>> describe_zones(["middle left", "middle centre"])
    'middle left/centre'
    """
    left = [name for name in ZONES if name in names]
    if set(_GRID) <= set(left):
        return "whole part"
    found = []
    for group, members in _GROUPS.items():
        if set(members) <= set(left):
            found.append(group)
            left = [name for name in left if name not in members]
    for third in THIRDS:
        sides = [side for side in ACROSS if f"{third} {side}" in left]
        if sides:
            found.append(f"{third} {'/'.join(sides)}")
    words = [*found, *(name for name in left if name not in _GRID)]
    return joined(words)


def _starved(by_label: Mapping[Label, list[str]]) -> tuple[str, ...]:
    """Bring resin to where it is missing, from the nearest zone that has too much."""
    names = by_label[Label.STARVED]
    if not names:
        return ()
    where = f"{_the(names)} {_is(names)} starved"
    if names == ["brim"]:
        # Common practice, no source: an edge starves when resin is strung over it.
        return (f"{where}: string resin up to the edge and stop short of it.",)
    source = _nearest(names, by_label[Label.RICH]) or _nearest(names, by_label[Label.HEAVY])
    if source:
        return (f"{where}: string resin there from {source}.",)
    if len(set(names) & set(_GRID)) == len(_GRID):
        return (f"{where}: add resin and string it down, before it gels.",)
    if any(name.startswith(THIRDS[2]) or name == "lock" for name in names):
        # Common practice, no source: resin tends to stay proximally, in the thicker layup.
        return (f"{where}: string more resin down from the proximal end.",)
    return (f"{where}: string more resin there.",)


def _rich(by_label: Mapping[Label, list[str]]) -> tuple[str, ...]:
    """Take resin from where there is too much, to where it is wanted if anywhere."""
    names = by_label[Label.RICH]
    if not names or set(by_label[Label.STARVED]) - {"brim"}:
        return ()  # where the resin is wanted has been said already
    where = f"{_the(names)} {_is(names)} rich"
    if names == ["lock"]:
        # Common practice, no source: tying and taping in at the lock removes a heavy ring.
        return (f"{where}: work the undercut and tape it in flat, to free the resin.",)
    target = _nearest(names, by_label[Label.LEAN])
    if target:
        return (f"{where}: string the resin on to {target}.",)
    # Common practice, no source: a wider, softer band moves resin without drying out the braid.
    return (f"{where}: string the resin out with a wide soft band.",)


def _lean(by_label: Mapping[Label, list[str]]) -> tuple[str, ...]:
    # Common practice, no source: the in-between is workable while the resin flows.
    names = by_label[Label.LEAN]
    if not names:
        return ()
    source = _nearest(names, by_label[Label.HEAVY])
    work = f"string a little resin there from {source}" if source else "bring a little resin there"
    return (f"{_the(names)} {_is(names)} lean: {work} while it flows.",)


def _heavy(by_label: Mapping[Label, list[str]]) -> tuple[str, ...]:
    # Common practice, no source: the in-between is workable while the resin flows.
    names = by_label[Label.HEAVY]
    if not names or by_label[Label.LEAN] or by_label[Label.STARVED]:
        return ()  # the resin's way to the lean or starved zone has been said already
    return (f"{_the(names)} {_is(names)} heavy: string a little resin out while it flows.",)


def _retake(
    zones: Sequence[ZoneVerdict], reasons: Mapping[str, float], *, is_refused: bool
) -> tuple[str, ...]:
    """Say what hid most of the part, or why none of it was judged, and what would show it."""
    least = 0.0 if is_refused else RETAKE_SHARE
    candidates = {
        word: share
        for word, share in reasons.items()
        if share > least and word in _BY_WORD and _BY_WORD[word].is_retake
    }
    if not candidates:
        return ()
    word = _spoiler(candidates)
    why, share = _BY_WORD[word], candidates[word]
    if is_refused and (share > ALL or word == _NO_WEAVE):
        return why.sentence, _remedy(word, candidates)
    place = _where({zone.name: zone.reasons.get(word, 0.0) for zone in zones})
    remedy = why.remedy[0].lower() + why.remedy[1:]
    head = f"{word[0].upper()}{word[1:]}{place and ' '}{place}"
    return (f"{head} ({100 * share:.0f} % of the part): {remedy}",)


def _spoiler(shares: Mapping[str, float]) -> str:
    """Return which reason is to be said, of those that a better photo would help.

    Where no weave is seen, what else spoiled the whole part is why.
    """
    if _NO_PART in shares:
        return _NO_PART
    others = {word: share for word, share in shares.items() if word != _NO_WEAVE}
    if _NO_WEAVE in shares and all(share <= ALL for share in others.values()):
        return _NO_WEAVE
    return max(others, key=others.__getitem__)


def _remedy(word: str, shares: Mapping[str, float]) -> str:
    """Return what to do about a reason: where no part is found, about what hid it if that shows."""
    hid = [other for other in shares if other != word] if word == _NO_PART else []
    return _BY_WORD[max(hid, key=shares.__getitem__, default=word)].remedy


def _where(hidden: Mapping[str, float]) -> str:
    """Return where a reason hides most, from the share of each zone that it hides; "" if all over.

    The place whose zones are hidden and whose other zones are not, zone by zone.
    """
    shares = {name: hidden.get(name, 0.0) for name in _GRID}
    total = sum(shares.values())
    if total == 0:
        return ""

    def fit(zones: Collection[str]) -> float:  # Dice's coefficient: 1 for exactly these zones
        return 2 * sum(shares[name] for name in zones) / (total + len(zones))

    place = max(_PLACES, key=lambda name: fit(_PLACES[name]))
    return place if fit(_PLACES[place]) > fit(_GRID) and _holds(shares, _PLACES[place]) else ""


def _holds(shares: Mapping[str, float], zones: Collection[str]) -> bool:
    """Return whether most of what is hidden lies in these zones."""
    return 2 * sum(shares[name] for name in zones) > sum(shares.values())


def _nearest(targets: Sequence[str], sources: Sequence[str]) -> str | None:
    """Return the source zone nearest to any target zone; a source at the same place is none."""
    distances = {
        source: min(_distance(source, target) for target in targets)
        for source in sources
        if source not in targets
    }
    if not distances:
        return None
    return _the([min(distances, key=distances.__getitem__)]).lower()


def _distance(first: str, second: str) -> float:
    """Return steps between two zones along and around the part."""
    (row, column), (other_row, other_column) = _place(first), _place(second)
    return abs(row - other_row) + abs(column - other_column)


def _place(name: str) -> tuple[float, float]:
    """Return third and side of a zone; brim and lock lie beyond the ends, at the centre."""
    if name in _GRID:
        return divmod(_GRID.index(name), len(ACROSS))
    return (-0.5, 1.0) if name == "brim" else (2.5, 1.0)


def _the(names: Sequence[str]) -> str:
    return f"The {describe_zones(names)}"


def _is(names: Sequence[str]) -> str:
    named = describe_zones(names)
    return "are" if " and " in named or "/" in named else "is"
