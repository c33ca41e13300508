"""What does not fit together in a table of labelled parts, named by file and zone.

What cannot be used is refused with its line; what can, though a person should look at it, is a
finding: one sentence.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from satcheck.calibration.cue_choice import PLACE
from satcheck.calibration.evidence import ZoneEvidence, worst_by_part
from satcheck.calibration.file import Calibration
from satcheck.calibration.part_bounds import LEAN_CEILING
from satcheck.calibration.parts_table import LabelledPhoto
from satcheck.errors import TableError
from satcheck.model import THIRDS, Label, Side, at_edges

AT_ODDS = 0.6
"""Distance of a zone's index from its label's place from which a person should look (own rule)."""


def same_photos(
    table: Path, photos: Sequence[LabelledPhoto], digests: Mapping[Path, str]
) -> tuple[tuple[LabelledPhoto, ...], tuple[str, ...]]:
    """Return the photos with each picture once, and findings on those that came twice.

    Raises
    ------
    TableError
        If the same picture stands for two parts, fibres or outcomes, or has two distal ends, two
        marks, or two states of a zone.
    """
    kept: dict[str, LabelledPhoto] = {}
    findings = []
    for photo in photos:
        first = kept.setdefault(digests[photo.path], photo)
        if first is photo:
            continue
        _refuse_contradiction(table, first, photo)
        kept[digests[photo.path]] = replace(
            first,
            zones={**first.zones, **photo.zones},
            distal=first.distal or photo.distal,
            marks=first.marks or photo.marks,
        )
        findings.append(
            f"{photo.path.name} is the same picture as {first.path.name}: counted once."
        )
    return tuple(kept.values()), tuple(findings)


def _refuse_contradiction(table: Path, first: LabelledPhoto, again: LabelledPhoto) -> None:
    same = f"{again.path.name} is the same picture as {first.path.name} (line {first.line})"
    differs = {
        "part": first.part != again.part,
        "fibre": first.fibre != again.fibre,
        "outcome": first.is_accepted != again.is_accepted,
        "distal": (again.distal or first.distal) != (first.distal or again.distal),
        "marks": _are_other_marks(first.marks, again.marks),
    }
    if name := next((word for word, does in differs.items() if does), None):
        raise TableError(
            str(table), again.line, f"{same}, but differs in {name}", f"give both the same {name}"
        )
    for zone, state in again.zones.items():
        if first.zones.get(zone, state) is not state:
            raise TableError(
                str(table), again.line,
                f"{same}, but its {zone} zone is {state.word} and not {first.zones[zone].word}",
                "give the zone one state",
            )  # fmt: skip


def _are_other_marks(first: Path | None, again: Path | None) -> bool:
    """Return whether two files of marks are there and differ; a copy of a picture may have one."""
    if first is None or again is None or first == again:
        return False
    return first.read_bytes() != again.read_bytes()


def torn_parts(
    photos: Sequence[LabelledPhoto],
) -> tuple[tuple[LabelledPhoto, ...], tuple[str, ...]]:
    """Return the photos, and findings on parts whose labels contradict each other.

    A part both accepted and rejected keeps its zones' labels; its outcome is left out.
    """
    outcomes: dict[str, set[bool]] = {}
    for photo in photos:
        outcomes.setdefault(photo.part, set()).add(photo.is_accepted)
    torn = {part for part, found in outcomes.items() if len(found) == 2}
    findings = []
    for part in sorted(torn):
        files = ", ".join(
            f"{p.path.name} {'accepted' if p.is_accepted else 'rejected'}"
            for p in photos if p.part == part
        )  # fmt: skip
        findings.append(f"Part {part} is both accepted and rejected ({files}): outcome left out.")
    for photo in photos:
        findings += _against_itself(photo)
    kept = tuple(replace(p, is_accepted=p.is_accepted and p.part not in torn) for p in photos)
    return kept, tuple(findings)


def _against_itself(photo: LabelledPhoto) -> Iterable[str]:
    for zone, state in photo.zones.items():
        if photo.is_accepted and state in (Label.STARVED, Label.RICH):
            yield f"{photo.path.name}, {zone}: {state.word}, though the part was accepted."
        third = zone.split()[0]
        whole = photo.zones.get(third)
        if zone != third and third in THIRDS and whole is Label.GOOD and state is not Label.GOOD:
            yield f"{photo.path.name}, {zone}: {state.word}, though its whole third is good."


def refuse_known(
    table: Path, photos: Sequence[LabelledPhoto], digests: Mapping[Path, str], parent: Calibration
) -> None:
    """Refuse photos and parts that a parent calibration has seen: they are no new evidence.

    A fibre of the parent in other letters is refused too: it would become a second one.

    Raises
    ------
    TableError
    """
    allowed = f"only new parts are added to {parent.id}; else calibrate from one whole table"
    parts = {row.part.casefold() for fibre in parent.fibres.values() for row in fibre.evidence}
    fibres = {name.casefold(): name for name in parent.fibres}
    for photo in photos:
        if digests[photo.path] in parent.photos:
            raise TableError(
                str(table), photo.line, f"{photo.path.name} is in the parent already", allowed
            )
        if photo.part.casefold() in parts:
            raise TableError(
                str(table), photo.line, f"part {photo.part} is in the parent already", allowed
            )
        known = fibres.get(photo.fibre.casefold(), photo.fibre)
        if photo.fibre != known:
            raise TableError(
                str(table), photo.line, f"fibre {photo.fibre!r} stands in the parent as {known!r}",
                "write it one way",
            )  # fmt: skip


def cut_findings(
    photos: Iterable[tuple[LabelledPhoto, tuple[Side, ...]]],
) -> tuple[str, ...]:
    """Return of which photos zones are labelled though the part runs out of the picture."""
    return tuple(
        f"{photo.path.name}: the part runs out of the picture {at_edges(cut)}, so its zones are "
        "those of what shows; are they labelled so?"
        for photo, cut in photos
        if cut and photo.zones
    )


def disagreement(row: ZoneEvidence) -> float:
    """Return how far a zone's index lies from its label's place, 0 to 2; 0 where nothing tells."""
    if row.label not in PLACE or not row.is_judged or row.index != row.index:
        return 0.0
    return abs(row.index - PLACE[row.label])


def most_at_odds(rows: Iterable[ZoneEvidence], count: int) -> tuple[ZoneEvidence, ...]:
    """Return the rows whose labels disagree most with the rest, the worst first."""
    odd = [row for row in rows if disagreement(row) > AT_ODDS]
    return tuple(sorted(odd, key=lambda row: -disagreement(row))[:count])


def fit_findings(fibre: str, rows: Sequence[ZoneEvidence]) -> tuple[str, ...]:
    """Return what the fit shows about the labels of a fibre."""
    findings = [
        f"{row.name}: labelled starved, but no bound explains it; is the label right?"
        for row in worst_by_part(rows).values()
        if row.edge > LEAN_CEILING
    ]
    unseen = [r for r in rows if r.label is Label.STARVED and not r.is_judged]
    findings += [f"{row.name}: labelled starved, but the photo cannot be judged." for row in unseen]
    if rows and not any(row.label is Label.RICH for row in rows):
        findings.append(f"{fibre}: no zone is labelled rich, so nothing will be called rich.")
    judged = [row for row in rows if row.is_judged and row.index == row.index]
    starved = [row.index for row in judged if row.label is Label.STARVED]
    good = [row.index for row in judged if row.label is Label.GOOD]
    if starved and good and max(starved) < min(good):
        findings.append(
            f"{fibre}: starved and good zones do not overlap in these parts; "
            "where one ends and the other begins is a range, and more parts would narrow it."
        )
    return tuple(findings)
