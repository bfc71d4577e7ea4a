"""The text card: on a terminal, in a field of a maintenance system, on any printer."""

from collections.abc import Callable, Iterator
from typing import Any, Final

from service.errors import Text
from service.render.card.card import DEFAULT_LEVEL, FIRST, LEGEND, Card, Plan, card_of
from service.render.card.lines import LINE, Numbers, row_text, rows_text
from service.render.card.plain_text import Bound, Writer, cleaned, unbound, words
from service.render.card.shaft_line import Shaft
from service.render.card.steps import Phase, Step
from service.render.sheets.content import Table
from service.words import Level, UnitSystem

NARROWEST: Final = 40
WIDEST: Final = 132
INDENT: Final = "     "
_UNDER: Final = "    "
_HEADS: Final = {"must not go in": "not in"}
_SHORT_LINE: Final = "____"


def card(
    instructions: Plan,
    *,
    units: UnitSystem,
    width: int = 72,
    ascii: bool = True,
    level: Level = DEFAULT_LEVEL,
    shaft: Shaft | None = None,
) -> str:
    """Return the card of a plan as plain text.

    Parameters
    ----------
    instructions : dict
        The unit-neutral record of ``instructions``; id, revision, created_at, sha256 and the order's ``external``
        {system, number} are printed when present.
    units : str
        ``metric`` or ``inch``: which of the two systems comes first.
    width : int
        Columns, 40 to 132.
    ascii : bool
        Seven-bit characters only.
    level : str
        ``brief``: the numbers and one line a step; ``standard``: the text of each step; ``full``: everything.
    shaft : Shaft or None
        What stands along the shaft; from it the sides are named.

    Raises
    ------
    ValueError
        The width is outside 40 to 132.
    """
    if not NARROWEST <= width <= WIDEST:
        raise ValueError(f"a card is {NARROWEST} to {WIDEST} columns wide, not {width}")
    writer = Writer(units=units, width=width, ascii_only=ascii)
    made = card_of(instructions, units=units, level=level, shaft=shaft)
    return "\n".join(unbound(line for section in _SECTIONS for line in section(writer, made))) + "\n"


def _header(writer: Writer, made: Card) -> Iterator[str]:
    yield writer.ruler("=")
    yield from writer.lines(made.order)
    for said in (made.title, made.machine, made.revision):
        yield from writer.lines(said)
    hold, stop = LEGEND
    yield from writer.lines(f"HOLD = {hold}. STOP = {stop}.")


def _alerts(writer: Writer, made: Card) -> Iterator[str]:
    if made.stops:
        yield from _titled(writer, "STOP: THIS MUST NOT BE DONE LIKE THIS", "#")
    for stop in made.stops:
        where = f"{stop.where}: " if stop.where else ""
        yield from writer.lines((f"{where}{stop.code}: ", *words(stop.detail)), first="# ", rest="# ")
        for row in stop.facts:
            yield from writer.lines((f"{row.label}: ", *words(row.text)), first="#   ", rest="#   ")
        for way in stop.ways:
            yield from writer.lines(way, first="#   way out: ", rest="#   ")
    if made.questions:
        yield from _titled(writer, "ASK FIRST")
    for each in made.questions:
        yield from writer.lines((*words(each.said), f" {_SHORT_LINE}"), first="? ", rest="  ")
        if each.more:
            yield from writer.lines(each.more, first="  ", rest="  ")
    if made.also_open:
        yield from writer.lines(f"Not known either: {made.also_open}", rest="  ")
    for row in made.changed:
        yield from writer.lines((f"Not as last time: {row.label}: ", *words(row.text)), rest="  ")


def _numbers(writer: Writer, made: Card) -> Iterator[str]:
    yield from _titled(writer, "NUMBERS")
    yield from writer.lines("; ".join(f"{name}: {said}" for name, said in made.heads), rest="  ")
    yield from writer.lines(made.foot, rest="  ")
    for line in made.numbers:
        yield from _line(writer, line, made)
    for row in made.shaft:
        yield from writer.lines(row_text(row), first="  ", rest=_UNDER)


def _line(writer: Writer, line: Numbers, made: Card) -> Iterator[str]:
    number = f"{line.number} " if line.number is not None else "  "
    alone = len(line.positions) == 1
    where = "" if set(line.positions) in made.usual else f" ({', '.join(line.positions)})"
    said = rows_text(line.said)
    own = rows_text(line.own[0].rows) if alone and line.own else ()
    head: Text = (f"{line.title}{where}{': ' if said or own else ''}", *said, *(("; ",) if said and own else ()), *own)
    yield from writer.lines(head, first=number, rest=_UNDER)
    if line.table is not None:
        yield from _table(writer, line.table)
    for each in line.own if not alone else ():
        yield from writer.lines((f"{each.position}: ", *rows_text(each.rows)), first="  ", rest=_UNDER)


def _table(writer: Writer, table: Table) -> Iterator[str]:
    for row in table.rows:
        read, *others = (Bound(cell) for cell in row)
        said: list[str] = [read, ":"]
        for head, cell in zip(table.heads[1:], others, strict=True):
            if cell:
                said += [", " if len(said) > 2 else " ", f"{_HEADS.get(head, head)} ", cell]
        yield from writer.lines(tuple(said), first=_UNDER, rest="      ")
    for below in table.below:
        yield from writer.lines(below, first=_UNDER, rest="      ")


def _steps(writer: Writer, made: Card) -> Iterator[str]:
    squares = "[ ]" * len(made.ends)
    ends = f": {squares} {', '.join(made.ends)}" if made.level == "brief" and len(made.ends) > 1 else ""
    yield from _titled(writer, f"STEPS{ends}", "=")
    for phase in made.phases:
        yield from _phase(writer, phase, made.level)
        for step in phase.steps:
            yield from _brief(writer, step, made) if made.level == "brief" else _step(writer, step, made)


def _phase(writer: Writer, phase: Phase, level: Level) -> Iterator[str]:
    """Yield the head of a phase and its cautions; in brief the first of them beside its title."""
    title, cautions = cleaned(phase.title.upper(), ascii_only=writer.ascii_only), list(phase.cautions)
    if level == "brief" and cautions:
        yield from writer.lines(cautions.pop(0), first=f"{title}  ! ", rest="  ")
    else:
        yield from writer.lines(title if level == "brief" else f"-- {title} --")
    for caution in cautions:
        yield from writer.lines(caution, first="! ", rest="  ")


def _brief(writer: Writer, step: Step, made: Card) -> Iterator[str]:
    yield from writer.lines((step.brief, *_marks(step, made)), first=f"{step.number:<4} ", rest=INDENT)


def _marks(step: Step, made: Card) -> Iterator[str]:
    """Yield what is ticked and signed at a step, a blank before each; squares without a name are all ends in order."""
    short = made.level == "brief"
    line = _SHORT_LINE if short else LINE
    if short and len(step.ticks) > 1 and step.ticks == made.ends:
        yield from (" ", Bound("[ ]" * len(step.ticks)))
    else:
        for name in step.ticks or (("",) if not step.signs and not step.stop else ()):
            yield from (" ", Bound(f"[ ] {name}".rstrip()))
    for n, who in enumerate(step.signs):
        named = who if who in step.ticks or not short else ""
        yield from (" ", Bound(" ".join(each for each in (f"HOLD {step.hold}" if n == 0 else "", named, line) if each)))
    if step.stop:
        yield from (" ", Bound(f"approved by {line}"))


def _step(writer: Writer, step: Step, made: Card) -> Iterator[str]:
    level = made.level
    yield ""
    yield from writer.lines((step.title, *_marks(step, made)), first=f"{step.number:<4} ", rest=INDENT)
    yield from writer.lines(step.standard, first=INDENT, rest=INDENT)
    if level == "full" and step.full:
        yield from writer.lines(step.full, first=INDENT, rest=INDENT)
    for position, said in step.by_position:
        yield from writer.lines((f"{position}: ", *words(said)), first=INDENT, rest=f"{INDENT}  ")
    if step.blank is not None and (level == "full" or not step.blank.elsewhere):
        yield from writer.lines(_written(step), first=INDENT, rest=f"{INDENT}  ")
    if level == "full":
        for name, items in (("Tools", step.tools), ("Parts", step.parts)):
            if items:
                yield from writer.lines(_listed(f"{name}: ", items), first=INDENT, rest=INDENT)
        yield from writer.lines(f"({step.id}: {step.cited})", first=INDENT, rest=INDENT)


def _written(step: Step) -> Text:
    """Return the places to write in at a step, and the limits."""
    blank = step.blank
    assert blank is not None
    limits = () if blank.limits is None else (", limits ", *words(blank.limits))
    if blank.elsewhere:
        return (f"{blank.label}: written down above", *limits)
    if blank.unit is None and blank.places != ("",):
        return (f"{blank.label}: ", Bound(f"[ ] {blank.places[0]}"))
    said: list[Any] = [f"Write down {blank.label}"]
    for end in step.ticks or ("",):
        said.append(f"; {end} " if end else ": ")
        for place in blank.places:
            said += [Bound(" ".join(each for each in (place, LINE, blank.unit or "") if each)), " "]
    return (*said[:-1], *limits)


def _behind(writer: Writer, made: Card) -> Iterator[str]:
    for piece in made.behind:
        if piece.kind == "title":
            yield from _titled(writer, writer.words(piece.text).upper())
        elif piece.kind == "phase":
            yield from writer.lines(("-- ", *words(piece.text), " --"))
        else:
            lead = (f"{piece.lead} ",) if piece.lead else ()
            yield from writer.lines((*lead, *words(piece.text)), rest="  ")


def _closing(writer: Writer, made: Card) -> Iterator[str]:
    yield writer.ruler("=")
    yield from writer.lines(FIRST)
    if made.level != "full":
        for said in made.closing:
            yield from writer.lines(said)


def _titled(writer: Writer, title: str, char: str = "-") -> Iterator[str]:
    """Yield a heading, a line drawn to the right of it."""
    *before, last = writer.lines(title)
    yield from (*before, f"{last} {char * (writer.width - len(last) - 1)}".rstrip())


def _listed(lead: str, items: tuple[Text, ...]) -> Text:
    parts: list[Any] = [lead]
    for count, item in enumerate(items):
        parts += ["; " if count else "", *words(item)]
    return tuple(parts)


_SECTIONS: Final[tuple[Callable[[Writer, Card], Iterator[str]], ...]] = (
    _header,
    _alerts,
    _numbers,
    _steps,
    _behind,
    _closing,
)
