"""Hold satcheck against rendered photos whose truth is known, and print the shares.

usage: python tests/measure_truth.py [FOLDER] [--calibration FILE]

FOLDER holds scenes.json, photos and NAME.truth.png as sample_images does. Only photos whose role
is "check" are judged; none of them helped to calibrate. Shares are of pixels of the truth maps.
"""

import argparse
import json
from collections import Counter
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.calibration.file import read_calibration
from satcheck.calibration.zone_calls import called
from satcheck.inspection import Settings, inspect
from satcheck.model import Inspection, Label
from satcheck.photo.read import read_photo

HERE = Path(__file__).resolve().parent.parent
STARVED, GOOD, RICH = 1, 3, 5
NOT_JUDGED = 9
ALL_OVER, MOSTLY = 0.99, 0.3
"""Shares of a third from which it counts as good, or as starved: one patch of either matters."""


def compare(truth: NDArray[np.uint8], labels: NDArray[np.uint8]) -> Counter[str]:
    """Return pixel counts of what was found, missed and not judged."""
    starved, good, rich = (truth == code for code in (STARVED, GOOD, RICH))
    scored = starved | good | rich
    part, outline = truth > 0, labels > 0
    pairs = {
        "starved": starved,
        "starved found": starved & (labels == STARVED),
        "starved called good or rich": starved & np.isin(labels, (GOOD, 4, RICH)),
        "not starved": good | rich,
        "falsely starved": (good | rich) & (labels == STARVED),
        "rich": rich,
        "rich found": rich & (labels == RICH),
        "not rich": starved | good,
        "falsely rich": (starved | good) & (labels == RICH),
        "scored": scored,
        "lean or heavy": scored & np.isin(labels, (2, 4)),
        "not judged": scored & (labels == NOT_JUDGED),
        "part or outline": part | outline,
        "part and outline": part & outline,
    }
    return Counter({name: int(mask.sum()) for name, mask in pairs.items()})


def thirds(truth: dict[str, dict[str, float]], found: Inspection) -> Counter[str]:
    """Return how the thirds that are good, or mostly starved, all over were called."""
    counts: Counter[str] = Counter()
    for name, shares in truth.items():
        for state, least in (("good", ALL_OVER), ("starved", MOSTLY)):
            if found.zones and shares[state] >= least:
                counts[f"{state} thirds"] += 1
                counts[f"{state} thirds called {_kind(called(found.zones, name))}"] += 1
    return counts


def _kind(label: Label) -> str:
    return "workable" if label in (Label.LEAN, Label.GOOD, Label.HEAVY) else label.word


RATES = {
    "starved found": "starved",
    "starved called good or rich": "starved",
    "falsely starved": "not starved",
    "rich found": "rich",
    "falsely rich": "not rich",
    "lean or heavy": "scored",
    "not judged": "scored",
    "part and outline": "part or outline",
    **{
        f"{state} thirds called {kind}": f"{state} thirds"
        for state in ("good", "starved")
        for kind in ("workable", "starved", "rich", "not judged")
    },
}


def main() -> None:
    """Judge the folder's check photos and print a line a fibre."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", nargs="?", type=Path, default=HERE / "sample_images")
    parser.add_argument("--calibration", type=Path, default=HERE / "calibration" / "demo.toml")
    arguments = parser.parse_args()
    calibration = read_calibration(arguments.calibration)
    totals: dict[str, Counter[str]] = {}
    for scene in json.loads((arguments.folder / "scenes.json").read_text()):
        if scene["role"] != "check" or not scene.get("fibre"):
            continue
        photo = read_photo(arguments.folder / scene["photo"])
        settings = Settings(fibre=scene["fibre"], distal=scene["distal"])
        judged = inspect(photo, calibration, settings)
        name = arguments.folder / f"{Path(scene['photo']).stem}.truth.png"
        truth = np.asarray(cv2.imread(str(name), cv2.IMREAD_UNCHANGED))
        size = (truth.shape[1], truth.shape[0])
        small = cv2.resize(judged.labels, size, interpolation=cv2.INTER_NEAREST)
        found = compare(np.asarray(truth, np.uint8), np.asarray(small, np.uint8))
        found += thirds(scene["zones"], judged)
        for key in (scene["fibre"], "all"):
            totals[key] = totals.get(key, Counter()) + found
    for key, total in totals.items():
        shares = [f"{n} {100 * total[n] / total[of]:.0f} %" for n, of in RATES.items() if total[of]]
        print(f"{key}: " + ", ".join(shares))


if __name__ == "__main__":
    main()
