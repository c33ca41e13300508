"""Charts read back: what is drawn stands at the value, at the word and on the side that it is of.

Values are chosen, or published: the picture is measured, not compared with its own code.
"""

import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from audits import month, part_of, photo_of
from drawings import Mark, marks_of
from published import EXAMPLE_3, hits
from study_tables import gauge_lines, kappa_lines, written

from satcheck.audit.rows import PartRow
from satcheck.audit.summary import pareto, trend
from satcheck.calibration.evidence import ZoneEvidence
from satcheck.model import SCALE, Label
from satcheck.pages.audit_charts import pareto_chart, reasons_chart, trend_chart
from satcheck.pages.calibration import is_miss, worst_misses
from satcheck.pages.drift import drift_chart
from satcheck.pages.evidence_charts import curve, distributions
from satcheck.pages.review import looks_like
from satcheck.pages.study_charts import detection_curve, kappas, spreads
from satcheck.statistics.roc import roc
from satcheck.studies.agreement import study_agreement
from satcheck.studies.detection import study_detection
from satcheck.studies.drift import study_drift
from satcheck.studies.repeatability import study_repeatability
from satcheck.studies.shifts import Shift

STARVED, GOOD, RICH = Label.STARVED, Label.GOOD, Label.RICH


def straight(points: list[tuple[float, float]]) -> tuple[float, float]:
    """Return slope and offset of the line on which all the points lie, within half a unit."""
    (x0, y0), (x1, y1) = min(points), max(points)
    slope = (y1 - y0) / (x1 - x0)
    assert all(abs(y - y0 - slope * (x - x0)) < 0.5 for x, y in points)
    return slope, y0 - slope * x0


def is_filled(mark: Mark) -> bool:
    return mark.said["fill"] != "none"


def words(svg: str) -> dict[str, Mark]:
    return {mark.words: mark for mark in marks_of(svg, "text")}


def test_bars_of_the_pareto_are_as_long_as_their_zones_counts() -> None:
    """Starved: lock in 2 of 3 parts, brim in 1; rich: distal left in 3 of 3, brim in 1."""
    rich = {"distal left": RICH}
    parts = [
        part_of("1", photo_of("1", STARVED, {"lock": STARVED, **rich})),
        part_of("2", photo_of("2", STARVED, {"lock": STARVED, "brim": STARVED, **rich})),
        part_of("3", photo_of("3", RICH, {"brim": RICH, **rich})),
    ]
    svg = pareto_chart(pareto(parts))
    bars = [(bar.words, is_filled(bar), bar.at["width"]) for bar in marks_of(svg, "rect")]
    unit = max(width for *_, width in bars) / 3
    assert [(said, filled, round(width / unit, 2)) for said, filled, width in bars] == [
        ("lock: starved in 2, rich in 0 of 3 parts", True, 2),
        ("brim: starved in 1, rich in 1 of 3 parts", True, 1),
        ("brim: starved in 1, rich in 1 of 3 parts", False, 1),
        ("distal left: starved in 0, rich in 3 of 3 parts", False, 3),
    ]
    assert {"2/3  67 %", "1/3  100 %", "0/3  100 %"} <= words(svg).keys()
    assert max(bar.at["x"] + bar.at["width"] for bar in marks_of(svg, "rect")) < 300
    assert pareto_chart(pareto([part_of("1")])) == ""


def test_zones_as_often_starved_stand_in_the_order_of_how_often_they_are_rich() -> None:
    verdicts = {"lock": RICH, "brim": STARVED, "distal left": STARVED}
    first, second, *_ = pareto(
        [part_of("1", photo_of("1", STARVED, verdicts)),
         part_of("2", photo_of("2", RICH, {"distal left": RICH}))]
    )  # fmt: skip
    assert (first.zone, first.rich, second.zone, second.rich) == ("distal left", 1, "brim", 0)


def test_bars_of_the_reasons_are_as_long_as_their_shares() -> None:
    svg = reasons_chart({"glare": 0.4, "<b>": 0.1, "edge": 0.0004})
    glare, marked = marks_of(svg, "rect")
    assert marked.at["width"] == pytest.approx(glare.at["width"] / 4, abs=0.1)
    assert (glare.words, marked.words) == ("glare: 40 %", "<b>: 10 %")
    assert reasons_chart({"edge": 0.0004}) == ""


def test_all_reasons_are_drawn_and_add_up_to_what_was_not_judged() -> None:
    """Of nine that each hide a twentieth, the ninth was left out of 45 %."""
    bars = marks_of(reasons_chart({f"reason {k}": 0.05 for k in range(9)}), "rect")
    assert [bar.words for bar in bars] == [f"reason {k}: 5 %" for k in range(9)]


def test_the_limits_of_a_trend_stand_at_their_values_from_the_first_part_judged_by_them() -> None:
    """NIST/SEMATECH 6.3.2.4: target and target +- width sd sqrt(weight / (2 - weight))."""
    found = trend(month(40), "share", moved)
    assert found.chart is not None
    svg = trend_chart(found)
    rings, lines = marks_of(svg, "circle"), marks_of(svg, "line")
    slope, zero = straight([(moved(part), ring.at["cy"])
                            for part, ring in zip(month(40), rings, strict=True)])  # fmt: skip
    level = found.chart.level
    half = 3.3 * level.sd * math.sqrt(0.2 / 1.8)
    dashed = [mark for mark in lines if mark.said.get("stroke-dasharray") == "5 3"]
    assert [mark.at["y1"] for mark in dashed] == pytest.approx(
        [zero + slope * (level.target - half), zero + slope * (level.target + half)], abs=0.2
    )
    assert all(rings[19].at["cx"] < mark.at["x1"] < rings[20].at["cx"] for mark in dashed)
    (target,) = (mark for mark in lines if mark.at["stroke-width"] == 0.7)
    assert target.at["y1"] == pytest.approx(zero + slope * level.target, abs=0.2)


def moved(part: PartRow) -> float:
    """Return a value that goes up by a hundred times its spread at part 30."""
    at = int(part.part[2:])
    return 0.2 + 0.005 * (at % 3) + 0.5 * (at >= 30)


def test_a_trend_is_drawn_at_its_values_with_the_warning_at_its_part() -> None:
    found = trend(month(40), "share", moved, "A & B")
    svg = trend_chart(found)
    rings = marks_of(svg, "circle")
    assert len(rings) == 40
    assert rings[0].words == "P-00, 2026-03-01: 0.20"
    slope, _ = straight([(moved(part), ring.at["cy"])
                         for part, ring in zip(month(40), rings, strict=True)])  # fmt: skip
    assert slope < 0, "more is higher"
    (warning,) = (mark for mark in marks_of(svg, "line") if mark.at["stroke-width"] == 2)
    assert warning.at["x1"] == pytest.approx(rings[30].at["cx"], abs=0.1)
    (average,) = marks_of(svg, "polyline")
    assert average.points[0][0] == pytest.approx(rings[20].at["cx"], abs=0.1)
    assert average.points[-1][0] == pytest.approx(rings[-1].at["cx"], abs=0.1)
    assert words(svg)["2026-03-01"].at["x"] < words(svg)["2026-06-04"].at["x"]
    assert {"share, A & B", "0.70 now", "warns"} <= words(svg).keys()


def test_too_few_parts_have_no_picture_of_a_trend() -> None:
    assert trend_chart(trend(month(9), "share", moved)) == ""
    assert trend_chart(trend(month(10), "share", moved)) != ""


ROW = ZoneEvidence("P", "a.png", "ab", "lock", STARVED, STARVED, -0.1, -0.5, 0.1)


def test_zones_stand_at_their_index_on_the_line_of_their_label() -> None:
    """Starved at -1, good at 0, rich at 1: each at the axis's own words."""
    rows = [replace(ROW, label=label, called=label, index=index)
            for label, index in ((STARVED, -1.0), (GOOD, 0.0), (RICH, 1.0))]  # fmt: skip
    svg = distributions(rows, {"starved/lean": -0.5, "lean/good": 0.0})
    said, dots = words(svg), marks_of(svg, "circle")
    for dot, tick, label in zip(dots, ("-1 dry", "0", "1 full"), (STARVED, GOOD, RICH),
                                strict=True):  # fmt: skip
        assert dot.at["cx"] == pytest.approx(said[tick].at["x"], abs=0.1)
        assert dot.at["cy"] == pytest.approx(said[label.word].at["y"], abs=16)
    assert said["starved"].at["x"] < said["-1 dry"].at["x"] < said["1 full"].at["x"] < 360
    bounds = [mark.at["x1"] for mark in marks_of(svg, "line") if "stroke-dasharray" in mark.said]
    middle = (dots[0].at["cx"] + dots[1].at["cx"]) / 2
    assert bounds == pytest.approx([middle, dots[1].at["cx"]], abs=0.1)
    assert (said["lean from"].at["x"], said["good from"].at["x"]) == pytest.approx(bounds, abs=4)


def test_a_zone_labelled_lean_or_heavy_stands_on_a_line_of_its_own() -> None:
    """They were left out of a picture that said it showed every labelled zone."""
    rows = [replace(ROW, part=label.word, label=label, called=label, index=0.2) for label in SCALE]
    svg = distributions(rows, {})
    said, dots = words(svg), {mark.words: mark for mark in marks_of(svg, "circle")}
    assert len(dots) == 5
    for label in SCALE:
        dot = dots[f"a.png, lock (part {label.word})"]
        assert dot.at["cy"] == pytest.approx(said[label.word].at["y"], abs=16)
    assert "lean" not in words(distributions(rows[:1], {}))


def test_a_dot_agrees_a_cross_does_not_and_a_ring_was_not_judged() -> None:
    calls = (STARVED, GOOD, Label.NOT_JUDGED)
    svg = distributions([replace(ROW, part=str(k), called=c) for k, c in enumerate(calls)], {})
    assert [is_filled(mark) for mark in marks_of(svg, "circle")] == [True, False]
    assert [mark.words for mark in marks_of(svg, "path")] == ["a.png, lock (part 1): good"]
    unmeasured = distributions([replace(ROW, index=math.nan)], {})
    assert not marks_of(unmeasured, "circle") + marks_of(unmeasured, "path")


def test_the_roc_has_the_starved_zones_found_upwards() -> None:
    """Scores 4, 3 and 1 of starved zones, 2 and 0 of good ones: area 5/6 of the square."""
    found = roc([4, 3, 1, 2, 0], [True, True, True, False, False])
    assert found is not None
    svg = curve(found)
    (frame,), (line,) = marks_of(svg, "rect"), marks_of(svg, "polyline")
    x, y, side = (frame.at[name] for name in ("x", "y", "width"))
    points = [((px - x) / side, 1 - (py - y) / side) for px, py in line.points]
    assert points[0] == pytest.approx((0, 0), abs=1e-3)
    assert points[-1] == pytest.approx((1, 1), abs=1e-3)
    area = sum((b[0] - a[0]) * (a[1] + b[1]) / 2
               for a, b in pairwise(points))  # fmt: skip
    assert area == pytest.approx(5 / 6, abs=2e-3)


def test_a_miss_is_starved_called_good_and_more_or_good_called_starved_or_rich() -> None:
    missed = {(label, called) for label in Label for called in Label
              if is_miss(replace(ROW, label=label, called=called))}  # fmt: skip
    assert missed == {
        (STARVED, GOOD), (STARVED, Label.HEAVY), (STARVED, RICH), (GOOD, STARVED), (GOOD, RICH),
    }  # fmt: skip


def test_the_worst_misses_are_starved_ones_first_that_look_least_so() -> None:
    rows = [
        replace(ROW, part="good, dry", label=GOOD, called=STARVED, index=-0.6),
        replace(ROW, part="good, drier", label=GOOD, called=STARVED, index=-0.9),
        replace(ROW, part="hit"),
        replace(ROW, part="starved", called=GOOD, edge=0.1),
        replace(ROW, part="starved, never seen", called=GOOD, edge=math.inf),
    ]
    assert [row.part for row in worst_misses(rows)] == [
        "starved, never seen", "starved", "good, drier", "good, dry",
    ]  # fmt: skip
    assert len(worst_misses(rows, 1)) == 1


@pytest.mark.parametrize(("index", "word"), [(-0.9, "starved"), (0.1, "good"), (0.8, "rich")])
def test_a_label_to_review_looks_as_its_index_lies(index: float, word: str) -> None:
    assert looks_like(replace(ROW, index=index)) == word


def test_kappas_stand_at_their_values_between_chance_and_full(tmp_path: Path) -> None:
    """JASP's published kappas against the standard, and their bounds of 0.4 and 0.75."""
    found = study_agreement(written(tmp_path, *kappa_lines()), "standard")
    svg = kappas(found)
    said = words(svg)
    left, right = said["0 chance"].at["x"], said["1 full"].at["x"]
    dots = [(dot.at["cx"] - left) / (right - left) for dot in marks_of(svg, "circle")]
    assert dots[:3] == pytest.approx([0.612903, 0.492308, 0.264151], abs=1e-3)
    cuts = [(said[word].at["x"] - left) / (right - left) for word in ("poor below", "good from")]
    assert cuts == pytest.approx([0.4, 0.75], abs=1e-3)
    assert "standard - MH: 0.26" in said
    lines = [mark for mark in marks_of(svg, "line") if mark.at["stroke-width"] == 2]
    for pair, mark in zip(found.pairs, lines, strict=False):
        ends = [(mark.at[end] - left) / (right - left) for end in ("x1", "x2")]
        assert pair.kappa.low is not None
        assert pair.kappa.high is not None
        assert ends == pytest.approx([max(pair.kappa.low, 0), pair.kappa.high], abs=1e-3)


def test_the_manuals_shares_of_the_spread_stand_by_their_method(tmp_path: Path) -> None:
    """AIAG's study (MSA, 4th ed.): %EV 17.62, %AV 20.04, %GRR 26.68, %PV 96.38 by ranges.

    By analysis of variance: 18.42, 20.90, 27.86 and 96.04.
    """
    svg = spreads(study_repeatability(written(tmp_path, *gauge_lines())))
    said = words(svg)
    full = said["100 % of the spread"].at["x"] - said["0"].at["x"]
    bars = [(is_filled(bar), 100 * bar.at["width"] / full) for bar in marks_of(svg, "rect")]
    shown = [share for filled, share in bars if filled]
    assert shown == pytest.approx([18.42, 20.90, 27.86, 96.04], abs=0.05)
    by_range = [share for filled, share in bars if not filled]
    assert by_range == pytest.approx([17.62, 20.04, 26.68, 96.38], abs=0.05)
    assert "same person again: 18 %" in said
    assert "person to person: 21 %" in said
    cut = next(m for m in marks_of(svg, "line") if "stroke-dasharray" in m.said)
    assert (cut.at["x1"] - said["0"].at["x"]) / full == pytest.approx(0.3, abs=1e-3)


def test_the_published_curve_stands_at_its_sizes(tmp_path: Path) -> None:
    """MIL-HDBK-1823A software, example 3: a90/95 0.192495; found patches above, missed below."""
    marks = list(hits(EXAMPLE_3))
    found = study_detection(
        written(tmp_path, "size,found", *(f"{s},{f}" for s, f in marks)), unit="in"
    )
    svg = detection_curve(found)
    said, (line,) = words(svg), marks_of(svg, "polyline")
    zero = said["0"].at["x"]
    (end,) = (text for word, text in said.items() if word.endswith(" in"))
    size = float(end.words.split()[0]) / (end.at["x"] - zero)
    bound = next(m for m in marks_of(svg, "line") if m.said.get("stroke-dasharray") == "4 3")
    assert (bound.at["x1"] - zero) * size == pytest.approx(0.192495, rel=0.01)
    heights = {word: said[word].at["y"] - 4 for word in ("0 %", "90 %")}
    assert heights["90 %"] < heights["0 %"]
    assert bound.at["y1"] == pytest.approx(heights["90 %"], abs=0.1)
    dots = {dot.words.split()[0]: dot for dot in marks_of(svg, "circle")}
    assert dots["a90"].at["cy"] == pytest.approx(heights["90 %"], abs=0.1)
    assert all(min(math.dist(point, (dot.at["cx"], dot.at["cy"])) for point in line.points) < 2.5
               for dot in dots.values())  # fmt: skip
    rug = [m for m in marks_of(svg, "line") if m.at["stroke-width"] == 1.2]
    assert [mark.at["y1"] < heights["90 %"] for mark in rug] == [bool(f) for _, f in marks]


def test_a_size_beyond_the_axis_is_not_drawn_at_its_end(tmp_path: Path) -> None:
    """Odds one in four at 8, the largest: half are found from about 12 on, off the picture."""
    rows = [f"{size},{int(k < 1 + size // 3)}" for size in range(1, 9) for k in range(16)]
    found = study_detection(written(tmp_path, "size,found", *rows))
    assert found.result.a50 is not None
    assert found.result.a50 > found.result.largest
    svg = detection_curve(found)
    (line,) = marks_of(svg, "polyline")
    for dot in marks_of(svg, "circle"):
        away = min(math.dist(point, (dot.at["cx"], dot.at["cy"])) for point in line.points)
        assert away < 2.5, dot.words


def test_a_drift_is_drawn_at_its_shifts_with_the_warning_where_it_warns() -> None:
    """The blur of shift 3 is missing; from shift 30 on it is up by fifty times its spread."""
    shifts = [
        Shift(f"{k}.json", f"2026-03-{k + 1:02d}", {"blur": 0.5 + 0.01 * (k % 3) + 0.5 * (k >= 30)},
              "", "c0ffee12", "good")
        for k in range(40)
    ]  # fmt: skip
    shifts[3] = replace(shifts[3], values={"size": 40.0})
    study = study_drift(shifts)
    (watched,) = (one for one in study.watched if one.name == "blur")
    svg = drift_chart(study, watched)
    rings = {ring.words: ring for ring in marks_of(svg, "circle")}
    assert len(rings) == 39
    slope, _ = straight([(shift.values["blur"], rings[shift.taken].at["cy"])
                         for shift in shifts if "blur" in shift.values])  # fmt: skip
    assert slope < 0, "more is higher"
    (warning,) = (mark for mark in marks_of(svg, "line") if mark.at["stroke-width"] == 2)
    assert warning.at["x1"] == pytest.approx(rings["2026-03-31"].at["cx"], abs=0.1)
    (average,) = marks_of(svg, "polyline")
    assert average.points[-1][0] == pytest.approx(rings["2026-03-40"].at["cx"], abs=0.1)
    assert average.points[0][1] > average.points[-1][1]
