"""What to do next. The rules of the trade behind the sentences: common practice, no source."""

from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st
from records import zones_of

from satcheck.flags import EXPLANATIONS, Reason
from satcheck.judgement.advice import advise, describe_zones
from satcheck.model import SCALE, VERDICT_ORDER, ZONES, Label

S, L, G, H, R = SCALE


def advice(
    verdicts: Mapping[str, Label], reasons: Mapping[str, float] | None = None, judged: float = 0.95
) -> str:
    found = {*verdicts.values(), Label.GOOD}
    worst = next(label for label in VERDICT_ORDER if label in found)
    return " ".join(advise(zones_of(verdicts), reasons or {}, judged, worst))


@pytest.mark.parametrize("other", ["proximal right", "distal right"])
def test_a_starved_zone_is_fed_from_the_nearest_rich_one(other: str) -> None:
    """Two steps round the part are as far as two along it."""
    text = advice({"distal left": S, "middle left": R, other: R})
    assert text == "The distal left is starved: string resin there from the middle left."


def test_a_starved_zone_is_fed_from_a_heavy_one_where_none_is_rich() -> None:
    text = advice({"distal left": S, "proximal left": H})
    assert "starved: string resin there from the proximal left." in text


def test_without_a_source_resin_comes_from_the_proximal_end() -> None:
    assert "down from the proximal end" in advice({"distal left": S, "lock": S})
    assert "proximal end" not in advice({"proximal left": S})


def test_a_wholly_starved_part_needs_more_resin() -> None:
    assert "whole part is starved: add resin" in advice(dict.fromkeys(ZONES, S))


def test_an_edge_is_not_strung_over() -> None:
    assert "stop short of" in advice({"brim": S})


def test_a_ring_at_the_lock_is_taped_in_flat() -> None:
    assert "tape it in flat" in advice({"lock": R})


def test_a_rich_zone_gives_to_a_lean_one() -> None:
    assert "string the resin on to the middle right" in advice(
        {"middle centre": R, "middle right": L}
    )


def test_lean_is_said_to_be_workable_while_the_resin_flows() -> None:
    text = advice({"distal right": L, "middle right": H})
    assert text == (
        "The distal right is lean: "
        "string a little resin there from the middle right while it flows."
    )


def test_good_is_left_alone_only_where_most_was_judged() -> None:
    assert advice({}) == "Every judged zone is good: leave it."
    assert "look at the rest by eye" in advice({}, {"too oblique": 0.5}, 0.5)


def test_what_hides_much_of_the_part_is_said_with_its_remedy_and_place() -> None:
    hidden = {name: {"glare": 0.8} for name in ("middle left", "middle centre", "middle right")}
    (text,) = advise(zones_of({}, hidden), {"glare": 0.31, "edge": 0.4}, 0.6, Label.GOOD)
    assert text == (
        "Glare across the middle (31 % of the part): step to the side or turn the part a little."
    )


def test_where_a_dry_end_shows_without_a_weave_reference_both_are_said() -> None:
    word = EXPLANATIONS[Reason.NO_WEAVE].word
    starved, retake = advise(zones_of({"proximal centre": S}), {word: 0.77}, 0.23, S)
    assert starved.endswith("is starved: string more resin there.")
    assert retake.startswith("No weave reference (77 % of the part): give --pitch")


@pytest.mark.parametrize(
    ("hidden", "place"),
    [
        ("proximal centre, middle centre, distal centre", "down the middle"),
        ("proximal left, middle left", "on the left side"),
        ("proximal right, middle right, distal right", "on the right side"),
        ("distal left, distal centre, distal right", "at the distal end"),
        ("proximal left, proximal centre, proximal right", "at the proximal end"),
        ("middle left", "at the middle left"),
        ("proximal left, middle centre, distal right, distal left, proximal right", ""),
        (", ".join(ZONES[:9]), ""),
        ("brim, lock", ""),
    ],
)
def test_the_place_is_said_as_one_points_at_it(hidden: str, place: str) -> None:
    """A little everywhere else, as a real photo has it, changes nothing."""
    shares = {name: {"out of focus": 0.9 if name in hidden.split(", ") else 0.1} for name in ZONES}
    (text,) = advise(zones_of({}, shares), {"out of focus": 0.4}, 0.6, Label.GOOD)
    assert text == (
        f"Out of focus{place and ' '}{place} (40 % of the part): "
        "tap the part to focus, hold still and take it again."
    )


def test_what_spoiled_most_is_the_one_that_is_said() -> None:
    reasons = {"glare": 0.3, "too dark": 0.4, "edge": 0.5}
    (text,) = advise(zones_of({}), reasons, 0.5, Label.GOOD)
    assert text == "Too dark (40 % of the part): add light from the side."


def test_what_hides_little_is_not_said() -> None:
    assert "glare" not in advice({}, {"glare": 0.1})


def test_the_part_comes_before_the_photo() -> None:
    texts = advise(zones_of({"lock": R}), {"glare": 0.5}, 0.5, R)
    assert ["rich" in texts[0], "Glare" in texts[1]] == [True, True]


@pytest.mark.parametrize("reason", [Reason.NO_PART, Reason.NO_WEAVE, Reason.FOCUS])
def test_an_unjudged_photo_gets_the_reason_and_its_remedy(reason: Reason) -> None:
    why = EXPLANATIONS[reason]
    found = advise((), {why.word: 1.0}, 0.0, Label.NOT_JUDGED)
    assert found == (why.sentence, why.remedy)


@pytest.mark.parametrize(
    ("shares", "sentence", "remedy"),
    [
        ({Reason.NO_WEAVE: 1.0, Reason.FOCUS: 1.0}, Reason.FOCUS, Reason.FOCUS),
        ({Reason.NO_WEAVE: 1.0, Reason.GLARE: 0.4}, Reason.NO_WEAVE, Reason.NO_WEAVE),
        ({Reason.NO_PART: 1.0, Reason.CLIPPED: 0.7}, Reason.NO_PART, Reason.CLIPPED),
    ],
)
def test_what_spoiled_the_photo_is_said_and_not_what_follows_from_it(
    shares: Mapping[Reason, float], sentence: Reason, remedy: Reason
) -> None:
    """A soft photo shows no weave, and in a white one no part is found."""
    reasons = {EXPLANATIONS[reason].word: share for reason, share in shares.items()}
    found = advise((), reasons, 0.0, Label.NOT_JUDGED)
    assert found == (EXPLANATIONS[sentence].sentence, EXPLANATIONS[remedy].remedy)


def test_beside_a_starved_zone_the_photo_gets_one_sentence_with_its_remedy() -> None:
    texts = advise(zones_of({"proximal left": S}), {"too dark": 0.93}, 0.07, S)
    assert texts[1] == "Too dark (93 % of the part): add light from the side."


labels = st.sampled_from([*SCALE, Label.NOT_JUDGED])
words = st.sampled_from([each.word for each in EXPLANATIONS.values()])


@given(
    st.dictionaries(st.sampled_from(ZONES), labels),
    st.dictionaries(words, st.floats(0, 1)),
    st.floats(0, 1),
)
def test_there_are_one_or_two_sentences_whatever_was_found(
    verdicts: dict[str, Label], reasons: dict[str, float], judged: float
) -> None:
    zones = zones_of(verdicts)
    found = {zone.verdict for zone in zones}
    worst = next(label for label in VERDICT_ORDER if label in found)
    texts = advise(zones, reasons, judged, worst)
    assert 1 <= len(texts) <= 2
    assert all(not text[0].islower() and text.endswith(".") for text in texts)
    if found & {S, R}:
        assert worst.word in texts[0]


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (["distal left", "distal centre", "distal right", "lock"], "distal third and lock"),
        (["proximal left", "middle left", "distal left"], "left side"),
        (["proximal centre", "middle centre", "distal centre"], "centre"),
        (["middle left", "middle right"], "middle left/right"),
        (["lock", "brim"], "brim and lock"),
        (list(ZONES), "whole part"),
    ],
)
def test_zones_are_named_by_their_groups(names: list[str], words: str) -> None:
    assert describe_zones(names) == words
