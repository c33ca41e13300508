"""Sentences of the judgement in the language of the page: what `words.PHRASES` says of each.

Advice, plans and changes come as English sentences with zones and numbers in them. Each is found
by its pattern, its fields are put into words the same way, and the translation is filled in. A
sentence without a pattern is shown as it is.
"""

import re
from collections.abc import Mapping
from functools import cache

from satcheck.cautions import CAUTIONS
from satcheck.flags import EXPLANATIONS, Reason
from satcheck.model import ACROSS, THIRDS
from satcheck.stringing.plan import CAVEAT
from satcheck.stringing.rules import RULES
from satcheck.web.words import PHRASES, WORDS, say

CLOSED: Mapping[str, tuple[str, ...]] = {
    "be": ("is", "are"),
    "way": ("distally", "proximally", "round to the left", "round to the right"),
    "place": (
        "at the proximal end",
        "across the middle",
        "at the distal end",
        "on the left side",
        "down the middle",
        "on the right side",
        *(f"at the {third} {side}" for third in THIRDS for side in ACROSS),
    ),
}
"""Fields that are one of a few words."""

PLAIN = frozenset(
    (
        CAVEAT,
        *(word for closed in CLOSED.values() for word in closed),
        *(text for why in EXPLANATIONS.values() for text in (why.word, why.sentence, why.remedy)),
        *(each.words for each in CAUTIONS),
        *(text for r in RULES for text in (r.sentence, r.reason, r.caution, r.origin) if text),
    )
)
"""Sentences and words of the judgement that hold no field."""

_AS_ON_A_PAGE = {
    EXPLANATIONS[Reason.NO_WEAVE].remedy: say("no_card_remedy"),
    EXPLANATIONS[Reason.NO_PART].remedy: say("no_part_remedy"),
}
"""Remedies that speak of the command line, where a page has a place of its own."""

_FIELD = re.compile(r"\\\{(\w+)\\\}")


def phrased(sentence: str) -> str:
    """Return a sentence of the judgement in the page's language."""
    if sentence in PLAIN:
        return PHRASES.get(sentence) or sentence
    found = _match(sentence)
    if found is None:
        return sentence
    pattern, fields = found
    told = (PHRASES[pattern] or pattern).format(
        **{name: worded(text) for name, text in fields.items()}
    )
    return told[:1].upper() + told[1:] if sentence[:1].isupper() else told


def on_a_page(told: str) -> str:
    """Return advice as it is meant on a page: a remedy, by itself or at the end, may differ."""
    for remedy, here in _AS_ON_A_PAGE.items():
        if told == remedy:
            return here
        if told.endswith(end := remedy[0].lower() + remedy[1:]):
            return told.removesuffix(end) + here[0].lower() + here[1:]
    return told


def is_known(sentence: str) -> bool:
    """Return whether the table has a pattern for a sentence."""
    return sentence in PLAIN or _match(sentence) is not None


def _match(sentence: str) -> tuple[str, Mapping[str, str]] | None:
    """Return the first pattern that a sentence fits, and its fields."""
    for pattern, form in _forms().items():
        found = form.fullmatch(sentence)
        if found is not None:
            return pattern, found.groupdict()
    return None


@cache
def _forms() -> Mapping[str, re.Pattern[str]]:
    """Return a pattern's regular expression: a field is one of a closed set, or any text."""

    def field(found: re.Match[str]) -> str:
        allowed = CLOSED.get(found.group(1))
        text = "|".join(map(re.escape, allowed)) if allowed else ".+?"
        return f"(?P<{found.group(1)}>{text})"

    return {pattern: re.compile(_FIELD.sub(field, re.escape(pattern))) for pattern in PHRASES}


def worded(text: str) -> str:
    """Return a field in words: one of the table, a phrase, or a list of zones, views, reasons."""
    if text in WORDS:
        return WORDS[text]
    if is_known(text):
        return phrased(text)
    for turn, back in ((str.upper, str.lower), (str.lower, str.upper)):
        turned = turn(text[:1]) + text[1:]  # a remedy within a sentence, a reason at its start
        if turned != text and is_known(turned):
            told = phrased(turned)
            return back(told[:1]) + told[1:]
    pieces = re.split(r", | and ", text)
    if len(pieces) > 1:
        *first, last = (worded(piece) for piece in pieces)
        return say("list_and", first=", ".join(first), last=last)
    return "/".join(WORDS.get(piece, piece) for piece in text.split("/")) if "/" in text else text
