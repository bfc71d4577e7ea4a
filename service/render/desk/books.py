"""A chart beside the built-in table as a picture: how many times the built-in value each of its values is."""

import math
from collections.abc import Sequence
from typing import Final

from markupsafe import Markup

from service.render.desk.plots import Plot, percent_axis, ratio_ticks
from service.render.desk.words import plain
from service.render.pictures.plots import Axis

Beside = tuple[str, str, float]
"""Of a row: its bores in words, what is compared, the ratio to the built-in table."""
ROW: Final = 30.0
MOST_ROWS: Final = 60


def differences_plot(found: Sequence[Beside]) -> Markup | None:
    """Return the ratios of a chart to the built-in table; None where nothing of it can be compared."""
    drawn = list(found[:MOST_ROWS])
    if not drawn:
        return None
    low = min([0.5, *(ratio / 1.1 for _, _, ratio in drawn)])
    high = max([2.0, *(ratio * 1.1 for _, _, ratio in drawn)])
    height = ROW * len(drawn)
    x = percent_axis(low, high, math.log)
    plot = Plot(
        "The chart beside the built-in table; the table below has it in words",
        x,
        Axis(0.0, float(len(drawn)), 0.0, height),
        height,
    )
    plot.frame(ratio_ticks(low, high), [], "times the built-in table", "")
    plot.upright(1.0, 0.0, float(len(drawn)), "as the built-in table", "one")
    for row, (bores, what, ratio) in enumerate(drawn):
        said = f"{bores}, {what}: {plain(ratio)} times the built-in table"
        plot.words((low, row), f"{bores}, {what}", "row", 19.0)
        plot.level(row + 0.5, min(ratio, 1.0), max(ratio, 1.0), said, "range")
        plot.dot((ratio, row + 0.5), said, "dot", 5.0)
    return plot.svg()
