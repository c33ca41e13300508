"""Calibrate on other parts of a rendered set, again and again, and print how far the shares move.

usage: python tests/measure_splits.py [FOLDER] [--splits N]

FOLDER holds scenes.json, photos and NAME.truth.png as sample_images does. Each split draws anew
which photos calibrate and which are judged, as many of each scenario as the set itself has; nothing
that was chosen by the set's own split can hide behind it. Shares are of pixels of the truth maps.
"""

import argparse
import json
import random
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from measure_truth import RATES, compare
from numpy.typing import NDArray

from satcheck.calibration.fitting import fit_fibre
from satcheck.calibration.measured import Evidence, evidence_of
from satcheck.calibration.parts_table import LabelledPhoto
from satcheck.judgement.labelling import label_cells
from satcheck.measurement import Hints, Measurement, measure_photo, spread
from satcheck.model import STATES
from satcheck.photo.read import Photo, read_photo

HERE = Path(__file__).resolve().parent.parent
CLEAR = 0.8
"""Share of a third in one state from which it is labelled, as render.py does in parts.csv."""
SEED = 1


@dataclass(frozen=True, eq=False)
class Sample:
    """One rendered photo: what is known of it, and what was measured once for all splits."""

    scene: dict[str, Any]
    photo: Photo
    measured: Measurement
    evidence: Evidence
    truth: NDArray[np.uint8]


def read(folder: Path, scene: dict[str, Any]) -> Sample | None:
    """Measure one photo; None where no part is found."""
    path = folder / scene["photo"]
    photo = read_photo(path)
    measured = measure_photo(photo, Hints(distal=scene["distal"]))
    if measured is None:
        return None
    zones = {
        zone: STATES[state]
        for zone, shares in scene["zones"].items()
        for state, share in shares.items()
        if share >= CLEAR
    }
    accepted = scene["outcome"] == "accepted"
    labelled = LabelledPhoto(
        path, scene["part"], scene["fibre"], accepted, scene["distal"], zones, None, 1
    )
    evidence = evidence_of(folder, labelled, photo, measured)
    truth = cv2.imread(str(path.with_suffix(".truth.png")), cv2.IMREAD_UNCHANGED)
    return Sample(scene, photo, measured, evidence, np.asarray(truth, np.uint8))


def splits(samples: Sequence[Sample], count: int) -> Iterator[set[str]]:
    """Yield the names of the photos that calibrate, drawn anew within each scenario."""
    groups: dict[str, list[Sample]] = {}
    for sample in samples:
        groups.setdefault(sample.scene["scenario"], []).append(sample)
    draw = random.Random(SEED)
    for _ in range(count):
        chosen: set[str] = set()
        for group in groups.values():
            wanted = sum(s.scene["role"] == "calibration" for s in group)
            chosen |= {s.scene["photo"] for s in draw.sample(group, wanted)}
        yield chosen


def judged(samples: Sequence[Sample], chosen: set[str]) -> Counter[str]:
    """Calibrate one fibre on the chosen photos, and count the pixels of the others."""
    fibre = samples[0].scene["fibre"]
    teaching = [s.evidence for s in samples if s.scene["photo"] in chosen]
    bounds = fit_fibre(HERE, fibre, teaching)
    total: Counter[str] = Counter()
    for sample in samples:
        if sample.scene["photo"] in chosen:
            continue
        found = sample.measured
        labels, _ = label_cells(found.cells, bounds)
        drawn = spread(labels, found.cells, sample.photo, found.laminate, found.silhouette)
        size = (sample.truth.shape[1], sample.truth.shape[0])
        small = cv2.resize(drawn, size, interpolation=cv2.INTER_NEAREST)
        total += compare(sample.truth, np.asarray(small, np.uint8))
    return total


def main() -> None:
    """Print for each fibre the shares over all splits, and the range over single ones."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", nargs="?", type=Path, default=HERE / "sample_images")
    parser.add_argument("--splits", type=int, default=6)
    arguments = parser.parse_args()
    scenes = json.loads((arguments.folder / "scenes.json").read_text())
    kept = [s for s in scenes if s.get("fibre") and not s["special"]]
    with ProcessPoolExecutor() as pool:
        read_all = [s for s in pool.map(partial(read, arguments.folder), kept) if s is not None]
        for fibre in sorted({s.scene["fibre"] for s in read_all}):
            samples = [s for s in read_all if s.scene["fibre"] == fibre]
            drawn = list(splits(samples, arguments.splits))
            counts = list(pool.map(partial(judged, samples), drawn))
            print(f"{fibre}: photos {len(samples)}, splits {len(drawn)}")
            for name, of in RATES.items():
                shares = [100 * c[name] / c[of] for c in counts if c[of]]
                if shares:
                    whole = 100 * sum(c[name] for c in counts) / sum(c[of] for c in counts)
                    print(f"  {name}: {whole:.0f} % ({min(shares):.0f} to {max(shares):.0f})")


if __name__ == "__main__":
    main()
