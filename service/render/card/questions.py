"""What a card asks before anything is opened: the red questions still open, and facts that no red question covers."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from service.errors import Text
from service.render.card.plain_text import words
from service.render.sheets.front import MEASURED_HERE, asks
from service.render.sheets.scene import Plan
from service.words import Level

SHORT: Final[Mapping[str, str]] = {
    "R1": "bearing and class to be fitted",
    "R2": "seat, sleeve, thread",
    "R3": "shaft diameter",
    "R4": "housing size, seat width",
    "R5": "which is held, drive, nut sides",
    "R6": "temperatures, inner ring, hollow shaft",
    "R7": "speed, load, its direction",
    "R8": "grease or oil, grams",
    "R9": "cap torque by its book, bolt, threads",
    "R10": "free base pinned or sliding, base torque",
    "R11": "take away and least left, by its book",
    "R12": "stop limit of the site",
    "R13": "tools at hand",
    "R14": "masses, lifting, isolation, permits",
    "R15": "what is in the way",
    "R16": "shaft horizontal or inclined",
    "R17": "parts in the store",
}
"""The questions of readiness in short: for the head of a card."""
_ABOUT: Final[tuple[tuple[str, str], ...]] = (
    ("cap_bolts", "R9"),
    ("base_bolts", "R10"),
    ("lubrication", "R8"),
    ("temperature", "R6"),
    ("radial_load", "R7"),
    ("load_direction", "R7"),
    ("speed", "R7"),
    ("bearing", "R1"),
    ("clearance_class", "R1"),
    ("seat", "R2"),
    ("sleeve", "R2"),
    ("shaft", "R3"),
    ("housing", "R4"),
    ("supports", "R5"),
    ("drives", "R5"),
    ("at", "R5"),
    ("reduction", "R11"),
)
"""Which question covers a fact that is missing, by the beginning of its field."""


@dataclass(frozen=True, slots=True)
class Question:
    """Something to ask first; ``more`` says why, or how to get it."""

    said: Text
    more: Text


def questions(plan: Plan, level: Level) -> Iterator[Question]:
    """Yield the red questions that are open, once for all positions, then facts that no open question covers."""
    red = _open(plan, "red")
    for key, (positions, each) in red.items():
        where = f" {', '.join(positions)}" if positions and set(positions) != set(plan.supports) else ""
        said = SHORT[key] if level == "brief" else each["question"].rstrip("?")
        more = f"Why: {each['why']}." if level == "full" else ""
        yield Question(f"{key}{where}: {said} ({each['who']})", more)
    named = {*red, *_open(plan, "amber")}
    covered = {each["field"] for each in plan.record["missing"] if _question_of(each["field"]) in named}
    for field, ask in asks(plan):
        if field not in covered and field not in MEASURED_HERE:
            yield Question(ask.text, ("How: ", *words(ask.how), ".") if level == "standard" else "")


def also_open(plan: Plan) -> str:
    """Return the amber questions that are open, in short: the work goes on without them."""
    found = []
    for key, (positions, _) in _open(plan, "amber").items():
        found.append(f"{key} {SHORT[key]}" + (f" ({', '.join(positions)})" if positions else ""))
    return "; ".join(found)


def _open(plan: Plan, colour: str) -> dict[str, tuple[list[str], Mapping[str, Any]]]:
    found: dict[str, tuple[list[str], Mapping[str, Any]]] = {}
    for each in plan.record["readiness"]:
        if each["status"] == "open" and each["colour"] == colour:
            positions, _ = found.setdefault(each["id"], ([], each))
            positions += [each["position"]] if each["position"] else []
    return found


def _question_of(field: str) -> str | None:
    return next((key for start, key in _ABOUT if field.startswith(start)), None)
