"""The frame of every page: self-contained, escaped, with the caution."""

import jinja2
import pytest

from satcheck.pages import frame


def test_a_page_holds_its_style_and_says_what_it_does_not_do() -> None:
    page = frame.render("frame.html")
    assert "<style>:root" in page
    assert "does not certify strength or fit" in page
    assert "http" not in page, "nothing comes from elsewhere"


def test_a_value_is_escaped_and_a_missing_one_is_a_fault() -> None:
    made = frame._environment()
    assert made.from_string("{{ name }}").render(name="<b>") == "&lt;b&gt;"
    with pytest.raises(jinja2.UndefinedError):
        made.from_string("{{ name }}").render()
