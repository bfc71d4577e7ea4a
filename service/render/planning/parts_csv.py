"""The parts of a plan or of a job pack as rows for a store; no cell is a formula to a spreadsheet."""

import csv
import io
from collections.abc import Iterable, Mapping
from typing import Any, Final

from service.render.present import quantity, site_text, text
from service.spreadsheet import inert
from service.units import Quantity
from service.words import UnitSystem

COLUMNS: Final = (
    "kind",
    "name",
    "size",
    "count",
    "amount",
    "amount_unit",
    "mass_each",
    "mass_unit",
    "note",
    "positions",
)


def parts_csv(parts: Iterable[Mapping[str, Any]], *, units: UnitSystem) -> str:
    """Return one row a part; those of a pack say which orders they are for.

    Parameters
    ----------
    parts : iterable of part records
        Of ``planning`` or of a pack
    units : str
        ``metric`` or ``inch``: the system of sizes, amounts and masses
    """
    rows = list(parts)
    packed = any("orders" in part for part in rows)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow((*COLUMNS, "orders") if packed else COLUMNS)
    for part in rows:
        orders = ("; ".join(part["orders"]),) if packed else ()
        cells = (*_cells(part, units), "; ".join(part["positions"]), *orders)
        writer.writerow([inert(cell) for cell in cells])
    return out.getvalue()


def _cells(part: Mapping[str, Any], units: UnitSystem) -> tuple[str, ...]:
    size = "; ".join(f"{name.replace('_', ' ')} {site_text((value,), units)}" for name, value in part["size"].items())
    note = "" if part["note"] is None else text(part["note"], units)
    return (
        part["kind"],
        site_text(part["said"], units),
        size,
        "" if part["count"] is None else str(part["count"]),
        *_number(part["amount"], units),
        *_number(part["mass"], units),
        note,
    )


def _number(value: Quantity | None, units: UnitSystem) -> tuple[str, str]:
    """Return a quantity as it is printed, number and unit apart, so that a sheet can add it up."""
    if value is None:
        return "", ""
    unit = quantity(value, units)["unit"]
    printed = site_text((value,), units)
    return printed.rsplit(" ", 1)[0], str(unit)
