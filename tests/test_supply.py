"""What satcheck rests on: bounded on both sides, and named with its licence."""

import re
import tomllib
from importlib.metadata import version
from pathlib import Path

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())
NEEDED = PROJECT["project"]["dependencies"]
OPTIONAL = [one for some in PROJECT["project"]["optional-dependencies"].values() for one in some]
FORM = re.compile(r"([a-z0-9-]+)>=([\d.]+),<([\d.]+)")


def numbers(text: str) -> tuple[int, ...]:
    """Return a version as numbers, without what follows them, as in 2026.10.19.post1."""
    return tuple(int(number) for number in re.findall(r"\d+", text))


def test_every_dependency_has_a_lower_and_an_upper_bound() -> None:
    for one in (*NEEDED, *OPTIONAL, *PROJECT["build-system"]["requires"]):
        assert FORM.fullmatch(one), one


def test_what_is_installed_lies_within_the_bounds() -> None:
    for one in NEEDED:
        found = FORM.fullmatch(one)
        assert found is not None
        name, low, high = found.groups()
        assert numbers(low) <= numbers(version(name)) < numbers(high), one


def test_every_dependency_stands_with_its_licence_in_the_table() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text()
    table = text.partition("## Dependencies\n")[2].partition("\n## ")[0]
    first = [line.split("|")[1] for line in table.splitlines() if line.startswith("| ")]
    named = {name.strip() for cell in first for name in cell.split(",")}
    wanted = {one.split(">")[0] for one in (*NEEDED, *OPTIONAL)}
    assert named - {"Package"} == wanted
