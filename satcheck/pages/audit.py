"""The page of an audit: one file with every overlay, to filter, to sort and to print."""

import base64
import re
from collections.abc import Callable, Iterator

from satcheck.audit.rows import PhotoRow, photo_headline
from satcheck.audit.summary import Summary
from satcheck.audit.wording import (
    GROUP_HEAD,
    absent_sentence,
    alike_sentence,
    group_row,
    judged_sentence,
    listed,
    others_sentence,
    outcome_sentence,
    pareto_sentence,
    percent,
    same_file_sentence,
    second_sentences,
    trend_sentence,
)
from satcheck.pages.audit_charts import pareto_chart, reasons_chart, trend_chart
from satcheck.pages.frame import render

_PLACE = re.compile(r'src="<(\d+)>"')
"""Where a picture goes: no text of a user can look so, since it is escaped."""


def audit_page(found: Summary, picture: Callable[[PhotoRow], bytes | None]) -> Iterator[str]:
    """Yield the page as HTML text, piece by piece: each picture is read when its turn comes.

    Parameters
    ----------
    found : Summary
    picture : callable
        Returns the overlay of a photo as JPEG, or None where it has none.
    """
    photos = found.photos
    page = render(
        "audit.html",
        found=found,
        outcome=outcome_sentence(found),
        sentences=(judged_sentence(found), pareto_sentence(found)),
        second=second_sentences(found.second, found.count("fail"), found.count("not judged")),
        pareto=pareto_chart(found.pareto),
        reasons=reasons_chart(found.reasons),
        trends=[(trend_chart(one), trend_sentence(one)) for one in found.trends],
        group_head=GROUP_HEAD,
        group_row=group_row,
        number={photo.path: k for k, photo in enumerate(photos)},
        headline=photo_headline,
        percent=percent,
        listed=listed,
        alike=alike_sentence,
        same_file=same_file_sentence,
        absent=absent_sentence,
        passed_over=others_sentence,
        by=lambda photo: photo.by,
        technicians=sorted({photo.by for photo in photos} - {""}),
    )
    at = 0
    for place in _PLACE.finditer(page):
        yield page[at : place.start()]
        yield f'src="{_uri(picture(photos[int(place[1])]))}"'
        at = place.end()
    yield page[at:]


def _uri(jpeg: bytes | None) -> str:
    return "" if jpeg is None else f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode()}"
