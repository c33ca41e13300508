"""The order of the modules: each imports only what stands before it, inside functions too."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "satcheck"

ORDER = (
    "errors",
    "flags",
    "model",
    "files",
    "tables",
    "lines",
    "processes",
    "beside",
    "pdf",
    "cautions",
    # statistics: arrays in, records out
    "statistics.promise",
    "statistics.roc",
    "statistics.intervals",
    "statistics.agreement",
    "statistics.gauge",
    "statistics.tolerance",
    "statistics.detection",
    "statistics.control",
    "statistics.sampling",
    # resin: pure arithmetic
    "resin.uncertainty",
    "resin.units",
    "resin.materials",
    "resin.fractions",
    "resin.braid",
    "resin.layup",
    "resin.mix",
    "resin.balance",
    "resin.mix_sheet",
    "resin.weigh_sheet",
    "resin.experience",
    "arrays.quantile",
    "arrays.cell_grid",
    "arrays.area_mean",
    "arrays.silhouette",
    # files to pixels
    "light",
    "photo.kinds",
    "photo.limits",
    "photo.pixels",
    "photo.colour",
    "photo.exif",
    "photo.read",
    "card.layout",
    "card.slanted_edge",
    "card.markers",
    "card.crops",
    "card.greys",
    "card.edges",
    "card.weaves",
    "card.part_code",
    "card.screen",
    "card.find",
    "outline.nearest",
    "outline.strength",
    "outline.backdrop",
    "outline.search",
    "outline.ribbon",
    "outline.frame",
    "outline.likeness",
    "outline.path",
    "outline.edge",
    "outline.candidate",
    "outline.cut_off",
    "outline.cover",
    "outline.find",
    "zones",
    # measures
    "frame",
    "weave.spectrum",
    "weave.pooling",
    "weave.lattice",
    "weave.track",
    "weave.texture",
    "weave.measure",
    "trust.blur",
    "trust.glare",
    "trust.harmonics",
    "trust.doubt",
    "trust.exposure",
    "trust.card",
    # judgement
    "judgement.mixture",
    "judgement.offset",
    "judgement.saturation",
    "calibration.evidence",
    "calibration.file",
    "judgement.spots",
    "judgement.labelling",
    "judgement.verdict",
    "calibration.zone_calls",
    "judgement.advice",
    # photos of one part in a row
    "series.grid",
    "series.align",
    "series.change",
    "series.trend",
    "series.coverage",
    "series.reference",
    # what to do with the resin on the part
    "stringing.transport",
    "stringing.rules",
    "stringing.plan",
    "stringing.whole_part",
    # both together
    "measurement",
    "inspection",
    "calibration.cue_choice",
    "calibration.part_bounds",
    "calibration.parts_table",
    "calibration.painted_marks",
    "calibration.label_findings",
    "calibration.measured",
    "calibration.mixture_fit",
    "calibration.fitting",
    "calibration.labelled",
    # records and faces
    "record",
    "resin_and_photo",
    "ledger.blob",
    "ledger.entries",
    "ledger.schema",
    "ledger.opening",
    "ledger.index",
    "ledger.search",
    "ledger.book",
    "ledger.trend",
    "ledger.recording",
    "ledger.photos",
    "ledger.verifying",
    "ledger.copying",
    "ledger.exporting",
    "ledger.sheets",
    "ledger.experience",
    "report",
    "ledger.listing",
    "watching",
    # a shop's own studies
    "studies.ratings",
    "studies.agreement",
    "studies.repeatability",
    "studies.detection",
    "studies.shifts",
    "studies.drift",
    "studies.summary",
    "pages.frame",
    "pages.evidence_charts",
    "pages.svg",
    "pages.study_charts",
    "pages.study",
    "pages.drift",
    "pages.calibration",
    "pages.review",
    "calibration.labelled_pages",
    "rejudging",
    "overlay.look",
    "overlay.patterns",
    "overlay.badges",
    "overlay.borders",
    "overlay.strips",
    "overlay.draw",
    # a month of parts in one go
    "audit.found",
    "audit.gathering",
    "audit.likeness",
    "audit.judging",
    "audit.running",
    "audit.cluster",
    "audit.scale",
    "audit.rows",
    "audit.collecting",
    "audit.summary",
    "audit.wording",
    "audit.results",
    "pages.audit_charts",
    "pages.audit",
    "part_sheet",
    "audit.outputs",
    # lessons
    "lesson.scoring",
    "lesson.choice",
    "lesson.model",
    "lesson.texts",
    "lesson.specimens",
    "lesson.crops",
    "lesson.picks",
    "lesson.build",
    "pages.lesson",
    "lesson.chart",
    "card.sheet",
    "mix_card",
    "web.words",
    "web.phrases",
    "web.shot",
    "web.location",
    "web.access",
    "web.upload",
    "web.mending",
    "web.pictures",
    "web.store",
    "web.judging",
    "web.workers",
    "web.bench",
    "web.gel",
    "web.typed",
    "web.grams",
    "web.lesson",
    "web.answer",
    "web.asking",
    "web.photo_routes",
    "web.grams_routes",
    "web.lesson_routes",
    "web.app",
    "web.patience",
    "web.serve",
    "cli.arguments",
    "cli.common",
    "cli.recording",
    "cli.judging",
    "cli.check",
    "cli.calibrate",
    "cli.rejudge",
    "cli.ledger",
    "cli.watch",
    "cli.audit",
    "cli.card",
    "cli.study",
    "cli.drift",
    "cli.mix",
    "cli.weigh",
    "cli.demo",
    "cli.lesson",
    "cli.serve",
    "cli.app",
    "__main__",
)

PIXELS = (*ORDER[ORDER.index("light") : ORDER.index("judgement.mixture")], "measurement")
IMAGE_LIBRARIES = ("cv2", "PIL", "pillow_heif", "simplejpeg", "skimage")
BLIND = (
    "errors",
    "flags",
    "model",
    "files",
    "tables",
    "cautions",
    "statistics.agreement",
    "resin.mix",
    "resin.balance",
    "resin.mix_sheet",
    "resin.weigh_sheet",
    "resin.experience",
    "resin_and_photo",
    "mix_card",
    "judgement.mixture",
    "judgement.offset",
    "judgement.saturation",
    "statistics.promise",
    "calibration.evidence",
    "calibration.zone_calls",
    "calibration.file",
    "judgement.spots",
    "judgement.labelling",
    "judgement.verdict",
    "judgement.advice",
    "series.change",
    "series.trend",
    "series.coverage",
    "series.reference",
    "stringing.plan",
    "stringing.whole_part",
    "lesson.scoring",
    "lesson.chart",
    "pages.lesson",
    "calibration.cue_choice",
    "calibration.part_bounds",
    "calibration.label_findings",
    "calibration.parts_table",
    "record",
    "ledger.book",
    "ledger.recording",
    "ledger.photos",
    "ledger.trend",
    "ledger.copying",
    "ledger.exporting",
    "ledger.sheets",
    "ledger.experience",
    "ledger.listing",
    "report",
    "studies.ratings",
    "studies.agreement",
    "studies.repeatability",
    "studies.detection",
    "studies.shifts",
    "studies.drift",
    "studies.summary",
    "pages.evidence_charts",
    "pages.svg",
    "pages.study_charts",
    "pages.study",
    "pages.drift",
    "pages.calibration",
    "pages.review",
    "rejudging",
    "pages.frame",
    "audit.found",
    "audit.rows",
    "audit.summary",
    "audit.results",
    "pages.audit",
    "part_sheet",
    "cli.arguments",
)
"""What judges and reports without an image library, so that records can be judged again."""

MODULES = {
    ".".join(path.relative_to(PACKAGE).with_suffix("").parts): path
    for path in sorted(PACKAGE.rglob("*.py"))
    if path.name != "__init__.py"
}


def imports(source: str) -> Iterator[str]:
    """Yield the dotted name of everything that a module of the package imports."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, "imports are absolute, so that a reader and this guard see them"
            yield node.module or ""
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def own(source: str) -> set[str]:
    """Return which of the package's modules a source imports."""
    found = {name.removeprefix("satcheck.") for name in imports(source)}
    return found & (set(ORDER) | set(MODULES))


def misplaced(module: str, source: str) -> set[str]:
    """Return what a module imports though it does not stand before it."""
    assert module in ORDER, f"{module} has no place in the order yet"
    return own(source) - set(ORDER[: ORDER.index(module)])


def test_every_module_has_its_place() -> None:
    assert sorted(ORDER) == sorted(MODULES)


@pytest.mark.parametrize("folder", sorted(PACKAGE.rglob("__init__.py")))
def test_a_package_only_says_what_it_is_for(folder: Path) -> None:
    names = set(imports(folder.read_text(encoding="utf-8")))
    assert not names, "importing one module must not load its neighbours"


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


def test_a_photo_is_judged_without_the_slow_libraries(tmp_path: Path) -> None:
    photo = PACKAGE.parent / "sample_images" / "basalt_11.jpg"
    asked = ["check", str(photo), "--fibre", "basalt", "--out", str(tmp_path)]
    code = (
        "import sys; from satcheck.cli.app import main\n"
        f"try: main({asked!r})\n"
        "finally: print(*sys.modules, file=sys.stderr)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    loaded = set(run.stderr.split())
    assert {
        "satcheck.judgement.labelling",
        "satcheck.judgement.verdict",
        "satcheck.overlay.draw",
        "cv2",
    } <= loaded
    assert (tmp_path / "basalt_11.json").exists()
    assert not loaded & {"scipy", "skimage", "pint", "reportlab", "matplotlib", "numpy.ma"}


@pytest.mark.parametrize(
    "line",
    [
        "from satcheck.cli.app import main",
        "from satcheck.cli import app",
        "import satcheck.cli.app as face",
        "def late():\n    from satcheck.cli.app import main",
    ],
)
def test_the_guard_sees_every_way_to_import_a_later_module(line: str) -> None:
    assert misplaced("judgement.verdict", line) == {"cli.app"}


@pytest.mark.parametrize("line", ["from . import cli", "from .cli import app"])
def test_the_guard_refuses_an_import_that_it_cannot_place(line: str) -> None:
    with pytest.raises(AssertionError, match="absolute"):
        misplaced("judgement.verdict", line)
