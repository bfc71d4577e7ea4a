"""What a field map makes its reply of: the order, its card, and its steps with short and long text."""

from collections.abc import Mapping
from textwrap import shorten
from typing import Any, Final

from service.render.card.plain_text import Writer, cleaned, unbound
from service.render.card.shaft_line import Shaft
from service.render.card.steps_csv import step_sentences
from service.render.card.text import card
from service.render.present import present
from service.words import UnitSystem

WIDTH: Final = 72
"""Columns of long texts where a map says nothing, as of the card"""
WIDTHS: Final = (40, 132)
SHORT_WIDTH: Final = 40
"""Characters of short texts: no title is longer"""
SHORT_WIDTHS: Final = (16, 40)


def reply_source(
    order: Mapping[str, Any],
    instructions: Mapping[str, Any],
    *,
    units: UnitSystem,
    shaft: Shaft | None = None,
    width: int = WIDTH,
    short_width: int = SHORT_WIDTH,
) -> dict[str, Any]:
    """Return plain JSON: ``work_order``, ``instructions``, ``text``, ``text_lines``, ``steps``, ``parts``.

    Parameters
    ----------
    order : dict
        The wire members of the work order
    instructions : dict
        The unit-neutral record of its instructions
    units : str
        ``metric`` or ``inch``: which of the two systems comes first
    width, short_width : int
        Columns of the lines of long texts, and characters of short ones

    All texts are 7-bit ASCII, and no number is cut from its unit. A title that is longer ends at a word, with "..".
    """
    text = card({**instructions, "external": order["external"]}, units=units, width=width, ascii=True, shaft=shaft)
    return {
        "work_order": dict(order),
        "instructions": present(dict(instructions), units),
        "text": text,
        "text_lines": text.rstrip("\n").split("\n"),
        "steps": [_step(step, units, width, short_width) for step in instructions["steps"]],
        "parts": present(instructions["planning"]["parts"], units),
    }


def _step(step: Mapping[str, Any], units: UnitSystem, width: int, short_width: int) -> dict[str, Any]:
    writer = Writer(units=units, width=width, ascii_only=True)
    lines = unbound(line for said in step_sentences(step) for line in writer.lines(said))
    return {
        "number": step["number"],
        "id": step["id"],
        "positions": list(step["positions"]),
        "hold": step["hold"],
        "stop": step["stop"],
        "short_text": shorten(cleaned(step["title"], ascii_only=True), width=short_width, placeholder=".."),
        "long_text": "\n".join(lines),
        "long_text_lines": lines,
    }
