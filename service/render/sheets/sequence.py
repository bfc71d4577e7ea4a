"""Sheet 2, the sequence: one line a step, a square for each end, the holds, the pictures that belong to it."""

from collections.abc import Iterator, Mapping
from itertools import groupby
from typing import Any, Final

from service.render.sheets.content import Line, Phase, Sequence
from service.render.sheets.front import foot
from service.render.sheets.scene import Plan

MOST_LETTERS: Final = 60
SHORT: Final[Mapping[str, str]] = {
    "clear": "CLEAR",
    "as_found": "AS FOUND",
    "strip": "STRIP",
    "check": "CHECK",
    "held_end": "MOUNT",
    "free_end": "FREE END",
    "close": "CLOSE",
    "align": "ALIGN",
    "run_in": "RUN IN",
    "hand_back": "HAND BACK",
}
NOTES: Final[Mapping[str, str]] = {"as_found": "on sheet 3", "run_in": "on sheet 3"}


def sequence(plan: Plan, pictures: Mapping[str, tuple[int, ...]]) -> Sequence:
    """Return sheet 2.

    Parameters
    ----------
    pictures : mapping
        From the id of a step to the numbers of its pictures on the next page
    """
    steps = plan.record["steps"]
    return Sequence(
        positions=tuple(plan.names()),
        phases=tuple(_phases(plan, pictures)),
        cautions=tuple(
            plan.figures.line(each).partition(". ")[0]
            for step in steps
            if step["phase"] != steps[0]["phase"]
            for each in step["cautions"]
        ),
        foot=foot(plan),
    )


def _phases(plan: Plan, pictures: Mapping[str, tuple[int, ...]]) -> Iterator[Phase]:
    for name, steps in groupby(plan.record["steps"], key=lambda each: each["phase"]):
        lines = tuple(_line(plan, each, pictures.get(each["id"], ())) for each in steps)
        title = SHORT.get(name, name.replace("_", " ").upper())
        yield Phase(title, NOTES.get(name, "") if len(lines) > 1 else "", lines)


def _line(plan: Plan, step: Mapping[str, Any], pictures: tuple[int, ...]) -> Line:
    return Line(
        number=step["number"],
        words=plan.figures.line(step["text"]["brief"]),
        ticks=tuple(step["positions"]) if step["per"] != "once" else (),
        pictures=pictures,
        hold=step["hold"],
        stop=step["stop"] is not None,
    )
