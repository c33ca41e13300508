"""One photo of one view of one part: what the page says of it, checked before anything else."""

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

from satcheck.errors import UsageError
from satcheck.model import SIDES, VIEWS
from satcheck.web.words import say

_ID = re.compile(r"[0-9a-f]{32}(?:[0-9a-f]{32})?")
_PART = re.compile(r"\w[\w .\-/#]{0,39}")
_MOST_TAPS = 40

Tap = tuple[float, float]


@dataclass(frozen=True)
class Shot:
    """What a phone announces before it sends a photo.

    Attributes
    ----------
    id : str
        32 hexadecimal digits that the phone drew: sending it twice makes no second photo.
    part, view, fibre : str
    distal : str or None
        Where the distal end lies in the picture.
    size : int
        Bytes of the photo's file.
    inside, outside : tuples of (x, y)
        Taps on the part and beside it that mend its outline, pixels of the upright photo.
    of : str or None
        The earlier shot whose photo is judged again; no photo is sent then.
    """

    id: str
    part: str
    view: str
    fibre: str
    size: int = 0
    distal: str | None = None
    inside: tuple[Tap, ...] = field(default=())
    outside: tuple[Tap, ...] = field(default=())
    of: str | None = None

    @property
    def title(self) -> str:
        """Return what its photo is called."""
        return f"{self.part} {self.view}"


def is_id(text: object) -> bool:
    """Return whether a text is a shot's or an entry's id, and so safe in a file name."""
    return isinstance(text, str) and _ID.fullmatch(text) is not None


def read_part(sent: object) -> str:
    """Return a part's number with single spaces; raise UsageError where it is none."""
    part = " ".join(sent.split()) if isinstance(sent, str) else ""
    if not _PART.fullmatch(part):
        raise UsageError(say("bad_part"))
    return part


def read_shot(sent: Mapping[str, Any], fibres: Collection[str], most_bytes: int) -> Shot:
    """Return a shot from what a page sent.

    Raises
    ------
    UsageError
        Naming the first field that is wrong, and what is allowed.
    """
    view, fibre, size = (sent.get(name) for name in ("view", "fibre", "size"))
    if not is_id(sent.get("id")) or not (sent.get("of") is None or is_id(sent.get("of"))):
        raise UsageError(say("bad_request"))
    part = read_part(sent.get("part"))
    if view not in VIEWS:
        raise UsageError(say("bad_view"))
    if fibre not in fibres:
        raise UsageError(say("bad_fibre", allowed=", ".join(fibres)))
    if sent.get("distal") not in (None, *SIDES):
        raise UsageError(say("bad_request"))
    again = sent.get("of") is not None
    if not again and (type(size) is not int or size < 1):
        raise UsageError(say("bad_photo"))
    if not again and int(size or 0) > most_bytes:
        raise UsageError(say("too_large", megabytes=most_bytes // 1_000_000))
    inside, outside = _taps(sent.get("inside")), _taps(sent.get("outside"))
    return Shot(
        id=str(sent["id"]),
        part=part,
        view=str(view),
        fibre=str(fibre),
        size=0 if again else int(size or 0),
        distal=sent.get("distal"),
        inside=inside,
        outside=outside,
        of=sent.get("of"),
    )


def _taps(sent: Any) -> tuple[Tap, ...]:
    if sent is None:
        return ()
    try:
        taps = tuple((x, y) for x, y in sent)
    except (TypeError, ValueError) as error:
        raise UsageError(say("bad_request")) from error
    if len(taps) > _MOST_TAPS or not all(_is_pixel(v) for tap in taps for v in tap):
        raise UsageError(say("bad_request"))
    return tuple((float(x), float(y)) for x, y in taps)


def _is_pixel(value: object) -> bool:
    """Return whether this is a number that a picture may have; true and false are none."""
    return type(value) in (int, float) and 0 <= value <= 1e5  # type: ignore[operator]
