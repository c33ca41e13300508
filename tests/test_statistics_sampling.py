"""Plans as ISO 2859-1 prints them; what they let pass, by the binomial."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from satcheck.statistics.sampling import AQLS, LETTERS, Plan, sampling_plan, wrong_that_pass

# Cells that two independent copies of ISO 2859-1:1999, table 2-A, show for general level II.
PRINTED = [
    *((30, "D", 8, aql, accept) for aql, accept in ((1.5, 0), (6.5, 1), (10.0, 2))),
    *((60, "E", 13, aql, accept) for aql, accept in ((1.0, 0), (4.0, 1), (6.5, 2))),
    *((120, "F", 20, aql, accept) for aql, accept in ((0.65, 0), (2.5, 1), (4.0, 2), (6.5, 3))),
    *((200, "G", 32, aql, accept) for aql, accept in ((1.5, 1), (2.5, 2))),
    *((400, "H", 50, aql, accept) for aql, accept in ((1.0, 1), (1.5, 2))),
    *((800, "J", 80, aql, accept) for aql, accept in ((0.65, 1), (1.0, 2), (1.5, 3), (2.5, 5))),
]


@pytest.mark.parametrize(("lot", "letter", "size", "aql", "accept"), PRINTED)
def test_a_plan_is_the_printed_one(
    lot: int, letter: str, size: int, aql: float, accept: int
) -> None:
    assert sampling_plan(lot, aql) == Plan(lot, aql, letter, size, accept)


@pytest.mark.parametrize(
    ("lot", "letter"),
    [(26, "D"), (50, "D"), (51, "E"), (90, "E"), (91, "F"), (150, "F"), (151, "G"), (280, "G"),
     (281, "H"), (500, "H"), (501, "J"), (1200, "J")],
)  # fmt: skip
def test_the_lot_sizes_end_where_the_table_says(lot: int, letter: str) -> None:
    aql_that_the_letter_itself_has = {"D": 1.5, "E": 1.0, "F": 0.65, "G": 1.5, "H": 1.0, "J": 0.65}
    assert sampling_plan(lot, aql_that_the_letter_itself_has[letter]).letter == letter


def test_an_arrow_leads_to_the_next_plan() -> None:
    assert sampling_plan(120, 1.0).letter == "E"  # up, to the one that accepts 0
    assert sampling_plan(200, 1.0).letter == "H"  # down, to the one that accepts 1
    assert sampling_plan(60, 0.10) == Plan(60, 0.10, "K", 60, 0)  # down, beyond the lot: all


@given(st.integers(1, 10**6), st.sampled_from(AQLS), st.sampled_from(("I", "II", "III")))
def test_a_plan_fits_its_lot_and_keeps_the_makers_risk(lot: int, aql: float, level: str) -> None:
    plan = sampling_plan(lot, aql, level)
    assert 1 <= plan.size <= lot
    assert plan.is_all or binom.cdf(plan.accept, plan.size, aql / 100) > 0.8


def test_what_passes_is_counted_in_the_lot_itself() -> None:
    """5 of 8, none wrong: with 2 wrong C(6,5)/C(8,5) = 6/56 pass, with 3 wrong 1/56."""
    plan = sampling_plan(8, 2.5)
    assert (plan.size, plan.accept) == (5, 0)
    assert wrong_that_pass(plan) == 2
    assert wrong_that_pass(plan, 1 / 57) == 3
    assert wrong_that_pass(Plan(8, 2.5, "C", 8, 0)) == 0, "all are looked at"


def test_in_a_large_lot_what_passes_is_the_binomials() -> None:
    plan = Plan(100_000, 2.5, "H", 50, 3)
    assert binom.cdf(3, 50, wrong_that_pass(plan) / 100_000) == pytest.approx(0.10, abs=1e-3)


@pytest.mark.parametrize(("lot", "aql", "level"), [(0, 1.0, "II"), (9, 2.0, "II"), (9, 1.0, "IV")])
def test_what_the_standard_does_not_hold_is_refused(lot: int, aql: float, level: str) -> None:
    with pytest.raises(ValueError, match=str(aql)):
        sampling_plan(lot, aql, level)


# ISO 2859-1:1999, table 1: lot sizes from and to, and their letters at levels I, II and III.
LOTS = [
    (2, 8, "AAB"), (9, 15, "ABC"), (16, 25, "BCD"), (26, 50, "CDE"), (51, 90, "CEF"),
    (91, 150, "DFG"), (151, 280, "EGH"), (281, 500, "FHJ"), (501, 1200, "GJK"),
    (1201, 3200, "HKL"), (3201, 10_000, "JLM"), (10_001, 35_000, "KMN"),
    (35_001, 150_000, "LNP"), (150_001, 500_000, "MPQ"), (500_001, 10**6, "NQR"),
]  # fmt: skip


@pytest.mark.parametrize(("low", "high", "letters"), LOTS)
def test_the_letters_of_the_three_levels(low: int, high: int, letters: str) -> None:
    """At the AQL at which a letter accepts 0 it is in use itself; R begins with 1 at 0.025."""
    for level, letter in zip(("I", "II", "III"), letters, strict=True):
        aql = 0.025 if letter == "R" else AQLS[14 - LETTERS.index(letter)]
        found = [sampling_plan(lot, aql, level).letter for lot in (low, high)]
        assert found == [letter, letter]


@pytest.mark.parametrize(("lot", "aql", "letter"), [(3000, 10.0, "K"), (9000, 6.5, "L")])
def test_no_plan_accepts_more_than_21(lot: int, aql: float, letter: str) -> None:
    """ISO 2859-1:1999, table 2-A (from memory): K at 10 and L at 6.5 end their columns with 21."""
    assert (sampling_plan(lot, aql).letter, sampling_plan(lot, aql).accept) == (letter, 21)
    assert sampling_plan(400_000, aql).accept == 21


def test_the_column_of_0_015_ends_with_its_only_plan() -> None:
    assert sampling_plan(10**6, 0.015, "III") == Plan(10**6, 0.015, "P", 800, 0)


def test_where_all_are_looked_at_no_wrong_one_is_accepted() -> None:
    """A lot of five at AQL 10 asks for five, of which a drawn sample might hold one wrong."""
    assert sampling_plan(5, 10.0) == Plan(5, 10.0, "C", 5, 0)
    assert sampling_plan(6, 10.0) == Plan(6, 10.0, "C", 5, 1)


def test_what_passes_does_so_once_in_ten_times() -> None:
    """Closed form: C(33, 5) / C(50, 5) is 0.112, C(32, 5) / C(50, 5) is 0.095."""
    plan = sampling_plan(50, 2.5)
    assert (plan.size, plan.accept) == (5, 0)
    assert wrong_that_pass(plan) == 17
