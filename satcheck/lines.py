"""What lines of text share: counts and lists in words, and breaks for a terminal of 80 columns."""

import textwrap
from collections.abc import Sequence

WIDTH = 80


def counted(count: int, one: str, many: str = "") -> str:
    """Return a count with its word: 1 part, 2 parts."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def joined(words: Sequence[str]) -> str:
    """Return one word or more in a row: a, b and c."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def wrapped(text: str, indent: str = "  ") -> str:
    """Return a line broken between words to ``WIDTH`` columns, what runs on set in.

    Words stay whole, with their hyphens: names of files and options among them are copied.
    """
    return textwrap.fill(
        text, WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )
