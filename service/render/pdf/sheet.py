"""Marks moved from where they were drawn to where they stand on paper.

Lengths are in points (1/72 in), y runs down from the top of the page.
"""

from dataclasses import dataclass

from service.render.pictures.drawing import Box, Circle, Line, Mark, Path, Shape, Words


@dataclass(frozen=True, slots=True)
class Band:
    """A strip across the column that is never divided: its height and its marks, y from its top, x from the left."""

    height: float
    marks: tuple[Mark, ...] = ()


def moved(mark: Mark, dx: float, dy: float, scale: float = 1.0) -> Mark:
    """Return a mark scaled and then moved."""

    def at(point: tuple[float, float]) -> tuple[float, float]:
        return point[0] * scale + dx, point[1] * scale + dy

    match mark:
        case Line():
            return Line(at(mark.start), at(mark.end), mark.width * scale, _dashed(mark.dash, scale))
        case Box():
            x, y = at((mark.x, mark.y))
            width, height = mark.width * scale, mark.height * scale
            return Box(x, y, width, height, mark.fill, mark.stroke * scale, _dashed(mark.dash, scale))
        case Shape():
            return Shape(tuple(at(point) for point in mark.points), mark.fill)
        case Circle():
            return Circle(at(mark.centre), mark.radius * scale, mark.fill, mark.stroke * scale)
        case Path():
            points = tuple(at(point) for point in mark.points)
            return Path(points, mark.width * scale, mark.fill, mark.closed, _dashed(mark.dash, scale))
        case Words():
            x, y = at((mark.x, mark.y))
            return Words(x, y, mark.text, mark.size * scale, mark.bold, mark.anchor, mark.fill)


def _dashed(dash: str, scale: float) -> str:
    if not dash or scale == 1.0:
        return dash
    return " ".join(f"{float(part) * scale:.2f}" for part in dash.replace(",", " ").split())
