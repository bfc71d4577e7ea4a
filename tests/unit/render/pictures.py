"""Reading a picture back from its SVG, with nothing of the code that drew it."""

import re
from dataclasses import dataclass
from itertools import combinations
from typing import Any
from xml.etree import ElementTree

SVG = "{http://www.w3.org/2000/svg}"

# Advance widths of DejaVu Sans and DejaVu Sans Bold 2.37 in 1/100 em, read from the font files: the widest of the
# usual sans-serif types.
_REGULAR = {
    27: "'", 28: "ijl", 29: "IJ", 32: " ,.", 34: "/:;\\|", 35: "f", 36: "-", 39: "()[]t", 40: "!", 41: "r", 46: '"',
    50: "*_`", 52: "sz", 53: "?", 55: "c", 56: "L", 58: "Fk", 59: "vxy", 60: "P", 61: "TYao", 62: "e",
    63: "ESbdghnpqu", 64: "$0123456789{}", 66: "K", 68: "AV", 69: "BRXZ", 70: "C", 73: "U", 75: "HN", 77: "DG",
    78: "&", 79: "OQ", 82: "w", 84: "#+<=>^~", 86: "M", 95: "%", 97: "m", 99: "W", 100: "@",
}  # fmt: skip
_BOLD = {
    31: "'", 34: "ijl", 35: " ", 37: "/IJ\\|", 38: ",.", 40: ":;", 42: "-", 44: "f", 46: "!()[]", 48: "t", 49: "r",
    50: "_`", 52: '"*', 58: "?z", 59: "c", 60: "s", 64: "L", 65: "vxy", 67: "ak", 68: "EFTe", 69: "o",
    70: "$0123456789", 71: "hnu{}", 72: "SYbdgpq", 73: "CPZ", 76: "B", 77: "AKRVX", 81: "U", 82: "G", 83: "D",
    84: "#+<=>HN^~", 85: "OQ", 87: "&", 92: "w", 100: "%@M", 104: "m", 110: "W",
}  # fmt: skip
WIDTHS = {
    bold: {char: width / 100 for width, chars in table.items() for char in chars}
    for bold, table in ((False, _REGULAR), (True, _BOLD))
}


@dataclass(frozen=True)
class Text:
    """A line of text in a picture with the room it takes: left, top, right, bottom."""

    text: str
    part: str
    box: tuple[float, float, float, float]


def parsed(svg: str) -> ElementTree.Element:
    """Return the root of a picture."""
    return ElementTree.fromstring(svg)


def texts(root: ElementTree.Element) -> list[Text]:
    """Return every text of a picture; letters without a measured width count as 1 em."""
    found = []
    for element in root.iter(f"{SVG}text"):
        text, size = element.text or "", float(element.attrib["font-size"])
        widths = WIDTHS[element.get("font-weight") == "bold"]
        width = sum(widths.get(" " if char == "\u00a0" else char, 1.0) for char in text) * size
        x, y = float(element.attrib["x"]), float(element.attrib["y"])
        left = x - {"start": 0.0, "middle": width / 2, "end": width}[element.get("text-anchor", "start")]
        box = (left, y - 0.75 * size, left + width, y + 0.2 * size)
        found.append(Text(text.replace("\u00a0", " "), element.get("data-part", ""), box))
    return found


def said(root: ElementTree.Element) -> str:
    """Return all that stands in a picture, line after line, without the numbers of its scale."""
    return " ".join(each.text for each in texts(root) if each.part not in ("tick-number", "unit"))


def parts(root: ElementTree.Element, part: str) -> list[ElementTree.Element]:
    """Return the marks of one name."""
    return [element for element in root.iter() if element.get("data-part") == part]


def overlapping(root: ElementTree.Element) -> list[tuple[str, str]]:
    """Return the pairs of texts that stand on one another."""
    return [
        (one.text, other.text)
        for one, other in combinations(texts(root), 2)
        if one.box[0] < other.box[2]
        and other.box[0] < one.box[2]
        and one.box[1] < other.box[3]
        and other.box[1] < one.box[3]
    ]


def outside(root: ElementTree.Element) -> list[Any]:
    """Return the texts and points that lie outside the picture."""
    _, _, width, height = map(float, root.attrib["viewBox"].split())

    def out(x: float, y: float) -> bool:
        return not (-0.01 <= x <= width + 0.01 and -0.01 <= y <= height + 0.01)

    found: list[Any] = [t.text for t in texts(root) if out(*t.box[:2]) or out(*t.box[2:])]
    for element in root.iter():
        if any(out(x, y) for x, y in points(element)):
            found.append(element.attrib)
    return found


def points(element: ElementTree.Element) -> list[tuple[float, float]]:
    """Return the corners of a line, rectangle, polygon, polyline or circle."""
    given = {key: value for key, value in element.attrib.items() if re.fullmatch(r"-?[\d.]+", value)}
    number = {key: float(value) for key, value in given.items()}
    match element.tag.removeprefix(SVG):
        case "line":
            return [(number["x1"], number["y1"]), (number["x2"], number["y2"])]
        case "rect":
            x, y = number.get("x", 0.0), number.get("y", 0.0)
            return [(x, y), (x + number["width"], y + number["height"])]
        case "circle":
            x, y, r = number["cx"], number["cy"], number["r"]
            return [(x - r, y - r), (x + r, y + r)]
        case "polygon" | "polyline":
            pairs = (pair.split(",") for pair in element.attrib["points"].split())
            return [(float(x), float(y)) for x, y in pairs]
    return []


NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)? (?:mm|in|kN|lbf|degC|degF|K|degF_diff|N\.m|lbf\.ft)(?!\.?\w)")


def numbers(text: str) -> set[str]:
    """Return every number with its unit in a text."""
    return set(NUMBER.findall(text))
