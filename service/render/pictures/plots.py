"""Axes, ticks and steps for plots of the history: black and white, one column wide, numbers beside every tick."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from service.render.pictures.drawing import MARGIN, WIDTH, Box, Drawing, Line, Point, Words

LEFT: Final = 62.0
RIGHT: Final = WIDTH - MARGIN - 8
TICK_SIZE: Final = 11.0
DASHES: Final = "4 3"
Transform = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Axis:
    """One direction of a plot: from a value to a place. ``transform`` makes of it what is even along the axis."""

    low: float
    high: float
    begin: float
    end: float
    transform: Transform = float

    def at(self, value: float) -> float:
        """Return the place of a value, held inside the axis, [-]."""
        held = min(max(value, self.low), self.high)
        low, high = self.transform(self.low), self.transform(self.high)
        return self.begin + (self.transform(held) - low) / (high - low) * (self.end - self.begin)

    def holds(self, value: float) -> bool:
        """Return whether a value lies on the axis."""
        return self.low <= value <= self.high


def linear_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Return round values from one end to the other, [-]."""
    step = _round_step((high - low) / most)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [number * step for number in range(first, last + 1)]


def log_ticks(low: float, high: float, most: int = 9) -> list[float]:
    """Return powers of ten between two values, and 2 and 5 times them where there is room, [-]."""
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    for parts in ((1, 2, 5), (1, 3), (1,)):
        found = [part * 10.0**power for power in range(first, last + 1) for part in parts]
        found = [one for one in found if low * 0.999 <= one <= high * 1.001]
        if len(found) <= most:
            return found
    return found


def shown(value: float) -> str:
    """Return a number of a tick, without noise and without exponent."""
    return f"{value:.6g}" if 1e-4 <= abs(value) < 1e6 or value == 0 else f"{value:,.0f}".replace(",", " ")


def axes(
    drawing: Drawing,
    *,
    x: Axis,
    y: Axis,
    x_ticks: Sequence[tuple[float, str]],
    y_ticks: Sequence[tuple[float, str]],
    x_label: str,
    y_label: str,
) -> None:
    """Draw the frame of a plot with its ticks; the label of the upright axis stands over it."""
    top, bottom = min(y.begin, y.end), max(y.begin, y.end)
    drawing.add(Box(x.begin, top, x.end - x.begin, bottom - top, part="frame"))
    for value, words in y_ticks:
        place = y.at(value)
        drawing.add(Line((x.begin - 4, place), (x.begin, place)), Line((x.begin, place), (x.end, place), 0.3, "1 3"))
        drawing.add(Words(x.begin - 7, place + TICK_SIZE * 0.35, words, TICK_SIZE, anchor="end", part="y-tick"))
    room = float("-inf")
    for value, words in x_ticks:
        place = x.at(value)
        drawing.add(Line((place, bottom), (place, bottom + 4)), Line((place, top), (place, bottom), 0.3, "1 3"))
        label = Words(place, bottom + 16, words, TICK_SIZE, anchor="middle", part="x-tick")
        if label.bounds[0] > room:
            drawing.add(label)
            room = label.bounds[2] + 6
    drawing.add(Words((x.begin + x.end) / 2, bottom + 32, x_label, TICK_SIZE, anchor="middle", part="x-label"))
    drawing.add(Words(MARGIN, top - 8, y_label, TICK_SIZE, part="y-label"))
    drawing.height = bottom + 40


def steps(
    drawing: Drawing,
    x: Axis,
    y: Axis,
    points: Sequence[Point],
    *,
    start: float,
    end: float,
    thin: bool = False,
    part: str = "",
) -> None:
    """Draw a line that is level between points and jumps at them, from ``start`` at the axis's low end to ``end``."""
    before = (x.low, start)
    width = 0.8 if thin else 1.8
    for at, value in points:
        drawing.add(Line((x.at(before[0]), y.at(before[1])), (x.at(at), y.at(before[1])), width, part=part))
        drawing.add(Line((x.at(at), y.at(before[1])), (x.at(at), y.at(value)), width, part=part))
        before = (at, value)
    drawing.add(Line((x.at(before[0]), y.at(before[1])), (x.at(end), y.at(before[1])), width, part=part))


def path(drawing: Drawing, x: Axis, y: Axis, points: Sequence[Point], *, dash: str = "", part: str = "") -> None:
    """Draw a line through points, those parts of it that lie inside the plot."""
    width = 1.0 if dash else 1.8
    for (x1, y1), (x2, y2) in pairwise(points):
        if x.holds(x1) and x.holds(x2) and y.holds(y1) and y.holds(y2):
            drawing.add(Line((x.at(x1), y.at(y1)), (x.at(x2), y.at(y2)), width, dash, part))


def _round_step(step: float) -> float:
    power = 10.0 ** math.floor(math.log10(step))
    return next(part * power for part in (1, 2, 2.5, 5, 10) if part * power >= step * 0.999)
