"""The bearing itself as the drawings show it: cut along the shaft, and seen along the shaft."""

from collections.abc import Iterator
from math import cos, radians, sin
from typing import Final

from service.render.pictures.drawing import Mark, Point
from service.render.pictures.steps.pen import HEAVY, OUTLINE, THIN, arc, bow, circle, curve, line, outline

HALF_WIDTH: Final = 16.5
BORE: Final = 40.0
OUTSIDE: Final = 70.0
"""Half width, bore and outside radius of the bearing that is drawn; it stands for every size."""
_BALLS: Final = (7.6, 54.2, 6.6)


def section(x: float, bore_y: float, scale: float, *, lift: Point = (0.0, 0.0), balls: bool = False) -> Iterator[Mark]:
    """Yield the upper half of a double-row bearing cut along the shaft.

    Parameters
    ----------
    x, bore_y : float
        Middle of the bearing, and the height of its bore line
    lift : (float, float)
        How far the bore line lies higher at the left and at the right, to lie on a taper that is drawn too steep
    balls : bool
        A self-aligning ball bearing, else a spherical roller bearing
    """

    def at(z: float, r: float) -> Point:
        return x + z * scale, bore_y - (r - BORE) * scale

    half, rim = HALF_WIDTH, 59.8
    inside = bow(at(half, rim), at(0.0, 69.0), at(-half, rim))
    yield outline((at(-half, rim), at(-half, OUTSIDE), at(half, OUTSIDE), at(half, rim), *inside), OUTLINE)
    edge = ((14.5, 45.5), (1.6, 48.6), (-1.6, 48.6), (-14.5, 45.5))
    ring = ((-half, BORE + lift[0]), (half, BORE + lift[1]), (half, 45.5), *edge, (-half, 45.5))
    yield outline((at(z, r) for z, r in ring), OUTLINE)
    for side in (-1, 1):
        if balls:
            z, r, radius = _BALLS
            yield circle(*at(side * z, r), radius * scale, OUTLINE)
        else:
            yield outline((at(z, r) for z, r in _roller(side)), OUTLINE)


def _roller(side: int) -> tuple[Point, ...]:
    """Return the barrel of one row, tilted to its side: bowed above and below."""
    tilt, length, thick = radians(13), 5.7, 6.0

    def of(u: float, v: float) -> Point:
        return side * (8.0 + u * cos(tilt) + v * sin(tilt)), 53.4 - u * sin(tilt) + v * cos(tilt)

    upper = bow(of(-length, thick - 0.8), of(0.0, thick + 0.9), of(length, thick - 0.8))
    lower = bow(of(length, 0.8 - thick), of(0.0, -thick - 0.9), of(-length, 0.8 - thick))
    return (*upper, *lower)


def end_view(x: float, y: float, radius: float, *, gap_on_top: bool, shaft: bool) -> Iterator[Mark]:
    """Yield a bearing seen along the shaft; the gap is drawn far too large, on top or at the bottom."""
    sense = 1 if gap_on_top else -1
    inner = y + sense * radius * 0.055
    yield circle(x, y, radius)
    yield circle(x, y, radius * 0.83)
    for count in range(14):
        turn = radians(360 / 14 * count - 90)
        place = x + radius * 0.66 * cos(turn), inner + radius * 0.66 * sin(turn)
        yield circle(*place, radius * 0.115, THIN)
    yield circle(x, inner, radius * 0.53)
    yield circle(x, inner, radius * 0.38, OUTLINE if shaft else THIN)
    if shaft:
        for way in (-1, 1):
            reach = radius * 0.26
            yield line(x - reach, inner - way * reach, x + reach, inner + way * reach, THIN)
    start = 262.0 if gap_on_top else 82.0
    yield curve(((px, py) for px, py in arc(x, y, radius * 0.80, start - 6, start + 22)), HEAVY, part="blade")
