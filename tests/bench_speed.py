"""How fast a photo is judged, beside the plain decode of the same file in the same run.

    OPENBLAS_NUM_THREADS=1 .venv/bin/python -m pytest tests/bench_speed.py --benchmark-autosave

A photo of the demo is enlarged to 12 and to 48 megapixels. What counts is the ratio to the decode
of the same group; the figure in brackets is that to the group's fastest. One thread of OpenBLAS is
what a command allows itself. ``--benchmark-autosave`` keeps the history
in ``.benchmarks``; ``--benchmark-compare`` holds a run against it. Not part of the tests.
"""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import pytest
from PIL import Image

from satcheck.calibration import Calibration, read_calibration
from satcheck.inspection import Settings, inspect
from satcheck.model import Inspection
from satcheck.overlay import label_map_png, overlay_jpeg
from satcheck.photo import Photo, read_photo
from satcheck.record import inspection_to_json

ROOT = Path(__file__).parents[1]
SAMPLE = ROOT / "sample_images" / "basalt_01.jpg"
SETTINGS = Settings(fibre="basalt")
SIZES = {"12 MP": (3024, 4032), "48 MP": (6048, 8064)}
TIMES = 7  # of each: the median is read
PEAK = """import sys
from satcheck.cli.app import main
try:
    main()
finally:
    status = open("/proc/self/status").read()
    print(int(status.split("VmHWM:")[1].split()[0]) // 1000, file=sys.stderr)
"""


@pytest.fixture(scope="module", params=sorted(SIZES))
def photo(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a photo as large as a phone writes."""
    path: Path = tmp_path_factory.mktemp("speed") / f"{request.param[:2]}.jpg"
    Image.open(SAMPLE).resize(SIZES[request.param], Image.Resampling.LANCZOS).save(path, quality=90)
    return path


@pytest.fixture(scope="module")
def calibration() -> Calibration:
    """Return the demo's."""
    return read_calibration(ROOT / "calibration" / "demo.toml")


def warm(benchmark: Any, photo: Path, work: Callable[[], object]) -> None:
    """Time some work on a photo, after one run that does not count."""
    benchmark.group = photo.stem
    benchmark.pedantic(work, rounds=TIMES, warmup_rounds=1)


def read_and_judge(photo: Path, calibration: Calibration) -> tuple[Photo, Inspection]:
    """Return a photo and its inspection, its JSON made too."""
    read = read_photo(photo)
    inspection = inspect(read, calibration, SETTINGS)
    inspection_to_json(inspection)
    return read, inspection


def test_plain_decode(benchmark: Any, photo: Path) -> None:
    warm(benchmark, photo, lambda: cv2.imread(str(photo)))


def test_inspection(benchmark: Any, photo: Path, calibration: Calibration) -> None:
    warm(benchmark, photo, lambda: read_and_judge(photo, calibration))


def test_overlay_and_label_map(benchmark: Any, photo: Path, calibration: Calibration) -> None:
    read, inspection = read_and_judge(photo, calibration)
    warm(benchmark, photo, lambda: (overlay_jpeg(read.rgb, inspection), label_map_png(inspection)))


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Return an environment whose modules are kept compiled, as an installer leaves them."""
    dropped = ("PYTHONDONTWRITEBYTECODE", "OPENBLAS_NUM_THREADS")  # the command sets its own
    kept = {k: v for k, v in os.environ.items() if k not in dropped}
    return {**kept, "PYTHONPYCACHEPREFIX": str(tmp_path_factory.mktemp("compiled"))}


def test_check_as_a_command(
    benchmark: Any, photo: Path, tmp_path: Path, installed: dict[str, str]
) -> None:
    command = [sys.executable, "-m", "satcheck", "check", str(photo), "--fibre", "basalt"]
    asked = [sys.executable, "-c", PEAK, *command[3:], "--out", str(tmp_path)]
    run = subprocess.run(asked, capture_output=True, text=True, check=False, env=installed)
    told = run.stderr
    benchmark.extra_info["peak MB"] = int(told.split()[-1])
    sys.stderr.write(f"\n{photo.stem} MP, check: at most {told.split()[-1]} MB\n")
    warm(
        benchmark,
        photo,
        lambda: subprocess.run(
            [*command, "--out", str(tmp_path)], capture_output=True, check=False, env=installed
        ),
    )


def test_help(benchmark: Any, installed: dict[str, str]) -> None:
    command = [sys.executable, "-m", "satcheck", "--help"]

    def ask() -> None:
        subprocess.run(command, capture_output=True, check=True, env=installed)

    benchmark.pedantic(ask, rounds=7, warmup_rounds=1)
