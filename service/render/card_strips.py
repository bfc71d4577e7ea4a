"""The strips of the card: per bearing the numbers that matter, then arrangement and cap bolts.

What has no line of its own is printed under its name, so that a number of the record is never left out.
"""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from service.errors import Text
from service.render.plain_text import BOUND, Writer
from service.units import Quantity

_FINDINGS: Final = ("missing", "blocked", "warnings", "sources", "position", "name")
_BLADE_LABELS: Final = {
    "target": "BLADE light drag",
    "must_pass": "  must pass",
    "must_not_pass": "  must NOT pass",
}
_FIT_LABELS: Final = {
    "interference": "Fit: interference",
    "contact_pressure": "  pressure",
    "bore_hoop_stress": "  hoop stress",
}
_ROLE_WORDS: Final = {
    "locating": "LOCATING (held)",
    "free": "FREE (must be able to move)",
    None: "role open: not decided",
}


def target_lines(writer: Writer, target: Mapping[str, Any]) -> Iterator[str]:
    """Yield the strip of one bearing: initial and measured clearance, reduction, window, blades, witnesses."""
    lines = [line for label, text in _target_rows(target) for line in _row(writer, label, text)]
    yield from lines
    yield from _rest(writer, target, lines)


def _target_rows(target: Mapping[str, Any]) -> Iterator[tuple[str, Text]]:
    bearing = target["bearing"]
    yield "Bearing", _bearing_text(bearing) if bearing else "not on record: read the marks"
    initial, measured = target["initial_clearance"], target["measured"]
    yield "Initial clearance", _bounds(initial) or "not known"
    yield "  measured", _measured_text(measured) if measured else "________ row 1, ________ row 2"
    reduction, residual = target["reduction"], target["residual_clearance"]
    yield "Take away", _with_aim(reduction) or "not known: bearing maker's book"
    if reduction and reduction.get("band_in_print"):
        yield "  handbooks print", _bounds(reduction["band_in_print"])
    if residual is None:
        yield "LEAVE (residual)", "not known: bearing maker's book"
    else:
        lead = "outer limits, measure first: " if residual.get("provisional") else ""
        yield "LEAVE (residual)", (lead, *_with_aim(residual))
        if residual.get("floor") is not None:
            yield "  never below", (residual["floor"],)
    yield from _blade_rows(target["blades"])
    yield from _witness_rows(target)


def _bearing_text(bearing: Mapping[str, Any]) -> Text:
    parts: list[Any] = [bearing["designation"] or "by dimensions", f", {bearing['type'].replace('_', ' ')}"]
    if bearing.get("series"):
        parts.append(f", series {bearing['series']}")
    parts += [f", taper {bearing['taper']}, class {bearing['clearance_class']}"]
    if bearing.get("clearance_class_assumed"):
        parts.append(" (ASSUMED: read the ring)")
    for name, label in (("bore", "bore"), ("outside_diameter", "outside"), ("width", "width")):
        if bearing.get(name) is not None:
            parts += [f", {label} ", bearing[name]]
    if bearing.get("unread_suffixes"):
        parts.append(f", not read: {' '.join(bearing['unread_suffixes'])}")
    return tuple(parts)


def _measured_text(measured: Mapping[str, Any]) -> Text:
    parts: list[Any] = [measured["value"], f", {measured['verdict']}"]
    if measured.get("fits_class"):
        parts.append(f", fits class {measured['fits_class']}")
    return tuple(parts)


def _blade_rows(blades: Mapping[str, Any] | None) -> Iterator[tuple[str, Text]]:
    if blades is None:
        return
    if not blades["resolves"]:
        yield "Blades", "this set cannot show the window: close on displacement or nut turn"
        return
    for name, label in _BLADE_LABELS.items():
        if blades.get(name):
            yield label, _stack(blades[name])


def _witness_rows(target: Mapping[str, Any]) -> Iterator[tuple[str, Text]]:
    displacement, nut_turn = target["axial_displacement"], target["nut_turn"]
    if displacement is not None:
        yield "Axial displacement", _bounds(displacement)
        if displacement.get("elastic"):
            yield "  elastic theory", _bounds(displacement["elastic"])
    if nut_turn is not None:
        yield "Nut turn", (*_bounds(nut_turn), f", thread {nut_turn.get('thread')}")
    for name, label in _FIT_LABELS.items():
        if (target["fit"] or {}).get(name):
            yield label, _bounds(target["fit"][name])
    cited = dict.fromkeys(each for each in _cited(target) if each)
    if cited:
        yield "From", ", ".join(cited)


def arrangement_lines(writer: Writer, arrangement: Mapping[str, Any]) -> Iterator[str]:
    """Yield each support with role, reason, rings, setting, growth and travel."""
    lines: list[str] = []
    for support in arrangement["supports"]:
        mine = list(writer.lines(_support_text(support), rest="  "))
        lines += [*mine, *_rest(writer, support, mine, lead="  ")]
    yield from lines
    yield from _rest(writer, {key: value for key, value in arrangement.items() if key != "supports"}, lines)


def _support_text(support: Mapping[str, Any]) -> Text:
    parts: list[Any] = [f"{support['name']}: {_ROLE_WORDS.get(support['role'], support['role'])}"]
    parts += [", ", *_parts(support["reason"]), f" (rule {support['rule']})"]
    rings = support.get("locating_rings")
    if rings and rings.get("count") is not None:
        parts.append(f"; locating rings {rings['count']}")
        if rings.get("width") is not None:
            parts += [" of ", rings["width"]]
    if support.get("setting"):
        parts.append(f"; {support['setting'].replace('_', ' ')}")
    if support.get("growth") is not None:
        parts += ["; grows ", support["growth"], f", direction {support['direction']}"]
    travel = support.get("travel")
    if travel:
        for name in ("total", "needed", "available"):
            if travel.get(name) is not None:
                parts += [f"; travel {name} ", travel[name]]
    return tuple(parts)


def bolting_lines(writer: Writer, bolting: Mapping[str, Any]) -> Iterator[str]:
    """Yield cap torque with its confidence, stages and order."""
    parts: list[Any] = [f"{bolting['position']}: "]
    if bolting["torque"] is None:
        parts.append("torque not known: housing maker's book, never computed from the bolt")
    else:
        parts += [bolting["torque"], f" ({bolting['confidence'].replace('_', ' ')})"]
    for stage in bolting.get("stages") or ():
        parts += [f"; {stage['percent']} %"]
        if stage.get("torque") is not None:
            parts += [" ", stage["torque"]]
    lines = list(writer.lines(tuple(parts), rest="  "))
    yield from lines
    yield from _rest(writer, bolting, lines, lead="  ")


def _row(writer: Writer, label: str, text: Text) -> Iterator[str]:
    wide = writer.width >= 60
    first = f"{label:<20} " if wide else f"{label}: "
    yield from writer.lines(text, first=first, rest=" " * 21 if wide else "    ")


def _cited(target: Mapping[str, Any]) -> Iterator[str | None]:
    """Yield the ids of the sources that the members of a target name."""
    for member in target.values():
        if isinstance(member, dict):
            yield member.get("source")
            yield member.get("floor_source")


def _bounds(bounds: Mapping[str, Any] | None) -> tuple[Any, ...]:
    if bounds is None or bounds.get("min") is None or bounds.get("max") is None:
        return ()
    return (bounds["min"], " to ", bounds["max"])


def _with_aim(bounds: Mapping[str, Any] | None) -> tuple[Any, ...]:
    aim = None if bounds is None else bounds.get("aim")
    return (*_bounds(bounds), *((", aim ", aim) if aim is not None else ()))


def _stack(blades: list[Quantity]) -> Text:
    parts: list[Any] = []
    for blade in blades:
        parts += [" + " if parts else "", blade]
    return tuple(parts)


def _parts(text: Any) -> tuple[Any, ...]:
    return text if isinstance(text, tuple) else (text,)


def _rest(writer: Writer, record: Mapping[str, Any], lines: list[str], lead: str = "") -> Iterator[str]:
    """Yield every value of the record that the lines do not hold yet, under its name."""
    printed = " ".join(" ".join(lines).replace(BOUND, " ").split())
    for path, value in _leaves({key: each for key, each in record.items() if key not in _FINDINGS}):
        words = writer.words(value.replace("_", " ") if isinstance(value, str) else value)
        if " ".join(words.replace(BOUND, " ").split()) not in printed:
            label = " ".join(part.replace("_", " ") for part in path)
            yield from writer.lines((f"{label}: ", *_parts(value)), first=lead, rest=f"{lead}  ")


def _leaves(node: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Yield the values below a node: quantities, texts, words and numbers; neither null nor yes and no."""
    if isinstance(node, dict):
        for key, value in node.items():
            yield from _leaves(value, (*path, key))
    elif isinstance(node, list):
        for value in node:
            yield from _leaves(value, path)
    elif isinstance(node, int | float) and not isinstance(node, bool):
        yield path, f"{node:.6g}"
    elif isinstance(node, Quantity | str | tuple) and node != "":
        yield path, node
