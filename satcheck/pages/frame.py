"""The frame of every page: one self-contained HTML file in the house's look.

A template of ``templates`` extends ``frame.html`` and fills its blocks. Values are escaped unless a
template marks them as safe, which only our own drawings (SVG) may be.
"""

from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from satcheck import __version__


@cache
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("satcheck.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    style = files("satcheck.pages").joinpath("templates/house.css").read_text(encoding="utf-8")
    made.globals.update(style=style, version=__version__)
    return made


def render(template: str, **values: Any) -> str:
    """Return a page as HTML text, from a template's name and what it shows.

    Raises
    ------
    jinja2.UndefinedError
        If the template asks for a value that is not given: a fault of ours, never of a user.
    """
    return _environment().get_template(template).render(**values)
