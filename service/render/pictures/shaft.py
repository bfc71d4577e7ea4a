"""The shaft line as a picture: supports and drives in their places, what is held, what must move and how far.

Above, the shaft with its supports numbered from the minus end; below, each support in its seat with its words.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from service.render.pictures.drawing import MARGIN, Drawing, Line
from service.render.pictures.seat_sketch import SKETCH_HEIGHT, seat_sketch
from service.render.pictures.shaft_overview import Attached, Station, overview
from service.render.pictures.svg import svg
from service.render.pictures.words import Said, parts, stop_words
from service.words import UnitSystem

TEXT_LEFT: Final = 160.0
MOST_IN_FULL: Final = 4
"""Supports on a shaft line whose words take a line each; with more, the picture would not go on one sheet."""
ROLE_WORDS: Final = {
    "locating": "LOCATING (held)",
    "free": "FREE (must be able to move)",
    None: "ROLE OPEN: not decided",
}
_SETTINGS: Final = {
    "against_shoulder_opposite_nut": "set against the shoulder opposite the nut",
    "between_rings": "set between its rings",
    "centred": "set centred in its seat",
}


def shaft_picture(
    arrangement: Mapping[str, Any] | None,
    *,
    supports: Iterable[Mapping[str, Any]],
    drives: Iterable[Mapping[str, Any]],
    wheels: Iterable[Mapping[str, Any]] = (),
    units: UnitSystem,
    shaft: str = "",
    name: str = "shaft-line",
) -> str:
    """Return the picture of an arrangement as SVG; ``name`` keeps ids apart where pictures share a page."""
    drawing = shaft_drawing(arrangement, supports=supports, drives=drives, wheels=wheels, units=units, shaft=shaft)
    return svg(drawing, name=name)


def shaft_drawing(
    arrangement: Mapping[str, Any] | None,
    *,
    supports: Iterable[Mapping[str, Any]],
    drives: Iterable[Mapping[str, Any]],
    wheels: Iterable[Mapping[str, Any]] = (),
    units: UnitSystem,
    shaft: str = "",
) -> Drawing:
    """Return the picture of an arrangement.

    Parameters
    ----------
    arrangement : dict or None
        The unit-neutral record; None where none was decided.
    supports, drives, wheels : iterable of dict
        What stands on the shaft as it was given: {name, at, holds_axial_position}, {kind, at}, {name, at}.
    shaft : str
        Name of the shaft, written above the picture.
    """
    said = Said(units)
    drawing = Drawing(said(f"Shaft line, {shaft}") if shaft else "Shaft line")
    drawing.paragraph(drawing.title, size=17, bold=True)
    if arrangement is None:
        drawing.framed("Nothing to draw: no arrangement was decided for this shaft.")
        drawing.height += MARGIN
        return drawing
    for blocked in arrangement["blocked"]:
        drawing.framed(said(stop_words(blocked)))
    stations = _stations(arrangement, supports)
    attached = [Attached(each["kind"], each["kind"], each.get("at")) for each in drives]
    attached += [Attached("wheel", f"wheel {each.get('name') or ''}".rstrip(), each.get("at")) for each in wheels]
    overview(drawing, stations, attached, said)
    for station in stations:
        _row(drawing, station, said, brief=len(stations) > MOST_IN_FULL)
    drawing.height += 10
    drawing.paragraph(
        "Beside a free bearing, gaps and arrow are to one scale, bearing and rings are not; "
        "what is dashed is not known and not to scale.",
        size=11,
    )
    if arrangement["sources"]:
        drawing.paragraph(said("From: " + "; ".join(each["title"] for each in arrangement["sources"])), size=11)
    drawing.height += MARGIN
    return drawing


def _stations(arrangement: Mapping[str, Any], supports: Iterable[Mapping[str, Any]]) -> list[Station]:
    """Return the supports numbered along the shaft; those whose place is not known stand last, as given."""
    given = {each["name"]: each for each in supports}
    placed = [(given.get(each["name"], {}), each) for each in arrangement["supports"]]
    placed.sort(key=lambda pair: (pair[0].get("at") is None, pair[0]["at"].value if pair[0].get("at") else 0.0))
    return [
        Station(number, facts.get("at"), bool(facts.get("holds_axial_position")), answer)
        for number, (facts, answer) in enumerate(placed, start=1)
    ]


def _row(drawing: Drawing, station: Station, said: Said, *, brief: bool) -> None:
    """Draw one support in its seat, and say what is decided about it, in brief only where and how far it moves."""
    drawing.height += 8
    top = drawing.height
    drawing.add(Line((MARGIN, top), (440 - MARGIN, top), 0.7))
    drawing.height += 4
    drawing.paragraph(said(f"{station.number} {station.answer['name']}"), size=14, bold=True, left=TEXT_LEFT)
    drawing.paragraph(ROLE_WORDS[station.answer["role"]], size=12.5, bold=True, left=TEXT_LEFT)
    for sentence in _sentences(station, brief=brief):
        drawing.paragraph(said(sentence), size=12, left=TEXT_LEFT)
    seat_sketch(drawing, station.answer, top + 10)
    drawing.height = max(drawing.height, top + 10 + SKETCH_HEIGHT)


def _sentences(station: Station, *, brief: bool) -> Iterator[tuple[Any, ...]]:
    answer = station.answer
    yield ("place not known",) if station.at is None else ("at ", station.at)
    if answer["decision"]["question"] is not None:
        yield ("to decide: ", *parts(answer["decision"]["question"]))
    if station.holds:
        yield ("the process needs the shaft held here",)
    if answer["role"] == "free":
        yield _growth(answer)
        yield from _travel(answer, brief=brief)
    if answer["role"] is not None:
        yield from _setting(answer, brief=brief)
    if answer["role"] is not None and not (brief and answer["role"] == "free"):
        yield from _rings(answer)
    if not brief:
        yield ("why: ", *parts(answer["reason"]), f" (rule {answer['rule']})")


def _growth(answer: Mapping[str, Any]) -> tuple[Any, ...]:
    if answer["growth"] is None:
        return ("growth not known",)
    if answer["direction"] == "none":
        return ("does not move in service",)
    return ("moves ", answer["growth"], f" to {answer['direction']}")


def _travel(answer: Mapping[str, Any], *, brief: bool) -> Iterator[tuple[Any, ...]]:
    travel = answer["travel"]
    if travel is None:
        yield ("travel in its seat not known",)
        return
    if not brief or travel["needed"] is None:
        limit = "travel that the seals allow " if travel.get("limited_by") == "seals" else "travel in its seat "
        yield (limit, travel["total"])
    if travel["needed"] is not None:
        yield ("needed ", travel["needed"])
    if travel["available"] is not None:
        yield ("available ", travel["available"])


def _setting(answer: Mapping[str, Any], *, brief: bool) -> Iterator[tuple[Any, ...]]:
    offset = answer["offset"]
    if offset is not None:
        yield ("offset ", offset["aim"], f" to {offset['direction']}")
        if not brief:
            yield ("at least ", offset["min"])
            yield ("at most ", offset["max"])
    elif answer["setting"] in _SETTINGS:
        yield (_SETTINGS[answer["setting"]],)
    gap = (answer["expansion"] or {}).get("setting_gap")
    if gap is not None and not brief:
        yield (f"gap to leave on the {gap['side']} side ", gap["aim"])


def _rings(answer: Mapping[str, Any]) -> Iterator[tuple[Any, ...]]:
    rings = answer["locating_rings"]
    if rings is None:
        yield ("locating rings not known",)
    elif rings["count"] == 0:
        yield ("no locating ring",)
    else:
        yield (_COUNTS[rings["count"]] + _sides(rings["count"], answer["ring_sides"]),)
        if rings["width"] is not None:
            yield ("width of each " if rings["count"] > 1 else "its width ", rings["width"])


_COUNTS: Final = {1: "one locating ring", 2: "two locating rings"}


def _sides(count: int, sides: list[str]) -> str:
    if count == 2:
        return ", one on each side"
    return f", on the {sides[0]} side" if sides else ", on the locknut side (which side: not known)"
