"""What stands around the numbers on sheet 1: stops, questions, cautions, the shaft line, the holds to sign."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from service.render.sheets.content import Ask, Choice, Head, Hold, Label, Numbers, Part, Rows, Rule, Stop, Value
from service.render.sheets.figures import digits
from service.render.sheets.numbers import columns
from service.render.sheets.scene import Plan
from service.words import LUBRICATIONS

STANDING: Final = (
    "rings in both blocks, or in none",
    "shaft or clearance outside its range",
    "too tight: slackening the nut gives nothing back; free it, start again",
)
"""When every job stops, as rules A1, C5 and I2 say it."""
CAUTIONS: Final = (
    "Own lock each (29 CFR 1910.147)",
    "Rated gear, nobody under the load",
    "No hand between bearing and base",
    "Maker, code, experts come first",
)
"""The cautions of the first phase of every plan (rule I7), in short."""
HOT: Final = "Hot: gloves; measure only cold"
HOLDS: Final[Mapping[int, str]] = {
    1: "Locked out, tried",
    2: "Shaft in its limits",
    3: "Initial, class read",
    4: "Left, after the lock",
    5: "Placed, hand-tight",
    6: "Rings, gap, tabs",
    7: "Cap bolts pulled",
    8: "Stop limit written",
    9: "Run-in steady",
}
"""What is signed at each hold, in short."""
ASKED: Final[Mapping[str, str]] = {
    "temperature_difference": "inner ring warmer by",
    "radial_load": "load on the bearing",
    "load_direction": "load up, down, turning",
    "bearing": "marks on the ring",
    "housing": "number on the cap",
    "housing/locating_rings": "rings: number, width",
    "shaft_diameter": "shaft diameter",
    "shaft/diameter": "shaft diameter",
    "lubrication": "grease or oil",
    "cap_bolts/torque": "cap torque: book",
    "cap_bolts/lubrication": "cap bolt threads",
    "cap_bolts/bolt": "cap bolt, grade",
    "cap_bolts/bolt/grade": "cap bolt grade",
    "cap_bolts/bolt/thread": "cap bolt thread",
    "cap_bolts/bolt/count": "how many cap bolts",
    "cap_bolts/housing": "cap torque: book",
    "base_bolts/lubrication": "base bolt threads",
    "base_bolts/grade": "base bolt grade",
    "base_bolts/torque": "base torque: book",
    "base_bolts": "base torque: book",
    "supports": "which bearing is held",
    "drives": "where the drive is",
    "at": "place along the shaft",
    "reduction": "take away: maker's book",
    "axial_displacement": "displacement: maker's book",
    "blade_set": "a finer blade set",
    "bearing/clearance_class": "class mark on the ring",
    "clearance_class": "class mark on the ring",
}
"""Questions by the field that is not known, short enough for the head of a sheet."""
MEASURED_HERE: Final = ("measured_clearance",)
_TORQUES: Final = ("cap_bolts/torque", "base_bolts", "base_bolts/torque")
_STATES: Final = ("cap_bolts/lubrication", "base_bolts/lubrication")


def head(plan: Plan, address: str | None) -> Head:
    """Return the head of every page."""
    record = plan.record
    order = (record.get("external") or {}).get("number") or "No work order"
    machine = f"{record['asset']}  {record['asset_name']}, shaft {record['shaft']}"
    revision = f"revision {record['revision']}" if record.get("revision") is not None else "not stored"
    issued = (record.get("created_at") or "")[:10]
    return Head(order, machine, f"{revision}, {issued}" if issued else revision, address, issued)


def numbers(plan: Plan) -> Numbers:
    """Return sheet 1."""
    return Numbers(
        stops=tuple(stops(plan)),
        standing=STANDING,
        asks=tuple(asks(plan)),
        cautions=(*CAUTIONS, *((HOT,) if _hot(plan) else ())),
        columns=columns(plan),
        shaft_rows=shaft_rows(plan),
        holds=tuple(holds(plan)),
        foot=foot(plan),
    )


def foot(plan: Plan) -> str:
    """Return the units of the sheet, and where to stand so that left is left."""
    figures = plan.figures
    length = "Inches" if figures.units == "inch" else "Millimetres"
    standing = {"plus": "Drive on your right: ", "minus": "Drive on your left: "}.get(plan.drive_side or "", "")
    names = ", ".join(plan.supports)
    return f"{length}; blades as stamped; torque in {figures.unit('torque')}. {standing}{names}, left to right."


def _hot(plan: Plan) -> bool:
    return any("Hot machine" in str(each) for step in plan.record["steps"] for each in step["cautions"])


def stops(plan: Plan) -> Iterator[Stop]:
    """Yield what must not be done like this, each with the step before which it must be settled."""
    steps = plan.record["steps"]
    for step, following in zip(steps, (*steps[1:], None), strict=True):
        if step["stop"] is None:
            continue
        where = f" ({', '.join(step['positions'])})" if step["positions"] else ""
        before = "" if following is None else f"before step {following['number']}"
        found = next((each for each in plan.record["blocked"] if each["code"] == step["stop"]), None)
        said = plan.figures.line(step["text"]["brief"] if found is None else found["detail"])
        yield Stop(f"{step['title']}{where}", said.removeprefix("STOP: "), before)


def asks(plan: Plan) -> Iterator[Ask]:
    """Yield what is not known, once for all positions that miss the same."""
    grouped: dict[str, list[str]] = {}
    how: dict[str, str] = {}
    for each in plan.record["missing"]:
        if each["field"] not in MEASURED_HERE:
            how.setdefault(each["field"], plan.figures.line(each["how"]))
            names = grouped.setdefault(each["field"], [])
            names += [each["position"]] if each.get("position") and each["position"] not in names else []
    for field, names in grouped.items():
        where = "" if not names or len(names) == len(plan.supports) else f"{', '.join(names)}: "
        said = ASKED.get(field, field.replace("_", " ").replace("/", ", "))
        yield Ask(f"{where}{said}", _answer(plan, field), how[field])


def _answer(plan: Plan, field: str) -> Any:
    if field in _TORQUES:
        return digits(3, "", plan.figures.unit("torque"), small=True)
    if field in _STATES:
        return Choice(("dry", "oiled"))
    if field == "temperature_difference":
        return digits(2, "", "degF" if plan.figures.units == "inch" else "K", small=True)
    if field == "lubrication":
        return Choice(LUBRICATIONS)
    return Rule()


def shaft_rows(plan: Plan) -> Rows:
    """Return what concerns the shaft as a whole: the distance of the bearings, and how high it is lifted."""
    rows = [row for name in plan.free for row in _spacing(plan, name)]
    lift = tuple(_lift(plan))
    if len(rows) == 1:
        return ((*rows[0], *lift),)
    return (*rows, lift) if lift else tuple(rows)


def _spacing(plan: Plan, name: str) -> Iterator[tuple[Part, ...]]:
    figures, found = plan.figures, plan.free[name]["spacing"]
    if plan.step("bearing_spacing") is None or found is None:
        return
    to = f" to {name}" if len(plan.free) > 1 else ""
    edges, change = found["edges"], found["change"]
    if found["seats_read"] and edges is not None:
        said: list[Part] = [Label(f"Mark the bearing edges{to} apart"), Value(figures.number(edges))]
        if found["min"] is not None:
            shift = edges.value - found["bearings"].value
            ends = [type(edges)(each.kind, each.value + shift) for each in (found["min"], found["max"])]
            said.append(Value(figures.span(*ends), "small"))
        yield tuple(said)
        return
    on_record = () if found["seats"] is None else (Label("on record"), Value(figures.number(found["seats"]), "small"))
    if change is None:
        yield (Label(f"Seat to seat{to}"), *on_record, Rule("read"))
        return
    sense = "+" if change.value >= 0 else "\u2013"
    amount = figures.number(type(change)(change.kind, abs(change.value)))
    yield (
        *on_record,
        Rule(f"seats{to} read"),
        Value(f"{sense} {amount} =", "small"),
        Rule("mark edges"),
    )


def _lift(plan: Plan) -> Iterator[Part]:
    lift = (plan.record.get("placement") or {}).get("lift") or {}
    if lift.get("lift_height") is not None:
        yield Label("lift level")
        yield Value(plan.figures.number(lift["lift_height"]), "small")
    if lift.get("lift_limit") is not None and any(step["id"] == "lift-free" for step in plan.record["steps"]):
        yield Label("one end")
        yield Value(plan.figures.number(lift["lift_limit"]), "small")


def holds(plan: Plan) -> Iterator[Hold]:
    """Yield every signature in the order of the work: one for a hold, one for each end where it is read apart."""
    seen: set[int] = set()
    for step in plan.record["steps"]:
        number = step["hold"]
        if number is None:
            continue
        words = HOLDS[number] if number not in seen or number != 1 else "Locked out again"
        if number == 4 and step["record"] and step["record"]["kind"] == "swivel":
            words = "Turns and swivels"
        if number == 3 and step["record"] and step["record"]["kind"] == "class_read":
            words = "Class read"
        seen.add(number)
        for name in step["positions"] if number in (4, 5) else ("",):
            yield Hold(number, words, name, step["number"], second=number == 6)
