"""The steps of a card, phase by phase: cautions at the head, what is ticked, written down and signed at each."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final

from service.errors import Text
from service.render.present import text
from service.render.sheets.annex import limits_text
from service.render.sheets.found import TIMES
from service.render.sheets.scene import Plan
from service.words import CLEARANCE_READINGS, Level, UnitSystem

ON_A_LINE: Final = frozenset(
    (
        *CLEARANCE_READINGS,
        "shaft_diameter",
        "axial_displacement",
        "nut_turn",
        "free_gap",
        "free_gap_before",
        "cap_bolt_torque",
        "base_bolt_torque",
        "bearing_spacing",
        "class_read",
    )
)
"""Readings that have their place to write in among the numbers at the head."""
_ANSWERS: Final = {"try_start": "nothing turned", "confirmation": "done"}
_EACH_SIGNS: Final = (4, 5)
"""Holds that are signed at each end."""
_SECOND: Final = 6
"""The hold that two persons sign."""


@dataclass(frozen=True, slots=True)
class Blank:
    """What is written down at a step: the places to write in with their unit, and the limits.

    ``elsewhere``: it has its place among the numbers.
    """

    kind: str
    label: str
    places: tuple[str, ...]
    unit: str | None
    limits: Text | None
    elsewhere: bool


@dataclass(frozen=True, slots=True)
class Step:
    """One step: ``ticks`` are the ends it is done at, none where it is done once; ``signs`` who signs its hold."""

    number: int
    id: str
    title: str
    brief: str
    standard: Text
    full: Text
    by_position: tuple[tuple[str, Text], ...]
    ticks: tuple[str, ...]
    hold: int | None
    stop: bool
    signs: tuple[str, ...]
    tools: tuple[Text, ...]
    parts: tuple[Text, ...]
    blank: Blank | None
    cited: str

    @property
    def heading(self) -> str:
        """Return the title with the positions it is done at."""
        return f"{self.title} ({', '.join(self.ticks)})" if self.ticks else self.title


@dataclass(frozen=True, slots=True)
class Phase:
    """Steps that belong together, and what to beware of in all of them."""

    title: str
    cautions: tuple[Text, ...]
    steps: tuple[Step, ...]


def phases(plan: Plan, level: Level) -> Iterator[Phase]:
    """Yield the phases of a plan; no caution is said twice."""
    titles = {each["id"]: each["title"] for each in plan.record["phases"]}
    told: set[Text] = set()
    for name, found in groupby(plan.record["steps"], key=lambda each: each["phase"]):
        steps = list(found)
        fresh = dict.fromkeys(each for step in steps for each in step["cautions"] if each not in told)
        told.update(fresh)
        shown = tuple(_first_sentence(plan, each) if level == "brief" else each for each in fresh)
        yield Phase(titles.get(name, name.replace("_", " ")), shown, tuple(_step(plan, each) for each in steps))


def _first_sentence(plan: Plan, caution: Text) -> Text:
    return plan.figures.line(caution).partition(". ")[0] + "."


def _step(plan: Plan, step: Mapping[str, Any]) -> Step:
    hold, names = step["hold"], tuple(step["positions"])
    signs: tuple[str, ...] = ()
    if hold is not None:
        signs = names if hold in _EACH_SIGNS and len(names) > 1 else ("1st", "2nd") if hold == _SECOND else ("",)
    return Step(
        number=step["number"],
        id=step["id"],
        title=step["title"],
        brief=plan.figures.line(step["text"]["brief"]) + ".",
        standard=step["text"]["standard"],
        full=step["text"]["full"],
        by_position=tuple(beside(step["by_position"], plan.record["units"])),
        ticks=names,
        hold=hold,
        stop=step["stop"] is not None,
        signs=signs,
        tools=tuple(step["tools"]),
        parts=tuple(step["parts"]),
        blank=None if step["record"] is None else _blank(step),
        cited="; ".join([f"rule {step['rule']}", *step["sources"]]),
    )


def beside(each: Sequence[Mapping[str, Any]], units: UnitSystem) -> Iterator[tuple[str, Text]]:
    """Yield what stands beside the positions; what is printed alike at several is said once, with their names."""
    found: dict[str, tuple[list[str], Text]] = {}
    for one in each:
        names, _ = found.setdefault(text(one["text"], units), ([], one["text"]))
        names.append(one["position"])
    yield from ((", ".join(names), said) for names, said in found.values())


def _blank(step: Mapping[str, Any]) -> Blank:
    record = step["record"]
    kind = record["kind"]
    label = kind.replace("_", " ")
    if step["id"] == "open-caps":
        label = "bolts broke loose at"
    places = TIMES if kind == "run_in_temperature" else (_ANSWERS.get(kind, ""),)
    return Blank(kind, label, places, record.get("unit"), limits_text(record["limits"]), kind in ON_A_LINE)
