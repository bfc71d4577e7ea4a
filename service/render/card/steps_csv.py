"""The steps as rows for a maintenance system: number, short text, long text."""

import csv
import io
from collections.abc import Iterator, Mapping
from typing import Any, Final

from service.errors import Text
from service.render.card.plain_text import words
from service.render.present import text
from service.render.sheets.annex import limits_text
from service.spreadsheet import inert
from service.words import UnitSystem

COLUMNS: Final = ("number", "short_text", "long_text")


def steps_csv(instructions: Mapping[str, Any], *, units: UnitSystem) -> str:
    """Return one row a step, its short text at most 40 characters, its long text with cautions first.

    Parameters
    ----------
    instructions : dict
        The unit-neutral record of ``instructions``
    units : str
        ``metric`` or ``inch``: which of the two systems comes first
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for step in instructions["steps"]:
        long_text = " ".join(text(said, units) for said in step_sentences(step))
        writer.writerow((step["number"], inert(step["title"]), inert(long_text)))
    return out.getvalue()


def step_sentences(step: Mapping[str, Any]) -> Iterator[Text]:
    """Yield what a step says at the standard level: cautions first, then what differs, what is written down last."""
    if step["positions"]:
        yield f"At {', '.join(step['positions'])}:"
    if step["stop"] is not None:
        yield "STOP: go on only when another person has approved it."
    elif step["hold"] is not None:
        yield f"HOLD {step['hold']}: go on only when it is signed."
    for caution in step["cautions"]:
        yield ("CAUTION: ", *words(caution))
    yield step["text"]["standard"]
    for each in step["by_position"]:
        yield (f"{each['position']}: ", *words(each["text"]))
    record = step["record"] or {"limits": []}
    limits = limits_text(record["limits"])
    if limits is not None:
        yield (f"Write down {record['kind'].replace('_', ' ')}: ", *words(limits), ".")
