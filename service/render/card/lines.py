"""The numbers of a card: the lines of sheet 1, what is equal for both ends once, what is written at each below it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from service.render.card.plain_text import Bound
from service.render.sheets.content import Choice, Column, Label, Numbered, Part, Rows, Rule, Table, Value
from service.render.sheets.figures import Blank
from service.render.sheets.numbers import columns
from service.render.sheets.scene import Plan

LINE: Final = "________"
_WRITTEN: Final = (Blank, Choice, Rule)
_LEAVE: Final = 4
"""The place of the line that says what is left."""


@dataclass(frozen=True, slots=True)
class Own:
    """What is written, or said, at one position."""

    position: str
    rows: Rows


@dataclass(frozen=True, slots=True)
class Numbers:
    """One line of numbers; ``said`` for all of ``positions``, ``own`` for each of them."""

    number: int | None
    title: str
    positions: tuple[str, ...]
    said: Rows
    table: Table | None
    own: tuple[Own, ...]


def number_lines(plan: Plan, *, short: bool) -> tuple[Numbers, ...]:
    """Return the lines of all bearings in the order in which they are used.

    Parameters
    ----------
    short : bool
        Leave out the sum where the table of blades says it for every pair of rows, [-]
    """
    found = [_short(plan, each) if short else each for each in columns(plan)]
    places = sorted({line.place for column in found for line in column.lines})
    return tuple(line for place in places for line in _at(place, found))


def usual_ends(plan: Plan) -> tuple[frozenset[str], ...]:
    """Return the ends that a line is about without naming them: all, or those that are worked on."""
    return frozenset(plan.supports), frozenset(plan.worked)


def heads(plan: Plan) -> tuple[tuple[str, str], ...]:
    """Return each position with what it is: held or free, its bearing."""
    return tuple(
        (column.position, ", ".join(each for each in (column.role, column.bearing, _stays(column)) if each))
        for column in columns(plan)
    )


def _short(plan: Plan, column: Column) -> Column:
    """Return a column without the sum that its table of blades makes."""
    table = (plan.targets.get(column.position) or {}).get("blade_table")
    shown = any(line.table is not None for line in column.lines)
    if not shown or table is None or not table["every_pair"]:
        return column
    lines = tuple(replace(each, rows=()) if each.place == _LEAVE else each for each in column.lines)
    return replace(column, lines=lines)


def _stays(column: Column) -> str:
    return "" if column.worked else "stays"


def _at(place: int, found: Sequence[Column]) -> Iterator[Numbers]:
    """Yield the lines at one place, equal ones together."""
    together: dict[Numbered, list[str]] = {}
    for column in found:
        for line in column.lines:
            if line.place == place:
                together.setdefault(line, []).append(column.position)
    for line, names in together.items():
        rows = [row for row in (line.beside, *line.rows) if row]
        parted = [_parted(row) if len(names) > 1 else ((), row) if _is_written(row) else (row, ()) for row in rows]
        said = tuple(shared for shared, _ in parted if shared)
        written = tuple(own for _, own in parted if own)
        own = tuple(Own(name, written) for name in names) if written else ()
        yield Numbers(line.number, line.title.rstrip(":"), tuple(names), said, line.table, own)


def _parted(row: tuple[Part, ...]) -> tuple[tuple[Part, ...], tuple[Part, ...]]:
    """Return what a row says for all ends, and from its first place to write in on what each end fills in.

    A place without a label is called as its row begins.
    """
    first = next((n for n, part in enumerate(row) if isinstance(part, _WRITTEN)), len(row))
    if first == len(row):
        return row, ()
    part = row[first]
    values = [n for n in range(first) if isinstance(row[n], Value)]
    named = row[0].text.partition(",")[0] if isinstance(row[0], Label) else ""
    if not isinstance(part, Blank):
        return row[:first], row[first:]
    if part.label:
        labelled = f"{named} {part.label}" if values and named else part.label
        return row[:first], (replace(part, label=labelled), *row[first + 1 :])
    if not values or not isinstance(row[0], Label):
        return (), row
    return row[:first], (replace(part, label=named), *row[first + 1 :])


def _is_written(row: Sequence[Part]) -> bool:
    return any(isinstance(part, _WRITTEN) for part in row)


def row_parts(row: Sequence[Part]) -> Iterator[tuple[str, Part]]:
    """Yield each part of a row with what stands before it in a sentence."""
    before: Part | None = None
    for part in row:
        yield _between(before, part), part
        before = part


def _between(before: Part | None, part: Part) -> str:
    if before is None:
        return ""
    if isinstance(part, Value) and part.text.endswith("="):
        return " "
    if isinstance(before, Rule) and isinstance(part, Label):
        return "; "
    if isinstance(before, Label) and isinstance(part, Blank) and part.label:
        return ", "
    if isinstance(before, Value) and isinstance(part, Value):
        return ", limits "
    if isinstance(before, Value) and isinstance(part, Blank) and not part.label:
        return ", read "
    return ", " if isinstance(before, Value | Blank) and not getattr(before, "text", "").endswith("=") else " "


def part_text(part: Part) -> str:
    """Return a part in words, a place to write in as a line."""
    match part:
        case Value() | Label():
            return part.text
        case Choice():
            return "  ".join(f"[ ] {word}" for word in part.words)
        case Blank():
            return " ".join(each for each in (part.label, part.pattern, part.unit) if each)
        case Rule():
            return " ".join(each for each in (part.label, LINE) if each)


def row_text(row: Sequence[Part]) -> tuple[str, ...]:
    """Return a row as one sentence; a place to write in stays with its label and unit."""
    said: list[str] = []
    for between, part in row_parts(row):
        said += [between, Bound(part_text(part)) if isinstance(part, Value | Blank) else part_text(part)]
    return tuple(each for each in said if each)


def rows_text(rows: Rows) -> tuple[str, ...]:
    """Return rows one after the other."""
    return tuple(part for n, row in enumerate(rows) for part in (("; ",) if n else ()) + row_text(row))
