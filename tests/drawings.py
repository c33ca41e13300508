"""Charts read back from their SVG: what stands where."""

from dataclasses import dataclass
from xml.etree import ElementTree


@dataclass(frozen=True)
class Mark:
    """One element: its numbers by name, its other attributes, and its words or title."""

    tag: str
    at: dict[str, float]
    said: dict[str, str]
    words: str

    @property
    def points(self) -> list[tuple[float, float]]:
        """Return the points of a polyline."""
        pairs = [pair.split(",") for pair in self.said["points"].split()]
        return [(float(x), float(y)) for x, y in pairs]


def marks_of(svg: str, tag: str) -> list[Mark]:
    """Return all elements of a kind, in the order drawn."""
    return [_mark(element) for element in ElementTree.fromstring(svg).iter(tag)]


def _mark(element: ElementTree.Element) -> Mark:
    at, said = {}, {}
    for name, value in element.attrib.items():
        try:
            at[name] = float(value)
        except ValueError:
            said[name] = value
    title = element.find("title")
    return Mark(element.tag, at, said, (title.text if title is not None else element.text) or "")
