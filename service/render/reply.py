"""What a field map makes its reply of: the order, its card, and its steps with short and long text."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from service.errors import Text
from service.render.card.plain_text import Writer, cleaned, unbound
from service.render.card.text import card
from service.render.present import present
from service.words import UnitSystem

WIDTH: Final = 72
"""Columns of long texts; short texts have 40 at most"""


def reply_source(order: Mapping[str, Any], instructions: Mapping[str, Any], *, units: UnitSystem) -> dict[str, Any]:
    """Return plain JSON: ``work_order``, ``instructions``, ``text``, ``text_lines``, ``steps``, ``parts``.

    Parameters
    ----------
    order : dict
        The wire members of the work order
    instructions : dict
        The unit-neutral record of its instructions
    units : str
        ``metric`` or ``inch``: which of the two systems comes first

    All texts are 7-bit ASCII; lines hold at most 72 columns, and no number is cut from its unit.
    """
    text = card({**instructions, "external": order["external"]}, units=units, width=WIDTH, ascii=True)
    return {
        "work_order": dict(order),
        "instructions": present(dict(instructions), units),
        "text": text,
        "text_lines": text.rstrip("\n").split("\n"),
        "steps": [_step(step, units) for step in instructions["steps"]],
        "parts": present(instructions["parts"], units),
    }


def _step(step: Mapping[str, Any], units: UnitSystem) -> dict[str, Any]:
    writer = Writer(units=units, width=WIDTH, ascii_only=True)
    lines = unbound(line for said in _said(step) for line in writer.lines(said))
    return {
        "number": step["number"],
        "id": step["id"],
        "positions": step["positions"],
        "hold": step["hold"],
        "stop": step["stop"],
        "short_text": cleaned(step["title"], ascii_only=True),
        "long_text": "\n".join(lines),
        "long_text_lines": lines,
    }


def _said(step: Mapping[str, Any]) -> Iterator[Text]:
    """Yield what a step says, cautions first, what is to be written down last."""
    if step["positions"]:
        yield f"At {', '.join(step['positions'])}:"
    if step["stop"] is not None:
        yield "STOP: go on only when another person approved why."
    if step["hold"] is not None:
        yield f"HOLD {step['hold']}: go on only when it is signed."
    for caution in step["cautions"]:
        yield ("CAUTION: ", *_parts(caution))
    yield step["text"]["standard"]
    for each in step["by_position"]:
        yield (f"{each['position']}: ", *_parts(each["text"]))
    for limits in (step["record"] or {}).get("limits", ()):
        kind = step["record"]["kind"].replace("_", " ")
        where = f" at {limits['position']}" if limits["position"] else ""
        low, high = limits["min"], limits["max"]
        yield (f"Write down {kind}{where}: ", *((low,) if low == high else (low, " to ", high)), ".")


def _parts(text: Text) -> tuple[Any, ...]:
    return text if isinstance(text, tuple) else (text,)
