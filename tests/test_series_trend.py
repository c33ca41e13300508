"""The small curve of each zone: drawn series with a known way."""

from dataclasses import replace

import pytest
from grids import SHAPE, grid, place
from records import inspection_of
from serial import shown

from satcheck.model import Inspection, Label
from satcheck.series.trend import LEAST, ZoneTrend, trends

ZONE = "middle left"


def wet(rows: int, label: Label = Label.RICH) -> Inspection:
    """Return a part whose middle left zone has a label in its first rows, of 15."""
    return shown(grid(), {label: place(SHAPE, 15, 0, rows, 12)} if rows else {})


def trend(series: list[Inspection]) -> ZoneTrend:
    return next(found for found in trends(series) if found.zone == ZONE)


def test_a_zone_that_takes_up_resin_steadily_has_its_slope() -> None:
    """Three rows of fifteen more each time: the place on the scale rises by a fifth."""
    found = trend([wet(rows) for rows in (0, 3, 6, 9, 12)])
    assert found.word == "wetter"
    assert found.slope is not None
    assert found.slope.value == pytest.approx(0.2)
    assert [p.rich for p in found.points] == pytest.approx([0, 0.2, 0.4, 0.6, 0.8])


def test_the_same_series_backwards_gets_drier() -> None:
    found = trend([wet(rows) for rows in (12, 9, 6, 3, 0)])
    assert found.word == "drier"


def test_one_odd_photo_does_not_turn_a_trend() -> None:
    """Theil-Sen: a straight line through the means would fall here."""
    found = trend([wet(rows) for rows in (0, 2, 4, 6, 8, 10, 12)] + [wet(15, Label.STARVED)])
    assert found.slope is not None
    assert found.slope.value > 0


def test_to_and_fro_is_steady() -> None:
    assert trend([wet(rows) for rows in (3, 9, 3, 9, 3, 9)]).word == "steady"


def test_one_step_back_of_five_photos_may_be_chance() -> None:
    """Nine of ten pairs rise: 10 of 120 orders do so or fall so, more than one in twenty."""
    assert trend([wet(rows) for rows in (0, 6, 3, 9, 12)]).word == "steady"


def test_four_photos_tell_no_slope() -> None:
    found = trend([wet(rows) for rows in (0, 3, 6, 9)])
    assert (len(found.points), found.slope, found.word) == (LEAST - 1, None, "too few photos")


def test_a_photo_that_did_not_show_the_zone_leaves_a_gap() -> None:
    hidden = shown(grid(), {Label.NOT_JUDGED: place(SHAPE, 15, 0, 15, 12)})
    found = trend([wet(0), hidden, inspection_of(cells=None), wet(3)])
    assert [point.photo for point in found.points] == [0, 3]


def test_a_part_that_runs_out_of_the_picture_leaves_a_gap() -> None:
    found = trend([wet(0), replace(wet(3), cut=("down",)), wet(3)])
    assert [point.photo for point in found.points] == [0, 2]


def test_each_word_of_the_scale_has_its_place() -> None:
    words = [Label.STARVED, Label.LEAN, Label.GOOD, Label.HEAVY, Label.RICH]
    points = trend([wet(15, word) for word in words]).points
    assert [p.place for p in points] == [-1.0, -0.5, 0.0, 0.5, 1.0]
    assert [p.starved for p in points] == [1, 0, 0, 0, 0]
    assert [p.rich for p in points] == [0, 0, 0, 0, 1]


def test_what_was_not_judged_has_no_place_and_a_gap_counts_as_a_photo() -> None:
    """3 of 15 rows not judged: 6 rich of 12 rows. Photos 0, 2, 4, 6, 8 rise by a fifth each two."""
    half = shown(grid(), {Label.NOT_JUDGED: place(SHAPE, 15, 0, 3, 12),
                          Label.RICH: place(SHAPE, 18, 0, 6, 12)})  # fmt: skip
    (point,) = trend([half]).points
    assert (point.rich, point.place) == (0.5, 0.5)
    hidden = shown(grid(), {Label.NOT_JUDGED: place(SHAPE, 15, 0, 15, 12)})
    series = [each for rows in (0, 3, 6, 9, 12) for each in (wet(rows), hidden)]
    found = trend(series)
    assert [p.photo for p in found.points] == [0, 2, 4, 6, 8]
    assert found.slope is not None
    assert found.slope.value == pytest.approx(0.1)


@pytest.mark.parametrize(("rows", "count"), [(3, 0), (4, 1)])
def test_a_zone_has_a_point_from_a_quarter_on_that_was_judged(rows: int, count: int) -> None:
    hidden = shown(grid(), {Label.NOT_JUDGED: place(SHAPE, 15, 0, 15 - rows, 12)})
    assert len(trend([hidden]).points) == count
