"""The steps as rows for a maintenance system: number, short text, long text."""

import csv
import io
from collections.abc import Mapping
from typing import Any, Final

from service.errors import Text
from service.render.present import text
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
        writer.writerow((step["number"], inert(step["title"]), inert(_long_text(step, units))))
    return out.getvalue()


def _long_text(step: Mapping[str, Any], units: UnitSystem) -> str:
    where = (f"{step['position']}:",) if step["position"] else ()
    hold = ("HOLD POINT.",) if step["hold_point"] else ()
    cautions = (f"CAUTION: {text(each, units)}" for each in step["cautions"])
    limits = (step["record"] or {}).get("limits")
    record: tuple[Text, ...] = ()
    if limits is not None:
        low, high = limits["min"], limits["max"]
        said = (low,) if low == high else (low, " to ", high)
        record = ((f"Write down {step['record']['kind'].replace('_', ' ')}: ", *said, "."),)
    return " ".join((*where, *hold, *cautions, text(step["text"], units), *(text(each, units) for each in record)))
