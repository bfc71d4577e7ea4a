"""The strips of the card, in plain words: per bearing what to measure and leave, which bearing is held, the bolts.

Only what a mechanic needs stands here; every other figure of the plan follows at the end, see ``card_annex``.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from service.errors import Text
from service.render.card.plain_text import Writer
from service.units import Quantity

Row = tuple[str, Text]
UNKNOWN: Final = "not known: bearing maker's book"
NOT_BY_BLADES: Final = "not by blades: the outer ring turns and swivels freely"
_BLADE_LABELS: Final = {
    "target": "BLADE light drag",
    "must_pass": "  must pass",
    "must_not_pass": "  must NOT pass",
}
ROLE_WORDS: Final = {
    "locating": "LOCATING (held)",
    "free": "FREE (must be able to move)",
    None: "role open: not decided",
}
_RING_PLACES: Final = {
    "against_shoulder_opposite_nut": ", on the locknut side, bearing against the shoulder opposite the locknut",
    "between_rings": ", one each side, bearing centred between them",
}
_CONFIDENCE: Final = {
    "single_publication": "one publication only: confirm it in the housing maker's book",
    "agreed": "publications agree",
    "site_chart": "from the site's chart",
    "given": "as given",
}


def target_lines(writer: Writer, target: Mapping[str, Any]) -> list[str]:
    """Return the strip of one bearing: initial and measured clearance, reduction, window, blades, witnesses."""
    return [line for label, text in target_rows(target) for line in _row(writer, label, text)]


def target_rows(target: Mapping[str, Any]) -> Iterator[Row]:
    """Yield the rows of one bearing."""
    bearing = target["bearing"]
    yield "Bearing", bearing_text(bearing) if bearing else "not on record: read the marks"
    measured = target["measured"]
    yield "Initial clearance", bounds(target["initial_clearance"]) or "not known"
    ball = is_ball(target)
    yield (
        "  measured",
        measured_text(measured) if measured else NOT_BY_BLADES if ball else "________ row 1, ________ row 2",
    )
    reduction, residual = target["reduction"], target["residual_clearance"]
    yield "Take away", with_aim(reduction) or UNKNOWN
    if residual is None:
        yield "LEAVE (residual)", unknown_residual(target)
    else:
        lead = ("outer limits: " if ball else "outer limits, measure first: ") if residual.get("provisional") else ""
        yield "LEAVE (residual)", (lead, *with_aim(residual))
        if residual.get("floor") is not None:
            yield "  never below", (residual["floor"],)
    yield from blade_rows(target["blades"])
    if target["axial_displacement"] is not None:
        yield "Axial displacement", bounds(target["axial_displacement"])
    if target["nut_turn"] is not None:
        yield "Nut turn", (*bounds(target["nut_turn"]), f", thread {target['nut_turn'].get('thread')}")


def is_ball(target: Mapping[str, Any]) -> bool:
    """Return whether the bearing is one that blades do not judge (rule C6)."""
    return bool(target["bearing"] and target["bearing"]["type"] == "self_aligning_ball")


def unknown_residual(target: Mapping[str, Any]) -> str:
    """Return why a bearing has no window of residual clearance."""
    if target["blocked"]:
        return "STOP: no window, see above"
    measured = target["measured"]
    if measured and measured["verdict"] != "accept":
        return "no window: measure the initial clearance again"
    return UNKNOWN


def bearing_text(bearing: Mapping[str, Any]) -> Text:
    """Return designation, type, taper, class and sizes."""
    parts: list[Any] = [f"{bearing['designation'] or 'by dimensions'}, {bearing['type'].replace('_', ' ')}"]
    straight = bearing["taper"] == "cylindrical"
    parts += [
        ", cylindrical bore" if straight else f", taper {bearing['taper']}",
        f", class {bearing['clearance_class']}",
    ]
    if bearing.get("clearance_class_assumed"):
        parts.append(" (ASSUMED: read the ring)")
    for name, label in (("bore", "bore"), ("outside_diameter", "outside"), ("width", "width")):
        if bearing.get(name) is not None:
            parts += [f", {label} ", bearing[name]]
    if bearing.get("unread_suffixes"):
        parts.append(f", not read: {' '.join(bearing['unread_suffixes'])}")
    return tuple(parts)


def measured_text(measured: Mapping[str, Any]) -> Text:
    """Return the initial clearance as measured, and what it is worth."""
    parts: list[Any] = [measured["value"], f", {measured['verdict']}"]
    if measured.get("fits_class"):
        parts.append(f", fits class {measured['fits_class']}")
    return tuple(parts)


def blade_rows(blades: Mapping[str, Any] | None) -> Iterator[Row]:
    """Yield the blades by their stamp: the one with light drag, the one that passes, the one that does not."""
    if blades is None:
        return
    if not blades["resolves"]:
        yield "Blades", "this set cannot show the window: close on displacement or nut turn"
        return
    for name, label in _BLADE_LABELS.items():
        if blades.get(name):
            yield label, stack(blades[name])


def support_lines(writer: Writer, support: Mapping[str, Any], held: str | None) -> list[str]:
    """Return the strip of one support: held or free, rings, how it is set, how far it moves; ``held`` holds."""
    role = ROLE_WORDS.get(support["role"], support["role"])
    lines = writer.lines((f"{support['name']}: {role}: ", *_parts(support["reason"])), rest="  ")
    return [*lines, *(line for label, text in support_rows(support, held) for line in _row(writer, label, text))]


def support_rows(support: Mapping[str, Any], held: str | None) -> Iterator[Row]:
    """Yield the rows of one support: rings, setting, growth, travel; the question where its role is open."""
    if not support["role"]:
        yield "  Answer first", support["decision"]["question"] or ""
        return
    rings = support["locating_rings"]
    if rings is None:
        yield "  Rings", "count and width not known yet"
    elif rings["count"] == 0:
        yield "  Rings", "none; the outer ring slides in its seat by hand"
    else:
        width = (", width ", rings["width"]) if rings["width"] is not None else ()
        yield "  Rings", (str(rings["count"]), *width, _RING_PLACES.get(support["setting"], ""))
    if support["role"] != "free":
        return
    yield "  Set it", _setting_text(support, held)
    gap = (support["expansion"] or {}).get("setting_gap")
    if gap is not None:
        side = _way(support, gap["side"], held).replace("towards ", "")
        yield "  Gap to shoulder", (gap["aim"], f" facing {side}; limits ", gap["min"], " to ", gap["max"])
    if support["growth"] is not None:
        yield "  Moves when hot", (support["growth"], " ", _way(support, support["direction"], held))
    travel = support["travel"]
    if travel is not None:
        limited = ", limited by the seals" if travel["limited_by"] == "seals" else ""
        yield "  Travel in all", (travel["total"], limited)


def _setting_text(support: Mapping[str, Any], held: str | None) -> Text:
    offset = support["offset"]
    if offset is not None:
        way = _way(support, offset["direction"], held)
        return (offset["aim"], f" off the middle, {way} (", offset["min"], " to ", offset["max"], ", our calculation)")
    if support["setting"] != "centred":
        return "not like this: see STOP"
    correction = ((support["expansion"] or {}).get("setting_correction") or {}).get("correction")
    if correction is None or correction.value == 0:
        return "in the middle of its seat"
    return "in the middle of its seat at assembly temperature; the gap allows for the shaft as it is now"


def _way(support: Mapping[str, Any], direction: str | None, held: str | None) -> str:
    """Return plus or minus as seen from the held bearing."""
    outward = ((support["expansion"] or {}).get("setting_correction") or {}).get("direction")
    if direction not in ("plus", "minus") or outward is None or held is None:
        return "to neither side" if direction == "none" else f"towards {direction}"
    return f"{'away from' if direction == outward else 'towards'} {held}"


def bolting_lines(writer: Writer, bolting: Mapping[str, Any]) -> list[str]:
    """Return the strip of the cap bolts of one block, without its name: torque, bolts, stages, order, wrench."""
    return [line for label, text in bolting_rows(bolting) for line in _row(writer, label, text)]


def bolting_rows(bolting: Mapping[str, Any]) -> Iterator[Row]:
    """Yield the rows of the cap bolts of one block."""
    torque = bolting["torque"]
    if torque is None:
        yield "  Torque", "not known: housing maker's book, never computed from the bolt"
    else:
        yield "  Torque", (torque, f", {_CONFIDENCE.get(bolting['confidence'], bolting['confidence'])}")
    if bolting["bolt"] is not None:
        yield "  Bolts", _bolt_text(bolting["bolt"])
    if bolting["stages"]:
        over = any(each["code"] == "over_proof" for each in bolting["blocked"])
        first = ("STOP: this torque overloads the bolt; ",) if over else ()
        yield "  Stages", (*first, *_parts(_stages_text(bolting["stages"])))
    if bolting["sequence"]:
        yield "  Order", ", ".join(bolting["sequence"])
    wrench = bolting["wrench"]
    if wrench is not None and wrench["suitable"]:
        yield "  Wrench", ("set to ", wrench["first_setting"], " first, then to ", wrench["setting"])
    elif wrench is not None and wrench["needed"] is not None:
        yield "  Wrench", ("does NOT suit; needed: usable from ", *bounds(wrench["needed"]))


def base_bolt_lines(writer: Writer, base: Mapping[str, Any]) -> list[str]:
    """Return the strip of the base bolts of one block, without its name."""
    return [line for label, text in base_bolt_rows(base) for line in _row(writer, label, text)]


def base_bolt_rows(base: Mapping[str, Any]) -> Iterator[Row]:
    """Yield the rows of the base bolts of one block."""
    torque = base["torque"]
    yield "  Torque", "housing maker's book" if torque is None else (torque, ", computed; housing maker's book first")
    yield "  Bolts", _bolt_text(base)


def _bolt_text(bolt: Mapping[str, Any]) -> str:
    count = f"{bolt['count']} x " if bolt["count"] is not None else ""
    return f"{count}{bolt['thread']}, {'grade ' + bolt['grade'] if bolt['grade'] else 'grade not known: read the head'}"


def _stages_text(stages: Sequence[Mapping[str, Any]]) -> Text:
    parts: list[Any] = ["hand-tight"]
    for number, stage in enumerate(stages):
        last = number == len(stages) - 1 and stage["torque"] == stages[number - 1]["torque"] and number > 0
        parts += ["; again"] if last else [f"; {stage['percent']} % ", stage["torque"]]
    return (*parts, ", until nothing turns")


def _row(writer: Writer, label: str, text: Text) -> Iterator[str]:
    wide = writer.width >= 60
    first = f"{label:<20} " if wide else f"{label}: "
    yield from writer.lines(text, first=first, rest=" " * 21 if wide else "    ")


def bounds(given: Mapping[str, Any] | None) -> tuple[Any, ...]:
    """Return ``min to max``; nothing when either is not known."""
    if given is None or given.get("min") is None or given.get("max") is None:
        return ()
    return (given["min"], " to ", given["max"])


def with_aim(given: Mapping[str, Any] | None) -> tuple[Any, ...]:
    """Return ``min to max, aim``; nothing when the limits are not known."""
    aim = None if given is None else given.get("aim")
    return (*bounds(given), *((", aim ", aim) if aim is not None else ()))


def stack(blades: Sequence[Quantity]) -> Text:
    """Return the blades of one stack."""
    parts: list[Any] = []
    for blade in blades:
        parts += [" + " if parts else "", blade]
    return tuple(parts)


def _parts(text: Any) -> tuple[Any, ...]:
    return text if isinstance(text, tuple) else (text,)
