"""Charts as CSV: one row a line, the unit in the name of the column; becomes the document that JSON would be."""

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from service.errors import CannotEvaluate
from service.instructions.books.books import CAP_BOLT_TORQUE, HOUSING
from service.mounting.charts import KINDS as BEARING_KINDS
from service.mounting.charts import NUT_TURN
from service.words import CLEARANCE_CLASSES

_LENGTHS: Final = {"mm": "mm", "um": "um", "in": "in", "thou": "thou"}
_TORQUES: Final = {"n_m": "N.m", "lbf_ft": "lbf.ft", "lbf_in": "lbf.in"}
_ANGLES: Final = {"deg": "deg"}
_FLAGS: Final = ("accept_unusual", "on_sleeve")
_NUMBER: Final = re.compile(r"-?\d{1,15}(\.\d{1,15})?").fullmatch
Path = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns of a kind of chart: the member that each fills; a quantity's name goes on with its unit.

    Parameters
    ----------
    quantities : dict
        Member and units (by the end of the column's name) of each
    """

    words: Mapping[str, Path]
    counts: Mapping[str, Path]
    flags: Mapping[str, Path]
    quantities: Mapping[str, tuple[Path, Mapping[str, str]]]

    def member(self, column: str) -> Path | None:
        """Return the member that a column fills, None when the column is not known."""
        plain = self.words.get(column) or self.counts.get(column) or self.flags.get(column)
        return plain or (self.quantity(column) or (None, ""))[0]

    def quantity(self, column: str) -> tuple[Path, str] | None:
        """Return member and unit of a column that holds a quantity, else None."""
        for name, (path, units) in self.quantities.items():
            unit = units.get(column.removeprefix(f"{name}_")) if column.startswith(f"{name}_") else None
            if unit is not None:
                return path, unit
        return None

    def listed(self) -> str:
        """Return the columns for a message."""
        plain = (*self.words, *self.counts, *self.flags)
        return ", ".join((*plain, *(f"{name}_({'|'.join(units)})" for name, (_, units) in self.quantities.items())))


def _of_bearings(limits: Mapping[str, str]) -> Columns:
    words = ("bearing_type", "bore_form", "clearance_class", "taper", "reason")
    return Columns(
        words={name: (name,) for name in words},
        counts={},
        flags={name: (name,) for name in _FLAGS},
        quantities={
            **{name: ((name,), _LENGTHS) for name in ("bore_over", "bore_incl")},
            **{name: ((name,), limits) for name in ("min", "max")},
            **{
                f"smallest_residual_{mark.lower()}": (("smallest_residual", mark), _LENGTHS)
                for mark in CLEARANCE_CLASSES
            },
        },
    )


_TORQUE_COLUMNS: Final = Columns(
    words={
        "housing_name": ("housing", "name"),
        **{name: ("housing", name) for name in ("size", "dimensions", "seat_design")},
        **{name: ("bolt", name) for name in ("thread", "grade")},
        "reason": ("reason",),
    },
    counts={"count": ("bolt", "count")},
    flags={"accept_unusual": ("accept_unusual",)},
    quantities={"torque": (("torque",), _TORQUES)},
)
_HOUSING_COLUMNS: Final = Columns(
    words={
        "name": ("name",),
        **{name: ("cap_bolts", name) for name in ("thread", "grade")},
        "reason": ("reason",),
    },
    counts={"count": ("cap_bolts", "count"), "ring_count": ("locating_rings", "count")},
    flags={"accept_unusual": ("accept_unusual",)},
    quantities={
        **{name: ((name,), _LENGTHS) for name in ("seat_width", "seat_bore")},
        "ring_width": (("locating_rings", "width"), _LENGTHS),
        "torque": (("cap_bolts", "torque"), _TORQUES),
    },
)
COLUMNS: Final[Mapping[str, Columns]] = {
    **{kind: _of_bearings(_ANGLES if kind == NUT_TURN else _LENGTHS) for kind in BEARING_KINDS},
    CAP_BOLT_TORQUE: _TORQUE_COLUMNS,
    HOUSING: _HOUSING_COLUMNS,
}


def chart_document(data: bytes, given: Mapping[str, Any]) -> dict[str, Any]:
    """Return the document of a chart, as JSON would have it, from CSV and from what is said about it.

    Parameters
    ----------
    given : dict
        kind, name, and the members of the provenance; what is left out stays left out

    Raises
    ------
    CannotEvaluate
        ``bad_csv``: not UTF-8, no header, a column that is not known or stands twice, a cell that is not a number.
    """
    provenance = {
        name: given[name] for name in ("title", "edition", "page", "entered_by", "checked_by") if name in given
    }
    document: dict[str, Any] = {name: given[name] for name in ("kind", "name") if name in given}
    document["provenance"] = provenance
    if given.get("kind") not in COLUMNS:
        return {**document, "rows": []}  # the kind itself is refused
    columns = COLUMNS[given["kind"]]
    rows = [_row(columns, *numbered) for numbered in _cells(columns, data)]
    for member in ("bearing_type", "bore_form"):
        values = dict.fromkeys(row.pop(member, None) for row in rows)
        if len(values) > 1:
            raise _bad(f"one chart is for one {member}, the column has {', '.join(str(value) for value in values)}")
        if values and None not in values:
            document[member] = next(iter(values))
    return {**document, "rows": rows}


def _cells(columns: Columns, data: bytes) -> list[tuple[int, dict[str, str]]]:
    """Return number and filled cells of every line; rows count from 1."""
    try:
        lines = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        raise _bad(f"the file is not CSV in UTF-8: {error}") from None
    header = [name.strip() for name in lines[0]] if lines else []
    _check_header(columns, header)
    rows: list[tuple[int, dict[str, str]]] = []
    for line in lines[1:]:
        if not any(cell.strip() for cell in line):
            continue
        if len(line) != len(header):
            raise _bad(f"{len(line)} cells stand under {len(header)} columns", row=len(rows) + 1)
        filled = {name: cell.strip() for name, cell in zip(header, line, strict=True) if cell.strip()}
        rows.append((len(rows) + 1, filled))
    return rows


def _check_header(columns: Columns, header: list[str]) -> None:
    members = [columns.member(name) for name in header]
    unknown = [name for name, member in zip(header, members, strict=True) if member is None]
    if not header or unknown:
        named = ", ".join(f"{name[:40]!a}" for name in unknown[:5]) or "the first line"
        raise _bad(f"{named} is no column; the first line names the columns, known are {columns.listed()}")
    for number, member in enumerate(members):
        if member in members[:number]:
            raise _bad(f"column {header[number]}: {' '.join(member or ())} is given by another column already")


def _row(columns: Columns, number: int, cells: Mapping[str, str]) -> dict[str, Any]:
    row: dict[str, Any] = {}
    for column, cell in cells.items():
        inner = row
        *outer, last = columns.member(column) or ()
        for step in outer:
            inner = inner.setdefault(step, {})
        inner[last] = _value(columns, number, column, cell)
    return row


def _value(columns: Columns, number: int, column: str, cell: str) -> Any:
    """Return what a cell says, as JSON would have it."""
    quantity = columns.quantity(column)
    if quantity is not None:
        if not _NUMBER(cell):
            raise _bad(f"column {column}: {cell[:40]!a} is not a number such as 0.045", row=number)
        return {"value": float(cell), "unit": quantity[1]}
    if column in columns.counts:
        if not (cell.isascii() and cell.isdigit() and len(cell) <= 3):
            raise _bad(f"column {column}: {cell[:40]!a} is not a whole number", row=number)
        return int(cell)
    if column in columns.flags:
        if cell not in ("true", "false"):
            raise _bad(f"column {column}: {cell[:40]!a} is not true or false", row=number)
        return cell == "true"
    return cell


def _bad(detail: str, *, row: int | None = None) -> CannotEvaluate:
    if row is None:
        return CannotEvaluate(detail, code="bad_csv")
    fault = {"pointer": f"#/rows/{row - 1}", "code": "bad_csv", "detail": detail}
    return CannotEvaluate(f"row {row}: {detail}", code="bad_csv", faults=[fault])
