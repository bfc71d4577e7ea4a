"""The built-in tables as they are locked: rows by key, cells that are filled, a digest for each row and each column."""

import csv
import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256
from pathlib import Path

DATA = Path(__file__).parents[2] / "service" / "reference" / "data"
LOCKS = DATA / "locks.toml"
PROVENANCE = "provenance"
"""Key of the row that stands for what the table's TOML says in answers: id, title and kind of its source."""
_SAID = ("id", "title", "kind")

Row = Mapping[str, str]
Rows = Mapping[str, Row]


def digest(*words: str) -> str:
    """Return a short digest: 64 bits are enough to see a change, nobody is kept from forging one."""
    return sha256("\x1f".join(words).encode()).hexdigest()[:16]


def row_digest(row: Row) -> str:
    """Return the digest of the filled cells of a row, whatever the order of the columns."""
    return digest(*(f"{column}={value}" for column, value in sorted(row.items()) if value))


def keyed(rows: Sequence[Row], columns: Sequence[str], source: Row) -> dict[str, Row]:
    """Return the rows by key: the values of the fewest first columns that tell all rows apart."""
    for count in range(1, len(columns) + 1):
        keys = ["/".join(row.get(column, "") for column in columns[:count]) for row in rows]
        if len(set(keys)) == len(keys):
            return {PROVENANCE: source, **dict(zip(keys, rows, strict=True))}
    raise ValueError("two rows of the table are the same")


@dataclass(frozen=True)
class Locked:
    """One table as locked: digest of each row by key, in file order, and of each column."""

    rows: Mapping[str, str]
    columns: Mapping[str, str]

    @cached_property
    def digest(self) -> str:
        """Return the digest of the table as a whole, whatever the order of its rows and what they are called."""
        return digest(*sorted(self.rows.values()))


def locked(rows: Rows) -> Locked:
    """Return the lock of a table as it is."""
    by_column: dict[str, list[str]] = {}
    for key, row in rows.items():
        for column, value in row.items():
            if value:
                by_column.setdefault(column, []).append(f"{key}={value}")
    columns = {column: digest(*cells) for column, cells in by_column.items()}
    return Locked({key: row_digest(row) for key, row in rows.items()}, columns)


def tables(data: Path = DATA) -> dict[str, Rows]:
    """Return every table of a folder by name."""
    return {path.stem: table(path) for path in sorted(data.glob("*.csv"))}


def table(path: Path) -> Rows:
    """Return one table; its provenance beside it is its first row."""
    reader = csv.DictReader(path.read_text(encoding="utf-8").splitlines())
    rows = list(reader)
    facts = tomllib.loads(path.with_suffix(".toml").read_text(encoding="utf-8"))
    return keyed(rows, reader.fieldnames or (), {member: facts[member] for member in _SAID})


@dataclass(frozen=True)
class Locks:
    """All tables as locked with a data version, and what tables before them were."""

    data_version: str
    tables: Mapping[str, Locked]
    before: Sequence[tuple[str, Mapping[str, str]]] = ()
    """Earlier data versions, the latest first, each with the digests of the tables that changed after it."""


def read_locks(path: Path = LOCKS) -> Locks:
    """Return the locks that are kept."""
    kept = tomllib.loads(path.read_text(encoding="utf-8"))
    found = {name: Locked(_pairs(each["rows"]), _pairs(each["columns"])) for name, each in kept["tables"].items()}
    before = tuple((each["data_version"], each["tables"]) for each in kept.get("before", ()))
    return Locks(kept["data_version"], found, before)


def _pairs(lines: str) -> dict[str, str]:
    """Return ``digest key`` lines as key to digest."""
    return {key: value for value, _, key in (line.partition(" ") for line in lines.splitlines())}


def write_locks(locks: Locks, path: Path = LOCKS) -> None:
    """Keep the locks."""
    out = [
        "# Digests of the built-in tables, row by row and column by column; written by: python -m tests.golden --lock"
    ]
    out += [f'data_version = "{locks.data_version}"']
    for version, digests in locks.before:
        listed = ", ".join(f"{name} = {json.dumps(value)}" for name, value in sorted(digests.items()))
        out += ["", "[[before]]", f'data_version = "{version}"', f"tables = {{ {listed} }}"]
    for name, each in sorted(locks.tables.items()):
        out += ["", f"[tables.{name}]"]
        for member, pairs in (("columns", each.columns), ("rows", each.rows)):
            out += [f"{member} = '''", *(f"{value} {key}" for key, value in pairs.items()), "'''"]
    path.write_text("\n".join(out) + "\n", encoding="utf-8")
