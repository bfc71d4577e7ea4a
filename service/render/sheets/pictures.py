"""Which pictures belong to a plan, with the numbers of this job, and to which of its steps."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from service.render.pictures.drawing import Drawing
from service.render.pictures.steps import handling, housing, mounting, seats
from service.render.sheets.content import FREE, HELD
from service.render.sheets.scene import Plan
from service.units import Quantity

BALL = "self_aligning_ball"


@dataclass(frozen=True, slots=True)
class StepPicture:
    """A picture, what stands beside it, and the ids of the steps that it belongs to."""

    title: str
    note: str
    drawing: Drawing
    steps: tuple[str, ...]
    key: str
    position: str = ""


def step_pictures(plan: Plan, position: str | None = None) -> tuple[StepPicture, ...]:
    """Return the pictures of a plan in the order of the work; a picture without a step of the plan is left out.

    Parameters
    ----------
    position : str or None
        The bearing at which they are looked at: what differs from bearing to bearing is drawn as it is there; None for
        paper, where one picture serves them all
    """
    ids = {step["id"] for step in plan.record["steps"]}
    return tuple(each for each in _pictures(plan, position) if ids.intersection(each.steps))


def numbered(pictures: tuple[StepPicture, ...]) -> dict[str, tuple[int, ...]]:
    """Return the numbers of the pictures of each step, counted from 1."""
    found: dict[str, tuple[int, ...]] = {}
    for number, each in enumerate(pictures, start=1):
        for step in each.steps:
            found[step] = (*found.get(step, ()), number)
    return found


def _pictures(plan: Plan, position: str | None) -> Iterator[StepPicture]:
    yield _lifting(plan)
    yield StepPicture(
        "Cap and base", "No marks: make them before the cap comes off.", housing.cap_and_base(), CAPS, "cap"
    )
    blades = plan.step("residual_clearance", position) is not None
    if blades:
        note = "Gap drawn far too large. Seat the rollers by turning. Same place before and after."
        yield StepPicture("Where to measure", note, mounting.blade_place(), MEASURED, "blade-place")
    yield _soft_foot(plan)
    if blades:
        yield _blades(plan)
    here = [target for name, target in plan.targets.items() if position in (None, name)]
    balls = any((target.get("bearing") or {}).get("type") == BALL for target in here)
    if balls:
        note = "Not by blades: by displacement and by feel."
        yield StepPicture("Turn and swivel", note, mounting.swivel(), (*INITIAL, *RESIDUAL), "swivel")
    yield from _put_on(plan, balls=balls)
    for name, role in plan.names():
        if role == HELD and not plan.blocks(name, 8):
            yield from _held(plan, name)
    for name, role in plan.names():
        if role == FREE and not plan.blocks(name, 8):
            yield _free(plan, name)
    yield _cap_bolts(plan, position)


CAPS = ("open-caps", "close-caps")
INITIAL = ("initial",)
RESIDUAL = ("residual", "residual-free")
MEASURED = ("as-found", *INITIAL, *RESIDUAL)
TIGHTEN = ("tighten", "tighten-free")
LOCK = ("lock", "lock-free")


def _lifting(plan: Plan) -> StepPicture:
    lift = (plan.record.get("placement") or {}).get("lift") or {}
    shown = {
        name: None if lift.get(name) is None else plan.figures.text(lift[name])
        for name in ("lift_height", "lift_limit")
    }
    if not any(step["id"] == "lift-free" for step in plan.record["steps"]):
        shown["lift_limit"] = None
    drawing = handling.lifting(height=shown["lift_height"], limit=shown["lift_limit"])
    steps = ("support-shaft", "lift-shaft", "lift-free", "lift-again", "lower", "lower-free", "lower-again")
    return StepPicture("Lifting", "Rated gear. Nobody under the load.", drawing, steps, "lifting")


def _soft_foot(plan: Plan) -> StepPicture:
    step = next((each for each in plan.record["steps"] if each["id"] == "bases"), None)
    limit = None
    for each in () if step is None or isinstance(step["text"]["brief"], str) else step["text"]["brief"]:
        if not isinstance(each, str) and each.kind == "clearance":
            limit = plan.figures.number(each)
    return StepPicture(
        "Soft foot", "All other feet stay tight.", housing.soft_foot(limit=limit), ("bases",), "soft-foot"
    )


def _blades(plan: Plan) -> StepPicture:
    """Return how blades are read, with a stack of the set in use where the plan names one."""
    number, shown = plan.figures.number, dict[str, Any]()
    for target in plan.targets.values():
        rows = [*((target.get("blade_table") or {}).get("rows") or ()), target.get("blades") or {}]
        for stack in (each.get(which) for each in rows for which in ("target", "must_not_pass")):
            if stack and len(stack) == 1:
                shown.setdefault("single", number(stack[0]))
            elif stack and len(stack) == 2 and "stack" not in shown:
                total = Quantity("clearance", sum(each.value for each in stack))
                shown |= {"stack": tuple(map(number, stack)), "reading": number(total)}
    note = "Three blades at most, wiped. Nothing passes: write 0."
    return StepPicture(
        "Blade or stack", note, mounting.blade_or_stack(**shown), (*INITIAL, *TIGHTEN, *RESIDUAL), "blade-or-stack"
    )


def _put_on(plan: Plan, *, balls: bool) -> Iterator[StepPicture]:
    """Yield how the bearing goes on, by the steps that the plan has for it."""
    texts = {step["id"]: str(step["text"]["brief"]) + str(step["title"]) for step in plan.record["steps"]}
    if "shrink-on" in texts:
        heat = _heat(plan)
        yield StepPicture("Heat and hold", "Gloves. Never a flame.", mounting.heated(**heat), ("shrink-on",), "heat")
    said = texts.get("put-on", "").lower()
    if "shoulder" in said:
        note = "The bearing stays where its shoulder holds it."
        yield StepPicture("Sleeve goes in", note, mounting.withdrawal_sleeve(balls=balls), ("put-on",), "withdrawal")
    elif "sleeve" in said:
        note = "Taper drawn too steep. Feel it: the bearing slides on from the thin end."
        yield StepPicture("One way only", note, mounting.sleeve_and_bearing(balls=balls), ("put-on",), "sleeve")
        note = "A tab that does not meet a slot: go on, never back."
        drawing = mounting.nut_then_lock(balls=balls)
        if any("tab" in texts.get(each, "") for each in LOCK):
            yield StepPicture("Nut, then lock", note, drawing, (*TIGHTEN, *LOCK), "nut")


def _heat(plan: Plan) -> Mapping[str, str | None]:
    """Return the temperatures of the step that heats, where all positions share them."""
    step = next(each for each in plan.record["steps"] if each["id"] == "shrink-on")
    text = step["text"]["standard"]
    found = {} if isinstance(text, str) else {each.kind: each for each in text if not isinstance(each, str)}
    return {
        "heat_to": plan.figures.text(found["temperature"]) if "temperature" in found else None,
        "heat_max": plan.figures.text(found["temperature_limit"]) if "temperature_limit" in found else None,
    }


def _held(plan: Plan, name: str) -> Iterator[StepPicture]:
    support = plan.supports[name]
    rings = support.get("locating_rings") or {}
    if rings.get("count") is None:
        return
    width = None if rings.get("width") is None else type(rings["width"])("gap", rings["width"].value)
    drawing = seats.held_seat(
        rings=rings["count"],
        ring_sides=tuple(support.get("ring_sides") or ()),
        ring=None if width is None else plan.figures.number(width),
        nut_side=plan.nut_side(name),
    )
    note = f"Seen from above, cap off. This block alone has {'rings' if rings['count'] > 1 else 'a ring'}."
    steps = ("set-held", "set-held-again", "last-look")
    yield StepPicture(f"{name}: HELD", note, drawing, steps, "held", name)


def _free(plan: Plan, name: str) -> StepPicture:
    figures, found, support = plan.figures, plan.free.get(name), plan.supports[name]
    growth = (support.get("expansion") or {}).get("heat_up")
    shown: dict[str, str | None] = {}
    if found is not None and found["gap_side"] is not None:
        limits = found["gap_limits"]
        shown = {
            "gap_side": found["gap_side"],
            "gap": None if found["gap_aim"] is None else figures.number(found["gap_aim"]),
            "limits": None if limits is None else figures.span(limits["min"], limits["max"]),
            "before": None if found["gap_before"] is None else figures.number(found["gap_before"]),
        }
    if growth is not None and growth.value > 0 and support.get("direction") in ("minus", "plus"):
        shown |= {"hot": figures.number(type(growth)("gap", growth.value)), "hot_side": support["direction"]}
    note = "Seen from above, cap off. Slides in its seat by hand."
    steps = ("place-free", "place-shaft", "move-base", "check-gap", "last-look")
    drawing = seats.free_seat(**shown, nut_side=plan.nut_side(name))
    return StepPicture(f"{name}: FREE", note, drawing, steps, f"free-{name}", name)


def _cap_bolts(plan: Plan, position: str | None) -> StepPicture:
    """Return the cap bolts; count and torque only where all blocks share them and nothing forbids it."""
    counts, stages = set(), set()
    blocked = any(plan.blocks(name, 9) for name in plan.supports if position in (None, name))
    for each in plan.record["bolting"]:
        if position not in (None, each["position"]):
            continue
        counts.add((each.get("bolt") or {}).get("count"))
        stages.add(tuple(plan.figures.number(stage["torque"]) for stage in each.get("stages") or ()))
    count = counts.pop() if len(counts) == 1 else None
    shared = stages.pop() if len(stages) == 1 and not blocked else ()
    drawing = housing.cap_bolts(count=count, stages=shared, unit=plan.figures.unit("torque"))
    note = "The number on a bolt is its turn. Same torque on held and free."
    return StepPicture("Cap bolts", note, drawing, ("cap-torque",), "cap-bolts")
