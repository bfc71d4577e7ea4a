"""What the sheets are made of: lines with values and blanks, steps to tick, holds to sign, things to ask."""

from dataclasses import dataclass
from typing import Literal

from service.render.sheets.figures import Blank

HELD = "HELD"
FREE = "FREE"
OPEN = "OPEN"


@dataclass(frozen=True, slots=True)
class Value:
    """Something to read at arm's length."""

    text: str
    size: Literal["large", "medium", "small"] = "medium"


@dataclass(frozen=True, slots=True)
class Label:
    """Words beside a value or a blank."""

    text: str
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Choice:
    """Squares of which one is marked."""

    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Rule:
    """A line to write words on."""

    label: str = ""
    share: float = 1.0


Part = Value | Label | Choice | Blank | Rule
Rows = tuple[tuple[Part, ...], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A small table: its heads, its rows, what stands below; the column that is read first is larger."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    below: tuple[str, ...] = ()
    loud: int | None = None


@dataclass(frozen=True, slots=True)
class Numbered:
    """One of the lines of an end: what it is, its values and blanks, its hold.

    ``place`` orders the lines; ``number`` is printed, 1 to 6 as the order of work counts them, None for what belongs to
    the line before.
    """

    place: int
    number: int | None
    title: str
    rows: Rows
    hold: int | None = None
    table: Table | None = None
    beside: tuple[Part, ...] = ()


@dataclass(frozen=True, slots=True)
class Column:
    """One bearing on sheet 1."""

    position: str
    role: str
    bearing: str
    worked: bool
    lines: tuple[Numbered, ...]


@dataclass(frozen=True, slots=True)
class Stop:
    """Something that must not be done like this, and the step before which it must be settled."""

    title: str
    said: str
    before: str


@dataclass(frozen=True, slots=True)
class Ask:
    """Something that is not known, with a blank for the answer."""

    text: str
    blank: Blank | Rule | Choice
    how: str = ""


@dataclass(frozen=True, slots=True)
class Hold:
    """A moment at which somebody signs."""

    number: int
    words: str
    position: str = ""
    step: int = 0
    second: bool = False


@dataclass(frozen=True, slots=True)
class Head:
    """What stands at the head of every page."""

    order: str
    machine: str
    revision: str
    address: str | None
    issued: str


@dataclass(frozen=True, slots=True)
class Numbers:
    """Sheet 1."""

    stops: tuple[Stop, ...]
    standing: tuple[str, ...]
    asks: tuple[Ask, ...]
    cautions: tuple[str, ...]
    columns: tuple[Column, ...]
    shaft_rows: Rows
    holds: tuple[Hold, ...]
    foot: str


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the sequence."""

    number: int
    words: str
    ticks: tuple[str, ...]
    pictures: tuple[int, ...]
    hold: int | None
    stop: bool


@dataclass(frozen=True, slots=True)
class Phase:
    """Lines that belong together."""

    title: str
    note: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Sequence:
    """Sheet 2."""

    positions: tuple[tuple[str, str], ...]
    phases: tuple[Phase, ...]
    cautions: tuple[str, ...]
    foot: str


@dataclass(frozen=True, slots=True)
class Form:
    """The as-found form of one bearing."""

    position: str
    role: str
    rows: Rows
    beside_circle: Rows


@dataclass(frozen=True, slots=True)
class Found:
    """Sheet 3."""

    forms: tuple[Form, ...]
    shaft_rows: Rows
    times: tuple[str, ...]
    log_heads: tuple[str, ...]
    limit: tuple[Part, ...]
    said: str
    plot: tuple[str, tuple[int, ...]]
    hand_back: tuple[Rows, Rows]
    foot: str
