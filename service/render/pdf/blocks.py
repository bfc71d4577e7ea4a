"""The content of a card as blocks on sheets of paper: cautions first, sources last, places to write in."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from service.render.card.card import CONTRADICTION, Blank, Block, Card, Row, Step, Stop, Strip, words
from service.render.card.plain_text import BOUND, Writer
from service.render.card.shaft_line import Shaft, line_of
from service.render.pdf.sheet import Band, Measure, Run, Sheets, beside, moved, pictured, text_bands
from service.render.pdf.sheet import Block as Placed
from service.render.pictures.drawing import Box, Line, Mark, Words
from service.render.pictures.window import window_drawing
from service.render.present import UnitSystem

BODY: Final = 9.2
SMALL: Final = 7.4
HAND: Final = 15.0  # height of a line that is written on by hand
PICTURE: Final = 180.0
_GAP: Final = Band(4.0)


@dataclass(frozen=True, slots=True)
class Paper:
    """How words get onto paper: the unit system, the width of a text, the letters that the fonts know."""

    units: UnitSystem
    measure: Measure
    latin: Callable[[str], str]

    def said(self, text: Any) -> str:
        """Return a text, each number bound to its unit."""
        writer = Writer(units=self.units, width=1000, ascii_only=False)
        return self.latin("".join(writer.words(part) for part in words(text)).replace(BOUND, "\u00a0"))

    def bands(self, runs: Sequence[Run], *, left: float, right: float, size: float = BODY, **more: Any) -> list[Band]:
        """Return runs of words as lines."""
        return text_bands(runs, measure=self.measure, left=left, right=right, size=size, **more)


def filled(
    sheets: Sheets, card: Card, paper: Paper, *, shaft: Shaft | None, address: str | None, code: Band | None
) -> None:
    """Fill the sheets with a card."""
    _head(sheets, card, paper, code)
    _alerts(sheets, card, paper)
    _title(sheets, paper, "Bearings")
    for strip in card.strips:
        _bearing(sheets, strip, paper)
    _shaft_line(sheets, card, paper, shaft)
    _title(sheets, paper, "Bolts")
    _blocks(sheets, card.cap_bolts, "Cap bolts ", paper)
    _blocks(sheets, card.base_bolts, "Base bolts ", paper)
    _title(sheets, paper, "Steps")
    for phase, steps in card.phases:
        for n, step in enumerate(steps):
            _step(sheets, step, paper, phase if n == 0 else "")
    _ends(sheets, card, paper, address)


def _head(sheets: Sheets, card: Card, paper: Paper, code: Band | None) -> None:
    right = sheets.column - (code.height + 8 if code else 0)
    bands = paper.bands([(paper.said(card.order), True)], left=0, right=right)
    bands += paper.bands([(paper.said(card.title), True)], left=0, right=right, size=19)
    bands += paper.bands([(paper.said(card.machine), False)], left=0, right=right, size=12)
    bands += paper.bands([(paper.said(card.revision), False)], left=0, right=right)
    legend: list[Run] = [("HOLD", True), (" go on only when it is signed. ", False)]
    legend += [("STOP", True), (" must not be done like this.", False)]
    bands += paper.bands(legend, left=0, right=right)
    if code is not None:
        marks = tuple(moved(mark, sheets.column - code.height, 0.0) for mark in code.marks)
        bands = [_stacked(bands, code.height, marks)]
    sheets.put(Placed(bands))
    cautions = [_GAP, *paper.bands([("Caution", True)], left=8, right=sheets.column - 8, size=13)]
    for caution in card.cautions:
        cautions += _noted(paper, "!", [(paper.said(caution), True)], 8, sheets.column - 8)
    sheets.put(Placed([*cautions, _GAP], frame="thick", before=6))


def _stacked(bands: Sequence[Band], least: float, marks: tuple[Mark, ...]) -> Band:
    """Return bands as one of at least a height, with further marks."""
    y, own = 0.0, list(marks)
    for band in bands:
        own += [moved(mark, 0.0, y) for mark in band.marks]
        y += band.height
    return Band(max(y, least), tuple(own))


def _alerts(sheets: Sheets, card: Card, paper: Paper) -> None:
    for stop in card.stops:
        sheets.put(Placed(_stop(stop, paper, sheets.column), frame="double", before=8))
    if card.unknowns:
        _title(sheets, paper, "Not known: ask or measure")
    for unknown in card.unknowns:
        where = f"{paper.said(unknown.where)}: " if unknown.where else ""
        said = f" Why: {paper.said(unknown.why)}. How: {paper.said(unknown.how)}."
        runs: list[Run] = [(f"{where}{paper.said(unknown.name)}.", True), (said, False)]
        sheets.put(Placed(_noted(paper, "?", runs, 0, sheets.column), before=2))


def _stop(stop: Stop, paper: Paper, column: float) -> list[Band]:
    where = f"{paper.said(stop.where)}: " if stop.where else ""
    bands = [_GAP, _shouted("STOP: this must not be done like this", column), _GAP]
    lead: list[Run] = [(f"{where}{paper.said(stop.code)}. ", True), (paper.said(stop.detail), False)]
    bands += paper.bands(lead, left=10, right=column - 10)
    bands += _rows(stop.facts, paper, 10, column - 10)
    for way in stop.ways:
        bands += paper.bands([("Way out: ", True), (paper.said(way), False)], left=10, right=column - 10, hanging=12)
    return [*bands, Band(6.0)]


def _shouted(text: str, column: float) -> Band:
    box = Box(6, 0, column - 12, 19, fill="black", stroke=0.0)
    return Band(21.0, (box, Words(12, 14, text, 12.5, bold=True, fill="white")))


def _noted(paper: Paper, sign: str, runs: Sequence[Run], left: float, right: float) -> list[Band]:
    """Return a text behind a sign."""
    mark = Words(left + 2, BODY, sign, BODY, bold=True)
    return paper.bands(runs, left=left + 14, right=right, marks=(mark,))


def _title(sheets: Sheets, paper: Paper, title: str) -> None:
    (band,) = paper.bands([(title, True)], left=0, right=sheets.column, size=13)
    under = Line((0, band.height + 1), (sheets.column, band.height + 1), 1.2)
    sheets.put(Placed([Band(band.height + 5, (*band.marks, under))], before=11), with_next=130)


def _bearing(sheets: Sheets, strip: Strip, paper: Paper) -> None:
    head = paper.bands([(f"Bearing {paper.said(strip.position)}", True)], left=0, right=sheets.column, size=11)
    head += paper.bands([(paper.said(strip.bearing), False)], left=0, right=sheets.column)
    right = sheets.column - PICTURE - 12
    bands: list[Band] = []
    for number in strip.numbers:
        own = paper.bands([(paper.said(number.label), True)], left=8, right=right - 8)
        if number.text is None:
            own.append(_write_in([("row 1", ""), ("row 2", "")], 8, 11.0, paper))
        else:
            size = 11.0 if isinstance(number.text, str) else 14.5
            own += paper.bands([(paper.said(number.text), True)], left=8, right=right - 8, size=size)
        for note in number.notes:
            said = f"{paper.said(note.label)} {paper.said(note.text)}"
            own += paper.bands([(said, False)], left=8, right=right - 8)
        whole = _stacked([_GAP, *own, _GAP], 0.0, ())
        frame = Box(0, 0, right, whole.height, stroke=2.2 if number.loud else 0.7)
        bands += [Band(whole.height, (*whole.marks, frame)), _GAP]
    picture = window_drawing(strip.target, units=paper.units)
    both = beside(bands, picture, x=sheets.column - PICTURE, width=PICTURE)
    rows = _rows(strip.rows, paper, 0, sheets.column)
    sheets.put(Placed([*head, _GAP, both, *rows], before=6))


def _rows(rows: Iterable[Row], paper: Paper, left: float, right: float) -> list[Band]:
    bands: list[Band] = []
    for row in rows:
        label = [(paper.said(row.label), False)]
        names = paper.bands(label, left=left, right=left + 100)
        texts = paper.bands([(paper.said(row.text), False)], left=left + 108, right=right)
        bands.append(_stacked(texts, 0.0, _stacked(names, 0.0, ()).marks))
        if len(names) > len(texts):
            bands[-1] = Band(_stacked(names, 0.0, ()).height, bands[-1].marks)
    return bands


def _shaft_line(sheets: Sheets, card: Card, paper: Paper, shaft: Shaft | None) -> None:
    if not card.supports:
        return
    _title(sheets, paper, "Locating and free")
    if card.contradiction:
        sheets.put(Placed([_GAP, _shouted(CONTRADICTION, sheets.column), _GAP], frame="double"))
    _blocks(sheets, card.supports, "", paper)
    line = line_of(card, shaft, paper.units)
    if line is not None:
        width = min(300.0, (sheets.height - 120) * 440.0 / line.height)
        sheets.put(Placed([pictured(line, x=(sheets.column - width) / 2, width=width)], before=4))


def _blocks(sheets: Sheets, blocks: Iterable[Block], lead: str, paper: Paper) -> None:
    for block in blocks:
        head = paper.bands([(f"{lead}{paper.said(block.title)}", True)], left=0, right=sheets.column, size=10.5)
        sheets.put(Placed([*head, *_rows(block.rows, paper, 0, sheets.column)], before=5))


def _step(sheets: Sheets, step: Step, paper: Paper, phase: str) -> None:
    left, right = (12.0, sheets.column - 2) if step.hold else (0.0, sheets.column)
    if step.stop:
        left, right = 10.0, sheets.column - 10
    mark = "HOLD " if step.hold and not step.stop else ""
    tick = Box(left, 1.2, 9.5, 9.5, stroke=1.2)
    heading: list[Run] = [(f"{step.number}  {mark}{paper.said(step.heading)}", True)]
    bands = [Band(3.0), *paper.bands(heading, left=left + 16, right=right, size=10.5, marks=(tick,))]
    for caution in step.cautions:
        bands += _noted(paper, "!", [(paper.said(caution), True)], left, right)
    bands += paper.bands([(paper.said(step.text), False)], left=left, right=right)
    for name, items in (("Tools: ", step.tools), ("Parts: ", step.parts)):
        if items:
            said = "; ".join(paper.said(item) for item in items)
            bands += paper.bands([(name, True), (said, False)], left=left, right=right, size=8.4)
    if step.blank is not None:
        bands += _blank(step.blank, paper, left, right)
    if step.hold:
        bands.append(_write_in([("Signed", ""), ("time", "")], left, 110.0, paper))
    cited = f"{step.id}: {paper.said(step.cited)}"
    bands += [*paper.bands([(cited, False)], left=left, right=right, size=SMALL), Band(3.0)]
    if phase:
        _phase(sheets, paper, phase, sum(band.height for band in bands))
    frame = "double" if step.stop else "bar" if step.hold else ""
    sheets.put(Placed([_ruled(bands[0], sheets.column, step.stop), *bands[1:]], frame=frame, before=2))


def _ruled(band: Band, column: float, framed: bool) -> Band:
    return band if framed else Band(band.height, (*band.marks, Line((0, 0), (column, 0), 0.5)))


def _phase(sheets: Sheets, paper: Paper, phase: str, next_height: float) -> None:
    named = paper.bands([(paper.said(phase.capitalize()), True)], left=0, right=sheets.column, size=11)
    sheets.put(Placed(named, before=7), with_next=next_height + 4)


def _blank(blank: Blank, paper: Paper, left: float, right: float) -> list[Band]:
    if blank.kind == "confirmation":
        tick = Box(left, 2.5, 8.5, 8.5, stroke=1.0)
        return paper.bands([("confirmation: done", False)], left=left + 14, right=right, marks=(tick,))
    places = [(place, blank.unit or "") for place in blank.places]
    places[0] = (f"Write down {paper.said(blank.label)}: {places[0][0]}".strip(), places[0][1])
    limits = paper.bands([(paper.said(blank.limits), True)], left=left, right=right) if blank.limits else []
    return [_write_in(places, left, 80.0, paper), *limits]


def _write_in(places: Sequence[tuple[str, str]], left: float, width: float, paper: Paper) -> Band:
    """Return a line to write on by hand: for each place its name, the line, the unit."""
    width = max(width, 60.0)
    marks: list[Mark] = []
    x = left
    for name, unit in places:
        if name:
            marks.append(Words(x, HAND, name, BODY))
            x += paper.measure(name, BODY, False) + 5
        marks.append(Line((x, HAND + 2), (x + width, HAND + 2), 0.9))
        x += width + 4
        if unit:
            marks.append(Words(x, HAND, unit, BODY))
            x += paper.measure(unit, BODY, False)
        x += 16
    return Band(HAND + 6, tuple(marks))


def _ends(sheets: Sheets, card: Card, paper: Paper, address: str | None) -> None:
    for title, items in (("Parts", card.parts), ("Tools", card.tools)):
        _title(sheets, paper, title)
        for item in items:
            tick = Box(0, 1.0, 8.5, 8.5, stroke=1.0)
            said: list[Run] = [(paper.said(item), False)]
            sheets.put(Placed(paper.bands(said, left=15, right=sheets.column, marks=(tick,)), before=1))
    for title, rows in (
        ("Also read", card.warnings),
        ("Figures behind this card", card.annex),
        ("Sources", card.sources),
        ("This card", (*card.marks, *([Row("address", address)] if address else []))),
    ):
        if rows:
            _title(sheets, paper, title)
        for row in rows:
            runs: list[Run] = [(f"{paper.said(row.label)}: ", True), (paper.said(row.text), False)]
            sheets.put(Placed(paper.bands(runs, left=0, right=sheets.column, size=8.2, hanging=12), before=1))
