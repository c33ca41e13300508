"""Drift over drawn shifts: each cause is named by what was moved, and a steady row warns rarely."""

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any
from weakref import WeakSet

import numpy as np
import pytest
from records import inspection_of
from study_tables import written

from satcheck.cli import drift as cli_drift
from satcheck.cli.app import main
from satcheck.errors import TableError, UsageError
from satcheck.flags import Reason
from satcheck.model import CardFacts, Inspection, PhotoFacts
from satcheck.studies.drift import BASELINE, DriftStudy, study_drift
from satcheck.studies.shifts import Shift, shifts_of_records, shifts_of_table

LEVELS = {"visibility": 0.12, "blur": 0.5, "colour": 0.4, "pitch": 3.0, "size": 40.0}
SPREAD = {"visibility": 0.002, "blur": 0.02, "colour": 0.02, "pitch": 0.02, "size": 0.3}


def drawn(
    moves: Mapping[str, float], *, seed: int = 1, after: int = 25, count: int = 45
) -> list[Shift]:
    """Return shifts in which some quantities move, in spreads, from a shift on."""
    rng = np.random.default_rng(seed)
    return [
        Shift(
            f"{k}.json", f"2026-03-{k + 1:02d}",
            {name: level + SPREAD[name] * (rng.normal() + moves.get(name, 0.0) * (k >= after))
             for name, level in LEVELS.items()},
            "3000 x 4000", "c0ffee12", "good",
        )
        for k in range(count)
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("moves", "word", "says"),
    [
        ({"blur": 4.0, "visibility": -3.0}, "camera", "wipe the lens"),
        ({"colour": -4.0}, "light", "lamp"),
        ({"colour": 4.0, "visibility": 2.0}, "light", "lamp"),
        ({"pitch": 4.0}, "card", "flat"),
        ({"size": -4.0}, "camera", "distance"),
        ({"visibility": -4.0}, "calibration", "coupon"),
    ],
)
def test_what_moved_names_the_cause(moves: dict[str, float], word: str, says: str) -> None:
    found = study_drift(drawn(moves))
    assert found.causes[0].word == word
    assert says in found.sentence
    assert found.alarm is not None
    assert 25 <= found.alarm <= 31


def test_what_came_back_is_not_told_as_where_it_stands_now() -> None:
    """Three soft shifts, then as before: 'blur up by 0.2 standard deviations' told of neither."""
    row = [
        replace(s, values={**s.values, "blur": s.values["blur"] + 0.12 * (25 <= k < 28)})
        for k, s in enumerate(drawn({}))
    ]
    found = study_drift(row)
    assert found.alarm is not None
    assert 25 <= found.alarm < 28
    (why,) = [cause.why for cause in found.causes if cause.word == "camera"]
    assert re.fullmatch(r"blur was up by [2-5]\.\d standard .*average lies 0\.\d off now", why)


def test_a_row_in_order_says_so_and_seldom_warns() -> None:
    """The control: five quantities, 25 later shifts, levels from 20."""
    rows = [study_drift(drawn({}, seed=seed)) for seed in range(60)]
    quiet = [row for row in rows if row.alarm is None]
    assert len(quiet) > 30
    assert "Nothing has moved in the 25 shifts" in quiet[0].sentence
    one_later = [study_drift(row.shifts[:21]) for row in quiet[:5]]
    assert "Nothing has moved in the 1 shift since the first 20." in [s.sentence for s in one_later]
    by_quantity = [w.alarm is not None for row in rows for w in row.watched]
    assert np.mean(by_quantity) < 0.16


def test_a_slow_drift_warns_before_the_verdict_shifts() -> None:
    """The visibility falls by half a spread a shift; the verdict changes 20 spreads down."""
    row = drawn({}, count=70)
    fallen = [
        replace(
            s,
            values={**s.values, "visibility": s.values["visibility"] - 0.001 * max(0, k - 25)},
            verdict="good" if k < 65 else "heavy",
        )
        for k, s in enumerate(row)
    ]
    early, late = study_drift(fallen[:50]), study_drift(fallen)
    assert early.alarm is not None
    assert early.verdicts == "No verdict has changed yet."
    assert late.verdict_change == 65
    assert early.alarm < 40
    assert "The verdict changed to heavy" in late.verdicts


@pytest.mark.parametrize(
    ("trait", "value"), [("calibration", "beef0042"), ("camera", "1080 x 1920")]
)
def test_another_calibration_or_camera_is_read_and_not_guessed(trait: str, value: str) -> None:
    row = drawn({})
    if trait == "camera":
        row[30:] = [replace(s, camera=value) for s in row[30:]]
    else:
        row[30:] = [replace(s, calibration=value) for s in row[30:]]
    found = study_drift(row)
    assert found.causes[0].word == trait
    assert found.alarm is not None
    assert found.alarm <= 30
    assert value in found.causes[0].why


def test_too_few_shifts_say_how_many_are_missing() -> None:
    found = study_drift(drawn({}, count=12))
    assert not found.is_enough
    assert f"{BASELINE + 1 - 12} more to go" in found.sentence
    with pytest.raises(UsageError, match="10 and more"):
        study_drift(drawn({}), 9)


def test_a_quantity_without_spread_or_values_is_not_watched_and_says_why() -> None:
    row = [replace(s, values={**s.values, "pitch": 3.0}) for s in drawn({})]
    row = [replace(s, values={n: v for n, v in s.values.items() if n != "size" or k > 14})
           for k, s in enumerate(row)]  # fmt: skip
    problems = {w.name: w.problem for w in study_drift(row).watched}
    assert "all alike" in problems["pitch"]
    assert "measured in 5 of the first 20" in problems["size"]


@pytest.mark.parametrize(
    ("kept", "says"),
    [
        ({"visibility"}, "blur and colour are not watched, so it may as well be the camera or the"),
        ({"visibility", "blur"}, "colour is not watched, so it may as well be the light;"),
        ({"visibility", "blur", "colour"}, "camera and light stand still"),
    ],
)
def test_only_what_is_watched_is_said_to_stand_still(kept: set[str], says: str) -> None:
    row = [replace(s, values={n: v for n, v in s.values.items() if n in kept})
           for s in drawn({"visibility": -4.0})]  # fmt: skip
    found = study_drift(row)
    assert says in found.sentence
    assert ("stand still" in found.sentence) == (says == "camera and light stand still")


def test_enough_shifts_of_which_nothing_is_watched_are_not_called_too_few() -> None:
    alike = [replace(s, values={"visibility": 0.2}) for s in drawn({})]
    found = study_drift(alike)
    assert not found.is_enough
    assert found.sentence.startswith("Nothing can be watched: ")
    alike[30:] = [replace(s, calibration="beef0042") for s in alike[30:]]
    assert "likely the calibration" in study_drift(alike).sentence


def test_a_verdict_that_changes_while_nothing_moves_is_said() -> None:
    row = drawn({}, seed=3)
    assert study_drift(row).verdicts == ""
    row[40:] = [replace(s, verdict="lean") for s in row[40:]]
    found = study_drift(row)
    assert found.alarm is None
    assert found.verdicts == (
        "The verdict changed to lean with 2026-03-41, though nothing that is watched has moved: "
        "look at the coupon."
    )


def photo(k: int, card: CardFacts | None = None) -> Inspection:
    facts = PhotoFacts(f"{k}.jpg", f"{k:064d}", 600, 800, f"2026-03-{k + 1:02d}T06:00:00")
    return inspection_of(photo=facts, card=card)


def test_records_give_their_card_or_else_the_weave_itself() -> None:
    card = CardFacts(mm_per_px=0.1, mtf={"0": 0.5, "90": 0.5}, white_gains=(1.0, 1.0, 2.0))
    with_card = shifts_of_records([(f"{k}.json", photo(k, card)) for k in (2, 1)])
    assert [shift.name for shift in with_card] == ["1.json", "2.json"], "in the order of time"
    values = with_card[0].values
    assert values["pitch"] == pytest.approx(2.15), "21.5 px of 0.1 mm"
    assert values["colour"] == pytest.approx(1.0), "one stop"
    assert values["blur"] == pytest.approx(np.log(2))
    mixed = shifts_of_records([(f"{k}.json", photo(k, card if k < 3 else None)) for k in range(4)])
    assert mixed[0].values["blur"] == pytest.approx(np.log(2))
    assert set(mixed[3].values) == {"visibility", "size"}, "the card told in most: one source"


def test_soft_and_borderline_cells_count_for_drift_and_hidden_ones_do_not() -> None:
    """A soft photo is what drift is to be seen in; a glint is not the coupon."""

    def visibility(reason: Reason) -> float | None:
        made = photo(1)
        assert made.cells is not None
        half = np.arange(made.cells.reasons.shape[1]) < made.cells.reasons.shape[1] * 3 // 4
        cells = replace(
            made.cells,
            visibility=np.where(half, np.float32(0.3), np.float32(0.1))
            * np.ones_like(made.cells.visibility),
            reasons=np.where(half, np.uint32(reason), 0) * np.ones_like(made.cells.reasons),
        )
        seen = shifts_of_records([("1.json", replace(made, cells=cells))])[0].values
        return seen.get("visibility")

    assert visibility(Reason.GLARE) == pytest.approx(0.1)
    everything = visibility(Reason.NONE)
    assert visibility(Reason.FOCUS) == visibility(Reason.BORDERLINE) == everything
    assert everything != pytest.approx(0.1)


def test_records_of_two_parts_or_the_same_photo_twice_are_refused() -> None:
    with pytest.raises(UsageError, match=r"the same photo as a\.json"):
        shifts_of_records([("a.json", photo(1)), ("b.json", photo(1))])
    with pytest.raises(UsageError, match=r"part B .* and A .*the same coupon"):
        shifts_of_records([(f"{n}.json", photo(k, CardFacts(part=n))) for k, n in enumerate("AB")])


def test_records_are_let_go_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Label maps and cells of 400 shifts took 1.3 GB."""
    alive: WeakSet[Inspection] = WeakSet()
    most = 0

    def read(path: Path, _allowed: str) -> Inspection:
        nonlocal most
        made = photo(int(path.stem))
        alive.add(made)
        most = max(most, len(alive))
        return made

    monkeypatch.setattr(cli_drift, "read_record", read)
    with pytest.raises(SystemExit):
        main(["drift", *(f"{k}.json" for k in range(20))])
    assert 1 <= most <= 2


def test_a_table_gives_the_same_study_as_its_shifts(tmp_path: Path) -> None:
    row = drawn({"blur": 4.0})
    lines = [f"{s.taken},{s.values['blur']},{s.verdict}" for s in row if s.taken < "2026-03-32"]
    found: DriftStudy = study_drift(
        shifts_of_table(written(tmp_path, "taken,blur,verdict", *lines))
    )
    assert found.causes[0].word == "camera"
    assert [w.name for w in found.watched] == ["blur"]


@pytest.mark.parametrize(
    ("rows", "line", "says"),
    [
        (["31.03.2026,0.1"], 2, "no such date"),
        ([",0.1"], 2, "taken is blank; allowed are 2026-03-31"),
        (["2026-02-30,0.1"], 2, "no such date"),
        (["2026-03-31T14:05Z,0.1"], 2, "no such date"),
        (["2026-03-31,-0.1"], 2, "a number above 0"),
        (["2026-03-01,0.1", "2026-03-01,0.1"], 3, "no later than the row before"),
        (["2026-03-01,0.1", "2026-02-01,0.1"], 3, "no later than the row before"),
        (["2026-03-01,"], 2, "nothing is measured"),
        (["2026-03-01,dim"], 2, "visibility 'dim' is no number"),
        (["2026-03-01,0,12"], 2, "more cells than"),
        ([], 1, "no shift"),
    ],
)
def test_a_broken_table_is_named_by_its_line(
    tmp_path: Path, rows: list[str], line: int, says: str
) -> None:
    with pytest.raises(TableError, match=says) as caught:
        shifts_of_table(written(tmp_path, "taken,visibility", *rows))
    assert caught.value.line == line


def test_a_camera_that_the_first_row_leaves_blank_is_named_all_the_same() -> None:
    row = [replace(s, camera="" if k == 0 else "A" if k < 30 else "B")
           for k, s in enumerate(drawn({}))]  # fmt: skip
    assert study_drift(row).causes[0].why == "A before, B since"


@pytest.mark.parametrize(
    ("moves", "word"),
    [
        ({"visibility": -15.0, "blur": 3.0}, "camera"),
        ({"visibility": -3.0, "blur": 1.8}, "camera"),
        ({"visibility": -15.0, "blur": 0.8}, "calibration"),
    ],
)
def test_a_move_explains_three_times_its_own_and_from_two_spreads_on_any(
    moves: dict[str, float], word: str
) -> None:
    """As the charts estimate them, the moves of blur are 5.4, 3.4 and 1.6 spreads."""
    assert study_drift(drawn(moves, count=60)).causes[0].word == word


@pytest.mark.parametrize("trait", ["calibration", "camera", "verdict"])
def test_the_first_shift_after_the_level_is_watched(trait: str) -> None:
    row, other = drawn({}, seed=3, count=24), dict[str, Any]({trait: "other"})
    changed = [replace(s, **other) if k >= 20 else s for k, s in enumerate(row)]
    found = study_drift(changed)
    assert all(watched.at == (20, 21, 22, 23) for watched in found.watched)
    assert (found.verdict_change if trait == "verdict" else found.alarm) == 20
    inside = [replace(s, **other) if k >= 19 else s for k, s in enumerate(row)]
    same = study_drift(inside)
    assert (same.verdict_change, same.causes) == (None, ())


def test_a_level_may_rest_on_ten_shifts() -> None:
    found = study_drift(drawn({}, count=11), 10)
    assert found.is_enough
    assert study_drift(drawn({}, count=10), 10).sentence.endswith("10 are there: 1 more to go.")


def test_without_a_card_softness_and_colour_come_from_the_weave() -> None:
    """The medium band 0.3 above the fine one; red twice the blue is one stop."""
    made = photo(1)
    assert made.cells is not None
    flat = np.ones_like(made.cells.visibility)
    cues = {"fine": 0.1 * flat, "medium": 0.4 * flat, "red_blue": np.log(2) * flat}
    cells = replace(made.cells, cues={name: v.astype(np.float32) for name, v in cues.items()})
    bare = replace(made, cells=cells)
    values = shifts_of_records([("1.json", bare)])[0].values
    assert (values["blur"], values["colour"]) == pytest.approx((0.3, 1.0), rel=1e-5)
    card = CardFacts(mm_per_px=0.1, mtf={"0": 0.5, "90": 0.5}, white_gains=(1.0, 1.0, 4.0))
    other = replace(photo(2), cells=cells, card=card)
    half = shifts_of_records([("1.json", bare), ("2.json", other)])
    assert half[1].values["blur"] == pytest.approx(0.3, rel=1e-5), "half is not most"


@pytest.mark.parametrize(
    ("reason", "is_hidden"),
    [(Reason.EDGE, True), (Reason.TAPE, True), (Reason.OBLIQUE, True), (Reason.CLIPPED, True),
     (Reason.GLARE, True), (Reason.WRINKLE, True), (Reason.FOCUS, False), (Reason.DARK, False)],
)  # fmt: skip
def test_what_hides_the_surface_is_left_out_and_what_spoils_the_photo_is_not(
    reason: Reason, is_hidden: bool
) -> None:
    made = photo(1)
    assert made.cells is not None
    left = np.arange(made.cells.zone.shape[1]) < made.cells.zone.shape[1] * 3 // 4
    seen = np.where(left, np.float32(0.3), np.float32(0.1)) * np.ones_like(made.cells.visibility)
    cells = replace(
        made.cells,
        visibility=seen,
        reasons=np.where(left, np.uint32(reason), 0) * np.ones_like(made.cells.reasons),
    )
    values = shifts_of_records([("1.json", replace(made, cells=cells))])[0].values
    assert values["visibility"] == pytest.approx(0.1 if is_hidden else 0.3)


def test_a_colour_may_be_below_0_and_nothing_else(tmp_path: Path) -> None:
    """A light bluer than red; the other quantities are sizes."""
    (shift,) = shifts_of_table(written(tmp_path, "taken,colour", "2026-03-01,-0.4"))
    assert shift.values == {"colour": -0.4}
    with pytest.raises(TableError, match="blur"):
        shifts_of_table(written(tmp_path, "taken,blur", "2026-03-01,-0.4"))
