"""Reading drawings back: ``from tests.paper.drawn import parse, texts``. Only the SVG is looked at."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass

from coldlash.paper.svg import Drawing
from coldlash.paper.textwidth import ASCENT, DESCENT, text_width

SVG = "{http://www.w3.org/2000/svg}"


def parse(drawing: Drawing, ident: str | None = "d") -> ET.Element:
    return ET.fromstring(drawing.svg(ident))


def of_pen(root: ET.Element, pen: str, tag: str | None = None) -> list[ET.Element]:
    """The marks made with a pen, in drawing order."""
    return [e for e in root if e.get("class") == f"d-{pen}" and (tag is None or e.tag == SVG + tag)]


def number(element: ET.Element, key: str) -> float:
    return float(element.attrib[key])


def points(element: ET.Element) -> list[tuple[float, float]]:
    """The corners of a polygon or polyline."""
    return [tuple(map(float, pair.split(","))) for pair in element.attrib["points"].split()]


def figures(element: ET.Element) -> list[float]:
    """All numbers of a path."""
    return [float(x) for x in re.findall(r"-?\d+(?:\.\d+)?", element.attrib["d"])]


@dataclass(frozen=True)
class Box:
    left: float
    top: float
    right: float
    bottom: float
    words: str

    def meets(self, other: Box, by: float = 0.0) -> bool:
        """Whether the two boxes share more than ``by`` in both directions."""
        return (
            min(self.right, other.right) - max(self.left, other.left) > by
            and min(self.bottom, other.bottom) - max(self.top, other.top) > by
        )


def texts(root: ET.Element) -> list[Box]:
    """A box about the letters of each text: from the cap height to the baseline, descenders when it has some."""
    boxes = []
    for element in root.iter(SVG + "text"):
        words = element.text or ""
        size = number(element, "font-size")
        weight = 600 if element.get("font-weight") == "600" else 400
        width = text_width(words, size, weight)
        left = (
            number(element, "x")
            - {"start": 0, "middle": width / 2, "end": width}[element.get("text-anchor", "start")]
        )
        y = number(element, "y")
        rise = ASCENT if re.search(r"[bdfhklt]", words) else 0.70
        fall = DESCENT if re.search(r"[gjpqy,;()]", words) else 0.0
        boxes.append(Box(left, y - rise * size, left + width, y + fall * size, words))
    return boxes


def faults_of_text(drawing: Drawing) -> list[str]:
    """Texts that touch each other or leave the sheet, in words; empty when all is well."""
    boxes = texts(parse(drawing))
    said = [
        f"{box.words!r} leaves the sheet"
        for box in boxes
        if box.left < -0.5
        or box.right > drawing.width + 0.5
        or box.top < -0.5
        or box.bottom > drawing.height + 0.5
    ]
    for i, one in enumerate(boxes):
        said += [f"{one.words!r} touches {other.words!r}" for other in boxes[i + 1 :] if one.meets(other)]
    return said
