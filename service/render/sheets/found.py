"""Sheet 3, as found and run-in: what is written before anything is moved, the log of the run, hand-back."""

from collections.abc import Iterator
from typing import Final

from service.render.sheets.content import Choice, Form, Found, Label, Part, Rows, Rule
from service.render.sheets.figures import digits
from service.render.sheets.front import foot
from service.render.sheets.scene import Plan

LONGEST_SIDE: Final = 12
"""Letters of a side's name that a line of the form has room for; else left and right are said."""
TIMES: Final = ("start", "15 min", "30", "45", "1 h", *(f"{n // 2} h{' 30' if n % 2 else ''}" for n in range(3, 13)))
"""When each housing is read: every 15 minutes in the first hour, then every 30 to 6 hours (rule 4.6 of the run-in)."""


def found(plan: Plan) -> Found:
    """Return sheet 3."""
    figures = plan.figures
    unit = figures.unit("temperature")
    ends = (210, 170, 130, 90, 50) if figures.units == "inch" else (100, 80, 60, 40, 20)
    usual = "18 to 90 degF" if figures.units == "inch" else "10 to 50 K"
    names = [f"{name} {role}" if role != "OPEN" else name for name, role in plan.names()]
    return Found(
        forms=tuple(_form(plan, name, role) for name, role in plan.names()),
        shaft_rows=(
            (Rule("Seat to seat, on record or read"), Rule("photos: number"), Rule("by", 0.8), Rule("date", 0.6)),
        ),
        times=TIMES,
        log_heads=("time", *names, "air, noise"),
        limit=tuple(_limit(plan, unit)),
        said=(
            f"Rises, may peak while the grease spreads, then falls and settles in 1 to 4 h; {usual} above the air is "
            f"usual. Steady: {_band(plan)} in the last hour. At the stop limit, or rising without end: stop and look."
        ),
        plot=(unit, ends),
        hand_back=_hand_back(plan),
        foot=foot(plan),
    )


def _band(plan: Plan) -> str:
    return "4 degF at most" if plan.figures.units == "inch" else "2 K at most"


def _limit(plan: Plan, unit: str) -> Iterator[Part]:
    """Yield the stop limit, written before the start; the one of the plan stands beside its blank."""
    step = plan.step("stop_limit")
    yield Label("written BEFORE the start: stop limit", bold=True)
    yield digits(3, "", unit)
    if step is not None:
        said = plan.figures.line(step["text"]["brief"]).partition(";")[0]
        yield Label(f"({said[0].lower()}{said[1:]})")
    yield Rule("set by")


def _form(plan: Plan, name: str, role: str) -> Form:
    """Return the form of one bearing: every line may be left as not seen, none is left empty."""
    figures = plan.figures
    sides = [plan.side(way) for way in ("minus", "plus")]
    named = all(sides) and sides[0] != sides[1] and max(map(len, sides)) <= LONGEST_SIDE
    left, right = sides if named else ("left", "right")
    limits = plan.limits("initial_clearance", name)
    initial = figures.ends(limits)
    gap = plan.limits("free_gap", name)
    gaps = figures.ends(gap)
    count = ((plan.by_position("bolting", name) or {}).get("bolt") or {}).get("count") or 2
    unit = figures.unit("torque")
    rows: list[tuple[Part, ...]] = [
        (Label("Bolts broke loose"), *(digits(3, str(n + 1), unit) for n in range(min(count, 4)))),
        (Label("Rings"), Choice(("0", "1", "2")), Label("on"), Choice((left, right))),
        (Label("Nut on"), Choice((left, right)), Choice(("tight", "loose"))),
        (Label("Gap"), figures.blank("gap", *gaps, left), figures.blank("gap", *gaps, right)),
        (Label("Ring moves by hand"), Choice(("free", "stiff", "stuck"))),
        (Label("Clearance, top"), *(figures.blank("clearance", *initial, row) for row in ("row 1", "row 2"))),
    ]
    beside: list[tuple[Part, ...]] = [
        (Label("Outer"), Choice(("bottom", "top", "all round"))),
        (Choice(("two marks", "slanting", "one row")),),
        (Label("Inner"), Choice(("one place", "all round"))),
        (Label("Grease"), Choice(("none", "some", "full"))),
        (Choice(("dark", "hard", "water", "metal")),),
        (Label("Creep"), Choice(("seat", "sleeve", "shaft"))),
        (Label("Tab"), Choice(("whole", "broken"))),
        (Label("Seals"), Choice(("whole", "worn"))),
        (Rule("Sleeve end to shoulder", 0.5),),
    ]
    return Form(name, role, tuple(rows), tuple(beside))


def _hand_back(plan: Plan) -> tuple[Rows, Rows]:
    names = list(plan.supports)
    unit = "in/s" if plan.figures.units == "inch" else "mm/s"
    left: Rows = (
        (Label(f"Vibration, {unit}"), *(Rule(name) for name in names)),
        (Label("Bolts, locked out again"), Choice(("none turned", "turned:")), Rule()),
        (Rule("Grease used"),),
    )
    right: Rows = (
        (Choice(("tools, rags, blades counted", "guards on", "locks off")),),
        (Choice(("old bearings kept",)), Rule("damage")),
        (Rule("Done otherwise than planned"),),
    )
    return left, right
