"""Pictures of the desk: SVG as wide as the screen, with text of one size, values on hover, and no script.

Places along the width are percentages, heights are pixels: a browser stretches the plot and not its letters. Colours
come from the style of the page, so that light, dark and paper have their own. A plotting library would bring scripts
(those that draw in the browser), styles of its own inside the picture (which the policy of the pages refuses), or a
picture of one width; what is needed here are lines, dots and bars.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import pairwise
from typing import Final

from markupsafe import Markup

from service.render.pictures.plots import Axis, linear_ticks, log_ticks, shown
from service.render.pictures.svg import escaped

Point = tuple[float, float]
ROW: Final = 46
BAR: Final = 18
FROM_TOP: Final = 20
YEAR_S: Final = 365.25 * 86_400


def percent_axis(low: float, high: float, transform: object = None) -> Axis:
    """Return the axis along the width."""
    high = high if high > low else low + 1.0
    return Axis(low, high, 0.0, 100.0) if transform is None else Axis(low, high, 0.0, 100.0, transform)  # type: ignore[arg-type]


def upright_axis(low: float, high: float, height: float, transform: object = None) -> Axis:
    """Return the axis along the height, the low end at the bottom."""
    high = high if high > low else low + 1.0
    return Axis(low, high, height, 0.0) if transform is None else Axis(low, high, height, 0.0, transform)  # type: ignore[arg-type]


@dataclass
class Plot:
    """A plot that is being drawn: ``marks`` in the order in which they lie over each other."""

    label: str
    x: Axis
    y: Axis
    height: float
    marks: list[str] = field(default_factory=list)

    def frame(
        self,
        x_ticks: Sequence[tuple[float, str]],
        y_ticks: Sequence[tuple[float, str]],
        x_label: str,
        y_label: str,
    ) -> None:
        """Draw ticks with their words, and lines across at each."""
        for value, words in y_ticks:
            at = _number(self.y.at(value))
            self.marks.append(f'<line class="grid" x1="0" x2="100%" y1="{at}" y2="{at}"/>')
            self.marks.append(f'<text class="tick" x="-8" y="{at}" dy="4" text-anchor="end">{escaped(words)}</text>')
        for value, words in x_ticks:
            at = _number(self.x.at(value))
            ends = f'y1="{_number(self.height)}" y2="{_number(self.height + 5)}"'
            self.marks.append(f'<line class="axis" x1="{at}%" x2="{at}%" {ends}/>')
            place = f'x="{at}%" y="{_number(self.height + 20)}" text-anchor="middle"'
            self.marks.append(f'<text class="tick" {place}>{escaped(words)}</text>')
        bottom = _number(self.height)
        self.marks.append(f'<line class="axis" x1="0" x2="100%" y1="{bottom}" y2="{bottom}"/>')
        self.marks.append(f'<line class="axis" x1="0" x2="0" y1="0" y2="{bottom}"/>')
        place = f'x="50%" y="{_number(self.height + 38)}" text-anchor="middle"'
        self.marks.append(f'<text class="tick" {place}>{escaped(x_label)}</text>')
        self.marks.append(f'<text class="tick" x="-8" y="-10">{escaped(y_label)}</text>')

    def line(self, points: Sequence[Point], kind: str = "series", said: str = "") -> None:
        """Draw a line through points, those parts of it that lie inside."""
        parts = [
            self._segment(begin, end)
            for begin, end in pairwise(points)
            if all(self.x.holds(x) and self.y.holds(y) for x, y in (begin, end))
        ]
        self.marks.append(f'<g class="{kind}">{_title(said)}{"".join(parts)}</g>')

    def steps(self, points: Sequence[Point], *, start: float, end: float, kind: str = "series") -> None:
        """Draw a line that is level between points and jumps at them."""
        corners: list[Point] = [(self.x.low, start)]
        for at, value in points:
            corners += [(at, corners[-1][1]), (at, value)]
        self.line([*corners, (end, corners[-1][1])], kind)

    def dot(self, at: Point, said: str, kind: str = "dot", radius: float = 4.0) -> None:
        """Draw a dot that says its values."""
        x, y = _number(self.x.at(at[0])), _number(self.y.at(at[1]))
        self.marks.append(f'<circle class="{kind}" cx="{x}%" cy="{y}" r="{_number(radius)}">{_title(said)}</circle>')

    def cross(self, at: Point, said: str, kind: str = "cross") -> None:
        """Draw a cross that says its values."""
        x, y = _number(self.x.at(at[0])), _number(self.y.at(at[1]) + 6)
        self.marks.append(f'<text class="{kind}" x="{x}%" y="{y}" text-anchor="middle">×{_title(said)}</text>')

    def upright(self, x: float, low: float, high: float, said: str, kind: str = "range") -> None:
        """Draw a line from a low to a high value at one place."""
        at = _number(self.x.at(x))
        ends = f'y1="{_number(self.y.at(low))}" y2="{_number(self.y.at(high))}"'
        self.marks.append(f'<line class="{kind}" x1="{at}%" x2="{at}%" {ends}>{_title(said)}</line>')

    def level(self, y: float, low: float, high: float, said: str, kind: str = "range") -> None:
        """Draw a line from a low to a high value at one height."""
        at = _number(self.y.at(y))
        ends = f'x1="{_number(self.x.at(low))}%" x2="{_number(self.x.at(high))}%"'
        self.marks.append(f'<line class="{kind}" {ends} y1="{at}" y2="{at}">{_title(said)}</line>')

    def words(self, at: Point, text: str, kind: str = "tick", dy: float = 0.0) -> None:
        """Write words that begin at a place."""
        x, y = _number(self.x.at(at[0])), _number(self.y.at(at[1]) + dy)
        self.marks.append(f'<text class="{kind}" x="{x}%" y="{y}">{escaped(text)}</text>')

    def svg(self) -> Markup:
        """Return the picture."""
        height = _number(self.height)
        head = f'<svg class="plot" role="img" aria-label="{escaped(self.label)}" height="{height}">'
        return Markup(f"{head}{''.join(self.marks)}</svg>")  # every text in it is escaped

    def _segment(self, begin: Point, end: Point) -> str:
        (x1, y1), (x2, y2) = begin, end
        across = f'x1="{_number(self.x.at(x1))}%" x2="{_number(self.x.at(x2))}%"'
        return f'<line {across} y1="{_number(self.y.at(y1))}" y2="{_number(self.y.at(y2))}"/>'


@dataclass(frozen=True, slots=True)
class Bar:
    """One stay on the line of its position: from its fitting to its removal, None while it runs."""

    begin: datetime
    end: datetime | None
    end_type: str
    label: str
    said: str


def time_line(positions: Sequence[tuple[str, Sequence[Bar]]], *, as_of: datetime) -> Markup:
    """Return the stays of positions along one scale of time."""
    bars = [bar for _, of_one in positions for bar in of_one]
    if not bars:
        return Markup("")
    last = max([as_of, *(bar.end for bar in bars if bar.end is not None)]).timestamp()
    x = percent_axis(min(bar.begin for bar in bars).timestamp(), last)
    height = ROW * len(positions)
    plot = Plot(
        "Which bearing ran where, from when to when; the table has the same in words", x, Axis(0, 1, height, 0), height
    )
    for value, words in year_ticks(x.low, x.high):
        at = _number(x.at(value))
        plot.marks.append(f'<line class="grid" x1="{at}%" x2="{at}%" y1="0" y2="{height}"/>')
        plot.marks.append(f'<text class="tick" x="{at}%" y="{height + 18}" text-anchor="middle">{words}</text>')
    for number, (name, of_one) in enumerate(positions):
        top = ROW * number
        plot.marks.append(f'<text class="name" x="0" y="{top + 14}">{escaped(name)}</text>')
        for bar in sorted(of_one, key=lambda one: one.begin):
            plot.marks.append(_bar(bar, x, top + FROM_TOP, as_of))
    return plot.svg()


def _bar(bar: Bar, x: Axis, top: float, as_of: datetime) -> str:
    begin, end = x.at(bar.begin.timestamp()), x.at((bar.end or as_of).timestamp())
    kind = {"running": "running", "failed": "failed"}.get(bar.end_type, "removed")
    place = f'x="{_number(begin)}%" y="{top}" width="{_number(max(end - begin, 0.2))}%" height="{BAR}"'
    mark = {"running": "▸", "failed": "×", "removed": "•"}[kind]
    ending = f'<text class="end {kind}" x="{_number(end)}%" y="{top + BAR - 3}" text-anchor="middle">{mark}</text>'
    return f'<g>{_title(bar.said)}<rect class="bar {kind}" {place}/>{ending}</g>'


def year_ticks(begin_s: float, end_s: float, most: int = 7) -> list[tuple[float, str]]:
    """Return the beginnings of years between two times, at most so many; of a short time its ends."""
    first, last = (datetime.fromtimestamp(edge, UTC) for edge in (begin_s, end_s))
    years = list(range(first.year + 1, last.year + 1))
    years = years[:: max(1, -(-len(years) // most))]
    if len(years) < 2:
        return [(begin_s, f"{first:%Y-%m-%d}"), (end_s, f"{last:%Y-%m-%d}")]
    return [(datetime(year, 1, 1, tzinfo=UTC).timestamp(), str(year)) for year in years]


def number_ticks(low: float, high: float, most: int = 6) -> list[tuple[float, str]]:
    """Return round values between two values."""
    return [(value, f"{value:,.10g}") for value in linear_ticks(low, high, most)]


def ratio_ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Return round values on a scale of ratios."""
    return [(value, shown(value)) for value in log_ticks(low, high, 7)]


def _title(said: str) -> str:
    return f"<title>{escaped(said)}</title>" if said else ""


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") if abs(value) >= 0.005 else "0"


def listed(parts: Iterable[str | None]) -> str:
    """Return what is known, commas between."""
    return ", ".join(part for part in parts if part)
