"""Pictures of a machine: its shafts, the time line of its stays, measured clearances in their windows."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, Final

from markupsafe import Markup

from service.errors import Text
from service.render.desk.plots import Bar, Plot, listed, number_ticks, percent_axis, time_line, upright_axis, year_ticks
from service.render.desk.words import END_WORDS, hours
from service.render.markup import drawn
from service.render.pictures.shaft import shaft_picture
from service.render.present import quantity, quantity_text, text
from service.units import Quantity
from service.words import UnitSystem

HEIGHT: Final = 190.0
ShaftLine = tuple[Mapping[str, Any], Mapping[str, Any] | None, Text]
"""The document of a shaft, what was decided about it, and the sentence that says why nothing was."""
FEWEST: Final = 1


def shaft_pictures(lines: Sequence[ShaftLine], tag: str, units: UnitSystem) -> list[tuple[str, Markup | None, str]]:
    """Return name, picture and sentence of each shaft; no picture where nothing can be decided."""
    return [_shaft(number, line, tag, units) for number, line in enumerate(lines)]


def _shaft(number: int, line: ShaftLine, tag: str, units: UnitSystem) -> tuple[str, Markup | None, str]:
    document, decided, why = line
    name = str(document["name"])
    if decided is None:
        return name, None, text(why, units)
    picture = shaft_picture(
        decided,
        supports=document["positions"],
        drives=document.get("drives") or (),
        wheels=document.get("wheels") or (),
        units=units,
        shaft=f"{tag}, {name}",
        name=f"shaft-{number}",
    )
    return name, drawn(picture), ""


def machine_time_line(
    order: Sequence[str], stays: Sequence[Mapping[str, Any]], as_of: datetime, units: UnitSystem
) -> Markup:
    """Return the time line of a machine, its positions in their order."""
    rows = [(name, [_bar(one, units) for one in stays if one["position"] == name]) for name in order]
    return time_line([row for row in rows if row[1]], as_of=as_of)


def _bar(stay: Mapping[str, Any], units: UnitSystem) -> Bar:
    return Bar(stay["installed_at"], stay["removed_at"], stay["end_type"], stay["designation"], stay_said(stay, units))


def stay_said(stay: Mapping[str, Any], units: UnitSystem) -> str:
    """Return what is said of a stay where it is pointed at."""
    ended = "today" if stay["removed_at"] is None else f"{stay['removed_at']:%Y-%m-%d}"
    left = None if stay["residual"] is None else f"left {quantity_text(stay['residual'], units)}"
    age = None if stay["age_h"] is None else f"age {hours(stay['age_h'])}"
    what = f"{stay['designation']}, {stay['installed_at']:%Y-%m-%d} to {ended}"
    return listed((what, END_WORDS.get(stay["end_type"]), age, left))


def clearance_plot(
    position: str, stays: Sequence[Mapping[str, Any]], units: UnitSystem
) -> Iterator[tuple[str, Markup]]:
    """Yield the residual clearances of a position over time, each in its window; nothing where none was read."""
    read = [one for one in stays if one["position"] == position and one["residual"] is not None]
    if len(read) < FEWEST:
        return
    values = [
        _value(one[name], units) for one in read for name in ("residual", "window_min", "window_max") if one[name]
    ]
    begin = min(one["installed_at"] for one in read).timestamp()
    end = max(one["installed_at"] for one in read).timestamp()
    spare = max((end - begin) * 0.04, 30 * 86_400)
    x = percent_axis(begin - spare, end + spare)
    low, high = 0.0, max(values) * 1.15
    plot = Plot(
        f"Residual clearance left at {position}, by the day of fitting", x, upright_axis(low, high, HEIGHT), HEIGHT
    )
    unit = quantity(read[0]["residual"], units)["unit"]
    plot.frame(year_ticks(x.low, x.high), number_ticks(low, high), "fitted", f"left, {unit}")
    for one in read:
        _draw_reading(plot, one, units)
    yield position, plot.svg()


def _draw_reading(plot: Plot, stay: Mapping[str, Any], units: UnitSystem) -> None:
    at, value = stay["installed_at"].timestamp(), _value(stay["residual"], units)
    said = f"{stay['installed_at']:%Y-%m-%d}: left {quantity_text(stay['residual'], units)}"
    if stay["window_min"] is not None and stay["window_max"] is not None:
        low, high = stay["window_min"], stay["window_max"]
        window: Text = (", window ", low, " to ", high)
        said += text(window, units)
        plot.upright(at, _value(low, units), _value(high, units), said, "window")
    outside = stay["place"] in ("below", "above")
    said += f"; {END_WORDS.get(stay['end_type'])}" + (f", {stay['place']} its window" if outside else "")
    (plot.cross if outside else plot.dot)((at, value), said)


def _value(given: Quantity, units: UnitSystem) -> float:
    return float(quantity(given, units)["value"])
