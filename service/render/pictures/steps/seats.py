"""The two seats seen from above, cap off: the held bearing with its rings, the free one with its gaps."""

from functools import lru_cache
from typing import Final

from service.render.pictures.drawing import Drawing, Line
from service.render.pictures.steps.pen import HEAVY, THIN, blank, box, line, pointer, words

MIDDLE: Final = 220.0
WIDTH: Final = 172.0
RING: Final = 50.0
GAP: Final = 26.0
TOP: Final = 50.0
BOTTOM: Final = 274.0
_NUT: Final = 76.0
_SIGN: Final = {"minus": -1, "plus": 1}


def _open_base(drawing: Drawing, half: float) -> tuple[float, float]:
    """Draw a block with its cap off and the shaft through it; return where its two shoulders stand."""
    wall = 62.0
    left, right = MIDDLE - half, MIDDLE + half
    drawing.add(box(left - wall, TOP, 2 * half + 2 * wall, BOTTOM - TOP), box(left, TOP, 2 * half, BOTTOM - TOP))
    drawing.add(box(2, 134, 436, 56))
    return left, right


def _bearing(drawing: Drawing, x: float, nut_side: str | None) -> None:
    """Draw the bearing, its left edge at ``x``, with its nut on the side that is known."""
    if nut_side is not None:
        at = x + WIDTH if _SIGN[nut_side] > 0 else x - _NUT
        drawing.add(box(at, 114, _NUT, 96, part="nut"))
        drawing.add(words(at + _NUT / 2 + 8 * _SIGN[nut_side], 170, "nut", anchor="middle"))
    drawing.add(box(x, TOP + 4, WIDTH, BOTTOM - TOP - 8, part="bearing"))
    drawing.add(line(x, 134, x + WIDTH, 134, THIN), line(x, 190, x + WIDTH, 190, THIN))
    drawing.add(words(x + WIDTH / 2, 170, "bearing", anchor="middle"))


@lru_cache(maxsize=64)
def held_seat(*, rings: int, ring_sides: tuple[str, ...], ring: str | None, nut_side: str | None) -> Drawing:
    """Return the held bearing in its seat: with one ring hard on the other shoulder, with two in the middle.

    Parameters
    ----------
    rings : int
        Locating rings of this block: 0, 1 or 2
    ring_sides : tuple of str
        Sides with a ring, ``minus`` (left) and ``plus`` (right); empty where not known: then no ring is drawn
    ring : str or None
        Width of a ring
    nut_side : str or None
        Side of the locknut
    """
    count = {0: "no ring", 1: "one ring", 2: "two rings, one each side"}[rings]
    where = ", nut side" if rings == 1 and ring_sides == (nut_side,) else ""
    width = f", width {ring}" if ring and rings else ""
    drawing = blank("Held bearing: no gap left in its seat", f"{count}{where}{width}", "Seen from above, cap off")
    half = (WIDTH + RING * (len(ring_sides) or (1 if rings == 1 else 0))) / 2
    left, right = _open_base(drawing, half)
    _bearing(drawing, left + (RING if "minus" in ring_sides else 0.0), nut_side)
    for side in ring_sides:
        x = right - RING if _SIGN[side] > 0 else left
        for y in (TOP + 4, 190.0):
            drawing.add(box(x, y, RING, 80, HEAVY, part="ring"))
    if rings == 1 and len(ring_sides) == 1:
        sense = -_SIGN[ring_sides[0]]
        edge = right if sense > 0 else left
        drawing.add(*_shoulder(edge), *pointer(edge + sense * 60, 228, edge + sense * 5, 228, HEAVY))
        side = "end" if sense > 0 else "start"
        drawing.add(words(436 if sense > 0 else 4, 32, "hard on this shoulder", bold=True, anchor=side))  # type: ignore[arg-type]
    if ring and rings:
        at_left = ring_sides == ("minus",)
        side = "start" if at_left else "end"
        drawing.add(words(4 if at_left else 436, 32, f"ring {ring}", bold=True, anchor=side, part="ring-width"))  # type: ignore[arg-type]
    ending = "; ring gap up" if rings == 1 else ""
    said = f"{count}{where}{ending}" if rings < 2 else "two rings, one each side; gaps up"
    if rings and not ring_sides:
        said = f"{count}: side not known, ask"
    drawing.add(words(MIDDLE, 306, said, anchor="middle"))
    return drawing


@lru_cache(maxsize=64)
def free_seat(
    *,
    gap_side: str | None = None,
    gap: str | None = None,
    limits: str | None = None,
    before: str | None = None,
    hot: str | None = None,
    hot_side: str | None = None,
    nut_side: str | None = None,
) -> Drawing:
    """Return the free bearing in its seat: no ring, a gap on each side, its numbers on the side that is measured.

    Parameters
    ----------
    gap_side, hot_side, nut_side : str or None
        Side of the gap that is measured, of the growth, and of the nut, ``minus`` (left) or ``plus``
    gap, limits, before, hot : str or None
        The gap aimed at, its limits, the gap while the nut is hand-tight, and the growth at start-up
    """
    side = {"minus": "left", "plus": "right"}.get(gap_side or "", "")
    drawing = blank(
        "Free bearing: no ring, a gap on each side",
        f"Nut hand-tight: gap at the {side} {before}" if before and side else "",
        f"After tightening: gap at the {side} {gap}" if gap and side else "",
        f"limits {limits}" if limits else "",
        f"It moves {hot} when the shaft heats up" if hot else "",
        "Seen from above, cap off",
    )
    left, right = _open_base(drawing, WIDTH / 2 + GAP)
    x = left + GAP
    _bearing(drawing, x, nut_side)
    for edge in (left, right):
        drawing.add(*_shoulder(edge))
    for edge in (left, x + WIDTH):
        drawing.add(*pointer(edge - 36, 78, edge, 78), *pointer(edge + GAP + 36, 78, edge + GAP, 78))
    if hot and hot_side:
        sense = _SIGN[hot_side]
        drawing.add(words(MIDDLE, 222, f"hot {hot}", bold=True, anchor="middle", part="hot"))
        drawing.add(*pointer(MIDDLE - sense * 50, 242, MIDDLE + sense * 50, 242, HEAVY))
    if gap_side and (gap or before):
        _gap_words(drawing, gap_side, gap, limits, before)
    else:
        drawing.add(words(MIDDLE, 306, "no ring; a gap on each side", anchor="middle"))
    return drawing


def _gap_words(drawing: Drawing, gap_side: str, gap: str | None, limits: str | None, before: str | None) -> None:
    """Write the gaps at the side where they are measured: the one before above, the one after below."""
    at_left = gap_side == "minus"
    x = 4.0 if at_left else 436.0
    anchor = "start" if at_left else "end"
    edge = MIDDLE + (WIDTH / 2 + GAP / 2) * (-1 if at_left else 1)
    if before:
        drawing.add(words(x, 32, f"nut hand-tight: gap {before}", bold=True, anchor=anchor, part="before"))  # type: ignore[arg-type]
        drawing.add(line(edge, 40, edge, 62, THIN))
    if gap:
        said = f"after: {gap} ({limits})" if limits and before else f"gap {gap} ({limits})" if limits else f"gap {gap}"
        drawing.add(words(x, 308, said, bold=True, anchor=anchor, part="gap"))  # type: ignore[arg-type]
        drawing.add(line(edge, 262, edge, 286, THIN))


def _shoulder(x: float) -> tuple[Line, Line]:
    return line(x, TOP, x, TOP + 56, HEAVY), line(x, BOTTOM - 56, x, BOTTOM, HEAVY)
