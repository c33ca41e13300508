"""Read thousands of broken photos in a process that may use neither much time nor much memory.

    python tests/fuzz_photos.py --count 20000
    python tests/fuzz_photos.py --count 300 --inspect

Every file must end in a photo or in one sentence; with ``--inspect`` in a verdict, a reason or
one sentence. A crash, a hang of 10 s, more than 1 GB, a traceback or anything printed fails.
"""

import argparse
import json
import resource
import signal
import subprocess
import sys
import tempfile
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from fuzz_mutants import mutant, odd_photo

from satcheck.errors import SatcheckError
from satcheck.photo.read import Photo, read_photo

SEED = 20260310
SECONDS = 10
HUNG = (signal.SIGPROF, signal.SIGALRM)
"""What ends a process whose file takes so long, of the processor's time, or ten times as long."""
MOST_MEMORY = 1_000_000_000
"""Bytes of memory in use at once, the libraries' own 130 MB included."""

CALIBRATION = Path(__file__).parents[1] / "calibration" / "demo.toml"

Read = Callable[[Path], str]


# --- the child ---------------------------------------------------------------------------------


def read(path: Path) -> str:
    """Return "photo" where a file can be read."""
    photo = read_photo(path)
    assert photo.rgb.shape[2] == 3
    assert min(photo.width, photo.height) >= 300
    return "photo"


def inspector() -> Read:
    """Return a judgement under the demo's calibration."""
    from satcheck.calibration.file import read_calibration
    from satcheck.inspection import Settings, inspect

    calibration = read_calibration(CALIBRATION)
    fibres = sorted(calibration.fibres)

    def judge(path: Path) -> str:
        photo: Photo = read_photo(path)
        number = int(photo.sha256[:8], 16)
        settings = Settings(fibres[number % len(fibres)])
        if number % 4 == 0:  # as told by a person who is wrong
            box = (0, photo.height / 9, photo.width * number % 7 / 4, photo.height)
            settings = replace(settings, box=box, pitch=number % 91 + 0.1, mm_per_px=0.2)
        return inspect(photo, calibration, settings).verdict.word

    return judge


def serve(seed: int, start: int, stop: int, *, is_inspected: bool) -> None:
    """Try files one after the other; print what came of each as a line of JSON."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY + _mapped(), -1))
    warnings.simplefilter("error")  # what a user would see on the terminal
    for stop_by in HUNG:
        signal.signal(stop_by, signal.SIG_DFL)  # also ends a decoder that never returns
    attempt = inspector() if is_inspected else read
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "mutant.jpg"
        for number in range(start, stop):
            kind, data = _photo(seed, number, is_inspected=is_inspected)
            path.write_bytes(data)
            signal.setitimer(signal.ITIMER_PROF, SECONDS)  # of work: others may need the machine
            signal.alarm(10 * SECONDS)
            try:
                end, sentence = attempt(path), ""
            except SatcheckError as error:
                end, sentence = "refused", str(error)
            except BaseException as error:  # noqa: BLE001 - that is what is looked for
                end, sentence = "raised", repr(error)
            signal.alarm(0)
            signal.setitimer(signal.ITIMER_PROF, 0)
            print(json.dumps([number, kind, end, sentence, _most_in_use()]), flush=True)


def _photo(seed: int, number: int, *, is_inspected: bool) -> tuple[str, bytes]:
    """Return a broken photo; to be inspected, every second time a sound one of odd content."""
    return odd_photo(seed, number) if is_inspected and number % 2 else mutant(seed, number)


def _most_in_use() -> int:
    """Return the most bytes this program had in use; getrusage would tell its parent's too."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.split("VmHWM:")[1].split()[0]) * 1024


def _mapped() -> int:
    """Return bytes of address space that the libraries take before any photo is read."""
    pages = Path("/proc/self/statm").read_text(encoding="ascii").split()[0]
    return int(pages) * resource.getpagesize()


# --- the parent --------------------------------------------------------------------------------


def outcomes(seed: int, start: int, stop: int, *, is_inspected: bool) -> Iterator[list[Any]]:
    """Yield number, kind, end, sentence and memory of each file; a new child after each crash."""
    while start < stop:
        words = [sys.executable, __file__, "--child", "--seed", str(seed)]
        words += ["--start", str(start), "--count", str(stop - start)]
        words += ["--inspect"] * is_inspected
        with (
            tempfile.TemporaryFile("w+") as said,
            subprocess.Popen(words, stdout=subprocess.PIPE, stderr=said, text=True) as child,
        ):
            assert child.stdout is not None
            for line in child.stdout:
                found = json.loads(line)
                start = found[0] + 1
                yield found
            status = child.wait()
            said.seek(0)
            noise = said.read()
        if noise and status == 0:
            yield [start - 1, "", "printed", noise[:500], 0]
        if status or start < stop:
            kind = _photo(seed, start, is_inspected=is_inspected)[0]
            end = "hung" if -status in HUNG else "crashed"
            yield [start, kind, end, f"status {status} {noise[-500:]}", 0]
            start += 1


def fault(end: str, sentence: str, memory: int) -> str:
    """Return what is wrong with how a file ended; blank where nothing is."""
    if end in ("raised", "hung", "crashed", "printed"):
        return f"{end}: {sentence}"
    if memory > MOST_MEMORY:
        return f"{memory / 1e6:.0f} MB in use"
    # One sentence says what is wrong, and what is allowed.
    is_one = "\n" not in sentence and ("; " in sentence or sentence.endswith("is allowed."))
    return f"no such sentence: {sentence}" if end == "refused" and not is_one else ""


def fuzz(
    count: int, seed: int = SEED, start: int = 0, *, is_inspected: bool = False
) -> tuple[Counter[str], list[str], int]:
    """Return how many files ended in which way, what went wrong, and the most memory in use."""
    ends: Counter[str] = Counter()
    faults, most = [], 0
    for number, kind, end, sentence, memory in outcomes(
        seed, start, start + count, is_inspected=is_inspected
    ):
        ends[f"{kind.split()[0] if kind else '-'} {end}"] += 1
        most = max(most, memory)
        if wrong := fault(end, sentence, memory):
            faults.append(f"--seed {seed} --start {number} --count 1 ({kind}): {wrong}")
    return ends, faults, most


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--start", type=int, default=0)
    parser.add_argument("--inspect", action="store_true")
    parser.add_argument("--child", action="store_true")
    told = parser.parse_args()
    if told.child:
        serve(told.seed, told.start, told.start + told.count, is_inspected=told.inspect)
        return
    ends, faults, most = fuzz(told.count, told.seed, told.start, is_inspected=told.inspect)
    for end, count in sorted(ends.items()):
        print(f"{count:6} {end}")
    print(f"{sum(ends.values())} files, at most {most / 1e6:.0f} MB, {len(faults)} faults")
    print(*faults, sep="\n")
    sys.exit(bool(faults))


if __name__ == "__main__":
    main()
