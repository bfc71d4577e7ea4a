"""Reference tables: CSV rows with units in the header, and beside each a TOML with its provenance.

A table without provenance is not loaded. Lookups never go past the last row: they raise ``OutOfTable``.
"""

import csv
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from service.errors import TableError
from service.findings import Source

DATA_VERSION = "2026.11"
"""Version of the built-in tables as a whole; raised when any row changes. Stored with every revision.

The tests hold every row against data/locks.toml and ask for its line in data/CHANGES.md.
"""

_DATA = files("service.reference") / "data"
_REQUIRED = ("id", "title", "kind", "document", "table", "keyed_by", "checked_by", "licence")


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a table comes from and how far it can be trusted."""

    source: Source
    document: str
    edition: str
    table: str
    keyed_by: str
    checked_by: str
    licence: str
    note: str


@cache
def rows(name: str) -> tuple[Mapping[str, str], ...]:
    """Return the rows of ``data/<name>.csv`` as written, column name to text, in file order."""
    provenance(name)
    text = (_DATA / f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


@cache
def provenance(name: str) -> Provenance:
    """Return the provenance of a table.

    Raises
    ------
    TableError
        The TOML is missing or lacks a member.
    """
    path = _DATA / f"{name}.toml"
    if not path.is_file():
        raise TableError(f"{name}: no provenance file {name}.toml")
    facts = tomllib.loads(path.read_text(encoding="utf-8"))
    lacking = [member for member in _REQUIRED if not facts.get(member)]
    if lacking:
        raise TableError(f"{name}.toml lacks {', '.join(lacking)}")
    return Provenance(
        source=Source(facts["id"], facts["title"], facts["kind"]),
        document=facts["document"],
        edition=facts.get("edition", ""),
        table=facts["table"],
        keyed_by=facts["keyed_by"],
        checked_by=facts["checked_by"],
        licence=facts["licence"],
        note=facts.get("note", ""),
    )


@cache
def names() -> tuple[str, ...]:
    """Return the names of the built-in tables."""
    return tuple(sorted(path.name.removesuffix(".csv") for path in _DATA.iterdir() if path.name.endswith(".csv")))


@cache
def sources() -> Mapping[str, Source]:
    """Return the source of every built-in table by its id; tables of one publication share it."""
    return {source.id: source for source in (provenance(name).source for name in names())}
