"""The forms of a card that is filled in: what is asked at each step, and from what was typed to a reading."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from service.api.orders.entries.reading_schemas import SHAPES
from service.instructions.closing import is_confirmable, is_stop
from service.instructions.readings.hold_points import closing_kinds
from service.moments import rfc3339
from service.units import KINDS, UNITS
from service.words import CLEARANCE_READINGS

NAMES: Final = ("step", "kind", "position", "revision", "nonce", "taken_by", "one", "two", "unit", "done", "limit")
"""Names of what a form sends; nothing else is taken."""
_DIMENSIONS: Final[Mapping[str, str]] = {
    "initial_clearance": "clearance",
    "residual_clearance": "clearance",
    "axial_displacement": "displacement",
    "nut_turn": "angle",
    "cap_bolt_torque": "torque",
    "free_setting": "dimension",
    "shaft_diameter": "dimension",
    "bearing_spacing": "distance",
    "run_in_temperature": "temperature",
}
_ON_THE_CARD: Final = {
    "length": ("in", "thou", "mm"),
    "torque": ("lbf.ft", "lbf.in", "N.m"),
    "temperature": ("degF", "degC"),
    "angle": ("deg",),
}
"""Units that a mechanic's instruments show."""
_PLACES: Final[Mapping[str, tuple[tuple[str, str], ...]]] = {
    "initial_clearance": (("one", "row 1"), ("two", "row 2")),
    "residual_clearance": (("one", "row 1"), ("two", "row 2")),
    "shaft_diameter": (("one", "smallest"), ("two", "largest")),
    "run_in_temperature": (("one", "steady temperature"), ("limit", "stop limit of the site")),
}


class NotTyped(ValueError):
    """What was typed is not what is asked for."""


@dataclass(frozen=True, slots=True)
class Form:
    """One form of a step: the kind of reading, places to type in, units to choose from, positions to choose from."""

    kind: str
    label: str
    places: tuple[tuple[str, str], ...]
    units: tuple[str, ...]
    unit: str
    positions: tuple[str, ...]

    @property
    def confirms(self) -> bool:
        """Return whether nothing is typed but that it is done."""
        return self.kind == "confirmation"


def forms_of(plan: Mapping[str, Any], *, metric: bool) -> dict[int, list[Form]]:
    """Return the forms of each step that takes readings; a STOP step has none, it takes a deviation."""
    found: dict[int, list[Form]] = {}
    for step in plan["steps"]:
        kinds = [] if is_stop(step) else _kinds(step, plan)
        if kinds:
            found[step["number"]] = [_form(kind, step, plan, metric=metric) for kind in kinds]
    return found


def _kinds(step: Mapping[str, Any], plan: Mapping[str, Any]) -> list[str]:
    """Return the kinds of readings that a step takes, the one it asks for first."""
    asked = (step["record"] or {}).get("kind")
    kinds = [asked] if asked in SHAPES else []
    kinds += [kind for kind in closing_kinds(step, plan) if kind not in kinds]
    if step["hold_point"] and is_confirmable(step) and "confirmation" not in kinds:
        kinds.append("confirmation")
    return kinds


def _form(kind: str, step: Mapping[str, Any], plan: Mapping[str, Any], *, metric: bool) -> Form:
    if kind == "confirmation":
        return Form(kind, "Done and seen to be right", (), (), "", ())
    known = UNITS[KINDS[_DIMENSIONS[kind]].dimension]
    units = tuple(unit for unit in _ON_THE_CARD[KINDS[_DIMENSIONS[kind]].dimension] if unit in known)
    asked = (step["record"] or {}).get("unit")
    usual = asked if asked in units and (step["record"] or {}).get("kind") == kind else units[-1 if metric else 0]
    positions: tuple[str, ...] = ()
    if kind == "run_in_temperature" and step["position"] is None:
        positions = tuple(each["position"] for each in plan["targets"])
    return Form(kind, kind.replace("_", " "), _PLACES.get(kind, (("one", "value"),)), units, usual, positions)


def typed(form: Mapping[str, list[str]]) -> dict[str, str]:
    """Return what was sent, each name once.

    Raises
    ------
    NotTyped
        A name that no form has, or one that stands twice.
    """
    for name, values in form.items():
        if name not in NAMES or len(values) != 1:
            raise NotTyped(f"{name[:40]} is not part of this card's forms")
    return {name: values[0].strip() for name, values in form.items()}


def reading_document(sent: Mapping[str, str], plan: Mapping[str, Any], *, revision: int) -> dict[str, Any]:
    """Return what was typed as the document of one reading, as ``POST .../readings`` takes it.

    Raises
    ------
    NotTyped
        The step takes no such reading, a number or the name is missing or cannot be read.
    """
    step = next((each for each in plan["steps"] if str(each["number"]) == sent.get("step")), None)
    forms = {} if step is None else {each.kind: each for each in forms_of(plan, metric=True).get(step["number"], [])}
    form = forms.get(sent.get("kind", ""))
    if step is None or form is None:
        raise NotTyped("this step of the card takes no such reading")
    if not sent.get("taken_by"):
        raise NotTyped("write your name: a reading names who took it")
    document: dict[str, Any] = {
        "kind": form.kind,
        "step": step["id"],
        "taken_at": rfc3339(datetime.now(UTC)),
        "taken_by": sent["taken_by"],
        "revision": revision,
    }
    position = sent.get("position") if form.positions else step["position"]
    if form.positions and position not in form.positions:
        raise NotTyped("say at which bearing it was read")
    if position is not None:
        document["position"] = position
    return document | _values(form, sent)


def _values(form: Form, sent: Mapping[str, str]) -> dict[str, Any]:
    if form.confirms:
        if sent.get("done") != "yes":
            raise NotTyped("tick the box when it is done and seen to be right")
        return {"values": [{"value": True}]}
    unit = sent.get("unit", "")
    if unit not in form.units:
        raise NotTyped("choose the unit that your instrument shows")
    numbers = {name: _number(sent.get(name, ""), label) for name, label in form.places if name != "limit"}
    quantities = [{"value": number, "unit": unit} for number in numbers.values()]
    if form.kind in CLEARANCE_READINGS:
        rows = [{"value": quantity, "row": row} for row, quantity in enumerate(quantities, start=1)]
        return {"values": rows, "method": "blades"}
    limit = sent.get("limit", "")
    said = {"stop_limit": {"value": _number(limit, "stop limit"), "unit": unit}} if limit else {}
    return {"values": [{"value": quantity} for quantity in quantities], **said}


def _number(text: str, label: str) -> float:
    """Return the number that was typed; a comma is the decimal sign of many keyboards."""
    plain = text.replace(",", ".") if text.count(",") == 1 and "." not in text else text
    if not plain:
        raise NotTyped(f"{label}: write the number; where nothing passes, write 0")
    if not (plain.isascii() and plain.replace(".", "", 1).replace("-", "", 1).isdigit() and len(plain) <= 20):
        raise NotTyped(f"{label}: {text[:20]!r} is not a number")
    return float(plain)


def last_readings(plan: Mapping[str, Any], rows: Iterable[Any]) -> dict[int, Any]:
    """Return the last reading of each step: the one that names it, or one of its kind at its position."""
    found: dict[int, Any] = {}
    for row in rows:
        for step in plan["steps"]:
            if _is_of(row, step):
                found[step["number"]] = row
    return found


def _is_of(row: Any, step: Mapping[str, Any]) -> bool:
    if row.step is not None:
        return bool(row.step == step["id"] and step["position"] in (None, row.position))
    asked = (step["record"] or {}).get("kind")
    return bool(asked == row.kind and asked != "confirmation" and step["position"] in (None, row.position))
