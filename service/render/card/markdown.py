"""The card as markdown (CommonMark): for systems that show descriptions of work orders as rich text."""

import re
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from typing import Any, Final

from service.errors import Text
from service.render.card.card import CONTRADICTION, Block, Card, Plan, Row, Step, card_of, words
from service.render.card.plain_text import BOUND, Writer
from service.words import UnitSystem

_SPECIAL: Final = re.compile(r"([\\`*_\[\]<>&|#~!])")
_BLANK: Final = "\\_\\_\\_\\_\\_\\_\\_\\_"
Say = Callable[[Any], str]


def markdown_card(plan: Plan, *, units: UnitSystem, address: str | None = None) -> str:
    """Return the card of a plan as markdown; words of callers are escaped, so that they mark up nothing."""
    writer = Writer(units=units, width=1000, ascii_only=False)

    def say(text: Text) -> str:
        return "".join(_escaped(writer.words(part).replace(BOUND, "\u00a0")) for part in words(text))

    card = card_of(plan, units=units)
    lines = [line for section in _SECTIONS for line in section(card, say)]
    lines += ["", f"Address: `{address}`"] if address else []
    return "\n".join(lines) + "\n"


@lru_cache(maxsize=4096)
def _escaped(text: str) -> str:
    return _SPECIAL.sub(r"\\\1", text)


def _head(card: Card, say: Say) -> Iterator[str]:
    yield from (f"# {say(card.title)}", "", f"**{say(card.order)}**  ", f"{say(card.machine)}  ", say(card.revision))
    yield from ("", "**HOLD** go on only when it is signed. **STOP** must not be done like this.", "", "## Caution", "")
    yield from (f"- {say(caution)}" for caution in card.cautions)


def _alerts(card: Card, say: Say) -> Iterator[str]:
    if card.stops:
        yield from ("", "## STOP: this must not be done like this")
    for stop in card.stops:
        where = f"{say(stop.where)}: " if stop.where else ""
        yield from ("", f"**{where}{say(stop.code)}.** {say(stop.detail)}", "")
        yield from _rows(stop.facts, say)
        yield from (f"- **Way out:** {say(way)}" for way in stop.ways)
    if card.unknowns:
        yield from ("", "## Not known: ask or measure", "")
    for unknown in card.unknowns:
        where = f"{say(unknown.where)}: " if unknown.where else ""
        yield f"- **{where}{say(unknown.name)}.** Why: {say(unknown.why)}. How: {say(unknown.how)}."


def _bearings(card: Card, say: Say) -> Iterator[str]:
    yield from ("", "## Bearings")
    for strip in card.strips:
        yield from ("", f"### Bearing {say(strip.position)}", "", say(strip.bearing), "")
        for number in strip.numbers:
            value = f"row 1 {_BLANK}, row 2 {_BLANK}" if number.text is None else f"**{say(number.text)}**"
            notes = "; ".join(f"{say(note.label)} {say(note.text)}" for note in number.notes)
            yield f"- {say(number.label)}: {value}{f' ({notes})' if notes else ''}"
        yield from _rows(strip.rows, say)


def _shaft(card: Card, say: Say) -> Iterator[str]:
    if card.supports:
        yield from ("", "## Locating and free")
    if card.contradiction:
        yield from ("", f"**{CONTRADICTION}**")
    yield from _blocks(card.supports, "", say)
    yield from ("", "## Bolts")
    yield from _blocks(card.cap_bolts, "Cap bolts ", say)
    yield from _blocks(card.base_bolts, "Base bolts ", say)


def _blocks(blocks: Iterable[Block], lead: str, say: Say) -> Iterator[str]:
    for block in blocks:
        yield from ("", f"### {lead}{say(block.title)}", "")
        yield from _rows(block.rows, say)


def _rows(rows: Iterable[Row], say: Say) -> Iterator[str]:
    return (f"- {say(row.label)}: {say(row.text)}" for row in rows)


def _steps(card: Card, say: Say) -> Iterator[str]:
    yield from ("", "## Steps")
    for phase, steps in card.phases:
        yield from ("", f"### {say(phase.capitalize())}")
        for step in steps:
            yield from _step(step, say)


def _step(step: Step, say: Say) -> Iterator[str]:
    mark = "HOLD " if step.hold and not step.stop else ""
    yield from ("", f"**{step.number} ☐ {mark}{say(step.heading)}**", "")
    yield from (f"- **Caution:** {say(caution)}" for caution in step.cautions)
    yield from ("", say(step.text), "")
    for name, items in (("Tools", step.tools), ("Parts", step.parts)):
        if items:
            yield f"- {name}: {'; '.join(map(say, items))}"
    if step.blank is not None:
        yield f"- {_blank(step, say)}"
    if step.hold:
        yield f"- Signed {_BLANK} time {_BLANK}"
    yield f"- {say(step.id)}: {say(step.cited)}"


def _blank(step: Step, say: Say) -> str:
    blank = step.blank
    if blank is None or blank.kind == "confirmation":
        return "☐ confirmation: done"
    unit = f" {say(blank.unit)}" if blank.unit else ""
    places = ", ".join(f"{place} {_BLANK}{unit}".strip() for place in blank.places)
    return f"Write down {say(blank.label)}: {places}{f'; {say(blank.limits)}' if blank.limits else ''}"


def _ends(card: Card, say: Say) -> Iterator[str]:
    for title, items in (("Parts", card.parts), ("Tools", card.tools)):
        yield from ("", f"## {title}", "")
        yield from (f"- ☐ {say(item)}" for item in items)
    for title, rows in (("Also read", card.warnings), ("Figures behind this card", card.annex)):
        if rows:
            yield from ("", f"## {title}", "")
            yield from _rows(rows, say)
    yield from ("", "## Sources", "")
    yield from _rows(card.sources, say)
    yield from ("", "## This card", "")
    yield from _rows(card.marks, say)


_SECTIONS: Final[tuple[Callable[[Card, Say], Iterator[str]], ...]] = (_head, _alerts, _bearings, _shaft, _steps, _ends)
