"""The as-found form on the phone: its lines, and from what was typed to the document that the API takes.

No line is left empty: what nobody looked at is sent by name.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from service.api.cards.forms import NotTyped, number_typed
from service.moments import rfc3339

_NOT: Final = ("", "not looked at")


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the form: words to choose from, or places to type in with their unit."""

    name: str
    label: str
    choices: tuple[tuple[str, str], ...] = ()
    places: tuple[tuple[str, str], ...] = ()
    units: tuple[str, ...] = ()
    several: bool = False

    @property
    def unit(self) -> str:
        """Return the unit that is chosen at first."""
        return self.units[0] if self.units else ""


_OUTER: Final = (
    ("bottom", "bottom"), ("top", "top"), ("all_round", "all round"), ("two_opposite", "two opposite"),
    ("slanting", "slanting"), ("none", "none"),
)  # fmt: skip
_CREEPING: Final = (
    ("none", "none seen"), ("ring_seat", "ring and seat"), ("ring_sleeve", "ring and sleeve"),
    ("sleeve_shaft", "sleeve and shaft"),
)  # fmt: skip


def _chosen(name: str, label: str, *words: str) -> Line:
    return Line(name, label, (_NOT, *((word, word.replace("_", " ")) for word in words)))


_PARTS: Final = (
    ("Bolts, nut, rings", ("break_away", "locknut_side", "rings")),
    ("Gaps and clearance", ("gap_in", "gap_out", "ring_moves", "clearance")),
    ("Nut, tab, seals", ("nut", "tab", "seals", "sleeve")),
    ("Grease", ("amount", "state", "water", "metal")),
    ("Load mark", ("mark", "mark_inner")),
    ("Creep, marks, notes", ("creep", "marks", "notes")),
)
"""The parts of the form, one screen each, and their lines, in the order in which they are seen."""


def found_parts(lines: tuple[Line, ...]) -> list[tuple[str, list[Line]]]:
    """Return the lines of the form by part."""
    named = {line.name: line for line in lines}
    return [(title, [named[name] for name in names]) for title, names in _PARTS]


def found_lines(*, metric: bool, bolts: int, sides: Mapping[str, str]) -> tuple[Line, ...]:
    """Return the lines of the form in the order in which they are seen.

    Parameters
    ----------
    bolts : int
        Cap bolts of the block, each with its break-away torque, [-]
    sides : mapping
        What ``minus`` and ``plus`` are called at this machine
    """
    sided = tuple((way, sides[way]) for way in ("minus", "plus"))
    lengths = ("mm", "in") if metric else ("in", "mm")
    torques = ("N.m", "lbf.ft") if metric else ("lbf.ft", "N.m")
    each = tuple((f"break_away_{n}", f"break-away {n}") for n in range(1, min(max(bolts, 1), 8) + 1))
    return (
        Line("break_away", "Break-away", places=each, units=torques),
        Line("locknut_side", "Nut side", (_NOT, *sided)),
        Line("rings", "Locating rings in this block", (_NOT, ("none", "none"), *sided, ("both", "both sides"))),
        Line("gap_in", "Gap on the in side", places=(("gap_in", "gap, in side"),), units=lengths),
        Line("gap_out", "Gap on the out side", places=(("gap_out", "gap, out side"),), units=lengths),
        _chosen("ring_moves", "Outer ring by hand", "free", "stiff", "stuck"),
        Line("clearance", "Clearance", places=(("row_1", "clearance, row 1"), ("row_2", "row 2")), units=lengths),
        _chosen("nut", "Nut", "tight", "loose"),
        _chosen("tab", "Tab", "whole", "broken"),
        _chosen("seals", "Seals", "whole", "worn", "torn", "missing"),
        _chosen("amount", "Grease", "none", "some", "full"),
        _chosen("state", "Grease is", "soft", "dark", "hard"),
        _chosen("water", "Water in it", "no", "yes"),
        _chosen("metal", "Metal in it", "no", "yes"),
        Line("mark", "Load mark on the outer ring", (_NOT, *_OUTER)),
        _chosen("mark_inner", "Load mark on the inner ring", "all_round", "one_place", "none"),
        Line("creep", "Creep marks", _CREEPING, several=True),
        Line("sleeve", "Sleeve end", places=(("sleeve_to_shoulder", "sleeve end to shoulder"),), units=lengths),
        Line("marks", "Marks", places=(("marks", "marks on the old ring"),)),
        Line("notes", "Notes", places=(("notes", "anything else"),)),
    )  # fmt: skip


_CLOCK: Final[Mapping[str, dict[str, Any]]] = {
    "bottom": {"pattern": "band", "from": 4, "to": 8},
    "top": {"pattern": "band", "from": 10, "to": 2},
}
"""Where a mark lies by the clock, bottom 6: over 120 degrees, as is usual (order of work, part 5)."""
_PLAIN: Final = ("locknut_side", "ring_moves", "nut", "tab", "seals", "marks", "notes")
_COUNTED: Final = (
    "rings", "gap_in", "gap_out", "ring_moves", "clearance", "load_mark", "creep", "grease", "break_away",
    "locknut_side", "nut", "tab", "seals", "sleeve_to_shoulder", "marks",
)  # fmt: skip
"""Lines that are named as not looked at where nothing was said."""


def typed_found(form: Mapping[str, list[str]], lines: tuple[Line, ...]) -> dict[str, str]:
    """Return what was sent, each name once; several words stand in lines.

    Raises
    ------
    NotTyped
        A name that the form has not, or one that stands twice.
    """
    known = {"position", "nonce", "taken_by"}
    several = {line.name for line in lines if line.several}
    for line in lines:
        known |= {name for name, _ in line.places} | ({f"{line.name}-unit"} if line.units else set())
        known |= {line.name} if line.choices else set()
    for name, values in form.items():
        if name not in known or (len(values) != 1 and name not in several):
            raise NotTyped(f"{name[:40]} is not part of this form")
    return {name: "\n".join(values).strip() for name, values in form.items()}


def found_document(
    sent: Mapping[str, str], lines: tuple[Line, ...], *, position: str, taken_at: datetime
) -> dict[str, Any]:
    """Return what was typed as ``POST .../as-found`` takes it.

    Raises
    ------
    NotTyped
        A number or the name is missing or cannot be read.
    """
    if not sent.get("taken_by"):
        raise NotTyped("write your name: a form names who filled it in")
    found = {name: sent[name] for name in _PLAIN if sent.get(name)}
    document: dict[str, Any] = {**found, **_numbers(sent, lines), **_rings(sent), **_grease(sent), **_marks(sent)}
    if sent.get("creep"):
        document["creep"] = [word for word in sent["creep"].split("\n") if word != "none"]
    left = [name for name in _COUNTED if name not in document]
    times = {"taken_at": rfc3339(taken_at), "taken_by": sent["taken_by"]}
    return {"position": position, **document, **({"not_looked_at": left} if left else {}), **times}


def _numbers(sent: Mapping[str, str], lines: tuple[Line, ...]) -> dict[str, Any]:
    """Return the sizes and torques that were typed, each with its unit."""
    found: dict[str, Any] = {}
    for line in lines:
        if not line.units:
            continue
        unit = sent.get(f"{line.name}-unit", line.unit)
        if unit not in line.units:
            raise NotTyped(f"{line.label}: choose the unit that your instrument shows")
        values = [
            (n, {"value": number_typed(sent[name], label), "unit": unit})
            for n, (name, label) in enumerate(line.places, start=1)
            if sent.get(name)
        ]
        if not values:
            continue
        if line.name == "clearance":
            found["clearance"] = [{"value": value, "row": row} for row, value in values]
        elif line.name == "break_away":
            found["break_away"] = [value for _, value in values]
        else:
            found[line.places[0][0]] = values[0][1]
    return found


def _rings(sent: Mapping[str, str]) -> dict[str, Any]:
    said = sent.get("rings", "")
    sides = {"none": (), "minus": ("minus",), "plus": ("plus",), "both": ("minus", "plus")}
    return {"rings": [{"side": side} for side in sides[said]]} if said in sides else {}


def _grease(sent: Mapping[str, str]) -> dict[str, Any]:
    said: dict[str, Any] = {name: sent[name] for name in ("amount", "state") if sent.get(name)}
    said |= {name: sent[name] == "yes" for name in ("water", "metal") if sent.get(name)}
    return {"grease": said} if said else {}


def _marks(sent: Mapping[str, str]) -> dict[str, Any]:
    """Return the load marks of both rings."""
    return {"load_mark": list(_rings_marked(sent))} if sent.get("mark") or sent.get("mark_inner") else {}


def _rings_marked(sent: Mapping[str, str]) -> Iterator[dict[str, Any]]:
    if outer := sent.get("mark"):
        yield {"ring": "outer", **_CLOCK.get(outer, {"pattern": outer})}
    if inner := sent.get("mark_inner"):
        yield {"ring": "inner", "pattern": inner}
