"""Pages of a study of labelled parts, with pictures of the zones that they speak of."""

import base64
from collections.abc import Iterable

import cv2
import numpy as np

from satcheck.calibration.evidence import ZoneEvidence
from satcheck.calibration.labelled import Study
from satcheck.calibration.measured import Evidence
from satcheck.calibration.zone_calls import where
from satcheck.model import Cells
from satcheck.pages import calibration as calibration_pages
from satcheck.pages import review
from satcheck.photo.read import Photo, read_photo

LONGEST = 420  # pixels of a picture's longer side: sharp enough at the width of a phone
MARGIN = 2  # cells around the zone


def calibration_page(study: Study) -> str:
    """Return the calibration's page as HTML text."""
    rows = [
        row
        for fibre in study.calibration.fibres.values()
        for row in calibration_pages.worst_misses(fibre.evidence)
    ]
    return calibration_pages.calibration_page(
        study.calibration, study.findings, _pictures(study, rows)
    )


def review_page(study: Study) -> str:
    """Return the page of labels to look at again as HTML text."""
    evidence = {name: fibre.evidence for name, fibre in study.calibration.fibres.items()}
    rows = [row for found in evidence.values() for row in review.rows_to_review(found)]
    return review.review_page(evidence, study.findings, _pictures(study, rows))


def _pictures(study: Study, rows: Iterable[ZoneEvidence]) -> dict[tuple[str, str], str]:
    """Return the zones' pictures; a parent's photos are not at hand and have none."""
    known: dict[str, Evidence] = {e.sha256: e for e in study.evidence}
    wanted: dict[str, list[str]] = {}
    for row in rows:
        if row.photo in known:
            wanted.setdefault(row.photo, []).append(row.zone)
    made = {}
    for digest, zones in wanted.items():
        photo = read_photo(known[digest].photo.path)
        for zone in zones:
            made[digest, zone] = zone_picture(photo, known[digest].cells, zone)
    return made


def zone_picture(photo: Photo, cells: Cells, zone: str) -> str:
    """Return a zone cut out of its photo, as the data URI of a JPEG; blank where it has no cell."""
    rows, columns = np.nonzero(where(cells, zone))
    if rows.size == 0:
        return ""
    corners = np.stack([columns + 0.5, rows + 0.5, np.ones(rows.size)])
    x, y = cells.to_photo @ corners * photo.scale
    margin = MARGIN * cells.step * photo.scale
    height, width = photo.rgb.shape[:2]
    x0, x1 = (int(np.clip(v, 0, width)) for v in (x.min() - margin, x.max() + margin + 1))
    y0, y1 = (int(np.clip(v, 0, height)) for v in (y.min() - margin, y.max() + margin + 1))
    cut = photo.rgb[y0:y1, x0:x1]
    if cut.size == 0:
        return ""
    shrink = min(1.0, LONGEST / max(cut.shape[:2]))
    small = cv2.resize(cut, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    _, data = cv2.imencode(".jpg", small[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 80])
    return f"data:image/jpeg;base64,{base64.b64encode(data.tobytes()).decode('ascii')}"
