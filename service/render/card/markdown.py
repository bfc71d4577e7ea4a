"""The card as markdown (CommonMark): for systems that show descriptions of work orders as rich text."""

import re
from collections.abc import Callable, Iterator
from functools import lru_cache
from typing import Any, Final

from service.render.card.card import DEFAULT_LEVEL, FIRST, LEGEND, Card, Plan, card_of
from service.render.card.lines import LINE, Numbers, row_text, rows_text
from service.render.card.plain_text import BOUND, Writer, words
from service.render.card.shaft_line import Shaft
from service.render.card.steps import Step
from service.render.sheets.content import Table
from service.words import Level, UnitSystem

_SPECIAL: Final = re.compile(r"([\\`*_\[\]<>&|#~!])")
_BLANK: Final = LINE.replace("_", "\\_")
Say = Callable[[Any], str]


def markdown_card(
    plan: Plan,
    *,
    units: UnitSystem,
    address: str | None = None,
    level: Level = DEFAULT_LEVEL,
    shaft: Shaft | None = None,
) -> str:
    """Return the card of a plan as markdown; words of callers are escaped, so that they mark up nothing.

    Parameters
    ----------
    level, shaft
        See ``service.render.card.text.card``
    """
    writer = Writer(units=units, width=1000, ascii_only=False)

    def say(text: Any) -> str:
        return "".join(_escaped(writer.words(part).replace(BOUND, "\u00a0")) for part in words(text))

    made = card_of(plan, units=units, level=level, shaft=shaft)
    lines = [line for section in _SECTIONS for line in section(made, say)]
    lines += ["", f"Address: `{address}`"] if address else []
    return "\n".join(lines) + "\n"


@lru_cache(maxsize=4096)
def _escaped(text: str) -> str:
    return _SPECIAL.sub(r"\\\1", text)


def _head(made: Card, say: Say) -> Iterator[str]:
    yield from (f"# {say(made.title)}", "", f"**{say(made.order)}**  ", f"{say(made.machine)}  ", say(made.revision))
    hold, stop = LEGEND
    yield from ("", f"**HOLD** {hold}. **STOP** {stop}.")


def _alerts(made: Card, say: Say) -> Iterator[str]:
    if made.stops:
        yield from ("", "## STOP: this must not be done like this")
    for stop in made.stops:
        where = f"{say(stop.where)}: " if stop.where else ""
        yield from ("", f"**{where}{say(stop.code)}.** {say(stop.detail)}", "")
        yield from (f"- {say(row.label)}: {say(row.text)}" for row in stop.facts)
        yield from (f"- **Way out:** {say(way)}" for way in stop.ways)
    if made.questions or made.also_open or made.changed:
        yield from ("", "## Ask first", "")
    for each in made.questions:
        yield f"- {say(each.said)} {_BLANK}{f' {say(each.more)}' if each.more else ''}"
    if made.also_open:
        yield f"- Not known either: {say(made.also_open)}"
    yield from (f"- Not as last time: {say(row.label)}: {say(row.text)}" for row in made.changed)


def _numbers(made: Card, say: Say) -> Iterator[str]:
    yield from ("", "## Numbers", "")
    yield from (f"- **{say(name)}:** {say(said)}" for name, said in made.heads)
    yield from ("", say(made.foot), "")
    for line in made.numbers:
        yield from _line(line, made, say)
    yield from (f"- {say(row_text(row))}" for row in made.shaft)


def _line(line: Numbers, made: Card, say: Say) -> Iterator[str]:
    number = f"{line.number} " if line.number is not None else ""
    where = "" if set(line.positions) in made.usual else f" ({say(', '.join(line.positions))})"
    said = rows_text(line.said)
    yield f"- **{number}{say(line.title)}{where}**{f': {say(said)}' if said else ''}"
    if line.table is not None:
        yield from _table(line.table, say)
    for each in line.own:
        yield f"  - {say(each.position)}: {say(rows_text(each.rows))}"


def _table(table: Table, say: Say) -> Iterator[str]:
    for read, *others in table.rows:
        said = ", ".join(f"{head} {say(cell)}" for head, cell in zip(table.heads[1:], others, strict=True) if cell)
        yield f"  - {say(table.heads[0])} {say(read)}: {said}"
    yield from (f"  - {say(below)}" for below in table.below)


def _steps(made: Card, say: Say) -> Iterator[str]:
    yield from ("", "## Steps")
    for phase in made.phases:
        yield from ("", f"### {say(phase.title)}", "")
        yield from (f"- **Caution:** {say(caution)}" for caution in phase.cautions)
        if phase.cautions and made.level == "brief":
            yield ""
        for step in phase.steps:
            if made.level == "brief":
                yield f"- {step.number} {say(step.brief)} {_marks(step, say)}"
            else:
                yield from _step(step, made.level, say)


def _marks(step: Step, say: Say) -> str:
    """Return what is ticked and signed at a step."""
    ticks = [f"☐ {say(name)}" for name in step.ticks]
    if not ticks and not step.signs and not step.stop:
        ticks = ["☐"]
    signs = [f"{say(who)} {_BLANK}".strip() for who in step.signs]
    held = [f"**HOLD {step.hold}** {' '.join(signs)}"] if signs else []
    stop = [f"approved by {_BLANK}"] if step.stop else []
    return " ".join((*ticks, *held, *stop))


def _step(step: Step, level: Level, say: Say) -> Iterator[str]:
    yield from ("", f"**{step.number} {say(step.title)}** {_marks(step, say)}", "")
    full = f" {say(step.full)}" if level == "full" and step.full else ""
    yield from (f"{say(step.standard)}{full}", "")
    yield from (f"- {say(position)}: {say(said)}" for position, said in step.by_position)
    if step.blank is not None and (level == "full" or not step.blank.elsewhere):
        yield f"- {_written(step, say)}"
    if level == "full":
        for name, items in (("Tools", step.tools), ("Parts", step.parts)):
            if items:
                yield f"- {name}: {'; '.join(map(say, items))}"
        yield f"- {say(step.id)}: {say(step.cited)}"


def _written(step: Step, say: Say) -> str:
    blank = step.blank
    assert blank is not None
    limits = f", limits {say(blank.limits)}" if blank.limits else ""
    if blank.elsewhere:
        return f"{say(blank.label)}: written down above{limits}"
    if blank.unit is None and blank.places != ("",):
        return f"{say(blank.label)}: ☐ {say(blank.places[0])}"
    unit = f" {say(blank.unit)}" if blank.unit else ""
    places = ", ".join(f"{say(place)} {_BLANK}{unit}".strip() for place in blank.places)
    ends = [f"{say(end)} {places}" for end in step.ticks] or [places]
    return f"Write down {say(blank.label)}: {'; '.join(ends)}{limits}"


def _behind(made: Card, say: Say) -> Iterator[str]:
    for piece in made.behind:
        if piece.kind == "title":
            yield from ("", f"## {say(piece.text)}", "")
        elif piece.kind == "phase":
            yield from ("", f"### {say(piece.text)}", "")
        else:
            lead = "☐ " if piece.lead == "[  ]" else f"{say(piece.lead)} " if piece.lead else ""
            yield f"- {lead}{say(piece.text)}"
    yield from ("", FIRST)
    if made.level != "full":
        yield from ("", say(", ".join(made.closing)))


_SECTIONS: Final[tuple[Callable[[Card, Say], Iterator[str]], ...]] = (_head, _alerts, _numbers, _steps, _behind)
