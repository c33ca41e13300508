"""How fast a photo is judged, beside the plain decode of the same file in the same run.

    OPENBLAS_NUM_THREADS=1 .venv/bin/python -m pytest -s tests/bench_speed.py --benchmark-autosave

A photo of the demo is enlarged to 12 and to 48 megapixels, and once stored lying, as a phone does
that is held upright. What counts is the ratio to the decode, which is run before each round, for a
machine's speed may change from one second to the next; it is printed, and kept with the history.
One thread of OpenBLAS is what a command allows itself. ``--benchmark-autosave`` keeps the history
in ``.benchmarks``; ``--benchmark-compare`` holds a run against it. Not part of the tests.
"""

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import pytest
from phone_photo import phone_photo

from satcheck.calibration.file import Calibration, read_calibration
from satcheck.inspection import Settings, inspect
from satcheck.model import Inspection
from satcheck.overlay.draw import label_map_png, overlay_jpeg
from satcheck.photo.read import Photo, read_photo
from satcheck.record import inspection_to_json

ROOT = Path(__file__).parents[1]
SETTINGS = Settings(fibre="basalt")
TIMES = 7  # of each: the median is read
PEAK = """import sys
from satcheck.cli.app import main
try:
    main()
finally:
    status = open("/proc/self/status").read()
    print(int(status.split("VmHWM:")[1].split()[0]) // 1000, file=sys.stderr)
"""


@pytest.fixture(scope="module", params=[(12, False), (12, True), (48, False)])
def photo(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a photo as large as a phone writes."""
    return phone_photo(tmp_path_factory.mktemp("speed"), *request.param)


@pytest.fixture(scope="module")
def calibration() -> Calibration:
    """Return the demo's."""
    return read_calibration(ROOT / "calibration" / "demo.toml")


def warm(benchmark: Any, photo: Path, work: Callable[[], object]) -> None:
    """Time some work on a photo beside its plain decode, after a run of each to warm up."""
    decodes = []

    def decode() -> None:
        begun = time.perf_counter()
        cv2.imread(str(photo))
        decodes.append(time.perf_counter() - begun)

    benchmark.group = photo.stem
    benchmark.pedantic(work, setup=decode, rounds=TIMES, warmup_rounds=1)
    if benchmark.stats is None:  # switched off
        return
    ratio = benchmark.stats.stats.median / statistics.median(decodes[1:])
    benchmark.extra_info["times the decode"] = round(ratio, 2)
    sys.stderr.write(f"\n{benchmark.name}, {photo.stem}: {ratio:.2f} x the decode\n")


def read_and_judge(photo: Path, calibration: Calibration) -> tuple[Photo, Inspection]:
    """Return a photo and its inspection, its JSON made too."""
    read = read_photo(photo)
    inspection = inspect(read, calibration, SETTINGS)
    inspection_to_json(inspection)
    return read, inspection


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
    sys.stderr.write(f"\n{photo.stem}, check: at most {told.split()[-1]} MB\n")
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
