"""Every sentence that a verdict brings has a pattern in the table, and its translation is shown."""

from collections.abc import Iterator

import numpy as np
import pytest
from grids import SHAPE, Bool, grid, place
from hypothesis import given, settings
from hypothesis import strategies as st
from records import inspection_of
from serial import shown

from satcheck.flags import EXPLANATIONS, Reason
from satcheck.judgement.advice import advise, describe_zones
from satcheck.model import ZONES, Label, ZoneVerdict
from satcheck.resin.experience import ResinUse, WorkingTime, predict_resin, predict_working_time
from satcheck.series.align import align
from satcheck.series.change import ZoneChange, change, summary
from satcheck.series.coverage import coverage
from satcheck.stringing.plan import plan
from satcheck.stringing.whole_part import whole_part
from satcheck.web import words
from satcheck.web.phrases import is_known, on_a_page, phrased

LABELS = (Label.STARVED, Label.LEAN, Label.GOOD, Label.HEAVY, Label.RICH, Label.NOT_JUDGED)
VERDICTS = st.dictionaries(st.sampled_from(ZONES), st.sampled_from(LABELS))
SHARES = st.dictionaries(
    st.sampled_from([why.word for why in EXPLANATIONS.values()]), st.floats(0.0, 1.0), max_size=3
)


def zone(name: str, verdict: Label, hidden: dict[str, float]) -> ZoneVerdict:
    made = next(one for one in inspection_of().zones if one.name == name)
    return type(made)(**{**vars(made), "verdict": verdict, "reasons": hidden})


@given(verdicts=VERDICTS, reasons=SHARES, where=st.sampled_from(ZONES))
def test_every_piece_of_advice_has_its_pattern(
    verdicts: dict[str, Label], reasons: dict[str, float], where: str
) -> None:
    zones = [zone(name, v, reasons if name == where else {}) for name, v in verdicts.items()]
    for verdict in (Label.NOT_JUDGED, Label.GOOD):
        for told in advise(zones, reasons, 0.9, verdict):
            assert is_known(told), told
            assert phrased(told) == told, "English stays as it is"


@pytest.mark.parametrize("share", [0.5, 1.0])
def test_no_page_speaks_of_the_command_line(share: float) -> None:
    """By itself where nothing was judged, and at the end of a sentence where something was."""
    for why in EXPLANATIONS.values():
        for verdict in (Label.NOT_JUDGED, Label.STARVED):
            for told in advise((), {why.word: share}, 1 - share, verdict):
                assert "--" not in phrased(on_a_page(told))
    lost = EXPLANATIONS[Reason.NO_WEAVE]
    assert "--pitch" in phrased(lost.remedy)
    (told,) = advise((), {lost.word: 0.5}, 0.5, Label.STARVED)
    assert on_a_page(told) == "No weave reference (50 % of the part): put the card beside the part."


@settings(max_examples=40)
@given(
    spots=st.lists(st.sampled_from(range(9)), min_size=9, max_size=9),
    minutes=st.sampled_from([None, 30.0, 2.0, 0.0]),
)
def test_every_sentence_of_a_plan_has_its_pattern(spots: list[int], minutes: float | None) -> None:
    patches: dict[Label, Bool] = {label: places(spots, label) for label in LABELS}
    del patches[Label.GOOD]
    found = plan(shown(grid(), patches), minutes)
    whole = whole_part({"medial": found, "lateral": plan(shown(grid(), {}))})
    for told in (*found.sentences, found.caveat, whole, whole_part({"medial": found})):
        assert is_known(told), told
        assert phrased(told) == told


def places(spots: list[int], label: Label) -> Bool:
    """Return where one label lies, from a number for each place of the grid; above 5: good."""
    found = np.zeros(SHAPE, np.bool_)
    for number, spot in enumerate(spots):
        if LABELS[spot % len(LABELS)] is label and spot < len(LABELS):
            found |= place(SHAPE, 3 + 13 * (number // 3), 12 * (number % 3), 11, 11)
    return found


BOTTOM = place(SHAPE, 30, 0, 11, 12)


@pytest.mark.parametrize("before", [{}, {Label.STARVED: BOTTOM}, {Label.NOT_JUDGED: BOTTOM}])
@pytest.mark.parametrize("after", [{}, {Label.STARVED: BOTTOM, Label.RICH: ~BOTTOM}])
def test_every_change_and_everything_unseen_has_its_pattern(
    before: dict[Label, Bool], after: dict[Label, Bool]
) -> None:
    first, second = shown(grid(), before), shown(grid(), after)
    seen = coverage({"medial": [first], "lateral": [second], "anterior": [inspection_of()]})
    for told in (*summary(change(first, second, align(first, second)), 99), *seen.sentences):
        assert is_known(told), told
        assert phrased(told) == told


def _other_sentences() -> Iterator[str]:
    yield ZoneChange("brim", Label.RICH, None, None, None, None, "mm²", "unclear").sentence
    line = [ResinUse(100.0 + n, 150.0 + n) for n in range(10)]
    yield from (predict_resin(line, 105.0).sentence, predict_resin([], 105.0).sentence)
    times = [WorkingTime(20.0 - n, 20.0 + n, 0.0) for n in range(10)]
    yield from (predict_working_time(times[:n], 22.0, 0.0).sentence for n in (3, 10))
    yield from (why.remedy for why in EXPLANATIONS.values())
    thin = shown(grid())
    thin.labels[:, :200] = thin.labels[:, 201:] = 0
    yield align(thin, thin).problem or ""


@pytest.mark.parametrize("told", list(_other_sentences()))
def test_experience_and_remedies_have_their_patterns(told: str) -> None:
    assert is_known(told)
    assert phrased(told) == told


def test_a_translation_is_shown_with_its_fields_translated_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(
        words.PHRASES,
        "String from the {source} {way} to the {target}.",
        "Vom Bereich {source} {way} nach {target} streichen.",
    )
    monkeypatch.setitem(words.PHRASES, "distally", "nach distal")
    monkeypatch.setitem(words.WORDS, "proximal left", "proximal links")
    told = phrased("String from the proximal left distally to the lock.")
    assert told == "Vom Bereich proximal links nach distal nach lock streichen."


def test_a_list_of_zones_is_translated_piece_by_piece(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(words.WORDS, "list_and", "{first} und {last}")
    monkeypatch.setitem(words.WORDS, "lock", "Schloss")
    names = ["middle left", "distal left", "distal centre", "distal right", "lock"]
    assert phrased(
        f"No zone has too much: string a little down to the {describe_zones(names)}."
    ) == (
        "No zone has too much: string a little down to the distal third, middle left und Schloss."
    )


def test_a_sentence_that_nobody_foresaw_is_shown_as_it_is() -> None:
    assert not is_known("The photo is upside down, and so am I.")
    assert phrased("The photo is upside down.") == "The photo is upside down."
