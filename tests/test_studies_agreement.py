"""Agreement from a table: the published set as a shop would write it, and every broken table."""

from pathlib import Path

import pytest
from study_tables import kappa_lines, written

from satcheck.errors import TableError, UsageError
from satcheck.studies.agreement import AgreementStudy, study_agreement
from satcheck.studies.summary import summarise_agreement

HEAD = "part,zone,rater,state"


def study(folder: Path, *rows: str, against: str | None = None) -> AgreementStudy:
    return study_agreement(written(folder, HEAD, *rows), against)


def rated(states: str, rater: str, part: int = 0) -> list[str]:
    """Return a row a letter: s starved, l lean, g good, h heavy, r rich, - not judged."""
    word = dict(zip("slghr-", ("starved", "lean", "good", "heavy", "rich", "not judged"),
                    strict=True))  # fmt: skip
    return [f"{part or k},brim,{rater},{word[s]}" for k, s in enumerate(states, 1)]


def test_an_open_packages_attribute_set_comes_out_of_its_table(tmp_path: Path) -> None:
    """JASP's published results: against the standard, pooled, within and between operators."""
    found = study_agreement(written(tmp_path, *kappa_lines()), "standard")
    assert (found.parts, found.against, found.misses) == (15, "standard", None)
    kappas = {pair.second: pair.kappa.value for pair in found.pairs if pair.first == "standard"}
    assert kappas == pytest.approx({"EG": 0.612903, "BL": 0.492308, "MH": 0.264151}, abs=1e-6)
    assert all(pair.weighted is None for pair in found.pairs), "two words have no near miss"
    assert found.pooled is not None
    assert found.pooled.kappa.items == 135
    assert found.pooled.kappa.value == pytest.approx(0.466667, abs=1e-6)
    within = {rater: kappa.value for rater, kappa in found.within.items()}
    assert within == pytest.approx({"EG": 0.905462, "BL": 0.910000, "MH": 0.543919}, abs=1e-6)
    assert found.between is not None
    assert found.between.value == pytest.approx(0.641667, abs=1e-6)
    assert "poor (lowest kappa 0.26)" in found.sentence


def test_the_published_set_item_by_item(tmp_path: Path) -> None:
    """JASP's published results.

    Matching 12, 11, 9 of 15, all 7; steady 14, 14, 12, all 9; miss rates 16.67, 26.67, 10 %,
    false alarms 20, 20, 66.67 % (its miss is an accepted part that was rejected).
    """
    held = study_agreement(written(tmp_path, *kappa_lines()), "standard").held
    assert [h.rater for h in held] == ["EG", "BL", "MH", "all together"]
    assert [h.same for h in held] == [12, 11, 9, 7]
    assert [h.steady for h in held] == [14, 14, 12, 9]
    rejected = [100 * h.false / h.others for h in held[:3]]
    assert rejected == pytest.approx([16.67, 26.67, 10.00], abs=5e-3)
    accepted = [100 * h.missed / h.starved for h in held[:3]]
    assert accepted == pytest.approx([20.00, 20.00, 66.67], abs=5e-3)


def test_an_item_that_one_of_several_has_not_judged_is_not_held_together(tmp_path: Path) -> None:
    rows = [*rated("sg", "standard"), *rated("sg", "Ann"), *rated("s-", "Ben")]
    ann, ben, together = study(tmp_path, *rows, against="standard").held
    assert (ann.items, ben.items, together.items) == (2, 1, 1)
    assert (together.same, together.starved, together.others) == (1, 2, 0)


def test_how_often_a_rater_is_the_same_is_as_sure_as_there_are_parts(tmp_path: Path) -> None:
    """Eight zones of each of ten parts, all the same, are ten parts: 0.025^(1/10), closed form."""
    zones = [f"{part},z{zone}" for part in range(10) for zone in range(8)]
    rows = [f"{at},{who},starved" for at in zones for who in ("Ann", "standard")]
    (ann,) = study(tmp_path, *rows, against="standard").held
    assert (ann.same, ann.items) == (80, 80)
    assert ann.share_same is not None
    assert ann.share_same.low == pytest.approx(0.025**0.1)
    assert ann.share_same.high == 1


def test_the_tool_is_held_against_inspectors_where_it_is_among_the_raters(tmp_path: Path) -> None:
    rows = [*rated("sslgghr", "satcheck"), *rated("sslgghr", "Ann"), *rated("sslgghh", "Ben")]
    found = study(tmp_path, *rows)
    assert found.against == "satcheck"
    assert [(pair.first, pair.second) for pair in found.pairs] == [
        ("satcheck", "Ann"), ("satcheck", "Ben"), ("Ann", "Ben"),
    ]  # fmt: skip
    assert found.pairs[0].kappa.value == 1
    weighted = found.pairs[1].weighted
    assert weighted is not None
    assert weighted.value is not None
    assert found.pairs[1].kappa.value is not None
    assert weighted.value > found.pairs[1].kappa.value, "heavy for rich is a near miss"
    assert "looks good" in found.sentence
    assert "7 parts are few" in found.sentence


def test_starved_called_good_counts_by_the_part(tmp_path: Path) -> None:
    """Part 1 has two such zones and counts once; lean is no miss; not judged is left out."""
    rows = ["1,brim,Ann,starved", "1,lock,Ann,starved", "1,brim,satcheck,good",
            "1,lock,satcheck,rich", "2,brim,Ann,starved", "2,brim,satcheck,lean",
            "3,brim,Ann,starved", "3,brim,satcheck,not judged", "4,brim,Ann,good",
            "4,brim,satcheck,good"]  # fmt: skip
    found = study(tmp_path, *rows)
    assert found.misses is not None
    assert (found.misses.missed, found.misses.parts) == (1, 2)
    assert found.misses.bound == pytest.approx(0.97468, abs=1e-5), "closed form: sqrt(0.95)"
    assert found.not_judged == {"satcheck": 1}


def test_who_has_not_judged_outvotes_nobody_who_says_starved(tmp_path: Path) -> None:
    """One of two says starved, the other could not judge: the tool's miss went uncounted.

    The control: where the other says good, half is not most.
    """
    ann_and_tool = ["1,brim,Ann,starved", "1,brim,satcheck,good"]
    found = study(tmp_path, *ann_and_tool, "1,brim,Ben,not judged")
    control = study(tmp_path, *ann_and_tool, "1,brim,Ben,good")
    assert found.misses is not None
    assert control.misses is not None
    assert (found.misses.missed, found.misses.parts) == (1, 1)
    assert (control.misses.missed, control.misses.parts) == (0, 0)
    assert control.misses.bound == 1, "of no part nothing is shown"


def test_one_rating_more_leaves_no_other_item_out(tmp_path: Path) -> None:
    """A third trial of one item: kappa was of that item alone, with itself and between raters."""
    words = ("starved", "good", "rich", "good", "starved", "good")
    rows = [f"{part},{rater},{trial},{word}" for part, word in enumerate(words)
            for rater in ("Ann", "Ben") for trial in (1, 2)]  # fmt: skip
    more = study_agreement(written(tmp_path, "part,rater,trial,state,zone", *rows, "0,Ann,3,lean"))
    assert more.between is not None
    assert (more.between.items, more.within["Ann"].items) == (5, 5)
    assert more.between.value == more.within["Ann"].value == 1


def test_all_alike_is_undefined_and_said_so(tmp_path: Path) -> None:
    found = study(tmp_path, *rated("gggg", "Ann"), *rated("gggg", "Ben"))
    assert found.pairs[0].kappa.value is None
    assert "undefined" in found.sentence


def test_raters_who_are_not_compared_are_named(tmp_path: Path) -> None:
    """The control: of three who share their items nobody is named."""
    both = [*rated("sgsg", "Ann"), *rated("sgsg", "Ben")]
    found = study(tmp_path, *both, *rated("sggg", "Cleo", 9)[:1])
    assert summarise_agreement(found).cautions == (
        "Not compared, as they have judged no part, zone and trial in common: Ann and Cleo, "
        "Ben and Cleo.",
    )
    assert summarise_agreement(study(tmp_path, *both, *rated("sggg", "Cleo"))).cautions == ()


def test_raters_who_share_no_item_are_told_to(tmp_path: Path) -> None:
    found = study(tmp_path, *rated("sg", "Ann", 1)[:1], *rated("sg", "Ben", 2)[:1])
    assert found.pairs == ()
    assert "No two ratings" in found.sentence


@pytest.mark.parametrize(
    ("rows", "line", "says"),
    [
        (["1,brim,Ann,dry"], 2, "state 'dry' is unknown; allowed are starved, lean, good"),
        (["1,brim,,good"], 2, "rater is blank"),
        ([",brim,Ann,good"], 2, "part is blank"),
        (["1,brim,Ann,good", "1,brim,Ann,lean"], 3, "rated this part and zone before"),
        (["1,brim,Ann,good", "1,brim,ann,lean"], 3, "also stands as 'Ann'"),
        (["1,brim,Ann,good", "1,Brim,Ben,lean"], 3, "zone 'Brim' also stands as 'brim'"),
        (["1,brim,Ann,good", "1,brim,Satcheck,good"], 3, "'Satcheck' is not 'satcheck'"),
        (["1,brim,Ann,good", "1,brim,Ben,accepted"], 3, "stands beside one of starved, lean"),
        (["1,brim,Ann,good", "2,brim,Ann,lean"], 3, "one rater, without repeats"),
        (["1,brim,Ann,good,x"], 2, "more cells than the 4 columns"),
        ([], 1, "no rating"),
    ],
)
def test_a_broken_table_is_named_by_its_line(
    tmp_path: Path, rows: list[str], line: int, says: str
) -> None:
    with pytest.raises(TableError, match=says) as caught:
        study(tmp_path, *rows)
    assert caught.value.line == line


def test_an_unknown_rater_to_hold_against_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="allowed are Ann, Ben"):
        study(tmp_path, *rated("gs", "Ann"), *rated("gs", "Ben"), against="Cleo")


@pytest.mark.parametrize(
    ("apart", "says"), [(1, "looks good (lowest kappa 0.86)"), (2, "fair (lowest kappa 0.71)"),
                        (4, "fair (lowest kappa 0.43)"), (5, "poor (lowest kappa 0.29)")]
)  # fmt: skip
def test_the_manuals_words_for_a_kappa(tmp_path: Path, apart: int, says: str) -> None:
    """AIAG: from 0.75 good, below 0.40 poor. Both call half of 28 good: kappa is 1 - apart / 7."""
    ann, ben = "s" * 14 + "g" * 14, "g" * apart + "s" * 14 + "g" * (14 - apart)
    ben = "g" * apart + "s" * (14 - apart) + "s" * apart + "g" * (14 - apart)
    assert says in study(tmp_path, *rated(ann, "Ann"), *rated(ben, "Ben")).sentence


@pytest.mark.parametrize(
    ("bad", "good", "says"),
    [("starved", "good", "Starved by most inspectors, good or heavier by the tool: 0 of 15 parts"),
     ("rejected", "accepted", "Rejected by most inspectors, accepted by the tool: 0 of 15 parts")],
)  # fmt: skip
def test_misses_are_told_in_the_tables_words_by_a_bound_that_holds(
    tmp_path: Path, bad: str, good: str, says: str
) -> None:
    """0 of 15: 1 - 0.05^(1/15) is 18.1 %, closed form, which 18 % would not hold."""
    rows = [
        f"{k},,{who},{bad if k < 15 else good}" for k in range(16) for who in ("Ann", "satcheck")
    ]
    (caution,) = summarise_agreement(study(tmp_path, *rows)).cautions
    assert caution == f"{says}; at most 19 % of parts like these, with 95 % confidence."


@pytest.mark.parametrize(("parts", "are_few"), [(29, True), (30, False)])
def test_thirty_parts_are_enough_to_rank_by(tmp_path: Path, parts: int, are_few: bool) -> None:
    states = ("sg" * 15)[:parts]
    rows = [*rated(states, "Ann"), *rated("gs" + states[2:], "Ben")]
    assert (f"{parts} parts are few" in study(tmp_path, *rows).sentence) is are_few
