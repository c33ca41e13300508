"""Hold the outline found in each photo against its truth map, and print the overlap.

usage: python tests/measure_outline.py FOLDER... [--draw FOLDER] [--cut SHARE]

A FOLDER holds NAME.jpg and NAME.truth.png (0 not laminate). Printed is intersection over union
(IoU, Jaccard index) of laminate found and true, and the shares behind it: what of the truth was
missed, what of the outline is not part. A truth map without a part asks that none be found; photos
named NAME_SPOILED are also averaged by what was done to them. With --draw each photo is written
with its outline (white) and the truth's (black). With --cut each photo is cropped to its part,
SHARE of the part's length off either end, as in a photo taken from too near.
"""

import argparse
import re
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from satcheck.outline.find import Part, find_part
from satcheck.photo.read import read_photo

Bool = NDArray[np.bool_]
Rgb = NDArray[np.uint8]
DRAWN = 600  # long side of a drawn photo, px
BESIDE = 0.15  # of the part's width, background left beside a part that is cut


@dataclass(frozen=True)
class Overlap:
    """One photo: IoU, and the shares missed and wrongly taken in; NaN where nothing was found."""

    name: str
    kind: str
    iou: float
    missed: float
    beside: float
    seconds: float


def overlap(name: str, found: Bool, truth: Bool, seconds: float) -> Overlap:
    """Return how well two masks (H, W) agree; two empty ones agree wholly."""
    kind = spoiled(name) if truth.any() else "no part"
    both, either = int((found & truth).sum()), int((found | truth).sum())
    if not found.any():
        return Overlap(name, kind, 0.0 if truth.any() else 1.0, 1.0, float("nan"), seconds)
    missed = 1 - both / max(1, int(truth.sum()))
    return Overlap(name, kind, both / either, missed, 1 - both / int(found.sum()), seconds)


def measured(photo: Path, draw: Path | None, share: float | None = None) -> Overlap:
    """Find the part in one photo and compare it with its truth map."""
    rgb = read_photo(photo).rgb
    truth = _truth(photo)
    if share is not None and truth.any():
        rgb, truth = cropped(rgb, truth, share)
    start = time.process_time()
    part = find_part(rgb)
    seconds = time.process_time() - start
    found = np.zeros(truth.shape, bool) if part is None else _at(part, truth.shape)
    if draw is not None:
        cv2.imwrite(str(draw / photo.name), drawn(rgb, found, truth)[..., ::-1])
    return overlap(photo.stem, found, truth, seconds)


def cropped(rgb: Rgb, truth: Bool, share: float) -> tuple[Rgb, Bool]:
    """Return a photo and its truth map, cropped so that the part runs out at either end."""
    filled = [np.flatnonzero(truth.any(axis)) for axis in (1, 0)]
    lengths = [int(np.ptp(lines)) + 1 for lines in filled]
    by = [-share * n if n == max(lengths) else BESIDE * n for n in lengths]
    scale = rgb.shape[0] / truth.shape[0]
    near, shown = (
        tuple(
            slice(round(times * max(0.0, lines[0] - far)), round(times * (lines[-1] + 1 + far)))
            for lines, far in zip(filled, by, strict=True)
        )
        for times in (scale, 1.0)
    )
    return np.ascontiguousarray(rgb[near]), np.ascontiguousarray(truth[shown])


def _truth(photo: Path) -> Bool:
    classes = cv2.imread(str(photo.with_suffix("")) + ".truth.png", cv2.IMREAD_UNCHANGED)
    if classes is None:
        raise SystemExit(f"{photo}: no truth map beside it")
    return np.asarray(classes > 0, bool)


def _at(part: Part, shape: tuple[int, ...]) -> Bool:
    size = (shape[1], shape[0])
    mask = part.laminate().astype(np.uint8)
    return np.asarray(cv2.resize(mask, size, interpolation=cv2.INTER_NEAREST) > 0)


def drawn(rgb: Rgb, found: Bool, truth: Bool) -> Rgb:
    """Return the photo, small, with the truth's outline in black and the one found in white."""
    scale = DRAWN / max(rgb.shape[:2])
    size = (round(rgb.shape[1] * scale), round(rgb.shape[0] * scale))
    picture = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    for mask, colour, width in ((truth, (0, 0, 0), 2), (found, (255, 255, 255), 1)):
        small = cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
        lines, _ = cv2.findContours(small, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        cv2.drawContours(picture, lines, -1, colour, width)
    return np.asarray(picture, np.uint8)


def spoiled(name: str) -> str:
    """Return what was done to a photo, from NAME_NUMBER_SPOILED; "as taken" where nothing."""
    match = re.fullmatch(r".*_\d+_([a-z]+\d*)", name)
    return match[1] if match else "as taken"


def summaries(overlaps: list[Overlap]) -> Iterator[str]:
    """Yield one line a kind of photo: number, mean and worst IoU, mean shares, time."""
    kinds = defaultdict(list)
    for one in overlaps:
        kinds[one.kind].append(one)
    for name, ones in sorted(kinds.items()):
        iou = [one.iou for one in ones]
        missed, seconds = (
            float(np.mean(v)) for v in zip(*((o.missed, o.seconds) for o in ones), strict=True)
        )
        worst = min(ones, key=lambda one: one.iou)
        yield (
            f"{name:14} {len(ones):3} photos   IoU mean {np.mean(iou):.3f}   worst "
            f"{worst.iou:.3f} {worst.name}   missed {missed:.3f}   {seconds:.2f} s"
        )


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--draw", type=Path, help="folder to write the photos with outlines into")
    parser.add_argument("--cut", type=float, help="share of the length to cut off either end")
    parser.add_argument("--quiet", action="store_true", help="print the summaries only")
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    if arguments.draw is not None:
        arguments.draw.mkdir(parents=True, exist_ok=True)
    for folder in arguments.folders:
        truths = sorted(folder.glob("*.truth.png"))
        photos = [folder / t.name.replace(".truth.png", ".jpg") for t in truths]
        overlaps = [measured(photo, arguments.draw, arguments.cut) for photo in photos]
        for one in overlaps if not arguments.quiet else []:
            print(
                f"  {one.name:24} {one.iou:.3f}  missed {one.missed:.3f}  beside {one.beside:.3f}"
            )
        print(folder, *summaries(overlaps), sep="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
