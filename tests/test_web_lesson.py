"""Learners' results in the ledger, under initials; what is no result is refused."""

import re
from pathlib import Path
from typing import Any

import pytest
from ledgers import clock_from

from satcheck.errors import UsageError
from satcheck.ledger.book import Ledger, open_ledger
from satcheck.ledger.entries import Kind
from satcheck.ledger.search import Search
from satcheck.web import lesson
from satcheck.web.lesson import Lessons, read_lesson

ID, OTHER = "0123456789abcdef" * 2, "fedcba9876543210" * 2
COUNTS = [[90, 5, 0], [10, 30, 0], [0, 0, 12]]
ROUND: dict[str, Any] = {
    "id": ID, "initials": "ab", "picture": "basalt_01.jpg", "fibre": "basalt", "counts": COUNTS
}  # fmt: skip


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return open_ledger(tmp_path / "shop.ledger", clock_from())


def test_a_round_is_recorded_under_the_learners_initials(ledger: Ledger) -> None:
    lessons = Lessons(ledger)
    lessons.save(ROUND)
    lessons.save({**ROUND, "id": OTHER, "initials": "CD"})
    assert lessons.results().learners == {
        "AB": [["basalt_01.jpg", COUNTS]], "CD": [["basalt_01.jpg", COUNTS]]
    }  # fmt: skip
    assert len(ledger.find(Search(kind=Kind.LEARNER_RESULT, by="AB"))) == 1


def test_a_round_that_is_sent_twice_counts_once(ledger: Ledger) -> None:
    lessons = Lessons(ledger)
    lessons.save(ROUND)
    lessons.save(ROUND)
    assert len(lessons.results().learners["AB"]) == 1


def test_rounds_that_are_left_out_are_told(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lesson, "MOST_ROUNDS", 2)
    lessons = Lessons(ledger)
    lessons.save(ROUND)
    lessons.save({**ROUND, "id": OTHER, "initials": "CD"})
    assert lessons.results().newest is None
    lessons.save({**ROUND, "id": "0" * 32, "initials": "EF"})
    assert (sorted(lessons.results().learners), lessons.results().newest) == (["CD", "EF"], 2)


@pytest.mark.parametrize(
    "changes",
    [
        {"id": "x"},
        {"initials": ""},
        {"initials": "<b>"},
        {"initials": "Longer"},
        {"picture": None},
        {"picture": "p" * 121},
        {"fibre": 3},
        {"counts": COUNTS[:2]},
        {"counts": [[-1, 0, 0], *COUNTS[1:]]},
        {"counts": [[0.5, 0, 0], *COUNTS[1:]]},
        {"counts": [[True, 0, 0], *COUNTS[1:]]},
        {"counts": "all"},
    ],
)
def test_what_is_no_result_is_refused_and_not_kept(ledger: Ledger, changes: dict[str, Any]) -> None:
    with pytest.raises(UsageError):
        Lessons(ledger).save({**ROUND, **changes})
    assert list(ledger.entries()) == []


@pytest.mark.parametrize("text", [None, "<html><script>alert(1)</script></html>", "\x00"])
def test_a_file_that_is_no_lesson_is_refused(tmp_path: Path, text: str | None) -> None:
    path = tmp_path / "lesson.html"
    if text is not None:
        path.write_text(text)
    with pytest.raises(UsageError, match=re.escape(str(path))):
        read_lesson(path)
