"""The order of the modules: each imports only what stands before it, inside functions too."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "satcheck"

ORDER = (
    "__init__",
    "errors",
    "flags",
    "model",
    "files",
    # files to pixels
    "photo",
    "card_layout",
    "slanted_edge",
    "card_markers",
    "card",
    "outline_ribbon",
    "outline_frame",
    "outline_likeness",
    "outline_path",
    "outline_strength",
    "outline_edge",
    "outline_cover",
    "outline",
    "zones",
    # measures
    "frame",
    "weave_spectrum",
    "weave_lattice",
    "weave_track",
    "weave_texture",
    "weave",
    "trust_blur",
    "trust",
    # judgement
    "saturation",
    "calibration",
    "labelling",
    "verdict",
    "advice",
    # both together
    "measurement",
    "inspection",
    "parts_table",
    "labelled",
    # records and faces
    "record",
    "report",
    "overlay",
    "card_sheet",
    "arguments",
    "cli",
    "__main__",
)

PIXELS = (*ORDER[ORDER.index("photo") : ORDER.index("saturation")], "measurement")
IMAGE_LIBRARIES = ("cv2", "PIL", "pillow_heif", "skimage")
BLIND = (
    "errors",
    "flags",
    "model",
    "arguments",
    "files",
    "saturation",
    "calibration",
    "labelling",
    "verdict",
    "advice",
    "parts_table",
    "record",
    "report",
)
"""What judges and reports without an image library, so that records can be judged again."""

MODULES = {path.stem: path for path in sorted(PACKAGE.glob("*.py"))}


def imports(source: str) -> Iterator[str]:
    """Yield the dotted name of everything that a module of the package imports."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = ".".join(filter(None, ["satcheck" if node.level else "", node.module or ""]))
            yield base
            if base == "satcheck":
                yield from (f"satcheck.{alias.name}" for alias in node.names)


def own(source: str) -> set[str]:
    """Return which of the package's modules a source imports."""
    found = {name.split(".")[1] for name in imports(source) if name.startswith("satcheck.")}
    return found & (set(ORDER) | set(MODULES))


def misplaced(module: str, source: str) -> set[str]:
    """Return what a module imports though it does not stand before it."""
    assert module in ORDER, f"{module} has no place in the order yet"
    return own(source) - set(ORDER[: ORDER.index(module)])


def test_every_module_has_its_place() -> None:
    assert sorted(ORDER) == sorted(MODULES)
    assert not list(PACKAGE.glob("*/*.py"))


@pytest.mark.parametrize("module", MODULES)
def test_a_module_imports_only_what_stands_before_it(module: str) -> None:
    assert misplaced(module, MODULES[module].read_text(encoding="utf-8")) == set()


@pytest.mark.parametrize("module", BLIND)
def test_judgement_and_report_need_no_image_library(module: str) -> None:
    seen: set[str] = set()
    todo = {module}
    while todo:
        name = todo.pop()
        seen.add(name)
        source = MODULES[name].read_text(encoding="utf-8")
        assert not {n.split(".")[0] for n in imports(source)} & set(IMAGE_LIBRARIES), name
        todo |= own(source) - seen
    assert not seen & set(PIXELS)


@pytest.mark.parametrize(
    "line",
    [
        "from satcheck.cli import main",
        "from satcheck import cli",
        "from . import cli",
        "from .cli import main",
        "import satcheck.cli as face",
        "def late():\n    from satcheck.cli import main",
    ],
)
def test_the_guard_sees_every_way_to_import_a_later_module(line: str) -> None:
    assert misplaced("verdict", line) == {"cli"}
