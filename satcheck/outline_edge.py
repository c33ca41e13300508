"""From a coarse silhouette to the part's true edge."""

import cv2
import numpy as np
from numpy.typing import NDArray

Bool = NDArray[np.bool_]
FINE = 400  # long side of the working picture, px


def seeds_from_polygon(rgb: NDArray[np.uint8], polygon: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Return GrabCut seeds (H, W) from an outline in fractions of width and height."""
    height, width = rgb.shape[:2]
    mask = np.zeros((height, width), np.uint8)
    cv2.fillPoly(mask, [np.round(polygon * [width, height]).astype(np.int32)], 1)
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    away = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5)
    half_width = depth.max()
    seeds = np.full(mask.shape, cv2.GC_BGD, np.uint8)
    seeds[away < 0.35 * half_width] = cv2.GC_PR_BGD
    seeds[mask > 0] = cv2.GC_PR_FGD
    seeds[depth > 0.55 * half_width] = cv2.GC_FGD
    return seeds


def refine(
    rgb: NDArray[np.uint8], seeds: NDArray[np.uint8], exclude: Bool | None
) -> tuple[Bool, float]:
    """Return the silhouette (H, W) and its confidence."""
    if exclude is not None:
        seeds = np.where(exclude, cv2.GC_BGD, seeds).astype(np.uint8)
    lab = cv2.cvtColor(rgb, cv2.COLOR_RGB2Lab)
    models = np.zeros((2, 1, 65))
    labels, _, _ = cv2.grabCut(
        lab, seeds.copy(), (0, 0, 1, 1), models[0], models[1], 2, cv2.GC_INIT_WITH_MASK
    )
    inside = np.isin(np.asarray(labels), (cv2.GC_FGD, cv2.GC_PR_FGD)).astype(np.uint8)
    count, parts, stats, _ = cv2.connectedComponentsWithStats(inside)
    if count < 2:
        return np.zeros(inside.shape, bool), 0.0
    largest = parts == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    return np.asarray(largest), 0.5
