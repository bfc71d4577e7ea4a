"""Changes of the tables as CHANGES.md names them, and tables with changes undone: how the old ones are known."""

import csv
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.golden.tables import DATA, PROVENANCE, Row, Rows

CHANGES = DATA / "CHANGES.md"
NONE = "-"
WHOLE_ROW = "(row)"
EVERY_ROW = "(all)"
_CELLS = re.compile(r"(?<!\\)\|")


@dataclass(frozen=True)
class Change:
    """One line: table, row by key, column, old and new value, and the publication that says so.

    A row that came: column ``(row)``, old ``-``. A row that went: column ``(row)``, new ``-``, old its cells as
    ``column=value; column=value``. A column that came: row ``(all)``, old ``-``.
    """

    version: str
    table: str
    row: str
    column: str
    old: str
    new: str
    publication: str

    def __str__(self) -> str:
        return f"{self.table}, row {self.row}, column {self.column}: {self.old} -> {self.new}"


class NotThisTable(Exception):
    """A line cannot be undone: it does not speak of the table as it is."""


def changes(path: Path = CHANGES) -> list[Change]:
    """Return the lines of a file, each below the heading of its data version."""
    return list(_changes(path.read_text(encoding="utf-8").splitlines()))


def _changes(lines: Iterable[str]) -> Iterator[Change]:
    version = ""
    for line in lines:
        if line.startswith("## "):
            version = line.removeprefix("## ").strip()
        elif line.startswith("|") and version:
            cells = [cell.strip().replace("\\|", "|") for cell in _CELLS.split(line.strip().strip("|"))]
            if cells[0] == "table" or set(cells[0]) <= {"-", ":"}:
                continue
            if len(cells) != 6 or not all(cells):
                raise ValueError(f"CHANGES.md: six cells, none of them empty (write {NONE}): {line}")
            yield Change(version, *cells)


def undone(name: str, rows: Rows, of: Iterable[Change]) -> Rows:
    """Return a table as it was before the changes.

    Raises
    ------
    NotThisTable
        A line names a row, column or new value that the table does not have.
    """
    before: dict[str, Row] = dict(rows)
    for change in of:
        if change.table == name:
            _undo(before, change)
    return before


def _undo(rows: dict[str, Row], change: Change) -> None:
    if change.row == EVERY_ROW:
        for key, row in rows.items():
            if key != PROVENANCE:
                rows[key] = {column: value for column, value in row.items() if column != change.column}
    elif change.column == WHOLE_ROW and change.new == NONE:
        rows[change.row] = _cells(change)
    elif change.row not in rows:
        raise NotThisTable(f"{change}: the table has no row {change.row}")
    elif change.column == WHOLE_ROW:
        del rows[change.row]
    else:
        row = rows[change.row]
        now = row.get(change.column, "") or NONE
        if now != change.new:
            raise NotThisTable(f"{change}: the table says {now}")
        rows[change.row] = {**row, change.column: "" if change.old == NONE else change.old}


def _cells(change: Change) -> Row:
    parts = next(csv.reader([change.old], delimiter=";", skipinitialspace=True))
    return {column: value for column, _, value in (part.strip().partition("=") for part in parts)}
