"""What an answer to a question of readiness changes: facts of the machine, or of the order (rule P6).

A value has the members that its question takes, quantities as leaves, as the wire loads them. What is a fact of the
machine goes into its document; what only this order has (the bearing to be fitted, what is at hand) into its inputs.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from service.errors import CannotEvaluate
from service.instructions.plan.machine import normalised_bearing
from service.instructions.readiness import ASK_FROM_DEG

Document = dict[str, Any]
Value = Mapping[str, Any]
FREE: Final = "free"
LOCATING: Final = "locating"


@dataclass(frozen=True, slots=True)
class Change:
    """What an answer changes: members of its positions, of the shaft, of what was answered, bearings to be fitted.

    ``positions`` holds members by name of position; ``refit`` says at which positions the own bearing goes back in or
    does not; ``answers`` goes into the inputs of the order, ``said`` counts the
    question as answered beyond the facts. ``books``: a book was entered, the plan is made with it.
    """

    positions: Mapping[str, Document] = field(default_factory=dict)
    shaft: Document = field(default_factory=dict)
    answers: Document = field(default_factory=dict)
    fitted: Mapping[str, Document] = field(default_factory=dict)
    refit: Mapping[str, bool] = field(default_factory=dict)
    said: bool | None = None
    books: bool = False


@dataclass(frozen=True, slots=True)
class Asked:
    """A question as it was answered: of which positions of the shaft, and which of them are worked on."""

    question: str
    position: str | None
    value: Value
    names: tuple[str, ...]
    worked: tuple[str, ...]

    @property
    def places(self) -> tuple[str, ...]:
        """Return the positions that the answer is about: the one named, else all of the shaft."""
        return (self.position,) if self.position is not None else self.names

    @property
    def worked_places(self) -> tuple[str, ...]:
        """Return those of them that are worked on; all where none is."""
        return tuple(name for name in self.places if name in self.worked) or self.places


ONCE: Final = ("R5", "R6", "R11", "R12", "R13", "R14", "R16", "R17")
"""Questions about the order as a whole: their answers name no position."""


def change_of(asked: Asked) -> Change:
    """Return what an answer changes.

    Raises
    ------
    CannotEvaluate
        ``unknown_position``; ``position_not_asked``: the question is not about a position; a bearing that cannot be
        read.
    """
    if asked.position is not None and asked.position not in asked.names:
        said = f"{asked.position!r} is not a position of this shaft; known are {', '.join(asked.names)}"
        raise CannotEvaluate(said, code="unknown_position", field="position")
    if asked.position is not None and asked.question in ONCE:
        said = f"{asked.question} is asked once for the order: leave the position out"
        raise CannotEvaluate(said, code="position_not_asked", field="position")
    return _CHANGES[asked.question](asked)


def _members(value: Value, *names: str) -> Document:
    return {name: value[name] for name in names if name in value}


def _at_places(*names: str) -> Callable[[Asked], Change]:
    """Return what puts these members of a value on record for each position that the answer is about."""

    def change(asked: Asked) -> Change:
        """Return the members for each position that is worked on."""
        return Change(positions={name: _members(asked.value, *names) for name in asked.worked_places})

    return change


def _at_all_places(*names: str) -> Callable[[Asked], Change]:
    def change(asked: Asked) -> Change:
        """Return the members for each position, worked on or not."""
        return Change(positions={name: _members(asked.value, *names) for name in asked.places})

    return change


def _fitted(asked: Asked) -> Change:
    """Return the bearing to be fitted, which becomes the machine's own when the order is completed; or that the own one
    goes back in."""
    places = [name for name in asked.worked_places if name in asked.worked]
    if asked.value.get("refit"):
        return Change(refit=dict.fromkeys(places, True))
    bearing = normalised_bearing(asked.value["bearing"], "value/bearing")
    return Change(fitted=dict.fromkeys(places, bearing), refit=dict.fromkeys(places, False))


def _held(asked: Asked) -> Change:
    """Return who is held, which sides the nuts are on, where the drives are, which gap must be kept."""
    held = asked.value.get("locating")
    sides = {each["position"]: each["side"] for each in asked.value.get("locknut_sides", ())}
    for number, name in enumerate(sides):
        _check_known(name, asked.names, f"value/locknut_sides/{number}/position")
    found: dict[str, Document] = {name: {"locknut_side": side} for name, side in sides.items()}
    if held is not None:
        _check_known(held, asked.names, "value/locating")
        for name in asked.names:
            found[name] = {**found.get(name, {}), "role": LOCATING if name == held else FREE}
    return Change(positions=found, shaft=_members(asked.value, "drives", "process_gap"))


def _check_known(name: str, names: Sequence[str], path: str) -> None:
    if name not in names:
        said = f"{name!r} is not a position of this shaft; known are {', '.join(names)}"
        raise CannotEvaluate(said, code="unknown_position", field=path)


def _temperatures(asked: Asked) -> Change:
    at_rings = _members(asked.value, "temperature_difference", "shaft_bore")
    positions = {name: dict(at_rings) for name in asked.worked_places} if at_rings else {}
    return Change(positions=positions, shaft=_members(asked.value, "shaft", "base", "hollow"))


def _cap_torque(asked: Asked) -> Change:
    facts = {"cap_torque": asked.value["torque"], "cap_bolts": asked.value["bolts"]}
    return Change(positions={name: dict(facts) for name in asked.places})


def _book(asked: Asked) -> Change:
    return Change(books=True)


def _stop_limit(asked: Asked) -> Change:
    return Change(shaft=_members(asked.value, "stop_limit"))


def _at_hand(member: str, given: str) -> Callable[[Asked], Change]:
    def change(asked: Asked) -> Change:
        """Return what was answered for this order."""
        return Change(answers={member: asked.value[given]})

    return change


def _lifting(asked: Asked) -> Change:
    return Change(shaft=_members(asked.value, "rotor_mass"), answers={"lifting_plan": True})


def _inclination(asked: Asked) -> Change:
    """Return how the shaft lies; beyond what needs no asking it counts as answered with its maker's word only."""
    steep = abs(asked.value["inclination"].value) > ASK_FROM_DEG
    return Change(shaft=_members(asked.value, "inclination"), said=steep and "maker" in asked.value)


_CHANGES: Final[Mapping[str, Callable[[Asked], Change]]] = {
    "R1": _fitted,
    "R2": _at_places("seat", "sleeve_thread", "sleeve"),
    "R3": _at_places("shaft_diameter", "interference"),
    "R4": _at_all_places("housing"),
    "R5": _held,
    "R6": _temperatures,
    "R7": _at_all_places("speed", "radial_load", "load_direction"),
    "R8": _at_all_places("lubrication", "grease", "grease_fill"),
    "R9": _cap_torque,
    "R10": _at_all_places("base_movement", "base_torque", "base_bolts"),
    "R11": _book,
    "R12": _stop_limit,
    "R13": _at_hand("tools_at_hand", "at_hand"),
    "R14": _lifting,
    "R15": _at_places("in_the_way"),
    "R16": _inclination,
    "R17": _at_hand("parts_in_store", "in_store"),
}
QUESTIONS: Final = tuple(_CHANGES)


def with_facts(
    asset: Mapping[str, Any], shaft: str, change: Change, *, ids: Mapping[str, str] | None = None
) -> Document:
    """Return the machine with the facts of an answer; a body of shaft or base keeps the members not sent.

    Parameters
    ----------
    asset : dict
        The document of a machine
    shaft : str
        Name of the shaft that the order is about
    ids : mapping of name to id, or None
        Positions are known by their ids, where one has another name now
    """
    shafts = [_with_shaft_facts(each, change, ids or {}) if each["name"] == shaft else each for each in asset["shafts"]]
    return {**asset, "shafts": shafts}


def _with_shaft_facts(shaft: Mapping[str, Any], change: Change, ids: Mapping[str, str]) -> Document:
    by_id = {ids[name]: facts for name, facts in change.positions.items() if name in ids}
    positions = [
        {**each, **(by_id.get(each.get("id", "")) or ({} if ids else change.positions.get(each["name"], {})))}
        for each in shaft["positions"]
    ]
    own = {
        name: {**(shaft.get(name) or {}), **value} if name in ("shaft", "base") else value
        for name, value in change.shaft.items()
    }
    return {**shaft, **own, "positions": positions}


def with_answer(inputs: Mapping[str, Any], shaft: str, asked: Asked, change: Change) -> Document:
    """Return the inputs of a plan with an answer; equal to those before where it says nothing new."""
    positions = [
        {**each, "bearing": change.fitted[each["name"]]} if each["name"] in change.fitted else each
        for each in inputs["positions"]
    ]
    found = {**inputs, "asset": with_facts(inputs["asset"], shaft, change), "positions": positions}
    back = [name for name in inputs.get("refit_ordered") or () if change.refit.get(name, True)]
    back += [name for name, again in change.refit.items() if again and name not in back]
    if back != list(inputs.get("refit_ordered") or ()):
        found["refit_ordered"] = back
    if not change.answers and change.said is None:
        return found
    before = inputs.get("answers") or {}
    said = [list(each) for each in before.get("said", ()) if tuple(each) != (asked.question, asked.position)]
    said += [[asked.question, asked.position]] if change.said else []
    return {**found, "answers": {**before, **change.answers, **({"said": said} if said or "said" in before else {})}}
