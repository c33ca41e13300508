"""Lines of 80 columns, in which no word is broken."""

from hypothesis import given
from hypothesis import strategies as st

from satcheck.lines import WIDTH, wrapped

WORDS = st.lists(st.text("abc-/.", min_size=1, max_size=100), min_size=1, max_size=60)


@given(WORDS, st.integers(0, 30))
def test_lines_fit_and_words_stay_whole(words: list[str], indent: int) -> None:
    lines = wrapped(" ".join(words), " " * indent).splitlines()
    assert [word for line in lines for word in line.split()] == words
    assert all(line.startswith(" " * indent) for line in lines[1:])
    assert all(len(line) <= WIDTH or len(line.split()) == 1 for line in lines)
