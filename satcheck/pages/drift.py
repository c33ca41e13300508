"""The page of a drift study: what it means, and a chart of each quantity."""

from satcheck.pages.frame import render
from satcheck.pages.svg import QUIET, WIDTH, dot, line, path, picture, text
from satcheck.studies.drift import DriftStudy, Watched
from satcheck.studies.shifts import QUANTITIES
from satcheck.studies.summary import summarise_drift

LEFT, RIGHT, TOP, BOTTOM = 12, 12, 26, 150
LEGEND = (
    "Rings: each shift. Thick line: their average of late. Broken lines: its limits. Left of the "
    "dotted line: the shifts that set the level."
)


def drift_page(study: DriftStudy, source: str, date: str) -> str:
    """Return the page as HTML text; ``source`` names what was read, ``date`` is as shown."""
    figures = [
        (drift_chart(study, watched), _caption(study, watched))
        for watched in study.watched
        if watched.chart is not None
    ]
    return render(
        "study.html",
        summary=summarise_drift(study),
        source=source,
        date=date,
        figures=figures,
        legend=LEGEND,
    )


def drift_chart(study: DriftStudy, watched: Watched) -> str:
    """Return one quantity over the shifts: its values, its average, its limits, its warning."""
    made = watched.chart
    if made is None:
        return ""
    values = [shift.values.get(watched.name) for shift in study.shifts]
    known = [value for value in values if value is not None]
    low, high = min(*known, made.limits[0]), max(*known, made.limits[1])
    room, last = (high - low) * 0.06 or 1.0, max(len(values) - 1, 1)

    def x(shift: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * shift / last

    def y(value: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * (value - low + room) / (high - low + 2 * room)

    start = x(study.baseline - 0.5)
    drawn = [line(start, y(v), x(last), y(v), dashes="5 3") for v in made.limits]
    drawn.append(line(LEFT, y(made.level.target), x(last), y(made.level.target), width=0.7,
                      colour=QUIET))  # fmt: skip
    drawn.append(line(start, TOP, start, BOTTOM, dashes="1 3", colour=QUIET))
    drawn += [dot(x(k), y(v), filled=False, radius=2, title=study.shifts[k].taken)
              for k, v in enumerate(values) if v is not None]  # fmt: skip
    drawn.append(path((x(k), y(float(v))) for k, v in zip(watched.at, made.ewma, strict=True)))
    drawn.append(text(LEFT, 12, watched.name))
    if watched.alarm is not None:
        at = x(watched.alarm)
        drawn += [line(at, TOP - 8, at, BOTTOM, width=2),
                  text(at - 4, 12, "warns here", "end")]  # fmt: skip
    drawn += [
        text(LEFT, BOTTOM + 16, study.shifts[0].taken[:10]),
        text(WIDTH - RIGHT, BOTTOM + 16, study.shifts[-1].taken[:10], "end"),
    ]
    return picture(BOTTOM + 24, drawn, f"{watched.name} over the shifts")


def _caption(study: DriftStudy, watched: Watched) -> str:
    told = QUANTITIES[watched.name].capitalize()
    if watched.alarm is None:
        return f"{told}. Has not moved."
    shift = study.shifts[watched.alarm]
    return f"{told}. Warns since {shift.taken or shift.name}."
