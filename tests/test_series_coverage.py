"""What has been seen of a part, and what has not."""

from collections.abc import Mapping
from dataclasses import replace

from records import inspection_of, zones_of

from satcheck.model import VIEWS, ZONES, Inspection
from satcheck.series.coverage import coverage

WHOLE = ("Every view of the part has been seen.",)


def photo(hidden: Mapping[str, str] | None = None) -> Inspection:
    """Return a photo in which some zones were hidden, by a reason's word."""
    zones = tuple(
        replace(zone, share_judged=0.1, reasons={hidden[zone.name]: 0.8, "edge": 0.1})
        if hidden and zone.name in hidden
        else zone
        for zone in zones_of({})
    )
    return inspection_of(zones=zones)


def test_a_part_seen_from_all_sides_is_complete() -> None:
    found = coverage({view: [photo()] for view in VIEWS})
    assert found.sentences == WHOLE


def test_views_that_nobody_photographed_are_named() -> None:
    found = coverage({"medial": [photo()]})
    assert found.sentences == ("The anterior, posterior and lateral views have not been seen yet.",)
    assert [view.seen for view in found.views] == [(), (), ZONES, ()]


def test_without_a_photo_nothing_has_been_seen() -> None:
    found = coverage({})
    assert not any(view.seen for view in found.views)
    assert len(found.sentences) == 1
    assert "lateral views have not been seen" in found.sentences[0]


def test_a_zone_that_glare_hid_is_named_with_its_reason() -> None:
    found = coverage({view: [photo({"distal left": "glare"})] for view in VIEWS[:1]}, VIEWS[:1])
    assert found.sentences == ("In the anterior view the distal left was not seen (glare).",)
    assert found.views[0].unseen == {"distal left": "glare"}


def test_a_second_photo_of_the_view_can_show_what_the_first_hid() -> None:
    series = [photo({"distal left": "glare"}), photo({"proximal left": "veil"})]
    assert coverage({"medial": series}, ["medial"]).sentences == WHOLE


def test_a_photo_without_a_part_shows_nothing() -> None:
    found = coverage({"medial": [inspection_of(zones=(), cells=None)]}, ["medial"])
    assert found.views[0].photos == 1
    assert tuple(found.views[0].unseen) == ZONES
    assert "medial view has not been seen" in found.sentences[0]


def test_a_part_that_runs_out_of_the_picture_shows_no_zone_of_the_whole() -> None:
    near = replace(photo(), cut=("up", "down"))
    found = coverage({"medial": [near]}, ["medial"])
    assert "medial view has not been seen" in found.sentences[0]
    assert coverage({"medial": [near, photo()]}, ["medial"]).sentences == WHOLE


def test_a_view_of_the_shops_own_comes_after_the_four() -> None:
    found = coverage({"lock close": [photo()]})
    assert [view.view for view in found.views] == [*VIEWS, "lock close"]


def judged(share: float, reasons: Mapping[str, float] | None = None) -> Inspection:
    """Return a photo that judged a share of every zone."""
    zones = (replace(zone, share_judged=share, reasons=reasons or {}) for zone in zones_of({}))
    return inspection_of(zones=tuple(zones))


def test_a_zone_is_seen_from_a_quarter_on() -> None:
    assert coverage({"medial": [judged(0.25)]}, ["medial"]).views[0].seen == ZONES
    assert coverage({"medial": [judged(0.249)]}, ["medial"]).views[0].seen == ()


def test_what_was_not_seen_at_all_has_its_reason_too() -> None:
    found = coverage({"medial": [judged(0.0, {"glare": 0.9, "edge": 0.1})]}, ["medial"])
    assert set(found.views[0].unseen.values()) == {"glare"}
    assert found.sentences == ("The medial view has not been seen yet.",)


def test_two_views_are_many_and_a_reason_is_named_once() -> None:
    assert coverage({}, ["medial", "lateral"]).sentences == (
        "The medial and lateral views have not been seen yet.",
    )
    hid = {"distal left": "veil", "distal right": "glare", "middle left": "glare"}
    (said,) = coverage({"medial": [photo(hid)]}, ["medial"]).sentences
    assert said.endswith("not seen (glare and veil).")
