"""Measuring, putting on, tightening and locking: where the blade goes, what goes on which way round, nut and tab."""

from functools import lru_cache
from typing import Final

from service.render.pictures.drawing import Drawing
from service.render.pictures.steps.bearing import end_view, section
from service.render.pictures.steps.pen import (
    BROKEN,
    CENTRE_LINE,
    HEAVY,
    LARGE,
    OUTLINE,
    THIN,
    arc,
    blank,
    bow,
    box,
    circle,
    curve,
    line,
    lines_of,
    outline,
    pointer,
    tooth,
    words,
)

NUT_SLOTS: Final = 4
WASHER_TABS: Final = 15


@lru_cache(maxsize=64)
def blade_place() -> Drawing:
    """Return where the blade goes: on top of a bearing that stands, at the bottom of one that hangs on its shaft."""
    drawing = blank(
        "Where to measure the clearance",
        "A bearing that stands on the bench, or whose base carries the shaft, is measured on top",
        "A bearing that hangs on the shaft is measured at the bottom",
    )
    drawing.add(*end_view(108, 132, 88, gap_on_top=True, shaft=False))
    drawing.add(line(12, 223, 204, 223, HEAVY), *pointer(108, 4, 108, 54, HEAVY))
    drawing.add(words(132, 28, "TOP", bold=True, size=LARGE))
    drawing.add(*lines_of(108, 262, ("on the bench,", "or in its base"), anchor="middle"))
    drawing.add(*end_view(324, 124, 88, gap_on_top=False, shaft=True))
    drawing.add(*pointer(324, 262, 324, 204, HEAVY), words(438, 250, "BOTTOM", bold=True, anchor="end", size=20))
    drawing.add(words(330, 292, "hangs on shaft", anchor="middle"))
    drawing.add(line(220, 12, 220, 300, THIN, BROKEN))
    return drawing


@lru_cache(maxsize=64)
def sleeve_and_bearing(*, balls: bool = False) -> Drawing:
    """Return the only way in which adapter sleeve and bearing go on."""
    drawing = blank(
        "Sleeve and bearing go on one way only",
        "The wide end of the bore goes to the thick end of the sleeve, which stands inboard",
        "The thread of the sleeve points to the shaft end, from where the bearing goes on",
    )
    drawing.add(curve(((4, 224), (412, 224), (412, 296), (4, 296))))
    drawing.add(curve(bow((4, 224), (-2, 242), (4, 260)), THIN), curve(bow((4, 260), (10, 278), (4, 296)), THIN))
    drawing.add(line(2, 260, 434, 260, THIN, CENTRE_LINE))
    drawing.add(outline(((68, 224), (68, 168), (276, 204), (352, 204), (352, 224)), HEAVY))
    drawing.add(*(line(x, 204, x + 6, 224, THIN) for x in range(288, 350, 12)))
    drawing.add(*section(190, 192, 3.5, lift=(2.3, -3.2), balls=balls))
    drawing.add(*pointer(420, 116, 268, 116, HEAVY), words(344, 98, "goes on", anchor="middle"))
    drawing.add(words(132, 28, "wide end of bore", bold=True, anchor="middle"), *pointer(118, 38, 131, 170, THIN))
    drawing.add(*lines_of(4, 124, ("thick", "end"), bold=True))
    drawing.add(*lines_of(436, 162, ("thread to", "shaft end"), bold=True, anchor="end"))
    drawing.add(words(14, 252, "inboard"), words(404, 252, "outboard", anchor="end"))
    return drawing


@lru_cache(maxsize=64)
def nut_then_lock(*, balls: bool = False) -> Drawing:
    """Return the nut alone, and then washer, nut and one tab bent in: the nut goes on to a tab, never back."""
    drawing = blank(
        "Nut first without the washer, then washer and tab",
        "1: nut alone, without washer, its chamfer to the bearing; firm contact is zero",
        "2: washer on, nut tight again, turned on to the next tab, never back; one tab bent in",
    )
    drawing.add(words(4, 26, "1 nut alone", bold=True))
    drawing.add(outline(((4, 224), (4, 180), (132, 202), (208, 202), (208, 224))))
    drawing.add(*(line(x, 202, x + 6, 224, THIN) for x in range(144, 208, 12)))
    drawing.add(*section(60, 195, 3.2, lift=(2.5, -1.6), balls=balls))
    drawing.add(outline(((114, 202), (114, 172), (124, 152), (160, 152), (160, 202)), HEAVY))
    drawing.add(*pointer(176, 94, 122, 150, THIN), *lines_of(116, 60, ("chamfer", "inward")))
    drawing.add(*lines_of(108, 262, ("no washer", "contact = zero"), anchor="middle"))
    drawing.add(line(220, 12, 220, 300, THIN, BROKEN), words(232, 26, "2 washer, tab", bold=True))
    _nut_and_tabs(drawing, 330, 144)
    drawing.add(*lines_of(330, 272, ("bend one tab in;", "turn ON to meet it"), anchor="middle"))
    return drawing


def _nut_and_tabs(drawing: Drawing, x: float, y: float) -> None:
    """Draw a nut with four slots before its washer, one tab of it bent into a slot, and the way the nut turns."""
    bent = -42.0
    for count in range(WASHER_TABS):
        turn = 360 / WASHER_TABS * count - 90
        if abs(turn - bent) > 12:
            drawing.add(outline(tooth(x, y, turn, 72, 96, 6.3), THIN))
    drawing.add(circle(x, y, 78))
    drawing.add(*(outline(tooth(x, y, 90 * count + bent, 62, 84, 8.0)) for count in range(1, NUT_SLOTS)))
    drawing.add(outline(tooth(x, y, bent, 62, 98, 7.5), OUTLINE, "black", "tab"))
    drawing.add(circle(x, y, 46), curve(arc(x, y, 29, 160, 368), HEAVY))
    drawing.add(*pointer(x + 29, y + 2, x + 20, y + 25, HEAVY))


@lru_cache(maxsize=64)
def withdrawal_sleeve(*, balls: bool = False) -> Drawing:
    """Return bearing and withdrawal sleeve: the bearing against its shoulder, the sleeve pushed in from outside."""
    drawing = blank(
        "Withdrawal sleeve: bearing to its shoulder, sleeve in",
        "The bearing stands against the shoulder of the shaft; the sleeve goes in from outside, its thread outward",
    )
    drawing.add(outline(((4, 296), (4, 150), (96, 150), (96, 224), (436, 224), (436, 296))))
    drawing.add(line(2, 260, 434, 260, THIN, CENTRE_LINE))
    drawing.add(outline(((104, 224), (104, 208), (300, 174), (380, 174), (380, 224)), HEAVY))
    drawing.add(*(line(x, 174, x + 6, 188, THIN) for x in range(312, 378, 12)))
    drawing.add(*section(154, 190, 3.5, lift=(-2.6, 2.7), balls=balls))
    drawing.add(words(50, 190, "shoulder", bold=True, anchor="middle", size=20))
    drawing.add(*pointer(428, 130, 300, 130, HEAVY), words(436, 112, "sleeve goes in", anchor="end"))
    drawing.add(words(436, 164, "thread out", bold=True, anchor="end"))
    drawing.add(words(14, 252, "inboard"), words(404, 252, "outboard", anchor="end"))
    return drawing


def blade_or_stack(*, single: str | None = None, stack: tuple[str, ...] = (), reading: str | None = None) -> Drawing:
    """Return both rows with a blade in each, and how one blade and a stack are read.

    Parameters
    ----------
    single : str or None
        A blade of the set in use by its stamp
    stack : tuple of str
        Two blades of the set that are put together
    reading : str or None
        What the stack shows
    """
    shown = f"A stack {' + '.join(stack)} shows {reading}" if stack and reading else ""
    drawing = blank(
        "Both rows; one blade or a stack",
        "A blade in each row, beside a roller and along it, never rolled over",
        "The thickest that passes with light drag is the reading",
        f"One blade {single}" if single else "",
        shown,
    )
    drawing.add(*section(220, 168, 4.7))
    for side in (-1, 1):
        far = 220 + side * 132
        drawing.add(curve(bow((220 + side * 20, 65), (220 + side * 66, 66), (far, 92)), HEAVY, part="blade"))
        drawing.add(box(far - (0 if side > 0 else 40), 82, 40, 22))
    drawing.add(words(4, 32, "row 1", bold=True), words(436, 32, "row 2", bold=True, anchor="end"))
    drawing.add(*lines_of(4, 148, ("beside and", "along roller")))
    drawing.add(*lines_of(436, 148, ("never roll", "over it"), anchor="end"))
    drawing.add(line(8, 198, 432, 198, THIN, BROKEN))
    drawing.add(words(8, 230, "one blade"), box(140, 214, 76, 14, HEAVY))
    drawing.add(words(8, 272, "or a stack"), box(140, 250, 76, 10), box(140, 260, 76, 16))
    if single:
        drawing.add(words(432, 230, single, bold=True, anchor="end", part="single"))
    if shown:
        drawing.add(words(432, 272, " + ".join(stack), bold=True, anchor="end", part="stack"))
        drawing.add(words(220, 308, f"the stack shows {reading}", anchor="middle", bold=True))
    else:
        drawing.add(words(220, 308, "thickest that passes with light drag", anchor="middle"))
    return drawing


@lru_cache(maxsize=64)
def swivel() -> Drawing:
    """Return how a self-aligning ball bearing is felt: the outer ring turns and swivels."""
    drawing = blank(
        "Ball bearing: the ring turns and swivels",
        "No blade: turn the outer ring and swivel it by hand, before and after",
        "It turns freely, swivels with slight resistance at most, never binds",
    )
    drawing.add(*section(150, 196, 4.0, balls=True), line(12, 196, 288, 196), line(12, 260, 288, 260))
    drawing.add(line(2, 228, 300, 228, THIN, CENTRE_LINE))
    for start, end in ((200.0, 236.0), (340.0, 304.0)):
        points = tuple(arc(150, 196, 150, start, end))
        drawing.add(curve(points, HEAVY), *pointer(*points[-2], *points[-1], HEAVY))
    drawing.add(*lines_of(438, 110, ("turns,", "swivels"), bold=True, anchor="end"))
    drawing.add(*lines_of(438, 176, ("binds:", "free it"), anchor="end"))
    drawing.add(words(220, 300, "same feel before and after", anchor="middle"))
    return drawing


@lru_cache(maxsize=64)
def heated(*, heat_to: str | None = None, heat_max: str | None = None) -> Drawing:
    """Return a bearing on a cylindrical seat: heated, slid home, held against its shoulder."""
    said = [f"heat to {heat_to}" if heat_to else "", f"never above {heat_max}" if heat_max else ""]
    drawing = blank("Heat, slide home, hold to the shoulder", *said, "Held against the shoulder until it grips")
    drawing.add(outline(((4, 296), (4, 150), (96, 150), (96, 212), (412, 212), (412, 296))))
    drawing.add(line(2, 254, 434, 254, THIN, CENTRE_LINE), *section(154, 212, 3.5))
    drawing.add(words(50, 190, "shoulder", bold=True, anchor="middle", size=20), *pointer(400, 150, 232, 150, HEAVY))
    for n, each in enumerate(filter(None, said)):
        drawing.add(words(436, 30 + 30 * n, each, bold=True, anchor="end"))
    drawing.add(words(404, 134, "hold until it grips", anchor="end"))
    return drawing
