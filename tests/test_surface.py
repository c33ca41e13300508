"""What a user meets first: help, README and a command line that answers at once."""

import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command

from satcheck.cli import app as cli
from satcheck.cli.check import Side, View
from satcheck.cli.ledger import Verdict
from satcheck.flags import EXPLANATIONS, Reason
from satcheck.model import SIDES, VERDICT_ORDER, VIEWS, Label

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def commands(group: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Yield every command by its words, those of groups too."""
    for name, command in vars(group).get("commands", {}).items():
        words = f"{path} {name}".strip()
        yield words, command
        yield from commands(command, words)


COMMANDS: dict[str, Any] = dict(commands(get_command(cli.app)))
TYPED = [
    re.split("  +", line.strip())[0]  # what follows two blanks is said about the command
    for line in README.splitlines()
    if line.startswith("    satcheck ")
]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_and_stands_in_the_readme(name: str) -> None:
    assert COMMANDS[name].help
    assert re.search(rf"(?:`|^    )satcheck {name}\b", README, re.MULTILINE)


@pytest.mark.parametrize(
    ("name", "option"),
    [
        (name, option)
        for name, command in COMMANDS.items()
        for parameter in command.params
        for option in parameter.opts
        if option.startswith("--")
    ],
)
def test_every_option_has_help_and_stands_in_the_readme(name: str, option: str) -> None:
    parameter = next(p for p in COMMANDS[name].params if option in p.opts)
    assert parameter.help
    assert re.search(rf"{option}(?![\w-])", README)


@pytest.mark.parametrize("line", TYPED)
def test_every_command_of_the_readme_is_understood(line: str) -> None:
    """Its words and options; files and what they hold are not looked at."""
    name = max((n for n in COMMANDS if f"{line} ".startswith(f"satcheck {n} ")), key=len)
    COMMANDS[name].make_context(name, shlex.split(line.removeprefix(f"satcheck {name}")))


def options(multiple: bool) -> list[tuple[str, str]]:
    """Return each command and each option of it that takes a value, such as "ledger list --by"."""
    groups = {name: vars(COMMANDS[name])["commands"] for name in ("ledger", "study")}
    inner = {f"{group} {name}": c for group, named in groups.items() for name, c in named.items()}
    return [
        (name, parameter.opts[0])
        for name, command in (COMMANDS | inner).items()
        for parameter in command.params
        if parameter.opts[0].startswith("--") and not parameter.is_flag
        if parameter.multiple is multiple
    ]


@pytest.mark.parametrize(("name", "option"), options(multiple=False))
def test_an_option_for_one_value_is_refused_twice(
    name: str, option: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main([*name.split(), "one", option, "1", option, "1"])
    assert (ended.value.code, *capsys.readouterr()) == (
        *(2, "", f"{option}: given more than once; one value is allowed\n"),
    )


def test_an_option_for_several_values_may_be_repeated(capsys: pytest.CaptureFixture[str]) -> None:
    repeatable = [("mix", "--layer"), ("mix", "--circumference"), ("serve", "--name")]
    assert sorted(options(multiple=True)) == sorted(repeatable)
    layers = "--layer mass=40 --layer mass=30"
    with pytest.raises(SystemExit) as ended:
        cli.main(f"mix --resin acrylic --target .3 --hardener 2 --fibre glass {layers}".split())
    assert (ended.value.code, capsys.readouterr().err) == (0, "")


@pytest.mark.parametrize("group", ["", "ledger", "study"])
def test_a_group_alone_prints_its_help(group: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main(group.split())
    out, err = capsys.readouterr()
    assert (ended.value.code, err) == (0, "")
    assert out.startswith(f"Usage: satcheck {group}".rstrip())
    assert len(out.splitlines()) > 8


@pytest.mark.parametrize("label", Label)
def test_the_readme_gives_the_code_of_every_label(label: Label) -> None:
    assert re.search(rf"\b{label.value} {label.word}\b", README.replace("\n", " "))


def test_the_words_of_the_command_line_are_the_models() -> None:
    assert tuple(side.value for side in Side) == SIDES
    assert tuple(view.value for view in View) == VIEWS
    assert {verdict.value for verdict in Verdict} == {label.word for label in VERDICT_ORDER}


def test_every_reason_has_words_of_its_own() -> None:
    assert set(EXPLANATIONS) == set(Reason)
    assert len({each.word for each in EXPLANATIONS.values()}) == len(EXPLANATIONS)


def test_the_command_line_is_imported_without_numpy() -> None:
    heavy = "('numpy', 'cv2', 'PIL', 'scipy', 'skimage', 'reportlab')"
    code = f"import sys, satcheck.cli.app; print([m for m in {heavy} if m in sys.modules])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


def test_every_module_and_folder_stands_in_the_developers_table() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = text.partition("## The order of the modules\n")[2].partition("\n## ")[0]
    first = [line.split("|")[1] for line in table.splitlines() if line.startswith("| ")][1:]
    named = {name.split("/")[0] for cell in first for name in cell.replace(" ", "").split(",")}
    modules = (path.relative_to(ROOT / "satcheck") for path in (ROOT / "satcheck").rglob("*.py"))
    there = {path.parts[0].removesuffix(".py") for path in modules}
    assert named == there - {"__init__", "__main__"}


def test_no_row_of_a_table_has_more_cells_than_its_head() -> None:
    """What stands in a further cell is not shown."""
    for name in ("README.md", "DEVELOPERS.md", "sample_images/README.md"):
        text = (ROOT / name).read_text(encoding="utf-8")
        tables = re.findall(r"(?:^\|.*\|\n)+", text, re.MULTILINE)
        assert tables, name
        for table in tables:
            head, *rows = (len(re.findall(r"(?<!\\)\|", line)) for line in table.splitlines())
            assert rows == [head] * len(rows), table


def test_the_project_names_no_machine_path() -> None:
    """A path of the machine it was written on would fail on the user's."""
    files = [path for top in ("satcheck", ".ci") for path in (ROOT / top).rglob("*")]
    read = {
        path.name: path.read_bytes() for path in files if path.is_file() and path.suffix != ".pyc"
    }
    assert {"run", "read.py"} <= set(read)  # folders within folders too
    assert [name for name, text in read.items() if re.search(rb"/(?:home|root|work)/", text)] == []
