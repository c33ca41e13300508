"""What a promise counts: parts that were judged by an index which has not seen them."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from grids import grid
from scipy.stats import sem

from satcheck.calibration.cue_choice import ScoredZone, choose, cue_note
from satcheck.calibration.evidence import (
    ZoneEvidence,
    good_sentence,
    row_from_table,
    row_to_table,
    tally,
)
from satcheck.calibration.file import make_calibration
from satcheck.calibration.fitting import added_to, fit_fibre
from satcheck.calibration.measured import UNKNOWN_PRIOR, ZONE_PRIOR, Evidence
from satcheck.calibration.part_bounds import settle
from satcheck.calibration.parts_table import LabelledPhoto
from satcheck.model import Label
from satcheck.pages.calibration import calibration_page
from satcheck.statistics.promise import Promise
from satcheck.weave.measure import CUES

TABLE = Path("parts.csv")
SHAPE = (24, 18)
THIRDS = ("proximal", "middle", "distal")
STARVED_ONLY = {"proximal": Label.STARVED}
BOTH = {**STARVED_ONLY, "distal": Label.GOOD}


def part(number: int, zones: dict[str, Label]) -> Evidence:
    """Return a part with a starved proximal third, good for the rest, of which zones are told."""
    rng = np.random.default_rng(number)
    cells = grid(SHAPE)
    starved = np.where(cells.zone <= 3, 1.0, 0.0)
    own = {name: 0.0 if name == "coherence" else starved + rng.normal(0, 0.2) for name in CUES}
    cues = {
        name: np.asarray(value + rng.normal(0, 0.2, SHAPE), np.float32)
        for name, value in own.items()
    }
    prior = np.tile(np.array(UNKNOWN_PRIOR), (*SHAPE, 1))
    for k, third in enumerate(THIRDS):
        if third in zones:
            prior[(cells.zone > 3 * k) & (cells.zone <= 3 * k + 3)] = ZONE_PRIOR[zones[third]]
    photo = LabelledPhoto(
        Path(f"{number}.png"), f"P{number}", "basalt", False, None, zones, None, 2
    )
    return Evidence(photo, f"{number:064d}", replace(cells, cues=cues), prior, zones)


def seen(rows: Sequence[ZoneEvidence]) -> set[str]:
    return {row.part for row in rows if row.seen}


@pytest.mark.parametrize(("good_on", "left_out"), [((0,), {"P0"}), ((0, 1), set())])
def test_a_part_that_its_index_has_seen_is_left_out_of_the_promise(
    good_on: tuple[int, ...], left_out: set[str]
) -> None:
    """Without the only part on which good is labelled nothing can be fitted; a control with two."""
    parts = [part(k, BOTH if k in good_on else STARVED_ONLY) for k in range(5)]
    made = fit_fibre(TABLE, "basalt", parts)
    assert made.promise is not None
    assert all(row.is_judged for row in made.evidence)
    assert seen(made.evidence) == left_out
    assert made.promise.parts == 5 - len(left_out)
    page = calibration_page(make_calibration({"basalt": made}, "", "0", False, ("ab",)), (), {})
    assert ("<td>P0 *</td>" in page) == ("left out of the promise" in page) == bool(left_out)


def test_too_few_parts_to_leave_one_out_never_count_in_a_promise() -> None:
    """Neither by themselves nor when others are added: their scores were not free of them."""
    few = fit_fibre(TABLE, "basalt", [part(k, BOTH) for k in range(3)])
    assert few.promise is not None
    assert seen(few.evidence) == {"P0", "P1", "P2"}
    assert few.promise.parts == 0
    more = added_to(TABLE, few, [part(k, BOTH) for k in (3, 4)])
    assert more.promise is not None
    assert (more.parts, more.promise.parts) == (5, 2)


@pytest.mark.parametrize(("is_seen", "counted"), [(True, Promise(10, 0)), (False, Promise(12, 2))])
def test_a_score_that_is_not_free_of_its_part_sets_no_bound(
    is_seen: bool, counted: Promise
) -> None:
    """Two parts that no bound explains: errors, but where their index has seen them."""
    row = ZoneEvidence("P", "a.png", "ab", "lock", Label.STARVED, Label.LEAN, -0.02, -0.5, 0.1)
    rows = [replace(row, part=f"P{k}") for k in range(10)]
    rows += [replace(row, part=f"Q{k}", edge=np.inf, seen=is_seen) for k in range(2)]
    settled = settle([], (-0.2, 0.0, 0.4, 0.6), (-1.0, 1.0), -0.06, rows)
    assert settled.promise == counted


@pytest.mark.parametrize(("parts", "heavy"), [(9, 0.4), (10, 0.3), (28, 0.3), (29, 0.4)])
def test_heavy_begins_earlier_until_a_first_promise_is_within_reach(
    parts: int, heavy: float
) -> None:
    """From ten parts on the bounds move; 29 without an error promise 10 %, as 0.9^29 is 0.047."""
    row = ZoneEvidence("P", "a.png", "ab", "lock", Label.STARVED, Label.LEAN, -0.02, -0.5, 0.1)
    rows = [replace(row, part=f"P{k}") for k in range(parts)]
    settled = settle([], (-0.2, 0.0, 0.4, 0.6), (-1.0, 1.0), -0.06, rows)
    assert settled.bounds[2:] == pytest.approx((heavy, 0.6))


def test_calls_are_counted_by_label_and_good_ones_told_in_a_sentence() -> None:
    """Five good zones of other parts, one that the index has seen, and two starved ones."""
    row = ZoneEvidence("P", "a.png", "ab", "lock", Label.GOOD, Label.GOOD, 0.1, 0.2, 0.3)
    calls = (Label.GOOD, Label.LEAN, Label.HEAVY, Label.RICH, Label.NOT_JUDGED)
    rows = [replace(row, called=call) for call in calls]
    rows += [replace(row, seen=True), *2 * [replace(row, label=Label.STARVED, called=Label.LEAN)]]
    found = tally(rows)
    assert list(found) == [Label.STARVED, Label.GOOD]
    assert found[Label.STARVED] == {Label.LEAN: 2}
    assert found[Label.GOOD] == dict.fromkeys(calls, 1)
    told = "Zones labelled good: 1 of 5 called good, 2 lean or heavy, 1 starved or rich"
    assert good_sentence(rows) == f"{told}, 1 not judged."
    assert good_sentence(rows[:4]) == f"{told}.".replace("of 5", "of 4")
    assert good_sentence(rows[5:]) == ""
    bounds = fit_fibre(TABLE, "basalt", [part(k, BOTH) for k in range(3)])
    made = make_calibration({"basalt": replace(bounds, evidence=tuple(rows))}, "", "0", False, ())
    page = " ".join(calibration_page(made, (), {}).split())
    number = '<td class="number">'
    assert f"<td>lean</td>{number}2</td>{number}1</td></tr>" in page
    assert f"<td>starved</td>{number}</td>{number}</td></tr>" in page
    assert told in page


def test_evidence_keeps_whether_its_index_has_seen_the_part() -> None:
    """A row of an earlier file does not say so, and is of a part that was held out."""
    row = ZoneEvidence("P", "a.png", "ab", "lock", Label.STARVED, Label.LEAN, 0.1, 0.2, 0.3)
    for each in (row, replace(row, seen=True)):
        assert row_from_table(row_to_table(each)) == each
    assert "seen" not in row_to_table(row)


def test_where_no_part_can_be_held_out_the_note_tells_no_loss() -> None:
    note = cue_note(*choose({"all cues": [], "without colour": []}))
    assert note == "Cues: all cues; 0 parts are too few to choose by."


def scored(losses: Sequence[float]) -> list[ScoredZone]:
    """Return one starved zone a part, whose index lies off its place by the root of a loss."""
    return [ScoredZone(f"P{k}", Label.STARVED, loss**0.5 - 1) for k, loss in enumerate(losses)]


@pytest.mark.parametrize(
    ("gains", "chosen"),
    [
        ((0.0, 2.0) * 5, "all"),  # 1.00 +- 0.33
        ((0.0, 0.0, 0.0, 0.0, 2.0) * 2, "all"),  # 0.40 +- 0.27
        ((-1.0, 1.4) * 5, "few"),  # 0.20 +- 0.40
        ((-1.0, 1.4) * 4, "all"),  # too few parts to choose by
    ],
)
def test_the_richer_cues_are_kept_where_they_win_by_more_than_their_error(
    gains: tuple[float, ...], chosen: str
) -> None:
    """The standard error of paired differences, by hand: s / sqrt(n) with n - 1 in s."""
    name, found = choose({"all": scored([2.0] * len(gains)), "few": scored([2 + g for g in gains])})
    assert name == chosen
    assert found["few"].gain == pytest.approx(np.mean(gains))
    assert found["few"].error == pytest.approx(sem(gains))
