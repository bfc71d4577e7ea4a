"""Answering a question of readiness on the phone: its places, and what was typed as the value that the API takes."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from service.api.cards.forms import NotTyped, number_typed
from service.api.wire.objects import MATERIALS
from service.words import BASE_MOVEMENTS, LOAD_DIRECTIONS, LUBRICATIONS, SEATS, UNIT_SYSTEMS

YES_NO: Final = (("yes", "yes"), ("no", "no"))


@dataclass(frozen=True, slots=True)
class Place:
    """A place of a form: a number with its unit, a word out of a few, lines of words, or words.

    Parameters
    ----------
    name : str
        Where it goes in the value; a point leads into an object
    units : tuple of str
        For a number: of inch sites first, then metric
    lines : bool
        Each line is one item, [-]
    """

    name: str
    label: str
    choices: tuple[tuple[str, str], ...] = ()
    units: tuple[str, ...] = ()
    lines: bool = False
    needed: bool = False


def _words(values: Sequence[str]) -> tuple[tuple[str, str], ...]:
    return tuple((each, each.replace("_", " ")) for each in values)


_LENGTH: Final = ("in", "mm")
_WARMTH: Final = ("degF", "degC")
_TORQUE: Final = ("lbf.ft", "N.m")
_MASS: Final = ("lb", "kg")
_BOLTS: Final = (
    ("thread", "thread: M16, 3/4-10 UNC"),
    ("grade", "grade: 8.8, SAE J429 5"),
)
_THREADS: Final = _words(("dry", "oiled", "anti_seize", "unknown"))
_AT_HAND: Final = "what is lacking, one a line"
_PLACES: Final[Mapping[str, tuple[Place, ...]]] = {
    "R1": (Place("bearing.designation", "designation, as on box and ring", needed=True),),
    "R2": (
        Place("seat", "seat", _words(SEATS), needed=True),
        Place("sleeve_thread", "sleeve thread", _words(UNIT_SYSTEMS)),
        Place("sleeve", "sleeve, by its name"),
    ),
    "R3": (Place("shaft_diameter", "shaft diameter", units=_LENGTH, needed=True),),
    "R4": (
        Place("housing.size", "housing size: 516", needed=True),
        Place("housing.dimensions", "series", _words(UNIT_SYSTEMS), needed=True),
        Place("housing.seat_design", "seat, where the two differ", _words(("narrow_seat", "wide_seat"))),
    ),
    "R6": (
        Place("shaft.material", "shaft is of", _words(MATERIALS)),
        Place("shaft.temperature", "shaft in service", units=_WARMTH),
        Place("base.material", "base is of", _words(MATERIALS)),
        Place("base.temperature", "base in service", units=_WARMTH),
        Place("temperature_difference", "inner ring warmer by", units=("degF_diff", "K")),
        Place("hollow", "shaft is hollow", YES_NO),
    ),
    "R7": (
        Place("speed", "speed", units=("rpm",)),
        Place("radial_load", "load on the bearing", units=("lbf", "N", "kN")),
        Place("load_direction", "load goes", _words(LOAD_DIRECTIONS)),
    ),
    "R8": (
        Place("lubrication", "lubrication", _words(LUBRICATIONS), needed=True),
        Place("grease", "its name on the plan", needed=True),
        Place("grease_fill", "for this housing, by its book", units=("g", "oz")),
    ),
    "R9": (
        Place("torque", "cap torque, by the housing maker's book", units=_TORQUE, needed=True),
        *(Place(f"bolts.{name}", label, needed=name == "thread") for name, label in _BOLTS),
        Place("bolts.lubrication", "threads are", _THREADS),
    ),
    "R10": (
        Place("base_movement", "base", _words(BASE_MOVEMENTS)),
        Place("base_torque", "base torque, by the book", units=_TORQUE),
        *(Place(f"base_bolts.{name}", f"base bolts, {label}") for name, label in _BOLTS),
    ),
    "R11": (Place("chart", "name of the chart that was entered", needed=True),),
    "R12": (Place("stop_limit", "stop the machine at", units=_WARMTH, needed=True),),
    "R13": (
        Place("at_hand", "all at hand", YES_NO, needed=True),
        Place("lacking", _AT_HAND, lines=True),
    ),
    "R14": (
        Place("rotor_mass", "mass of what is lifted", units=_MASS, needed=True),
        Place("lifting_plan", "lifting plan, number or where it hangs", needed=True),
        Place("isolation_points", "isolation points, one a line", lines=True, needed=True),
        Place("permits", "permits, one a line", lines=True),
    ),
    "R15": (
        Place("nothing", "in the way", (("nothing", "nothing"), ("these", "these:")), needed=True),
        Place("keyed", "on a key, one a line", lines=True),
        Place("loose", "without a key, one a line", lines=True),
    ),
    "R16": (
        Place("inclination", "angle to the horizontal; 0 lies flat", units=("deg",), needed=True),
        Place("maker", "over 15 deg: what the bearing maker said"),
    ),
    "R17": (
        Place("in_store", "all in the store", YES_NO, needed=True),
        Place("lacking", _AT_HAND, lines=True),
    ),
}


def places_of(question: str, *, names: Sequence[str], sides: Mapping[str, str], metric: bool) -> tuple[Place, ...]:
    """Return the places of a question's form, the units of the site first.

    Parameters
    ----------
    names : sequence of str, shape (n,)
        The positions of the shaft
    sides : mapping
        What ``minus`` and ``plus`` are called at this machine
    """
    given = _PLACES[question] if question != "R5" else tuple(_held(names, sides))
    if not metric:
        return given
    return tuple(
        Place(each.name, each.label, each.choices, tuple(reversed(each.units)), each.lines, each.needed)
        for each in given
    )


def _held(names: Sequence[str], sides: Mapping[str, str]) -> Iterator[Place]:
    yield Place("locating", "held is", _words(names))
    for number, name in enumerate(names):
        ways = tuple((way, sides[way]) for way in ("minus", "plus"))
        yield Place(f"side-{number}", f"nut of {name} is at", ways)


def answer_value(question: str, sent: Mapping[str, str], places: Sequence[Place], names: Sequence[str]) -> Any:
    """Return what was typed as the value of an answer.

    Raises
    ------
    NotTyped
        A place that must be filled is empty, a number or a word cannot be read.
    """
    found: dict[str, Any] = {}
    for place in places:
        value = _typed(place, sent)
        if value is None:
            if place.needed:
                raise NotTyped(f"{place.label}: say it, or leave the question to the office")
            continue
        *above, last = place.name.split(".")
        inside = found
        for each in above:
            inside = inside.setdefault(each, {})
        inside[last] = value
    if question == "R5":
        return _sided(found, names)
    return _in_the_way(found) if question == "R15" else found


def _typed(place: Place, sent: Mapping[str, str]) -> Any:
    text = sent.get(place.name, "").strip()
    if not text:
        return None
    if place.units:
        unit = sent.get(f"{place.name}-unit", place.units[0])
        if unit not in place.units:
            raise NotTyped(f"{place.label}: choose the unit")
        return {"value": number_typed(text, place.label), "unit": unit}
    if place.choices:
        if text not in [word for word, _ in place.choices]:
            raise NotTyped(f"{place.label}: choose one of the answers")
        return text == "yes" if place.choices == YES_NO else text
    return [line.strip() for line in text.splitlines() if line.strip()] if place.lines else text


def _sided(found: dict[str, Any], names: Sequence[str]) -> dict[str, Any]:
    """Return who is held, and the sides of the nuts by position."""
    sides = [
        {"position": name, "side": found.pop(f"side-{number}")}
        for number, name in enumerate(names)
        if f"side-{number}" in found
    ]
    return {**found, **({"locknut_sides": sides} if sides else {})}


def _in_the_way(found: dict[str, Any]) -> dict[str, Any]:
    """Return what is in the way; that nothing is must be said, not left empty."""
    named = [{"name": each, "keyed": keyed} for member, keyed in (("keyed", True), ("loose", False))
             for each in found.get(member, ())]  # fmt: skip
    if (found["nothing"] == "nothing") == bool(named):
        raise NotTyped("in the way: choose nothing, or name what is")
    return {"in_the_way": named}


def names_of(plan: Mapping[str, Any]) -> list[str]:
    """Return the positions of the shaft of a plan."""
    return [each["position"] for each in plan["bolting"]]


def sides_of(plan: Mapping[str, Any]) -> dict[str, str]:
    """Return what ``minus`` and ``plus`` are called at this machine: by the support that stands last that way."""
    names = [each["name"] for each in (plan["arrangement"] or {}).get("supports", ())] or ["minus", "plus"]
    return {"minus": _side(names[0]), "plus": _side(names[-1])}


def _side(name: str) -> str:
    return name if name.lower().endswith("side") else f"{name} side"
