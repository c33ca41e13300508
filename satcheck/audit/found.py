"""What an audit finds in its folders, before anything is judged."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

BY_NAME, BY_FOLDER, ALONE = "file name", "sub-folder", "photo alone"
"""Where a part's number is from, where nothing better names it."""


@dataclass(frozen=True)
class Told:
    """What is known of a photo before it is looked at; None where nobody said."""

    part: str | None = None
    view: str | None = None
    fibre: str | None = None
    distal: str | None = None
    technician: str | None = None
    resin: str | None = None


@dataclass(frozen=True)
class Found:
    """One photo to judge."""

    path: Path
    root: Path
    """The folder of the call that it was found under."""
    sha256: str
    told: Told
    fallback: str
    """The part's number by name or folder, where neither table, ledger nor card names it."""
    fallback_from: str
    """One of `BY_NAME`, `BY_FOLDER` and `ALONE`."""
    number: int = 0
    """Which of several parts that the table gives this picture to, from 1; 0 where it has one."""


@dataclass(frozen=True)
class Problem:
    """A file that could not be audited, and why."""

    name: str
    sentence: str


@dataclass(frozen=True)
class Gathered:
    """What lies in the folders."""

    photos: tuple[Found, ...]
    problems: tuple[Problem, ...]
    repeated: Mapping[str, tuple[Path, ...]]
    """Files with the same bytes, by sha256; of each part that the table names the first is judged,
    and the first of all where it names none."""
    others: int
    """Files that are no photos and are not named as such."""
    absent: tuple[Path, ...] = ()
    """Photos that the table names and that do not lie in the folders."""
