"""The clearance window as a picture: what the bearing has, what to take away, what must be left, with which blades.

One vertical scale from zero, every height in proportion, labels beside it with the texts of the record. What is not
known is said in words and not drawn.
"""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from service.render.pictures.drawing import MARGIN, Box, Circle, Drawing, Line, Words, arrow, hatching
from service.render.pictures.svg import svg
from service.render.pictures.window_labels import Label, put_labels, room_of
from service.render.pictures.window_scale import Scale, scale_of
from service.render.pictures.words import Said, parts, stop_words
from service.units import Quantity
from service.words import UnitSystem

AXIS: Final = 58.0
RANGE: Final = (70.0, 96.0)
TAKE: Final = 112.0
_TAKE_AT: Final[Mapping[int, tuple[float, ...]]] = {0: (), 1: (TAKE,), 2: (TAKE - 5, TAKE + 5)}
LEAVE: Final = (130.0, 156.0)
BLADES: Final[Mapping[str, float]] = {"must_pass": 166.0, "target": 176.0, "must_not_pass": 186.0}
_BLADE_NAMES: Final = {
    "must_not_pass": "Blade must NOT pass",
    "target": "Blade passes with light drag",
    "must_pass": "Blade must pass",
}
_VERDICTS: Final = {"accept": "accepted", "recheck": "MEASURE AGAIN", "reject": "NOT ACCEPTED"}


def window_picture(target: Mapping[str, Any], *, units: UnitSystem, name: str = "clearance-window") -> str:
    """Return the picture of a clearance target as SVG; ``name`` keeps ids apart where pictures share a page."""
    return svg(window_drawing(target, units=units), name=name)


def window_drawing(target: Mapping[str, Any], *, units: UnitSystem) -> Drawing:
    """Return the picture of a clearance target (unit-neutral record), that of an order names its position."""
    said = Said(units)
    position = said(target["position"]) if target.get("position") else ""
    drawing = Drawing(f"Clearance window, {position}" if position else "Clearance window")
    drawing.paragraph(drawing.title, size=17, bold=True)
    if target["bearing"] is None:
        drawing.framed("Nothing to draw: the bearing is not on record. Read its marks and ask again.")
        drawing.height += MARGIN
        return drawing
    drawing.paragraph(said(_bearing_words(target["bearing"])), size=12)
    for words in _first_to_read(target):
        drawing.framed(said(words))
    _scaled(drawing, target, said)
    for sentence in (*_not_drawn(target), "Drawn to scale from zero."):
        drawing.paragraph(said(sentence), size=12)
    if target["sources"]:
        drawing.paragraph(said("From: " + "; ".join(each["title"] for each in target["sources"])), size=11)
    drawing.height += MARGIN
    return drawing


def _bearing_words(bearing: Mapping[str, Any]) -> tuple[Any, ...]:
    taper = "cylindrical bore" if bearing["taper"] == "cylindrical" else f"taper {bearing['taper']}"
    assumed = " (ASSUMED: read the mark on the ring)" if bearing["clearance_class_assumed"] else ""
    return (
        f"{bearing['designation'] or 'Bearing by dimensions'}, {bearing['type'].replace('_', ' ')}, bore ",
        bearing["bore"],
        f", {taper}, class {bearing['clearance_class']}{assumed}",
    )


def _first_to_read(target: Mapping[str, Any]) -> Iterator[tuple[Any, ...]]:
    """Yield what stands in a frame above the scale: what is blocked, refused or provisional."""
    for blocked in target["blocked"]:
        yield stop_words(blocked)
    measured, residual = target["measured"], target["residual_clearance"]
    if measured is not None and measured["verdict"] != "accept":
        fits = f" As measured it would be class {measured['fits_class']}." if measured.get("fits_class") else ""
        further = [part for name in ("detail", "next") if measured.get(name) for part in (" ", *parts(measured[name]))]
        yield (
            f"{_VERDICTS[measured['verdict']]}: the initial clearance measured lies outside its range.{fits}",
            *further,
        )
    if residual is not None and residual["provisional"] and target["bearing"]["type"] == "self_aligning_ball":
        yield (
            "Outer limits of the class. Judged by axial displacement and a ring that swivels freely, not by blades.",
        )
    elif residual is not None and residual["provisional"]:
        yield ("PROVISIONAL: outer limits over the whole range. Measure the initial clearance first.",)


def _not_drawn(target: Mapping[str, Any]) -> Iterator[str]:
    """Yield what is not in the picture, and why."""
    bearing, blades, measured = target["bearing"], target["blades"], target["measured"]
    if measured is None:
        yield "Not drawn: the initial clearance measured, not yet known."
    if target["reduction"] is None:
        if bearing["taper"] == "cylindrical":
            yield "Not drawn: what to take away and what to leave. A cylindrical bore has no taper; the fit decides."
        else:
            yield "Not drawn: what to take away and what to leave, not known. Open the bearing maker's book."
    elif target["residual_clearance"] is None:
        yield "Not drawn: a window. There is none for this reading."
    if blades is not None and not blades["resolves"]:
        yield "Not drawn: blades. This set cannot show the window: close on axial displacement or nut turn."
    elif blades is None and measured is not None and target["residual_clearance"] is not None:
        yield "Not drawn: blades. This bearing is judged by axial displacement or nut turn."


def _scaled(drawing: Drawing, target: Mapping[str, Any], said: Said) -> None:
    """Draw the scale with all that has a height on it."""
    labels = sorted(_labels(target, said), key=lambda each: -each.value_nm)
    if not labels:
        drawing.paragraph("Nothing to draw to scale: no clearance is known.")
        return
    top = drawing.height + 30
    bottom = top + max(300.0, room_of(labels))
    ends = [end_nm for pair in _arrows(target) for end_nm in pair]
    scale = scale_of([*(each.value_nm for each in labels), *ends], top=top, bottom=bottom, units=said.units)
    _axis(drawing, scale)
    _initial(drawing, scale, target)
    _taken(drawing, scale, target)
    _left(drawing, scale, target["residual_clearance"])
    _blades(drawing, scale, target["blades"])
    put_labels(drawing, scale, labels)
    drawing.height = bottom + 22


def _axis(drawing: Drawing, scale: Scale) -> None:
    drawing.add(Words(AXIS - 8, scale.top - 14, scale.unit, 12, True, "end", part="unit"))
    drawing.add(Line((AXIS, scale.top - 8), (AXIS, scale.bottom), 1.2, part="axis"))
    for tick_nm, number in scale.ticks():
        y = scale.y(tick_nm)
        drawing.add(Line((AXIS - 5, y), (AXIS, y), 1.2, part="tick"))
        drawing.add(Words(AXIS - 8, y + 4, number, 12, anchor="end", part="tick-number"))


def _initial(drawing: Drawing, scale: Scale, target: Mapping[str, Any]) -> None:
    initial, measured = target["initial_clearance"], target["measured"]
    left, right = RANGE
    if initial is not None:
        y = scale.y(initial["max"].value)
        height = scale.y(initial["min"].value) - y
        drawing.add(Box(left, y, right - left, height, "white", 1.6, part="initial"))
    if measured is not None:
        y = scale.y(measured["value"].value)
        drawing.add(Line((left - 6, y), (TAKE + 8, y), 3.0, part="measured"))


def _taken(drawing: Drawing, scale: Scale, target: Mapping[str, Any]) -> None:
    """Draw the reduction: one full arrow to the aim, or dashed ones for its limits where there is no aim."""
    ends = list(_arrows(target))
    reduction = target["reduction"]
    aimed = reduction is not None and reduction["aim"] is not None
    for x, (from_nm, to_nm) in zip(_TAKE_AT[len(ends)], ends, strict=True):
        dash = "" if aimed else "4 3"
        drawing.add(*arrow((x, scale.y(from_nm)), (x, scale.y(to_nm)), dash=dash, part="reduction"))


def _arrows(target: Mapping[str, Any]) -> Iterator[tuple[float, float]]:
    """Yield from where to where the reduction leads, [nm]."""
    reduction, measured, initial = target["reduction"], target["measured"], target["initial_clearance"]
    if reduction is None or (measured is None and initial is None):
        return
    least_nm, most_nm = reduction["min"].value, reduction["max"].value
    if measured is None:
        yield initial["max"].value, initial["max"].value - least_nm
        yield initial["min"].value, initial["min"].value - most_nm
    elif reduction["aim"] is not None:
        yield measured["value"].value, measured["value"].value - reduction["aim"].value
    elif measured["verdict"] == "accept":
        yield measured["value"].value, measured["value"].value - least_nm
        yield measured["value"].value, measured["value"].value - most_nm


def _left(drawing: Drawing, scale: Scale, residual: Mapping[str, Any] | None) -> None:
    """Draw the window, hatched, its aim, and the floor with what lies below it ruled out."""
    if residual is None:
        return
    left, right = LEAVE
    top, bottom = scale.y(residual["max"].value), scale.y(residual["min"].value)
    dash = "4 3" if residual["provisional"] else ""
    drawing.add(*hatching(left, top, right - left, bottom - top))
    drawing.add(Box(left, top, right - left, bottom - top, stroke=2.0, dash=dash, part="window"))
    if residual["aim"] is not None:
        y = scale.y(residual["aim"].value)
        drawing.add(Line((TAKE - 6, y), (right + 6, y), 4.0, part="aim"))
    if residual["floor"] is not None:
        y, zero = scale.y(residual["floor"].value), scale.y(max(scale.low_nm, 0.0))
        drawing.add(Line((AXIS, y), (BLADES["must_not_pass"] + 6, y), 2.0, "9 3", part="floor"))
        drawing.add(Box(left, y, right - left, zero - y, stroke=1.0, part="below-floor"))
        drawing.add(Line((left, y), (right, zero), 1.0), Line((right, y), (left, zero), 1.0))


def _blades(drawing: Drawing, scale: Scale, blades: Mapping[str, Any] | None) -> None:
    """Draw a full circle for the blade that passes with drag, an empty one and a cross for its neighbours."""
    for name, x in BLADES.items():
        stack = blades and blades[name]
        if not stack:
            continue
        y, part = scale.y(_together(stack)), f"blade-{name}"
        if name == "must_not_pass":
            drawing.add(Line((x - 4, y - 4), (x + 4, y + 4), 2.2, part=part))
            drawing.add(Line((x - 4, y + 4), (x + 4, y - 4), 2.2, part=part))
        else:
            drawing.add(Circle((x, y), 4.5, "black" if name == "target" else "white", part=part))


def _labels(target: Mapping[str, Any], said: Said) -> Iterator[Label]:
    """Yield every number of the picture with its name, where it stands on the scale and where its leader begins."""
    initial, measured, residual = target["initial_clearance"], target["measured"], target["residual_clearance"]
    if initial is not None:
        clearance_class = target["bearing"]["clearance_class"]
        for member, end in (("max", "largest"), ("min", "smallest")):
            yield _label(f"Initial, {end} of class {clearance_class}", initial[member], RANGE[1], said)
    if measured is not None:
        yield _label(f"Measured, {_VERDICTS[measured['verdict']]}", measured["value"], TAKE + 8, said)
    reduction, arrows = target["reduction"], list(_arrows(target))
    if reduction is not None and arrows:
        lines = [said(reduction["min"]), "to " + said(reduction["max"])]
        lines += [] if reduction["aim"] is None else ["aim " + said(reduction["aim"])]
        leader_from = _TAKE_AT[len(arrows)][0] + 3
        yield Label(sum(arrows[0]) / 2, "Take away (reduction)", tuple(lines), leader_from)
    if residual is not None:
        yield _label("Leave (residual), at most", residual["max"], LEAVE[1], said)
        yield _label("Leave (residual), at least", residual["min"], LEAVE[1], said)
        if residual["aim"] is not None:
            yield _label("Leave (residual), aim", residual["aim"], LEAVE[1] + 6, said)
        if residual["floor"] is not None:
            yield _label("Never below", residual["floor"], BLADES["must_not_pass"] + 6, said)
    for member, called in _BLADE_NAMES.items():
        stack = (target["blades"] or {}).get(member)
        if stack:
            words = " + ".join(said(blade) for blade in stack)
            yield Label(_together(stack), called, (words,), BLADES[member] + 5)


def _label(name: str, quantity: Quantity, leader_from: float, said: Said) -> Label:
    return Label(quantity.value, name, (said(quantity),), leader_from)


def _together(stack: list[Quantity]) -> float:
    return sum(blade.value for blade in stack)
