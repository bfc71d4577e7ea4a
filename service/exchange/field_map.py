"""A field map: expressions by target, in (their work order to our request) and out (our answer to their shape)."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final

from service.exchange.expressions import BadExpression, Evaluation, Expression
from service.exchange.functions import MappingFault

ALWAYS_REQUIRED: Final = ("external/system", "external/number", "asset", "positions")
"""Targets that every order needs; a map need not name them as required."""
MOST_UNMAPPED: Final = 100
MOST_FAULTS: Final = 100


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a map or with what it made: the target, a code and a sentence."""

    target: str
    code: str
    detail: str

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        return {"pointer": f"#/{self.target}", "code": self.code, "detail": self.detail}


@dataclass(frozen=True, slots=True)
class Mapped:
    """What a direction made of a message; ``faults`` empty when every expression and required target held."""

    result: dict[str, Any]
    faults: tuple[Fault, ...]
    unmapped: list[str]


@dataclass(frozen=True, slots=True)
class Direction:
    """One direction of a map."""

    targets: dict[str, Expression]
    required: tuple[str, ...]

    def mapped(self, message: Any, tables: dict[str, dict[str, Any]]) -> Mapped:
        """Return what the expressions make of the message."""
        evaluation = Evaluation(message, tables)
        result: dict[str, Any] = {}
        faults: list[Fault] = []
        for target, expression in self.targets.items():
            try:
                _put(result, target.split("/"), evaluation.value_of(expression))
            except MappingFault as fault:
                faults.append(Fault(target, fault.code, fault.detail))
                if fault.code == "too_much_work":
                    break
        failed = {fault.target for fault in faults}
        for wanted in self.required:
            if any(wanted == target or wanted.startswith(f"{target}/") for target in failed):
                continue
            places = _nulls(result, wanted.split("/"))
            faults += [Fault(each, "required_target", "is required and came out as null") for each in places]
        unmapped = evaluation.reads.unread(message)[:MOST_UNMAPPED]
        return Mapped(_without_nulls(result), tuple(faults[:MOST_FAULTS]), unmapped)


@dataclass(frozen=True, slots=True)
class FieldMap:
    """A compiled map."""

    inbound: Direction
    outbound: Direction | None
    tables: dict[str, dict[str, Any]] = field(default_factory=dict)

    def request_of(self, message: Any) -> Mapped:
        """Return our work-order request of a message of theirs."""
        return self.inbound.mapped(message, self.tables)

    def reply_of(self, answer: Mapping[str, Any]) -> Mapped | None:
        """Return their shape of our answer, None when the map has none."""
        return None if self.outbound is None else self.outbound.mapped(answer, self.tables)


def faults_of(document: Mapping[str, Any]) -> list[Fault]:
    """Return what is wrong with a map before it has seen a message: expressions, and targets inside one another."""
    found: list[Fault] = []
    for name in ("inbound", "outbound"):
        targets = document.get(name, {}).get("targets", {})
        for target, text in targets.items():
            place = f"{name}/targets/{target.replace('~', '~0').replace('/', '~1')}"
            try:
                Expression(text)
            except BadExpression as error:
                found.append(Fault(place, "bad_expression", str(error)))
            inside = f"{slashed(target)}/"
            if any(slashed(other).startswith(inside) or _twice(target, other) for other in targets):
                found.append(Fault(place, "target_overlaps", "another target lies inside this one, or is the same"))
    return found


def field_map(document: Mapping[str, Any]) -> FieldMap:
    """Return the compiled map of a document without faults; the same document is compiled once in a process."""
    return _compiled(
        json.dumps({name: document[name] for name in ("inbound", "outbound", "tables") if name in document})
    )


@lru_cache(maxsize=256)
def _compiled(text: str) -> FieldMap:
    document = json.loads(text)
    outbound = document.get("outbound")
    return FieldMap(
        inbound=_direction(document["inbound"], ALWAYS_REQUIRED),
        outbound=None if outbound is None else _direction(outbound, ()),
        tables=document.get("tables", {}),
    )


def slashed(target: str) -> str:
    """Return a target with slashes between its names: a dot nests as a slash does."""
    return target.replace(".", "/")


def _twice(target: str, other: str) -> bool:
    return target != other and slashed(target) == slashed(other)


def _direction(document: Mapping[str, Any], always: tuple[str, ...]) -> Direction:
    targets = {slashed(target): Expression(text) for target, text in document["targets"].items()}
    required = (slashed(target) for target in document.get("required", ()))
    return Direction(targets, tuple(dict.fromkeys((*always, *required))))


def _put(result: dict[str, Any], path: list[str], value: Any) -> None:
    for name in path[:-1]:
        result = result.setdefault(name, {})
    result[path[-1]] = value


def _nulls(value: Any, path: list[str], done: str = "") -> Iterator[str]:
    """Yield where a required path ends in nothing; ``*`` stands for each element of an array."""
    if not path:
        if value is None:
            yield done
        return
    name, rest = path[0], path[1:]
    if name == "*":
        for number, below in enumerate(value if isinstance(value, list) else ()):
            yield from _nulls(below, rest, f"{done}/{number}" if done else str(number))
        return
    below = value.get(name) if isinstance(value, dict) else None
    place = f"{done}/{name}" if done else name
    if below is None:
        yield place
    else:
        yield from _nulls(below, rest, place)


def _without_nulls(value: Any) -> Any:
    """Return the value without members that are null: a path that leads nowhere is a member that is not there."""
    if isinstance(value, dict):
        return {name: _without_nulls(below) for name, below in value.items() if below is not None}
    if isinstance(value, list):
        return [_without_nulls(below) for below in value]
    return value
