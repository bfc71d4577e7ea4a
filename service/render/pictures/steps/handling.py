"""Lifting the shaft, and the circle into which a load mark is drawn."""

from functools import lru_cache
from math import cos, radians, sin

from service.render.pictures.drawing import Drawing
from service.render.pictures.steps.pen import (
    HEAVY,
    OUTLINE,
    THIN,
    arc,
    blank,
    box,
    circle,
    cross,
    line,
    lines_of,
    outline,
    pointer,
    words,
)


@lru_cache(maxsize=64)
def lifting(*, height: str | None = None, limit: str | None = None) -> Drawing:
    """Return how the shaft hangs: level, on its plain part, and how high.

    Parameters
    ----------
    height : str or None
        How high both ends are lifted level to strip and mount
    limit : str or None
        How high one end alone may be lifted at most
    """
    drawing = blank(
        "Lifting: level, slings on the plain shaft",
        "Slings not on a seal or a thread; nobody under the load, no hand between bearing and base",
        f"Both ends level, {height} up" if height else "",
        f"One end alone {limit} at most" if limit else "",
    )
    for x in (88, 352):
        block = (
            (x - 60, 300),
            (x - 60, 280),
            (x - 44, 280),
            (x - 44, 244),
            (x - 26, 244),
            *arc(x, 238, 26, 160, 20, 0.6),
        )
        drawing.add(outline((*block, (x + 26, 244), (x + 44, 244), (x + 44, 280), (x + 60, 280), (x + 60, 300))))
    drawing.add(box(8, 164, 424, 32))
    for x in (88, 352):
        drawing.add(box(x - 20, 132, 40, 96), *(box(x + dx, 150, 8, 60, HEAVY, "black") for dx in (-40, 32)))
    drawing.add(*(box(x, 152, 12, 56, THIN) for x in (34, 394)))
    for x in (172, 268):
        drawing.add(outline(((x - 10, 196), (x - 10, 164), (x, 46), (x + 10, 164), (x + 10, 196)), HEAVY, "none"))
        drawing.add(*pointer(x, 48, x, 8, HEAVY))
    drawing.add(words(220, 150, "slings", anchor="middle", bold=True, size=22))
    drawing.add(*lines_of(4, 30, ("not on", "seal, thread")), *cross(44, 112, 12), *cross(128, 112, 12))
    drawing.add(*lines_of(436, 30, ("no hand", "below"), bold=True, anchor="end"))
    if height:
        drawing.add(*pointer(424, 262, 424, 226))
        drawing.add(*lines_of(220, 226, ("level", height), anchor="middle", bold=True))
    else:
        drawing.add(*lines_of(220, 226, ("both ends", "level"), anchor="middle"))
    if limit:
        drawing.add(*lines_of(220, 286, ("one end", f"max {limit}"), anchor="middle", bold=True))
    return drawing


@lru_cache(maxsize=64)
def load_mark() -> Drawing:
    """Return the circle into which the mark of the load on a ring is drawn, seen from the nut."""
    drawing = blank(
        "Load mark: draw it in", "The outer ring seen from the nut, its top as it stood; draw where the mark lies"
    )
    drawing.add(circle(220, 162, 114, OUTLINE), circle(220, 162, 86, THIN))
    for count in range(12):
        turn = radians(30 * count - 90)
        inner = 98 if count % 3 == 0 else 105
        ends = [(220 + r * cos(turn), 162 + r * sin(turn)) for r in (inner, 114)]
        drawing.add(line(*ends[0], *ends[1], OUTLINE))
    drawing.add(words(220, 30, "top", anchor="middle", size=38))
    drawing.add(words(220, 312, "seen from the nut", anchor="middle", size=34))
    return drawing
