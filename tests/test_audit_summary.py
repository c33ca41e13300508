"""What stands out among an audit's parts, against rows made by hand."""

from dataclasses import replace

import numpy as np
import pytest
from audits import month, part_of, photo_of
from scipy.stats import hypergeom

from satcheck.audit.rows import PartRow, part_rows
from satcheck.audit.summary import FEWEST, pareto, second_look, statement, summarise, trend
from satcheck.audit.wording import (
    group_row,
    judged_sentence,
    listed,
    outcome_sentence,
    pareto_sentence,
    percent,
    same_file_sentence,
    second_sentences,
    trend_sentence,
)
from satcheck.model import VIEWS, ZONES, Evenness, Label
from satcheck.report import DEMO_NOTE
from satcheck.statistics.intervals import wilson

STARVED, RICH = Label.STARVED, Label.RICH


def constant(part: PartRow) -> float:
    return 0.5


def test_a_part_has_the_worst_verdict_of_its_photos_and_says_where() -> None:
    part = part_of(
        "4711",
        photo_of("4711", path="a", view="anterior"),
        photo_of("4711", STARVED, {"lock": STARVED, "brim": RICH}, path="b", view="lateral"),
        photo_of("4711", Label.NOT_JUDGED, path="c", share_judged=0.0, reasons={"glare": 0.6}),
    )
    assert (part.verdict, part.outcome) == (STARVED, "fail")
    assert part.where == "starved lateral: lock; rich lateral: brim"
    assert part.unseen == ("posterior", "medial")
    assert part.share_starved == 1 / 22
    assert part.open == (
        "36 % not judged (glare), 1 of 3 photos not judged at all, no photo from posterior, medial"
    )


def test_a_part_of_which_nothing_was_judged_neither_passes_nor_fails() -> None:
    part = part_of("1", photo_of("1", Label.NOT_JUDGED, reasons={"no part": 1.0}))
    assert (part.outcome, part.share_starved) == ("not judged", None)
    assert part.open == "nothing judged (no part)"


@pytest.mark.parametrize(("judged", "words"), [(0.997, "1 %"), (1.0, "0 %"), (0.004, "99 %")])
def test_what_was_not_judged_is_rounded_as_what_was(judged: float, words: str) -> None:
    """99 % judged stood beside 0 % not judged."""
    part = part_of("1", photo_of("1", share_judged=judged, reasons={}))
    assert part.open == f"{words} not judged"


def test_parts_that_fail_come_first_then_those_not_judged() -> None:
    photos = [
        photo_of("1"),
        photo_of("2", Label.NOT_JUDGED),
        photo_of("4", RICH, {"brim": RICH}),
        photo_of("3", STARVED, {"brim": STARVED}),
    ]
    assert [row.part for row in part_rows(photos, lambda *_: None)] == ["3", "4", "2", "1"]


def test_in_the_pareto_a_part_counts_once_however_many_photos_show_it() -> None:
    lock, brim = {"lock": STARVED}, {"brim": STARVED, "lock": STARVED}
    parts = [
        part_of("1", *(photo_of("1", STARVED, lock, path=name) for name in "abc")),
        part_of("2", photo_of("2", STARVED, brim)),
        part_of("3", photo_of("3", Label.NOT_JUDGED)),
    ]
    first, second, *rest = pareto(parts)
    assert (first.zone, first.starved, first.judged) == ("lock", 2, 2)
    assert (second.zone, second.starved) == ("brim", 1)
    assert (first.cumulative, second.cumulative) == (2 / 3, 1.0)
    assert not any(zone.starved for zone in rest)
    assert pareto_sentence(summarise(parts)) == (
        "Starved most often: lock (2 of 2 parts), brim (1 of 2 parts)."
    )


@pytest.mark.parametrize(
    ("count", "more"),
    [
        (3, ""),
        (4, "; 1 more zone as often as the last"),
        (6, "; 3 more zones as often as the last"),
    ],
)
def test_zones_that_starve_as_often_as_the_last_named_are_counted(count: int, more: str) -> None:
    names = dict.fromkeys(ZONES[:count], STARVED)
    said = pareto_sentence(summarise([part_of("1", photo_of("1", STARVED, names))]))
    assert said.count("(1 of 1 part)") == 3
    assert said.endswith(f"(1 of 1 part){more}.")


def test_the_same_file_in_two_folders_says_for_which_part_it_counts() -> None:
    twice = photo_of("4711", path="4711/a.jpg", copies=("4712/b.jpg",))
    (same,) = summarise([part_of("4711", twice)]).repeated
    assert same_file_sentence(same) == (
        "The same file twice, counted once for part 4711: 4711/a.jpg, 4712/b.jpg"
    )


def test_one_file_in_three_places_is_not_there_twice() -> None:
    thrice = photo_of("4711", path="a.jpg", copies=("b.jpg", "c.jpg"))
    (same,) = summarise([part_of("4711", thrice)]).repeated
    assert same_file_sentence(same).startswith("The same file 3 times, counted once for part 4711")


def test_the_same_file_under_two_parts_is_named_by_both() -> None:
    one = photo_of("4711", path="a.jpg", copies=("b.jpg",))
    other = replace(one, path="b.jpg", part="4712", copies=("a.jpg",))
    (same,) = summarise([part_of("4711", one), part_of("4712", other)]).repeated
    assert same_file_sentence(same) == (
        "The same file UNDER DIFFERENT PARTS (4711, 4712): a.jpg, b.jpg"
    )


def test_a_calibration_s_part_is_counted_in_words() -> None:
    told = [replace(photo_of("1").inspection.calibration, parts=parts) for parts in (1, 2)]
    assert "from 1 part: " in statement(told[:1])[0]
    assert "from 2 parts: " in statement(told[1:])[0]
    demo = [replace(facts, is_demo=True) for facts in told]
    assert DEMO_NOTE in statement(demo)
    assert DEMO_NOTE not in statement([replace(facts, is_demo=False) for facts in told])


def test_the_sentences_count_what_there_is() -> None:
    bad = photo_of("3", STARVED, {"brim": STARVED}, share_judged=0.5, reasons={"glare": 0.5})
    found = summarise([part_of("1"), part_of("3", bad)])
    assert outcome_sentence(found) == "2 parts in 2 photos: 1 fail, 1 pass, 0 not judged."
    assert judged_sentence(found) == "Not judged: 27 % of the parts as seen (glare 26 %)."
    assert pareto_sentence(summarise([part_of("1")])) == "No judged zone is starved."


def test_of_the_reasons_the_four_that_hide_most_are_named_from_half_a_per_cent_on() -> None:
    reasons = {"edge": 0.1, "glare": 0.3, "veil": 0.02, "too dark": 0.03, "focus": 0.01}
    bad = photo_of("1", share_judged=0.54, reasons={**reasons, "shake": 0.004})
    assert judged_sentence(summarise([part_of("1", bad)])) == (
        "Not judged: 46 % of the parts as seen "
        "(glare 30 %, edge 10 %, too dark 3 %, veil 2 % and 1 more)."
    )


def test_only_zones_as_rarely_starved_as_the_last_named_count_as_its_ties() -> None:
    """Lock in 3 parts, brim in 2, then two zones in 1 each: one more as often as the last."""
    zones = ("lock", "brim", "distal left", "distal right")
    parts = [
        part_of(str(k), photo_of(str(k), STARVED, dict.fromkeys(zones[:count], STARVED)))
        for k, count in enumerate((4, 2, 1))
    ]
    said = pareto_sentence(summarise(parts))
    assert said.startswith("Starved most often: lock (3 of 3 parts), brim (2 of 3 parts), distal ")
    assert said.endswith("(1 of 3 parts); 1 more zone as often as the last.")


def test_the_view_is_told_of_several_photos_and_not_of_the_only_one() -> None:
    """Another photo may show the zone otherwise; of one there is no other."""
    bad = photo_of("1", STARVED, {"lock": STARVED}, view="lateral")
    assert part_of("1", bad).where == "starved lock"
    assert part_of("1", bad, photo_of("1", path="b")).where == "starved lateral: lock"


def test_beside_the_scale_stands_the_worst_photo() -> None:
    photos = [photo_of("1", path="a"), photo_of("1", STARVED, {"lock": STARVED}, path="b")]
    asked = []
    part_rows(photos, lambda part, worst: asked.append((part, worst.photo.name)))
    assert asked == [("1", "b")]


def test_the_reasons_add_up_to_what_was_not_judged_however_many_photos_a_part_has() -> None:
    """Four photos of one part in glare, one good photo of another: half of the two parts."""
    glare = [photo_of("1", Label.NOT_JUDGED, path=name, share_judged=0.0, reasons={"glare": 1.0})
             for name in "abcd"]  # fmt: skip
    found = summarise([part_of("1", *glare), part_of("2", photo_of("2", share_judged=1.0,
                                                                   reasons={}))])  # fmt: skip
    assert judged_sentence(found) == "Not judged: 50 % of the parts as seen (glare 50 %)."
    assert found.reasons == {"glare": 1 - found.share_judged}


def test_a_group_counts_of_its_parts_only_those_judged() -> None:
    """One of two judged parts fails, with 1 of 11 zones starved; the third is not judged."""
    bad = photo_of("1", STARVED, {"lock": STARVED}, evenness=Evenness(0.5, "uneven"))
    unjudged = photo_of("3", Label.NOT_JUDGED, share_judged=0.0, evenness=None)
    good = photo_of("2", share_judged=1.0, evenness=Evenness(0.9, "even"))
    bad = replace(bad, inspection=replace(bad.inspection, share_judged=0.5))
    parts = [part_of(photo.part, photo) for photo in (bad, good, unjudged)]
    parts.append(part_of("4", photo_of("4", by="CD", resin="acrylic", when="2027-01-02T00:00:00")))
    found = summarise(parts)
    group = found.groups["technician"][0]
    assert group.fails == wilson(1, 2)
    assert (group.starved, group.evenness, group.share_judged) == pytest.approx((1 / 22, 0.7, 0.5))
    name, number, fails, starved, even, judged = group_row(group)
    assert (name, number, starved, even, judged) == ("AB", "3", "5 %", "0.70", "50 %")
    assert fails == "50 % (9-91)"  # Wilson (1927) for 1 of 2: 0.0945 to 0.9055
    assert [one.name for one in found.groups["resin"]] == ["acrylic", "epoxy"]
    assert [one.name for one in found.groups["month"]] == ["2026-03", "2027-01"]


def test_a_part_is_as_even_as_its_least_even_photo_and_as_new_as_its_newest() -> None:
    photos = [photo_of("1", path=str(k), evenness=Evenness(value, ""), when=f"2026-03-0{k}T00:00")
              for k, value in ((1, 0.9), (2, 0.4), (3, 0.7))]  # fmt: skip
    part = part_of("1", *photos)
    assert (part.evenness, part.when) == (0.4, "2026-03-03T00:00")
    assert part_of("1", photo_of("1", evenness=None)).evenness is None


def test_photos_of_a_part_come_in_the_order_of_views_the_unnamed_last() -> None:
    names = ("", "medial", "anterior", "lateral", "posterior")
    photos = [photo_of("1", view=view, path=f"{k}.jpg") for k, view in enumerate(names)]
    (row,) = part_rows(photos, lambda *_: None)
    assert [photo.view for photo in row.photos] == [*VIEWS, ""]


def test_people_have_trends_of_their_own_where_they_have_parts_enough() -> None:
    """48 parts by two technicians, 24 each; one of them never has a starved zone."""
    trends = [(one.quantity, one.whose) for one in summarise(month(48)).trends]
    assert trends == [
        ("share of zones starved", ""), ("evenness", ""), ("share judged", ""),
        ("share of zones starved", "CD"),
    ]  # fmt: skip
    alone = [part for part in month(48) if part.photos[0].by == "CD"]
    assert not any(one.whose for one in summarise(alone).trends)


def test_groups_hold_the_library_s_interval_and_one_group_is_no_comparison() -> None:
    found = summarise(month())
    by = {group.name: group for group in found.groups["technician"]}
    assert set(found.groups) == {"technician", "month"}
    assert (by["CD"].parts, by["AB"].parts) == (12, 12)
    assert by["CD"].fails == wilson(6, 12)
    assert by["AB"].fails == wilson(0, 12)


def test_a_trend_that_moves_is_found_and_one_that_stays_is_not() -> None:
    parts = month(40)
    steady = trend(parts, "x", lambda part: 0.5 + 0.01 * (int(part.part[2:]) % 5))
    assert steady.baseline == 20
    assert steady.alarm is None
    assert "has not moved in the 20 parts since the first 20" in trend_sentence(steady)
    moved = trend(parts, "x", lambda p: 0.01 * (int(p.part[2:]) % 5) + (p.part >= "P-30"))
    assert moved.alarm is not None
    assert moved.parts[moved.alarm] >= "P-30"
    assert f"has moved up since part {moved.parts[moved.alarm]}" in trend_sentence(moved)


def test_a_trend_says_the_way_it_moved_when_it_warned_and_where_it_stands_now() -> None:
    """It dips at part 30, comes back, and ends a little above its level: it was told as up."""
    parts = month(60)

    def dips(part: PartRow) -> float:
        at = int(part.part[2:])
        return 0.5 + 0.01 * (at % 5) - 0.1 * (30 <= at < 32) + 0.005 * (at > 45)

    found = trend(parts, "x", dips)
    assert found.chart is not None
    assert found.chart.moved > 0
    assert not found.chart.alarms[-1]
    assert trend_sentence(found).startswith("X: had moved down at part P-30 (")
    assert ", and is within its limits now; look for the cause" in trend_sentence(found)


def test_a_steady_share_of_starved_zones_warns_in_about_a_third_of_rows_not_in_most() -> None:
    """One part in eight has starved zones, the others none: no normal spread, as shops have it."""
    parts, rng, warned = month(50), np.random.default_rng(8), []
    for _ in range(200):
        shares = np.where(rng.random(50) < 1 / 8, rng.integers(1, 5, 50) / 9, 0.0)
        found = trend(parts, "x", lambda part, row=shares: float(row[int(part.part[2:])]))  # type: ignore[misc]
        if found.chart is not None:
            warned.append(found.alarm is not None)
    assert 0.2 < np.mean(warned) < 0.4


def test_a_trend_runs_in_the_order_of_dates() -> None:
    parts = month(4)
    assert trend(parts[::-1], "x", constant).parts == ("P-00", "P-01", "P-02", "P-03")


@pytest.mark.parametrize(("count", "problem"), [(FEWEST, "10 parts"), (30, "all alike")])
def test_without_enough_parts_or_any_spread_there_are_no_limits(count: int, problem: str) -> None:
    found = trend(month(count), "x", constant)
    assert found.chart is None
    assert problem in found.problem


def test_parts_that_only_set_the_level_have_no_limits_yet() -> None:
    found = trend(month(FEWEST), "x", lambda part: int(part.part[2:]) / 10)
    assert found.chart is None
    assert trend_sentence(found) == "X: no limits yet (10 parts; limits need 11 and more)."
    assert "(1 part; limits need" in trend_sentence(trend(month(1), "x", constant))
    assert trend(month(FEWEST + 1), "x", lambda part: int(part.part[2:]) / 10).chart is not None


def test_the_second_look_draws_the_plan_s_number_and_always_the_same_parts() -> None:
    parts = month(80)  # 60 pass: letter E, and at AQL 2.5 the arrow leads to F, 20 and 1
    look = second_look(parts)
    assert look.plan is not None
    assert (look.plan.lot, look.plan.size, look.plan.accept) == (60, 20, 1)
    assert look == second_look(parts[::-1])
    assert len(set(look.parts)) == 20
    assert set(look.parts) <= {part.part for part in parts if not part.fails}
    other = [replace(part, photos=(photo_of(part.part, path=f"{part.part} again"),))
             if not part.fails else part for part in parts]  # fmt: skip
    assert second_look(other).parts != look.parts


def test_the_note_on_one_offs_stands_beside_every_plan() -> None:
    for parts in (month(80), month(4), [part_of("1", photo_of("1", STARVED, {"lock": STARVED}))]):
        *_, last = second_sentences(second_look(parts), 1, 0)
        assert "each is inspected by a qualified person" in last


def test_near_photos_are_named_and_unknown_hashes_left_out() -> None:
    photos = [
        photo_of(n, likeness=v) for n, v in (("1", 0), ("2", 1), ("3", 2**64 - 1), ("4", None))
    ]
    (group,) = summarise([part_of(photo.part, photo) for photo in photos]).near
    assert [photo.part for photo in group] == ["1", "2"]


@pytest.mark.parametrize(
    ("share", "words"),
    [(0.0, "0 %"), (0.001, "1 %"), (0.5, "50 %"), (0.999, "99 %"), (1.0, "100 %"), (None, "-")],
)
def test_only_all_is_a_hundred_per_cent(share: float | None, words: str) -> None:
    assert percent(share) == words


def test_of_a_long_list_the_rest_is_counted() -> None:
    assert listed("abcdef") == "a, b, c, d, e, f"
    assert listed("abcdefgh") == "a, b, c, d, e, f and 2 more"


@pytest.mark.parametrize(
    ("failing", "unjudged", "said"),
    [
        (4, 0, "Look at the 4 that fail."),
        (1, 1, "Look at the one that fails and the one not judged."),
        (0, 2, "Look at the 2 not judged."),
        (0, 0, "None fails, and all were judged."),
    ],
)
def test_the_second_look_names_no_parts_where_there_are_none(
    failing: int, unjudged: int, said: str
) -> None:
    assert second_sentences(second_look(month(4)), failing, unjudged)[0] == said


def test_the_second_look_says_how_many_may_be_wrong() -> None:
    """ISO 2859-1, general level II, normal: lots of 51 to 90 are letter E; of up to 8, A."""
    sampled = second_sentences(second_look(month(80)), 20, 3)
    assert sampled[0] == "Look at the 20 that fail and the 3 not judged."
    assert "Of the 60 that pass, look at 20 " in sampled[1]
    assert "Where at most 1 are found starved or rich, the lot stands" in sampled[1]
    assert "Of the 3 that pass, look at all" in second_sentences(second_look(month(4)), 1, 0)[1]
    passes = [wrong for wrong in range(61) if hypergeom(60, wrong, 20).cdf(1) >= 0.1]
    assert f"With {max(passes)} of the 60 wrong it still passes" in sampled[1]
    zero = second_sentences(second_look(month(10)), 3, 0)[1]
    assert "look at 5 " in zero
    assert "Where none is found starved or rich" in zero
