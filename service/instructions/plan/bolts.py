"""Bolts and torque wrenches as documents describe them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from service.bolting.book import Bolt
from service.bolting.lubrication import Lubrication, lubrication_of
from service.bolting.wrench import Wrench
from service.errors import ServiceError
from service.reference.bolts import bolt_grade, thread


@dataclass(frozen=True, slots=True)
class FittedBolts:
    """Bolts as they are fitted, and the state of their threads; None when that was not said."""

    bolt: Bolt
    lubrication: Lubrication | None = None


def fitted_bolts(facts: Mapping[str, Any] | None, path: str) -> FittedBolts | None:
    """Return the bolts that {thread, grade?, count?, lubrication?} describes; None for None.

    Raises
    ------
    CannotEvaluate
        Thread or grade is unknown, or the grade is not made in this size; the field lies below ``path``.
    """
    if facts is None:
        return None
    try:
        of = thread(facts["thread"], "thread")
        if facts.get("grade") is not None:
            bolt_grade(facts["grade"], of, "grade")
        given = facts.get("lubrication")
        state = None if given is None else lubrication_of(given)
    except ServiceError as error:
        raise error.below(path) from None
    return FittedBolts(Bolt(of.name, facts.get("grade"), facts.get("count")), state)


def wrench_of(facts: Mapping[str, Any] | None) -> Wrench | None:
    """Return the wrench that {min, max, length?, adapter_length?, adapter_angle?} describes; None for None."""
    if facts is None:
        return None
    lengths = {name: None if facts.get(name) is None else facts[name].value for name in _LENGTHS}
    return Wrench(
        min_n_m=facts["min"].value,
        max_n_m=facts["max"].value,
        length_mm=lengths["length"],
        adapter_length_mm=lengths["adapter_length"],
        adapter_angle_deg=lengths["adapter_angle"],
    )


_LENGTHS = ("length", "adapter_length", "adapter_angle")
