"""What a page sends with a photo is checked before anything else happens."""

from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from satcheck.errors import UsageError
from satcheck.web.shot import read_shot

FIBRES = ("basalt", "glass")
GOOD: dict[str, Any] = {
    "id": "0123456789abcdef" * 2,
    "part": " 47 11-A/2 ",
    "view": "medial",
    "fibre": "glass",
    "size": 1000,
}


def test_a_good_one_is_taken_with_its_spaces_trimmed() -> None:
    shot = read_shot(GOOD, FIBRES, 2000)
    assert (shot.part, shot.view, shot.fibre, shot.size) == ("47 11-A/2", "medial", "glass", 1000)


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("id", "../../../../etc/passwd", "Reload"),
        ("id", "0123456789ABCDEF" * 2, "Reload"),
        ("id", ["a"], "Reload"),
        ("part", "", "part's number"),
        ("part", "../x", "part's number"),
        ("part", "a\\..\\b", "part's number"),
        ("part", "<script>", "part's number"),
        ("part", "a\x00b", "part's number"),
        ("part", "1" * 41, "part's number"),
        ("part", 4711, "part's number"),
        ("view", "inside", "view"),
        ("fibre", "steel", "basalt, glass"),
        ("fibre", {}, "basalt, glass"),
        ("size", 0, "Choose a photo"),
        ("size", True, "Choose a photo"),
        ("size", 1.5, "Choose a photo"),
        ("size", 2_000_001, "too large: up to 2 MB"),
        ("distal", "in", "Reload"),
        ("inside", [[1, 2, 3]], "Reload"),
        ("inside", [[float("nan"), 1]], "Reload"),
        ("inside", [[True, 1]], "Reload"),
        ("outside", [["1", "2"]], "Reload"),
        ("outside", ["12"], "Reload"),
        ("outside", [[1, 2]] * 41, "Reload"),
        ("of", "x", "Reload"),
    ],
)
def test_a_wrong_field_is_named(field: str, value: object, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        read_shot({**GOOD, field: value}, FIBRES, 2_000_000)


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
)


@given(st.dictionaries(st.sampled_from([*GOOD, "distal", "inside", "outside", "of"]), _JSON))
def test_whatever_is_sent_is_taken_or_refused_in_words(sent: dict[str, Any]) -> None:
    with suppress(UsageError):  # any other exception fails this test
        assert read_shot({**GOOD, **sent}, FIBRES, 2000).fibre in FIBRES
