"""The shaft line at the head of a sheet: its blocks in their order, each over the column of its bearing.

440 units are the 188 mm of a sheet here, so that a unit is 0.43 mm.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from service.render.pictures.drawing import WIDTH, Drawing, text_width
from service.render.pictures.steps.pen import box, pointer, words

HEIGHT: Final = 56.0
HEAVY: Final = 2.1
OUTLINE: Final = 1.2
THIN: Final = 0.7
_AXIS: Final = 34.0
_SIGN: Final = {"minus": -1, "plus": 1}


@dataclass(frozen=True, slots=True)
class Block:
    """One support: HELD, FREE or open; rings as sides, ``minus`` is left; ``thin`` where it is not worked on."""

    name: str
    role: str
    nut_side: str | None = None
    ring_sides: tuple[str, ...] = ()
    hot: str | None = None
    hot_side: str | None = None
    thin: bool = False


def shaft_line(blocks: Sequence[Block], *, drive_side: str | None = None) -> Drawing:
    """Return the shaft with its blocks evenly apart, the drive at its end where that is known."""
    said = [f"{each.name} {each.role}".strip() for each in blocks]
    drive = {"minus": "the drive at the left", "plus": "the drive at the right"}.get(drive_side or "")
    drawing = Drawing("Shaft line", described=[", ".join(said), *([drive] if drive else [])], height=HEIGHT)
    first, last = (34.0 if drive_side == "minus" else 8.0), WIDTH - (34.0 if drive_side == "plus" else 8.0)
    drawing.add(box(first, _AXIS - 5, last - first, 10, OUTLINE))
    if drive_side is not None:
        _drive(drawing, first if drive_side == "minus" else last, _SIGN[drive_side])
    for number, each in enumerate(blocks):
        _block(drawing, WIDTH * (2 * number + 1) / (2 * len(blocks)), each)
    return drawing


def _drive(drawing: Drawing, x: float, sense: int) -> None:
    for near, far in ((0.0, 7.0), (8.5, 15.5)):
        ends = sorted((x + sense * near, x + sense * far))
        drawing.add(box(ends[0], _AXIS - 12, ends[1] - ends[0], 24, OUTLINE))
    drawing.add(words(x + sense * 8, _AXIS + 20, "DRIVE", bold=True, anchor="middle", size=8))


def _block(drawing: Drawing, x: float, each: Block) -> None:
    stroke = THIN if each.thin else OUTLINE
    drawing.add(box(x - 31, _AXIS - 20, 62, 40, stroke), box(x - 20, _AXIS - 18, 40, 36, THIN))
    left = x - 14 + (6 if each.ring_sides == ("minus",) else -6 if each.ring_sides == ("plus",) else 0)
    if each.nut_side is not None:
        sense = _SIGN[each.nut_side]
        at = left + 28 if sense > 0 else left - 8
        drawing.add(box(at, _AXIS - 9, 8, 18, stroke, part="nut"))
    drawing.add(box(left, _AXIS - 17, 28, 34, THIN if each.thin else HEAVY, part="bearing"))
    for side in each.ring_sides:
        at = left + 28 if _SIGN[side] > 0 else left - 6
        drawing.add(*(box(at, y, 6, 9, THIN, "black", "ring") for y in (_AXIS - 17, _AXIS + 8)))
    role = "" if each.role == "OPEN" else each.role
    drawing.add(words(x, 12, role or "HELD or FREE?", bold=True, anchor="middle", size=12 if role else 9))
    if each.hot and each.hot_side:
        _growth(drawing, x, each.hot, _SIGN[each.hot_side])


def _growth(drawing: Drawing, x: float, hot: str, sense: int) -> None:
    """Draw how far and which way the bearing goes when the shaft heats up; inside the sheet."""
    near = x + sense * 36
    open_to = near - 2 if sense < 0 else WIDTH - 2 - near
    lines = (f"hot {hot}",) if text_width(f"hot {hot}", 8.5, bold=True) <= open_to else ("hot", hot)
    long = max(30.0, *(text_width(each, 8.5, bold=True) for each in lines))
    if long > open_to:
        return
    far = near + sense * long
    drawing.add(*pointer(near, _AXIS - 12, far, _AXIS - 12, HEAVY, most=9.0))
    for n, each in enumerate(reversed(lines)):
        y = _AXIS - 18 - 8.6 * n
        drawing.add(words((near + far) / 2, y, each, bold=True, anchor="middle", size=8.5, part="hot"))
