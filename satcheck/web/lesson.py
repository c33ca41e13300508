"""The lesson as a shop serves it: the page that ``satcheck lesson`` made, and learners' results.

The page holds the shop's photos, so it goes out only with the key, as text that a small page puts
in its own place. That page may run this script and no other: its policy names the script's hash.
"""

import base64
import hashlib
import re
from collections import defaultdict
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

from satcheck.errors import UsageError
from satcheck.ledger.book import Ledger
from satcheck.ledger.entries import Draft, Kind
from satcheck.ledger.search import Search
from satcheck.web.shot import is_id
from satcheck.web.words import say

MOST_ROUNDS = 5000
"""Newest rounds that a trainer sees (own rule)."""
MOST_CELLS = 1_000_000
MOST_NAME = 120

_INITIALS = re.compile(r"\w{1,4}")
_SCRIPT = re.compile(r"<script>(.*?)</script>", re.DOTALL)
_STYLE = re.compile(r"<style>(.*?)</style>", re.DOTALL)
CLASSES = 3
"""Good, starved and rich: rows are what it was, columns what the learner called it."""


class Results(NamedTuple):
    """What learners have done."""

    learners: dict[str, list[list[Any]]]
    """The rounds of each by initials, oldest first: picture and counts."""
    newest: int | None
    """So many rounds are here, of all learners, and older ones are left out; None where all are."""


class Lessons:
    """A lesson's page, if the shop serves one, and the results that its ledger holds."""

    def __init__(self, ledger: Ledger, page: str | None = None) -> None:
        self._ledger, self.page = ledger, page

    @property
    def policy(self) -> str:
        """Return the content security policy of the page that shows the lesson."""
        scripts, styles = (
            " ".join(_hash(text) for text in found.findall(self.page or ""))
            for found in (_SCRIPT, _STYLE)
        )
        return (
            f"default-src 'none'; script-src 'self' {scripts}; style-src 'self' {styles}; "
            "img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'none'; "
            "frame-ancestors 'none'"
        )

    def save(self, sent: Mapping[str, Any]) -> None:
        """Keep one round of a learner; sent twice, it is kept once.

        Raises
        ------
        UsageError
            If it is no such result.
        """
        initials, picture = str(sent.get("initials") or "").upper(), sent.get("picture")
        fibre, counts = sent.get("fibre"), sent.get("counts")
        texts = all(isinstance(text, str) and len(text) <= MOST_NAME for text in (picture, fibre))
        if not is_id(sent.get("id")) or not texts or not _is_table(counts):
            raise UsageError(say("bad_request"))
        if not _INITIALS.fullmatch(initials):
            raise UsageError(say("bad_initials"))
        request = str(sent["id"])
        if self._ledger.find(Search(kind=Kind.LEARNER_RESULT, request=request), limit=1):
            return
        body = {"request": request, "picture": picture, "fibre": fibre, "counts": counts}
        self._ledger.append(Draft(Kind.LEARNER_RESULT, body, by=initials))

    def results(self) -> Results:
        """Return the newest rounds of each learner."""
        found = self._ledger.find(Search(kind=Kind.LEARNER_RESULT, current=True), MOST_ROUNDS + 1)
        learners: dict[str, list[list[Any]]] = defaultdict(list)
        for entry in reversed(found[:MOST_ROUNDS]):
            learners[entry.by].append([entry.body["picture"], entry.body["counts"]])
        newest = MOST_ROUNDS if len(found) > MOST_ROUNDS else None
        return Results(dict(sorted(learners.items())), newest)


def read_lesson(path: Path) -> str:
    """Return a lesson's page.

    Raises
    ------
    UsageError
        If it cannot be read, or is no lesson.
    """
    try:
        page = path.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        raise UsageError(f"{path}: cannot be read; the lesson.html of satcheck lesson") from error
    if 'id="kept-where"' not in page or not _SCRIPT.search(page):
        raise UsageError(f"{path}: no lesson of this version; make it again with satcheck lesson")
    return page


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def _is_table(counts: Any) -> bool:
    """Return whether this is a table of counts, three by three."""
    return (
        isinstance(counts, list)
        and len(counts) == CLASSES
        and all(isinstance(row, list) and len(row) == CLASSES for row in counts)
        and all(type(n) is int and 0 <= n <= MOST_CELLS for row in counts for n in row)
    )
