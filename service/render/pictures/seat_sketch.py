"""One bearing in its seat: the rings that hold it, or the gaps into which it must be able to move.

A bearing is drawn as ISO 8826-1 draws any rolling bearing, a rectangle with an upright cross; minus is left.
"""

from collections.abc import Mapping
from typing import Any, Final

from service.render.pictures.drawing import MARGIN, Box, Drawing, Line, Words, arrow

SKETCH_HEIGHT: Final = 88.0
CENTRE: Final = 80.0
HALF: Final = 17.0
RING: Final = 9.0
MOST_GAP: Final = 34.0
MOST_ARROW: Final = 42.0
UNKNOWN_GAP: Final = 22.0
UNKNOWN_ARROW: Final = 15.0


def seat_sketch(drawing: Drawing, answer: Mapping[str, Any], top: float) -> None:
    """Draw a support of an arrangement in its seat, the shaft above it."""
    role = answer["role"]
    _shaft(drawing, top)
    if role == "locating":
        _held(drawing, answer, top)
    elif role == "free":
        _free(drawing, answer, top)
    else:
        _seat(drawing, CENTRE - HALF - UNKNOWN_GAP, CENTRE + HALF + UNKNOWN_GAP, top, "4 3")
        drawing.add(Box(CENTRE - HALF, top + 12, 2 * HALF, 36, "white", 1.4, "4 3", part="bearing"))
        drawing.add(Words(CENTRE, top + 37, "?", 20, True, "middle", part="question"))
    drawing.add(Words(MARGIN, top + 82, "minus", 11, part="side"))
    drawing.add(Words(2 * CENTRE - MARGIN, top + 82, "plus", 11, anchor="end", part="side"))


def _shaft(drawing: Drawing, top: float) -> None:
    left, right = MARGIN, 2 * CENTRE - MARGIN
    drawing.add(Line((left, top), (right, top), 1.2), Line((left, top + 12), (right, top + 12), 1.2))
    drawing.add(Line((left, top + 6), (right, top + 6), 0.7, "10 3 2 3"))


def _seat(drawing: Drawing, left: float, right: float, top: float, dash: str = "") -> None:
    """Draw the seat between its shoulders, the base under it."""
    for x, outward in ((left, -9), (right, 9)):
        drawing.add(Line((x, top + 34), (x, top + 50), 2.0, dash, part="shoulder"))
        drawing.add(Line((x, top + 34), (x + outward, top + 34), 2.0, dash))
        drawing.add(Line((x + outward, top + 34), (x + outward, top + 68), 2.0, dash))
    drawing.add(Line((left, top + 50), (right, top + 50), 2.0, dash))
    drawing.add(Line((left - 9, top + 68), (right + 9, top + 68), 2.0, dash))


def _bearing(drawing: Drawing, x: float, top: float) -> None:
    drawing.add(Box(x - HALF, top + 12, 2 * HALF, 37, "white", 1.8, part="bearing"))
    drawing.add(Line((x - 7, top + 30), (x + 7, top + 30), 1.4), Line((x, top + 21), (x, top + 39), 1.4))


def _held(drawing: Drawing, answer: Mapping[str, Any], top: float) -> None:
    """Draw the locating bearing with a black ring on each side that has one; dashed where the side is not known."""
    rings, sides = answer["locating_rings"], answer["ring_sides"]
    count = None if rings is None else rings["count"]
    known = count == 0 or (count is not None and len(sides) == count)
    beside = set(sides) if known else {"minus", "plus"}
    left = CENTRE - HALF - (RING + 2 if "minus" in beside else 0)
    right = CENTRE + HALF + (RING + 2 if "plus" in beside else 0)
    _seat(drawing, left - 1, right + 1, top, "" if known else "4 3")
    _bearing(drawing, CENTRE, top)
    for side in ("minus", "plus"):
        if side not in beside:
            continue
        x = left if side == "minus" else CENTRE + HALF + 2
        if known:
            drawing.add(Box(x, top + 27, RING, 22, "black", part=f"ring-{side}"))
        else:
            drawing.add(Box(x, top + 27, RING, 22, "white", 1.2, "3 2", part="ring-unknown"))


def _free(drawing: Drawing, answer: Mapping[str, Any], top: float) -> None:
    """Draw the free bearing where it stands cold, and how far it moves, gaps and arrow to one scale."""
    gaps, growth_mm = _gaps_mm(answer), _growth_mm(answer)
    if gaps is None:
        minus = plus = UNKNOWN_GAP
        length = UNKNOWN_ARROW
    else:
        per_mm = min(MOST_GAP / max(*gaps, 1e-9), MOST_ARROW / max(growth_mm or 0.0, 1e-9))
        minus, plus = gaps[0] * per_mm, gaps[1] * per_mm
        length = UNKNOWN_ARROW if growth_mm is None else growth_mm * per_mm
    dash = "" if gaps is not None else "4 3"
    shift = (minus - plus) / 2
    _seat(drawing, CENTRE + shift - HALF - minus, CENTRE + shift + HALF + plus, top, dash)
    _bearing(drawing, CENTRE + shift, top)
    arrow_dash = "" if gaps is not None and growth_mm is not None else "3 2"
    for way in {"plus": (1,), "minus": (-1,), "none": ()}.get(answer["direction"], (-1, 1)):
        start = CENTRE + shift + way * HALF
        drawing.add(*arrow((start, top + 24), (start + way * length, top + 24), dash=arrow_dash, part="growth"))


def _gaps_mm(answer: Mapping[str, Any]) -> tuple[float, float] | None:
    """Return the gaps beside the cold bearing, minus and plus, [mm]; half the travel each where it stands centred."""
    gaps = ((answer["expansion"] or {}).get("gaps") or {}).get("cold")
    if gaps is not None:
        return gaps["minus"].value, gaps["plus"].value
    travel = answer["travel"]
    return None if travel is None else (travel["total"].value / 2, travel["total"].value / 2)


def _growth_mm(answer: Mapping[str, Any]) -> float | None:
    growth = answer["growth"]
    return None if growth is None else float(growth.value)
