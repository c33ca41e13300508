"""The table on the terminal, and the exit status."""

from dataclasses import replace

import pytest
from records import inspection_of, zones_of

from satcheck.model import SCALE, CardFacts, Interval, Label
from satcheck.report import DEMO_NOTE, exit_status, headline, text_report

S, L, G, H, R = SCALE


def row(text: str, zone: str) -> str:
    return next(line for line in text.splitlines() if line.startswith(zone))


@pytest.mark.parametrize(
    ("verdict", "zones", "status"),
    [
        (G, {}, 0),
        (L, {"lock": L}, 0),
        (H, {"brim": H, "lock": Label.NOT_JUDGED}, 0),
        (S, {"lock": S}, 1),
        (R, {"lock": R}, 1),
        (Label.NOT_JUDGED, {"lock": R}, 1),
    ],
)
def test_the_exit_status_follows_the_zones(
    verdict: Label, zones: dict[str, Label], status: int
) -> None:
    assert exit_status(inspection_of(verdict, zones)) == status


def test_the_exit_status_of_a_photo_that_was_not_judged_is_3() -> None:
    assert exit_status(inspection_of(Label.NOT_JUDGED, zones=())) == 3


def test_a_row_says_verdict_visibility_share_and_why_not() -> None:
    zones = zones_of({"lock": S}, {"lock": {"glare": 0.2, "veil": 0.3, "edge": 0.01}})
    text = text_report(inspection_of(S, zones=zones))
    assert row(text, "lock").split() == [
        *("lock", "STARVED", "12", "%", "(12-13)", "97", "%", "veil,", "glare")
    ]


@pytest.mark.parametrize(
    ("visibility", "words"),
    [
        (Interval(0.0312, 0.0267, 0.0349), "3.1 % (2.7-3.5)"),
        (Interval(0.41, 0.38, 0.44), "41 % (38-44)"),
        (None, " - "),
    ],
)
def test_visibility_is_given_in_percent(visibility: Interval | None, words: str) -> None:
    zones = tuple(replace(zone, visibility=visibility) for zone in zones_of({}))
    assert words in row(text_report(inspection_of(zones=zones)), "brim")


@pytest.mark.parametrize(("share", "words"), [(0.999, "99 %"), (1.0, "100 %"), (0.002, "1 %")])
def test_only_all_is_100_percent(share: float, words: str) -> None:
    assert f"{words} of the part judged" in text_report(inspection_of(share_judged=share))


def test_the_headline_names_the_zones_that_matter() -> None:
    found = {"distal left": S, "lock": S, "brim": R, "middle left": L}
    assert headline(inspection_of(S, found)) == "STARVED: distal left and lock; also RICH: brim"


def test_good_is_said_to_hold_only_where_it_was_judged() -> None:
    assert headline(inspection_of(G, share_judged=0.6)) == "GOOD where it could be judged"
    assert headline(inspection_of(G, share_judged=1.0)) == "GOOD"


def test_a_photo_without_a_part_has_no_table() -> None:
    inspection = inspection_of(
        Label.NOT_JUDGED, zones=(), reasons={"no part": 1.0}, evenness=None, share_judged=0.0
    )
    lines = text_report(inspection).splitlines()
    assert lines[1] == "NOT JUDGED: no part"
    assert len(lines) == 4


def test_a_demo_calibration_and_a_guessed_end_are_said() -> None:
    plain = inspection_of()
    facts = replace(plain.calibration, is_demo=True)
    text = text_report(replace(plain, calibration=facts, distal_guessed=True))
    assert DEMO_NOTE in " ".join(text.split())
    assert "Distal end taken to be down" in text
    assert DEMO_NOTE not in text_report(plain)


def test_a_part_that_runs_out_of_the_picture_is_said() -> None:
    text = text_report(inspection_of(cut=("up", "left")))
    assert "The part runs out of the picture at the top and at the left:" in " ".join(text.split())
    assert "runs out" not in text_report(inspection_of())


def test_the_table_is_ascii_in_80_columns() -> None:
    reasons = {
        "lock": {"noise reduction": 0.5, "too few pixels": 0.4, "glare": 0.1},
        "brim": {"unlike the shop's photos": 0.9, "veil": 0.1},
        "distal left": {"wrinkle or seam": 0.2, "edge": 0.1},
    }
    plain = inspection_of(S, zones=zones_of({"lock": S}, reasons))
    facts = replace(plain.calibration, is_demo=True)
    advice = ("String resin into the lock end.", "Glare hides most of it: turn the part a little.")
    text = text_report(replace(plain, calibration=facts, advice=advice))
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= 80
    assert "  " + advice[1] not in text
    assert f"Next: {' '.join(advice)}" in " ".join(text.split())
    assert row(text, "lock").endswith("  noise reduction")
    assert row(text, "brim").endswith("  unlike the shop's photos")
    assert row(text, "distal left").endswith("  wrinkle or seam, edge")


@pytest.mark.parametrize(
    ("card", "line"),
    [
        (CardFacts(part="L-204/7", mm_per_px=0.2134), "Card: part L-204/7, 0.213 mm per pixel."),
        (
            CardFacts(mm_per_px=0.2, ruler=97.0, kept=Interval(0.81, 0.74, 0.88)),
            "Card: 0.2 mm per pixel by a ruler of 97 mm, 81 % (74-88) of the contrast kept.",
        ),
        (CardFacts(problem="The card is bent."), "Card: The card is bent."),
    ],
)
def test_the_card_is_one_line(card: CardFacts, line: str) -> None:
    assert line in text_report(inspection_of(card=card)).splitlines()


def test_what_the_card_contradicts_is_said() -> None:
    lines = text_report(inspection_of(warnings=("The card says part 1.",))).splitlines()
    assert "Mind: The card says part 1." in lines
    assert "Mind" not in text_report(inspection_of())


def test_without_a_card_nothing_is_said_of_one() -> None:
    assert "Card" not in text_report(inspection_of())
