"""Calls of a command that differ from a usual one in an option or two."""

from collections.abc import Sequence

REPEATABLE = ("--layer", "--circumference")


def latest(words: Sequence[str]) -> list[str]:
    """Return a call in which each option has the last of its values: given twice it is refused."""
    ends = [word.startswith("--") for word in (*words[1:], "--")]
    takes_one = [
        word.startswith("--") and not end and word not in REPEATABLE
        for word, end in zip(words, ends, strict=True)
    ]
    kept: list[str] = []
    for k, word in enumerate(words):
        later = words[k + 1 :]
        is_old = takes_one[k] and word in later
        is_value_of_old = k > 0 and takes_one[k - 1] and words[k - 1] in later
        kept += [] if is_old or is_value_of_old else [word]
    return kept
