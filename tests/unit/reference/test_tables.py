"""Each table has its provenance; without it nothing is loaded."""

from importlib.resources import files

import pytest

from service.errors import TableError
from service.reference import tables

DATA = files("service.reference") / "data"
NAMES = sorted(path.name.removesuffix(".csv") for path in DATA.iterdir() if path.name.endswith(".csv"))
KINDS = {"standard", "practice", "handbook", "site_chart", "calculation", "regulation"}


def test_there_are_tables():
    assert len(NAMES) >= 15


@pytest.mark.parametrize("name", NAMES)
def test_every_table_says_where_it_comes_from_and_how_it_was_checked(name):
    provenance = tables.provenance(name)
    assert provenance.source.kind in KINDS
    assert tables.rows(name)
    assert all(None not in row and None not in row.values() for row in tables.rows(name))


def test_a_table_without_provenance_is_refused():
    with pytest.raises(TableError, match="no provenance"):
        tables.rows("no_such_table")
