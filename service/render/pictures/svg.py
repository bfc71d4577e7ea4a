"""A drawing as SVG: self-contained, black and white, with its text alternative; no script, style or reference."""

from collections.abc import Iterable

from service.render.pictures.drawing import WIDTH, Box, Circle, Drawing, Line, Mark, Path, Shape, Words

_FORBIDDEN = (*range(9), 11, 12, *range(14, 32), *range(0xD800, 0xE000), 0xFFFE, 0xFFFF)  # XML 1.0, 2.2
_ESCAPES = str.maketrans(
    {
        "&": "&amp;",
        "<": "&lt;",
        ">": "&gt;",
        '"': "&quot;",
        "'": "&#39;",
        **{chr(code): "\ufffd" for code in _FORBIDDEN},
    }
)


def svg(drawing: Drawing, *, name: str = "picture") -> str:
    """Return the drawing as an SVG document, the same bytes for the same drawing.

    Parameters
    ----------
    name : str
        What the ids of title and description begin with: must differ where two pictures stand on one page.
    """
    height = _number(drawing.height)
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_number(WIDTH)} {height}" role="img" '
        f'aria-labelledby="{escaped(name)}-title {escaped(name)}-desc" font-family="sans-serif">',
        f'<title id="{escaped(name)}-title">{escaped(drawing.title)}</title>',
        f'<desc id="{escaped(name)}-desc">{escaped(" ".join(map(_sentence, drawing.described)))}</desc>',
        f'<rect width="{_number(WIDTH)}" height="{height}" fill="white"/>',
        *map(_mark, drawing.marks),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def svg_page(marks: Iterable[Mark], *, width: float, height: float, name: str) -> str:
    """Return marks as an SVG whose words are read as text: a page, not a picture of something.

    Parameters
    ----------
    width, height : float
        Of the page, in the units of its marks
    name : str
        What the page is called
    """
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_number(width)} {_number(height)}" '
        f'aria-label="{escaped(name)}" font-family="Liberation Sans, Arial, Helvetica, sans-serif">',
        *map(_mark, marks),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def escaped(text: str) -> str:
    """Return a text that can stand in an element or a quoted attribute."""
    return text.translate(_ESCAPES)


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?", "!", ":")) else f"{text}."


def _number(value: float) -> str:
    """Return a coordinate with at most two decimals, zero without a sign."""
    return f"{value:.2f}".rstrip("0").rstrip(".") if abs(value) >= 0.005 else "0"


def _mark(mark: Mark) -> str:
    match mark:
        case Line():
            (x1, y1), (x2, y2) = mark.start, mark.end
            ends = f'x1="{_number(x1)}" y1="{_number(y1)}" x2="{_number(x2)}" y2="{_number(y2)}"'
            return f"<line {ends}{_stroke(mark.width, mark.dash)}{_part(mark.part)}/>"
        case Box():
            place = f'x="{_number(mark.x)}" y="{_number(mark.y)}"'
            size = f'width="{_number(mark.width)}" height="{_number(mark.height)}"'
            return f'<rect {place} {size} fill="{mark.fill}"{_stroke(mark.stroke, mark.dash)}{_part(mark.part)}/>'
        case Shape():
            points = " ".join(f"{_number(x)},{_number(y)}" for x, y in mark.points)
            return f'<polygon points="{points}" fill="{mark.fill}"{_stroke(1.0, "")}{_part(mark.part)}/>'
        case Circle():
            (x, y), radius = mark.centre, _number(mark.radius)
            place = f'cx="{_number(x)}" cy="{_number(y)}" r="{radius}"'
            return f'<circle {place} fill="{mark.fill}"{_stroke(mark.stroke, "")}{_part(mark.part)}/>'
        case Path():
            points = " ".join(f"{_number(x)},{_number(y)}" for x, y in mark.points)
            name = "polygon" if mark.closed else "polyline"
            joined = ' stroke-linejoin="round" stroke-linecap="round"'
            stroke = f"{_stroke(mark.width, mark.dash)}{joined}"
            return f'<{name} points="{points}" fill="{mark.fill}"{stroke}{_part(mark.part)}/>'
        case Words():
            return _words(mark)


def _words(words: Words) -> str:
    weight = ' font-weight="bold"' if words.bold else ""
    anchor = "" if words.anchor == "start" else f' text-anchor="{words.anchor}"'
    fill = "" if words.fill == "black" else f' fill="{words.fill}"'
    place = f'x="{_number(words.x)}" y="{_number(words.y)}" font-size="{_number(words.size)}"'
    return f"<text {place}{weight}{anchor}{fill}{_part(words.part)}>{escaped(words.text)}</text>"


def _stroke(width: float, dash: str) -> str:
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f' stroke="black" stroke-width="{_number(width)}"{dashes}'


def _part(part: str) -> str:
    return f' data-part="{part}"' if part else ""
