"""The forms of a card that is filled in: what is asked at each step, and from what was typed to a reading."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from service.instructions.closing import is_confirmable, is_stop
from service.instructions.readings.corrections import REASONS
from service.instructions.readings.hold_points import needed_kinds
from service.instructions.readings.readings import KINDS as READING_KINDS
from service.instructions.readings.readings import SWIVELS
from service.moments import rfc3339
from service.units import KINDS, UNITS
from service.words import CLEARANCE_CLASSES, CLEARANCE_READINGS

NAMES: Final = (
    "step", "kind", "position", "revision", "nonce", "taken_by", "one", "two", "unit", "done", "word", "series",
    "explanation", "replaces", "reason", "watcher", "withdraws",
)  # fmt: skip
"""Names of what a form sends; nothing else is taken, and each once but for those of ``SEVERAL``."""
SEVERAL: Final = ("word", "watcher", "withdraws")
_DIMENSIONS: Final[Mapping[str, str]] = {
    "initial_clearance": "clearance",
    "residual_clearance": "clearance",
    "axial_displacement": "displacement",
    "nut_turn": "angle",
    "cap_bolt_torque": "torque",
    "base_bolt_torque": "torque",
    "free_gap_before": "dimension",
    "free_gap": "dimension",
    "shaft_diameter": "dimension",
    "seat_spacing": "distance",
    "bearing_spacing": "distance",
    "stop_limit": "temperature",
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
    "run_in_temperature": (),
    "axial_displacement": (("one", "ring moved"),),
    "nut_turn": (("one", "nut turned"),),
    "free_gap_before": (("one", "gap"),),
    "free_gap": (("one", "gap"),),
    "cap_bolt_torque": (("one", "wrench"),),
    "base_bolt_torque": (("one", "wrench"),),
    "seat_spacing": (("one", "seat to seat"),),
    "bearing_spacing": (("one", "distance"),),
    "stop_limit": (("one", "stop at"),),
}
_WORDS: Final[Mapping[str, tuple[tuple[str, str], ...]]] = {
    "class_read": tuple((name, name) for name in CLEARANCE_CLASSES),
    "try_start": (("yes", "tried to start: nothing turned"), ("no", "it turned, or nobody tried")),
    "swivel": tuple((name, name.replace("_", " ")) for name in SWIVELS),
}
"""Answers that are one word out of a few, as they are sent and as they are read."""
MOST_LINES: Final = 200


class NotTyped(ValueError):
    """What was typed is not what is asked for."""


@dataclass(frozen=True, slots=True)
class Form:
    """One form of a step: the kind of reading, places to type in, units, words and positions to choose from.

    Parameters
    ----------
    places : tuple of (name, label)
        Where a number is typed
    words : tuple of (word, label)
        What is chosen from instead of a number; several of them where ``several``
    series : bool
        Whether lines of minute and temperature are typed, [-]
    watched : tuple of str
        Positions of which it is said who reads their temperature
    fractions : bool
        Whether a tape shows whole inches and a fraction, [-]
    """

    kind: str
    label: str
    places: tuple[tuple[str, str], ...]
    units: tuple[str, ...]
    unit: str
    positions: tuple[str, ...]
    words: tuple[tuple[str, str], ...] = ()
    several: bool = False
    series: bool = False
    watched: tuple[str, ...] = ()
    fractions: bool = False

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
    """Return the kinds of readings that a step takes, the one it asks for first; a line that asks for none is ticked.

    The gap that the last look rests on is read at its own step, the class at the parts check where there is one.
    """
    asked = (step["record"] or {}).get("kind")
    kinds = [asked] if asked in READING_KINDS else []
    if step["hold"] is not None:
        elsewhere = {
            (each["record"] or {}).get("kind") for each in plan["steps"] if each["number"] != step["number"]
        } - {"try_start"}
        for position in step["positions"] or [None]:
            for group in needed_kinds(step, position, plan):
                kinds += [kind for kind in group if kind not in kinds and kind not in elsewhere]
    return kinds or (["confirmation"] if is_confirmable(step) else [])


def _form(kind: str, step: Mapping[str, Any], plan: Mapping[str, Any], *, metric: bool) -> Form:
    positions = tuple(step["positions"])
    label = "Done and seen to be right" if kind == "confirmation" else kind.replace("_", " ")
    if kind == "rings_in":
        blocks = tuple((each["position"], each["position"]) for each in plan["bolting"])
        return Form(kind, "a ring lies in", (), (), "", (), blocks, several=True)
    if kind not in _DIMENSIONS:
        return Form(kind, label, (), (), "", positions, _WORDS.get(kind, ()))
    known = UNITS[KINDS[_DIMENSIONS[kind]].dimension]
    units = tuple(unit for unit in _ON_THE_CARD[KINDS[_DIMENSIONS[kind]].dimension] if unit in known)
    asked = (step["record"] or {}).get("unit")
    usual = asked if asked in units and (step["record"] or {}).get("kind") == kind else units[-1 if metric else 0]
    places = _PLACES.get(kind, (("one", "value"),))
    return Form(
        kind,
        label,
        places,
        units,
        usual,
        positions,
        series=kind == "run_in_temperature",
        watched=tuple(each["position"] for each in plan["bolting"]) if kind == "stop_limit" else (),
        fractions=_DIMENSIONS[kind] == "distance" and not metric,
    )


def typed(form: Mapping[str, list[str]]) -> dict[str, str]:
    """Return what was sent, each name once; several words stand in lines.

    Raises
    ------
    NotTyped
        A name that no form has, or one that stands twice.
    """
    for name, values in form.items():
        if name not in NAMES or (len(values) != 1 and name not in SEVERAL):
            raise NotTyped(f"{name[:40]} is not part of this card's forms")
    return {name: "\n".join(values).strip() for name, values in form.items()}


def reading_document(
    sent: Mapping[str, str], plan: Mapping[str, Any], *, revision: int | None, taken_at: datetime
) -> dict[str, Any]:
    """Return what was typed as the document of one reading, as ``POST .../readings`` takes it.

    Parameters
    ----------
    revision : int or None
        The revision of the card in hand; None where it is the one that an unsent reading makes
    taken_at : datetime
        When it was typed

    Raises
    ------
    NotTyped
        The step takes no such reading, a number or the name is missing or cannot be read.
    """
    step = next((each for each in plan["steps"] if each["id"] == sent.get("step")), None)
    forms = {} if step is None else {each.kind: each for each in forms_of(plan, metric=True).get(step["number"], [])}
    form = forms.get(sent.get("kind", ""))
    if step is None or form is None:
        raise NotTyped("this step of the card takes no such reading")
    if not sent.get("taken_by"):
        raise NotTyped("write your name: a reading names who took it")
    document: dict[str, Any] = {
        "kind": form.kind,
        "step": step["id"],
        "taken_at": rfc3339(taken_at),
        "taken_by": sent["taken_by"],
        **({} if revision is None else {"revision": revision}),
        **_place(form, sent),
        **_taking_back(sent),
    }
    return document | _values(form, sent) | _watchers(form, sent)


def _watchers(form: Form, sent: Mapping[str, str]) -> dict[str, Any]:
    """Return who reads which housing, where somebody was named."""
    names = sent.get("watcher", "").split("\n")
    named = [(place, name.strip()) for place, name in zip(form.watched, names, strict=False) if name.strip()]
    return {"watchers": [{"position": place, "person": name} for place, name in named]} if named else {}


def _place(form: Form, sent: Mapping[str, str]) -> dict[str, str]:
    """Return the position that was chosen; the only one where there is no choice."""
    if not form.positions:
        return {}
    position = form.positions[0] if len(form.positions) == 1 else sent.get("position")
    if position not in form.positions:
        raise NotTyped("say at which bearing it was read")
    return {"position": position}


def _taking_back(sent: Mapping[str, str]) -> dict[str, str]:
    """Return which reading is taken back, and why."""
    if not sent.get("replaces"):
        return {}
    if sent.get("reason") not in REASONS:
        raise NotTyped("say why the reading is taken back")
    return {"replaces": sent["replaces"], "reason": sent["reason"]}


def _values(form: Form, sent: Mapping[str, str]) -> dict[str, Any]:
    if form.confirms:
        if sent.get("done") != "yes":
            raise NotTyped("tick the box when it is done and seen to be right")
        return {"values": [{"value": True}]}
    if form.words:
        return _answer(form, [word for word in sent.get("word", "").split("\n") if word])
    unit = sent.get("unit", "")
    if unit not in form.units:
        raise NotTyped("choose the unit that your instrument shows")
    if form.series:
        explained = {"explanation": sent["explanation"]} if sent.get("explanation") else {}
        return {"series": _series(sent.get("series", ""), unit), **explained}
    numbers = {name: number_typed(sent.get(name, ""), label) for name, label in form.places}
    quantities = [{"value": number, "unit": unit} for number in numbers.values()]
    if form.kind in CLEARANCE_READINGS:
        rows = [{"value": quantity, "row": row} for row, quantity in enumerate(quantities, start=1)]
        return {"values": rows, "method": "blades"}
    return {"values": [{"value": quantity} for quantity in quantities]}


def _answer(form: Form, words: list[str]) -> dict[str, Any]:
    """Return the words that were chosen; in no block lies a ring where none was."""
    known = [word for word, _ in form.words]
    if any(word not in known for word in words) or (not form.several and len(words) != 1):
        raise NotTyped("choose one of the answers")
    value: Callable[[str], Any] = (lambda word: word == "yes") if form.kind == "try_start" else str
    return {"values": [{"value": value(word)} for word in words]}


def _series(text: str, unit: str) -> list[dict[str, Any]]:
    """Return lines of minute and temperature as the pairs of a series."""
    lines = [line.split() for line in text.splitlines() if line.strip()]
    if not lines:
        raise NotTyped("write a line for each reading: minutes since the start, a space, the temperature")
    if len(lines) > MOST_LINES:
        raise NotTyped(f"{len(lines)} lines; at most {MOST_LINES} are taken")
    pairs = []
    for number, words in enumerate(lines, start=1):
        if len(words) != 2:
            raise NotTyped(f"line {number}: write minutes since the start, a space, the temperature")
        minute, temperature = (number_typed(word, f"line {number}") for word in words)
        pairs.append({"minute": minute, "temperature": {"value": temperature, "unit": unit}})
    return pairs


def number_typed(text: str, label: str) -> float:
    """Return the number that was typed; a comma is the decimal sign of many keyboards."""
    plain = text.replace(",", ".") if text.count(",") == 1 and "." not in text else text
    if "/" in plain:
        return _fraction(plain, label)
    if not plain:
        raise NotTyped(f"{label}: write the number; where nothing passes, write 0")
    if not (plain.isascii() and plain.replace(".", "", 1).replace("-", "", 1).isdigit() and len(plain) <= 20):
        raise NotTyped(f"{label}: {text[:20]!r} is not a number")
    return float(plain)


def _fraction(text: str, label: str) -> float:
    """Return whole inches and a fraction as a tape shows them: ``117 13/32``; parts of a power of two up to 64."""
    whole, _, share = text.rpartition(" ")
    above, _, below = share.partition("/")
    if not all(part.isascii() and part.isdigit() for part in (whole or "0", above, below)) or len(text) > 20:
        raise NotTyped(f"{label}: {text[:20]!r} is not a number")
    if int(below) not in (2, 4, 8, 16, 32, 64) or int(above) >= int(below):
        raise NotTyped(f"{label}: {share[:12]!r} is no fraction of a tape; parts are 2, 4, 8, 16, 32, 64")
    return int(whole or "0") + int(above) / int(below)


def last_readings(plan: Mapping[str, Any], rows: Iterable[Any]) -> dict[int, list[Any]]:
    """Return the last readings of each step, one of each kind at each position; a later one of a kind counts.

    A reading belongs to the step that it names, else to the steps that ask for its kind at its position.
    """
    found: dict[int, dict[tuple[str, str | None], Any]] = {}
    for row in rows:
        for step in plan["steps"]:
            if _is_of(row, step):
                found.setdefault(step["number"], {})[row.kind, row.position] = row
    return {number: list(by_place.values()) for number, by_place in found.items()}


def _is_of(row: Any, step: Mapping[str, Any]) -> bool:
    here = not step["positions"] or row.position in step["positions"]
    if row.step is not None:
        return bool(here and row.step == step["id"])
    return bool(here and (step["record"] or {}).get("kind") == row.kind)
