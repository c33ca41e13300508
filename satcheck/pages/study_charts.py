"""Charts of a shop's studies as SVG text."""

from collections.abc import Callable, Sequence

import numpy as np

from satcheck.pages.svg import INK, QUIET, WIDTH, dot, line, path, picture, text, tick
from satcheck.statistics.agreement import GOOD, POOR, Kappa
from satcheck.statistics.gauge import Gauge
from satcheck.studies.agreement import AgreementStudy
from satcheck.studies.detection import DetectionStudy
from satcheck.studies.repeatability import RepeatabilityStudy

LEFT, RIGHT, ROW = 16, 16, 40
Scale = Callable[[float], float]


def kappas(study: AgreementStudy) -> str:
    """Return each kappa with its interval, one line each, from 0 to 1."""
    pairs = [*study.pairs, *([study.pooled] if study.pooled else [])]
    rows = [(f"{pair.first} - {pair.second}", pair.kappa) for pair in pairs]
    rows += [("all inspectors together", study.between)] if study.between else []
    rows += [(f"{rater} with own repeats", kappa) for rater, kappa in study.within.items()]
    height = ROW * len(rows) + 48
    drawn = [
        line(_share(cut), 18, _share(cut), height - 22, dashes="3 4", colour=QUIET)
        for cut in (POOR, GOOD)
    ]
    drawn += [text(_share(POOR), 12, "poor below", "middle"), text(_share(GOOD), 12, "good from",
                                                                   "middle")]  # fmt: skip
    for k, (name, kappa) in enumerate(rows):
        drawn += _kappa(name, kappa, 34 + ROW * k)
    drawn += [text(_share(cut), height - 6, word, anchor) for cut, word, anchor in
              ((0, "0 chance", "start"), (1, "1 full", "end"))]  # fmt: skip
    return picture(height, drawn, "Kappa of each pair, with its 95 % interval")


def _kappa(name: str, kappa: Kappa, y: float) -> list[str]:
    shown = "undefined" if kappa.value is None else f"{kappa.value:.2f}"
    drawn = [text(LEFT, y, f"{name}: {shown}")]
    if kappa.value is not None and kappa.low is not None and kappa.high is not None:
        low, high = _share(kappa.low), _share(kappa.high)
        drawn += [line(low, y + 11, high, y + 11, width=2),
                  tick(low, y + 7, 8), tick(high, y + 7, 8),
                  dot(_share(kappa.value), y + 11, title=shown, radius=4.5)]  # fmt: skip
    return drawn


def _share(value: float) -> float:
    return LEFT + (WIDTH - LEFT - RIGHT) * min(max(value, 0.0), 1.0)


def spreads(study: RepeatabilityStudy) -> str:
    """Return what makes the spread, as bars of the total, by both methods."""
    drawn = [line(_share(0.3), 18, _share(0.3), 196, dashes="3 4", colour=QUIET),
             text(_share(0.3), 12, "too much from", "middle")]  # fmt: skip
    names = ("same person again", "person to person", "photo and person", "part to part")
    for k, name in enumerate(names):
        y = 34 + ROW * k
        shares = [_parts(gauge)[k] for gauge in (study.by_range, study.anova.gauge)]
        drawn.append(text(LEFT, y, f"{name}: {100 * shares[1]:.0f} %"))
        drawn.append(_bar(y + 4, shares[1], INK))
        drawn.append(_bar(y + 13, shares[0], "none"))
    drawn += [text(_share(0), 212, "0"), text(_share(1), 212, "100 % of the spread", "end")]
    return picture(218, drawn, "Shares of the spread by source")


def _parts(gauge: Gauge) -> tuple[float, ...]:
    total = gauge.total or 1.0
    values = (gauge.repeatability, gauge.reproducibility, gauge.gauge, gauge.part)
    return tuple(value / total for value in values)


def _bar(y: float, share: float, fill: str) -> str:
    width = max(_share(share) - LEFT, 0.5)
    return (
        f'<rect x="{LEFT}" y="{y:.1f}" width="{width:.1f}" height="7" fill="{fill}" '
        f'stroke="{INK}"/>'
    )


def detection_curve(study: DetectionStudy) -> str:
    """Return the probability of detection over size, and every patch that was tried."""
    told, left, right, top, bottom = study.result, 44, WIDTH - 14, 36, 226
    line_of = told.line if not told.trouble else None
    end = max(told.largest, *(v for v in (told.a90, told.a90_95) if v and v < 3 * told.largest), 0)

    def x(size: float) -> float:
        return left + (right - left) * min(max(size / end, 0.0), 1.0)

    def y(share: float) -> float:
        return bottom - (bottom - top) * share

    drawn = [line(left, y(s), right, y(s), width=0.5, colour=QUIET) for s in (0, 0.5, 0.9, 1)]
    drawn += [text(left - 4, y(s) + 4, f"{100 * s:.0f} %", "end") for s in (0, 0.5, 0.9)]
    if line_of is not None:
        sizes = np.linspace(end / 400, end, 200)
        shares = line_of.probability(sizes)
        drawn.append(path((x(s), y(p)) for s, p in zip(sizes, shares, strict=True)))
        within = [(name, size, share) for name, size, share in
                  (("a50", told.a50, 0.5), ("a90", told.a90, 0.9))
                  if size is not None and 0 < size <= end]  # fmt: skip
        drawn += _marked(within, x, y)
        if told.a90_95 is not None and 0 < told.a90_95 <= end:
            at = x(told.a90_95)
            drawn += [line(at, y(0.9), at, bottom, width=1.5, dashes="4 3"),
                      text(at + 4, bottom - 6, "a90/95") if at < right - 50 else
                      text(at - 4, bottom - 6, "a90/95", "end")]  # fmt: skip
    drawn += _rug(study, x, 18, bottom + 4)
    drawn += [
        text(left, bottom + 30, "0"),
        text(right, bottom + 30, f"{end:.3g} {study.unit}", "end"),
        text(left, 12, "strokes above: found, below: missed"),
        text((left + right) / 2, bottom + 30, "size of the patch", "middle"),
    ]
    return picture(bottom + 38, drawn, "Share of patches found, over their size")


def _marked(points: Sequence[tuple[str, float, float]], x: Scale, y: Scale) -> list[str]:
    drawn = []
    for name, size, share in points:
        drawn += [dot(x(size), y(share), title=f"{name} {size:.3g}"),
                  text(x(size) - 6, y(share) - 4, name, "end")]  # fmt: skip
    return drawn


def _rug(study: DetectionStudy, x: Scale, above: float, below: float) -> list[str]:
    return [
        tick(x(float(size)), above if found else below, 10)
        for size, found in zip(study.sizes, study.found, strict=True)
    ]
