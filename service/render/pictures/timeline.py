"""The history of positions as a picture: which bearing ran from when to when, and what ended it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from service.render.pictures.drawing import MARGIN, WIDTH, Box, Drawing, Line, Mark, Shape, Words, text_width

LEFT: Final = MARGIN + 4
RIGHT: Final = WIDTH - MARGIN - 10
BAR: Final = 20.0
ROW: Final = 54.0
SIZE: Final = 11.0
MOST_YEARS: Final = 8


@dataclass(frozen=True, slots=True)
class Bar:
    """One stay: from its fitting to its removal, None while the bearing runs."""

    begin: datetime
    end: datetime | None
    end_type: str
    label: str


@dataclass(frozen=True, slots=True)
class _Scale:
    begin: float
    end: float

    def at(self, moment: datetime) -> float:
        share = (moment.timestamp() - self.begin) / (self.end - self.begin)
        return LEFT + min(max(share, 0.0), 1.0) * (RIGHT - LEFT)


def timeline_drawing(positions: Sequence[tuple[str, Sequence[Bar]]], *, as_of: datetime) -> Drawing:
    """Return the stays of positions along one scale of time, from the first fitting to ``as_of``."""
    drawing = Drawing("Stays of bearings")
    drawing.paragraph(drawing.title, size=15, bold=True)
    bars = [bar for _, of_one in positions for bar in of_one]
    if not bars:
        drawing.paragraph("No stay is on record.")
        drawing.height += MARGIN
        return drawing
    first = min(bar.begin for bar in bars).timestamp()
    last = max([as_of.timestamp(), *(bar.end.timestamp() for bar in bars if bar.end is not None)])
    scale = _Scale(first, max(last, first + 86_400.0))
    drawing.paragraph("X: failed. Dot: damage or another removal is written below. Arrow: running.", size=SIZE)
    drawing.height += 8
    top = drawing.height
    for name, of_one in positions:
        drawing.described.append(f"{name}: {len(of_one)} stays")
        drawing.add(Words(LEFT, drawing.height + SIZE, name, SIZE + 1, bold=True, part="position"))
        in_order = sorted(of_one, key=lambda each: each.begin)
        for part in (_bar, _ended):  # what ends a stay lies over the bar of the next
            drawing.add(*(mark for bar in in_order for mark in part(bar, scale, drawing.height + 18, as_of)))
        drawing.height += ROW
    drawing.add(*_years(scale, top, drawing.height))
    drawing.height += 22 + MARGIN
    return drawing


def _bar(bar: Bar, scale: _Scale, y: float, as_of: datetime) -> Iterator[Mark]:
    begin, end = scale.at(bar.begin), scale.at(bar.end or as_of)
    width = max(end - begin, 2.0)
    yield Box(begin, y, width, BAR, fill="white", stroke=1.3, part=f"stay-{bar.end_type}")
    if text_width(bar.label, SIZE) + 8 <= width:
        yield Words(begin + 5, y + BAR - 6, bar.label, SIZE, part="designation")


def _ended(bar: Bar, scale: _Scale, y: float, as_of: datetime) -> Iterator[Mark]:
    end = scale.at(bar.end or as_of)
    middle = y + BAR / 2
    if bar.end is None:
        yield Shape(((end + 8, middle), (end, middle - 6), (end, middle + 6)), part="running")
    elif bar.end_type == "failed":
        yield Line((end - 6, middle - 7), (end + 6, middle + 7), 2.4, part="failed")
        yield Line((end - 6, middle + 7), (end + 6, middle - 7), 2.4, part="failed")
    else:
        yield Box(end - 2.5, middle - 2.5, 5, 5, fill="black", stroke=0.0, part="removed")


def _years(scale: _Scale, top: float, bottom: float) -> Iterator[Mark]:
    """Yield the beginnings of years, as many as have room; of less than two years, their ends."""
    yield Line((LEFT, bottom), (RIGHT, bottom), 1.0)
    begin, end = (datetime.fromtimestamp(edge, UTC) for edge in (scale.begin, scale.end))
    moments = [datetime(year, 1, 1, tzinfo=UTC) for year in range(begin.year + 1, end.year + 1)]
    moments = moments[:: max(1, -(-len(moments) // MOST_YEARS))]
    words = [f"{moment.year}" for moment in moments]
    if len(moments) < 2:
        moments, words = [begin, end], [f"{begin:%Y-%m-%d}", f"{end:%Y-%m-%d}"]
    for moment, said in zip(moments, words, strict=True):
        x = scale.at(moment)
        yield Line((x, top), (x, bottom + 4), 0.5, "1 3")
        anchored = x - text_width(said, SIZE) if x > RIGHT - 40 else x
        yield Words(max(anchored, LEFT), bottom + 16, said, SIZE, part="year")
