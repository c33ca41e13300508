"""The page of labels that disagree most with the rest, for a person to look at again."""

from collections.abc import Mapping, Sequence

from satcheck.calibration.evidence import ZoneEvidence
from satcheck.calibration.label_findings import most_at_odds
from satcheck.pages.calibration import Pictures
from satcheck.pages.frame import render

MOST = 24
"""Pictures of a fibre: as many as a person looks at in one go (own rule)."""


def review_page(
    evidence: Mapping[str, Sequence[ZoneEvidence]], findings: Sequence[str], pictures: Pictures
) -> str:
    """Return the page as HTML text, the worst of each fibre first."""
    shown = {
        fibre: [(row, pictures.get((row.photo, row.zone), "")) for row in rows_to_review(rows)]
        for fibre, rows in sorted(evidence.items())
    }
    return render("review.html", fibres=shown, findings=findings, looks=looks_like)


def rows_to_review(rows: Sequence[ZoneEvidence]) -> tuple[ZoneEvidence, ...]:
    """Return the zones to look at again."""
    return most_at_odds(rows, MOST)


def looks_like(row: ZoneEvidence) -> str:
    """Return what a zone's index is nearest to."""
    return "starved" if row.index < -0.5 else "rich" if row.index > 0.5 else "good"
