"""The block itself: cap and base with their marks, order and stages of the cap bolts, soft foot."""

from functools import lru_cache
from typing import Final

from service.render.pictures.drawing import Drawing
from service.render.pictures.steps.pen import (
    HEAVY,
    OUTLINE,
    THIN,
    arc,
    blank,
    box,
    circle,
    curve,
    line,
    lines_of,
    outline,
    pointer,
    words,
)

BOLTS: Final = {2: ((0, 152), (0, 56)), 4: ((-36, 152), (36, 56), (36, 152), (-36, 56))}
"""Where the cap bolts stand, in the order in which they are tightened: across the bore in turn."""


@lru_cache(maxsize=64)
def cap_and_base() -> Drawing:
    """Return cap and base: their marks meet, dowels in, never another cap and never turned."""
    drawing = blank(
        "Cap and base belong together",
        "The marks on cap and base meet, dowels in; never another cap, never turned round",
    )
    base = ((28, 296), (28, 268), (68, 268), (68, 192), (152, 192), *arc(220, 192, 68, 180, 0), (372, 192))
    drawing.add(outline((*base, (372, 268), (412, 268), (412, 296))))
    crown = ((68, 148), (68, 116), (116, 116), *arc(220, 116, 104, 180, 360, 0.72), (372, 116), (372, 148))
    drawing.add(outline((*crown, (288, 148), *arc(220, 148, 68, 0, -180))))
    for x in (94, 346):
        drawing.add(box(x - 10, 60, 20, 56), box(x - 18, 44, 36, 18), line(x, 148, x, 192, THIN, "6 4"))
    drawing.add(*(box(x - 6, 168, 12, 24, OUTLINE, "black") for x in (132, 308)))
    for y in (132, 208):
        drawing.add(circle(346, y, 20, OUTLINE), words(346, y + 9, "A", bold=True, anchor="middle", part="mark"))
    drawing.add(*pointer(220, 104, 220, 152, HEAVY))
    drawing.add(*lines_of(436, 166, ("same", "mark"), bold=True, anchor="end"))
    drawing.add(words(2, 178, "dowels", bold=True), *pointer(94, 172, 123, 178, THIN))
    drawing.add(words(220, 290, "own cap, not turned", anchor="middle"))
    return drawing


def cap_bolts(*, count: int | None, stages: tuple[str, ...] = (), unit: str | None = None) -> Drawing:
    """Return the order of the cap bolts and the stages of their torque.

    Parameters
    ----------
    count : int or None
        Cap bolts of the block; both usual patterns are drawn where it is not known
    stages : tuple of str
        Torques of the stages; without them the shares are written
    """
    shown = ("hand", *(stages or ("half", "full", "full")))
    drawing = blank(
        "Cap bolts: order and stages",
        f"{count} bolts, across the bore in turn" if count in BOLTS else "Across the bore in turn",
        f"Stages {', '.join(shown)}{f' {unit}' if unit and stages else ''}, the last until nothing turns",
    )
    patterns = [each for each in BOLTS if count in (None, each)]
    for number, each in enumerate(patterns):
        x = 220.0 if len(patterns) == 1 else (108.0, 332.0)[number]
        _pattern(drawing, x, each, counted=count is not None)
    if not patterns:
        drawing.add(words(220, 110, f"{count} bolts: across the bore in turn", anchor="middle", bold=True))
    x, width, space = 4.0, 0.0, 20.0
    width = (432 - space * (len(shown) - 1)) / len(shown)
    for number, stage in enumerate(shown):
        last = number == len(shown) - 1
        drawing.add(box(x, 212, width, 52, HEAVY if last else OUTLINE))
        drawing.add(words(x + width / 2, 247, stage, bold=True, anchor="middle", part="stage"))
        if not last:
            drawing.add(*pointer(x + width + 3, 238, x + width + space - 2, 238))
        x += width + space
    said = f"{unit}; last: until nothing turns" if unit and stages else "last: until nothing turns"
    drawing.add(words(220, 300, said, anchor="middle"))
    return drawing


def _pattern(drawing: Drawing, x: float, count: int, *, counted: bool) -> None:
    drawing.add(box(x - 104, 80, 208, 48, THIN), box(x - 68, 20, 136, 168))
    drawing.add(line(x - 68, 80, x + 68, 80, THIN, "6 6"), line(x - 68, 128, x + 68, 128, THIN, "6 6"))
    for turn, (dx, y) in enumerate(BOLTS[count], start=1):
        drawing.add(circle(x + dx, y, 22, HEAVY if counted else OUTLINE))
        drawing.add(words(x + dx, y + 9, str(turn), bold=True, anchor="middle", part="turn"))
    drawing.add(words(x, 112, f"{count} bolts", anchor="middle", bold=True))


@lru_cache(maxsize=64)
def soft_foot(*, limit: str | None = None) -> Drawing:
    """Return how a soft foot is found: one foot loose, an indicator on it, the others tight."""
    drawing = blank(
        "Soft foot: one foot loose at a time",
        f"The loose foot may rise {limit}" if limit else "Note how far the loose foot rises",
        "More: shim what it rose, read every foot again",
    )
    drawing.add(line(8, 280, 432, 280, HEAVY))
    foot = ((68, 268), (68, 232), (132, 232), (156, 156), (304, 156), (328, 232), (392, 232), (392, 278), (300, 278))
    drawing.add(outline((*foot, (300, 272), (168, 268))), curve(arc(230, 156, 54, 180, 0)))
    for x, up in ((116, 12), (364, 0)):
        drawing.add(box(x - 8, 200 - up, 16, 32), box(x - 16, 188 - up, 32, 16))
    loosened = tuple(arc(116, 168, 24, 150, 390, 0.7))
    drawing.add(curve(loosened), *pointer(*loosened[-2], *loosened[-1]))
    drawing.add(
        line(32, 278, 32, 142),
        line(32, 106, 32, 40),
        line(32, 46, 80, 46),
        circle(80, 46, 30, HEAVY),
        line(80, 46, 94, 28),
    )
    drawing.add(line(80, 76, 80, 98), line(80, 144, 80, 230))
    drawing.add(words(4, 130, "this one loose", bold=True), words(436, 146, "others tight", anchor="end"))
    drawing.add(words(122, 34, f"{limit} or less: sound" if limit else "note how far it rises", bold=True))
    drawing.add(*lines_of(122, 66, ("more: shim what it rose,", "read every foot again")))
    drawing.add(words(220, 312, "one foot at a time", anchor="middle"))
    return drawing
