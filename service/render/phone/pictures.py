"""Which picture stands on a step of the phone, with the numbers of this job."""

from collections.abc import Callable, Mapping
from functools import cache, partial
from typing import Any, Final

from service.render.phone.figures import Figures
from service.render.pictures.drawing import Drawing
from service.render.pictures.steps import handling, housing, mounting, seats

Plan = Mapping[str, Any]
_OTHER: Final = {"minus": "plus", "plus": "minus"}
BALL: Final = "self_aligning_ball"
_LIFTS: Final = ("support-shaft", "lift-shaft", "lift-free", "lift-again", "lower", "lower-free", "lower-again")
_HELD: Final = ("set-held", "set-held-again")
_FREE: Final = ("place-free", "place-shaft", "move-base", "check-gap")


def picture_of(plan: Plan, step: Mapping[str, Any], position: str | None, figures: Figures) -> Drawing | None:
    """Return the picture of a step; None where words say it better."""
    name = step["id"]
    if name in _LIFTS:
        return _lifting(plan, figures)
    if name in _HELD:
        return _held(plan, position, figures)
    if name in _FREE:
        return _free(plan, position, figures)
    if name == "cap-torque":
        return _cap_bolts(plan, position, figures)
    if name == "put-on":
        return _put_on(plan, step, position)
    made = _BALLS.get(name) if _is_ball(plan, position) and name in _BALLS else _BY_STEP.get(name)
    return None if made is None else _kept(made)


_SIMPLE: Final[Mapping[str, Callable[[], Drawing]]] = {
    "cap": housing.cap_and_base,
    "mark": handling.load_mark,
    "foot": housing.soft_foot,
    "blade": mounting.blade_place,
    "stack": mounting.blade_or_stack,
    "nut": mounting.nut_then_lock,
    "swivel": mounting.swivel,
}
_BY_STEP: Final[Mapping[str, str]] = {
    "open-caps": "cap",
    "close-caps": "cap",
    "as-found": "mark",
    "bases": "foot",
    "initial": "blade",
    "residual": "blade",
    "residual-free": "blade",
    "tighten": "stack",
    "tighten-free": "stack",
    "lock": "nut",
    "lock-free": "nut",
}
_BALLS: Final[Mapping[str, str]] = dict.fromkeys(
    ("initial", "residual", "residual-free", "tighten", "tighten-free"), "swivel"
)


@cache
def _kept(name: str) -> Drawing:
    return _SIMPLE[name]()


def _bearing(plan: Plan, position: str | None) -> Mapping[str, Any]:
    found = next((each["bearing"] for each in plan["targets"] if each["position"] == position), None)
    return found or {}


def _is_ball(plan: Plan, position: str | None) -> bool:
    return _bearing(plan, position).get("type") == BALL


def _support(plan: Plan, position: str | None) -> Mapping[str, Any]:
    supports = (plan["arrangement"] or {}).get("supports", ())
    return next((each for each in supports if each["name"] == position), {})


def _lifting(plan: Plan, figures: Figures) -> Drawing:
    lift = (plan.get("placement") or {}).get("lift") or {}
    height, limit = (lift.get(name) for name in ("lift_height", "lift_limit"))
    if not any(step["id"] == "lift-free" for step in plan["steps"]):
        limit = None
    said = partial(lambda each: None if each is None else figures.text(each))
    return handling.lifting(height=said(height), limit=said(limit))


def _held(plan: Plan, position: str | None, figures: Figures) -> Drawing | None:
    rings = _support(plan, position).get("locating_rings") or {}
    if rings.get("count") is None or plan["blocked"]:
        return None
    width = None if rings.get("width") is None else figures.number(type(rings["width"])("gap", rings["width"].value))
    return seats.held_seat(
        rings=rings["count"],
        ring_sides=tuple(_support(plan, position).get("ring_sides") or ()),
        ring=width,
        nut_side=_nut_side(plan, position),
    )


def _free(plan: Plan, position: str | None, figures: Figures) -> Drawing | None:
    if plan["blocked"]:
        return None
    free = (plan.get("placement") or {}).get("free", ())
    found = next((each for each in free if each["position"] == position), None)
    shown: dict[str, str | None] = {}
    if found is not None and found["gap_side"] is not None:
        limits = found["gap_limits"]
        shown = {
            "gap_side": found["gap_side"],
            "gap": None if found["gap_aim"] is None else figures.number(found["gap_aim"]),
            "limits": None if limits is None else figures.span(limits["min"], limits["max"]),
            "before": None if found["gap_before"] is None else figures.number(found["gap_before"]),
        }
    return seats.free_seat(**shown, nut_side=_nut_side(plan, position))


def _nut_side(plan: Plan, position: str | None) -> str | None:
    """Return the side of the locknut, ``minus`` or ``plus``; None where it is not known."""
    placed = plan.get("placement") or {}
    held: Mapping[str, Any] = placed.get("held") or {}
    if held.get("position") == position:
        side: str | None = held.get("nut_side")
        return side
    found = next((each for each in placed.get("free", ()) if each["position"] == position), None)
    if found is None or found["nut_side"] is None or found["out"] is None:
        return None
    out: str = found["out"]
    return out if found["nut_side"] == "out" else _OTHER[out]


def _cap_bolts(plan: Plan, position: str | None, figures: Figures) -> Drawing:
    """Return the cap bolts; count and torque only where they are known and nothing forbids them."""
    each: Mapping[str, Any] = next((one for one in plan["bolting"] if one["position"] == position), {})
    blocked = bool(each.get("blocked")) or bool(plan["blocked"])
    stages = () if blocked else tuple(figures.number(stage["torque"]) for stage in each.get("stages") or ())
    unit = {"inch": "lbf.ft", "metric": "N.m"}[figures.units]
    return housing.cap_bolts(count=(each.get("bolt") or {}).get("count"), stages=stages, unit=unit)


def _put_on(plan: Plan, step: Mapping[str, Any], position: str | None) -> Drawing | None:
    said = figures_free(step).lower()
    if "shoulder" in said:
        return mounting.withdrawal_sleeve(balls=_is_ball(plan, position))
    if "sleeve" in said:
        return mounting.sleeve_and_bearing(balls=_is_ball(plan, position))
    return None


def figures_free(step: Mapping[str, Any]) -> str:
    """Return the words of a step's brief text and title, without its numbers."""
    brief = step["text"]["brief"]
    words = brief if isinstance(brief, str) else " ".join(part for part in brief if isinstance(part, str))
    return f"{words} {step['title']}"
