"""Replacements to come as a fan: the middle of the draws, and the range that holds most of them."""

from collections.abc import Sequence
from typing import Final

from service.reliability.replacement_forecast import ReplacementForecast
from service.render.pictures.drawing import Circle, Drawing, Line
from service.render.pictures.plots import DASHES, LEFT, RIGHT, Axis, axes, linear_ticks, path, shown
from service.render.pictures.svg import svg

HEIGHT: Final = 220.0


def forecast_picture(fan: Sequence[tuple[int, ReplacementForecast]], *, said: str, covers: str, level: float) -> str:
    """Return the forecast as SVG: replacements of all bearings in the next months.

    Parameters
    ----------
    fan : sequence of (months, ReplacementForecast)
        Horizons, the nearest first.
    said : str
        The forecast of the whole horizon in a sentence.
    covers : str
        What the numbers count.
    """
    drawing = Drawing(f"Replacements in the next {fan[-1][0]} months, all bearings that run")
    drawing.paragraph(drawing.title, size=14, bold=True)
    drawing.paragraph(said)
    ranges = [(float(months), one.total.replacements) for months, one in fan if one.total.replacements is not None]
    if not ranges:
        return svg(drawing, name="forecast")
    top = drawing.height + 26
    most = max(max(one.upper for _, one in ranges) * 1.1, 1.0)
    x, y = Axis(0.0, ranges[-1][0], LEFT, RIGHT), Axis(0.0, most, top + HEIGHT, top)
    months = [(one, shown(one)) for one in linear_ticks(0.0, x.high)]
    numbers = [(one, shown(one)) for one in linear_ticks(0.0, most)]
    axes(drawing, x=x, y=y, x_ticks=months, y_ticks=numbers, x_label="months from now", y_label="replacements")
    for name in ("lower", "median", "upper"):
        line = [(0.0, 0.0), *((at, float(getattr(one, name))) for at, one in ranges)]
        path(drawing, x, y, line, dash="" if name == "median" else DASHES, part=name)
    for at, one in ranges:
        drawing.add(Line((x.at(at), y.at(one.lower)), (x.at(at), y.at(one.upper)), 0.6, part="range"))
        drawing.add(Circle((x.at(at), y.at(one.median)), 2.5, fill="black", stroke=1.0, part="middle"))
        drawing.described.append(f"{at:g} months: {one.median} ({one.lower} to {one.upper})")
    drawing.paragraph(
        f"Full line: the middle of the draws. Dashed: {level:.0%} of them lie between. "
        f"Counted: {covers.replace('_', ' ')}.",
        size=11,
    )
    return svg(drawing, name="forecast")
