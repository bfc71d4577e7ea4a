"""A table of tampering: in every table a change of each member, a deletion, an insertion; the journal; whole histories.

What must be found, and what cannot be without an anchor: reasoned from the construction of a hash chain (RFC 9162 says
the same of logs: a signed head, kept elsewhere, is what binds the keeper). Every change is made past all that refuses.
"""

from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from service.settings import Settings
from service.store import chain, models
from service.store.database import Database
from service.use_cases.checks.anchors import Head, heads, make_key
from service.use_cases.checks.audit import Fault, audit_on
from tests.outages import tampering
from tests.store import plant
from tests.store.test_migrations import populated

TABLES = models.Base.metadata.tables
OF_THE_CHAIN = ("journal", "journal_rows", "site_heads")
FOUND_IN = (*chain.chained(), *OF_THE_CHAIN)


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def record_url(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A database with rows in every table, of two sites, for its owner."""
    if request.param == "sqlite":
        files = request.getfixturevalue("sqlite_files")
        url = files.clone(tmp_path_factory.mktemp("tampering"))
        filled(url)
        yield url
        return
    server = request.getfixturevalue("postgres_server")
    url = server.clone()
    filled(url)
    yield server.as_owner(url)
    server.drop(url)


def filled(url: str) -> None:
    database = populated(url)
    plant.site(database, "south")
    database.dispose()


@pytest.fixture(scope="module")
def anchored(record_url: str, tmp_path_factory: pytest.TempPathFactory) -> list[Head]:
    """The ends of both journals as they were signed."""
    key = tmp_path_factory.mktemp("key") / "signing-key"
    make_key(key)
    database = Database(Settings(database_url=record_url))
    found = heads(database, key)
    database.dispose()
    return found


def faults(connection: sa.Connection, anchors: list[Head] | None = None) -> list[Fault]:
    return [each for each in audit_on(connection, None, anchors or []) if isinstance(each, Fault)]


def test_the_intact_record_has_no_fault(record_url: str, anchored: list[Head]) -> None:
    with tampering.as_owner(record_url) as connection:
        assert faults(connection, anchored) == []


@pytest.mark.parametrize("name", sorted(FOUND_IN))
def test_a_change_of_any_member_is_found(record_url: str, name: str, anchored: list[Head]) -> None:
    """Each alone; a change of the journal's own members too. The columns that stand outside are said in the store."""
    table = TABLES[name]
    unseen = []
    with tampering.as_owner(record_url) as connection:
        for column in table.columns:
            if (name, column.key) in chain.OUTSIDE_COLUMNS:
                continue
            with connection.begin_nested() as savepoint:
                tampering.change(connection, table, column)
                if not faults(connection, anchored):
                    unseen.append(column.key)
                savepoint.rollback()
    assert unseen == []


@pytest.mark.parametrize("name", sorted(FOUND_IN))
def test_a_deletion_and_an_insertion_are_found(record_url: str, name: str, anchored: list[Head]) -> None:
    with tampering.as_owner(record_url) as connection:
        for done in (tampering.remove, tampering.add):
            if (name, done) == ("site_heads", tampering.add):
                continue  # its key is the site: there is no second one
            with connection.begin_nested() as savepoint:
                done(connection, TABLES[name])
                found = faults(connection, anchored)
                assert found, done.__name__
                assert name in {each.table for each in found} or name in OF_THE_CHAIN
                savepoint.rollback()


@pytest.mark.parametrize("name", sorted(chain.chained()))
def test_what_is_found_names_the_row(record_url: str, name: str) -> None:
    """Of a changed row its table, key and kind; without an anchor. A site and its journal go by the site's own id."""
    table = TABLES[name]
    known = chain.chained()[name]
    column = next(each for each in reversed(known.columns) if not each.primary_key)
    with tampering.as_owner(record_url) as connection:
        row = tampering.first_row(connection, table)
        tampering.change(connection, table, column)
        told = {(each.table, each.key, each.what) for each in faults(connection)}
    assert told == {(name, known.key_of(row), "changed")}


def test_a_tail_that_was_cut_with_all_it_made_is_found_by_the_anchor(record_url: str, anchored: list[Head]) -> None:
    """Without one it is a shorter history like any other: this is what an anchor is for."""
    north = next(head for head in anchored if head.site_code == "north")
    with tampering.as_owner(record_url) as connection:
        tampering.cut_tail(connection, north.site_id, north.seq - 2)
        assert faults(connection) == []
        (found,) = faults(connection, anchored)
    assert (found.table, found.key) == ("journal", str(north.seq))
    assert "the journal ends at" in found.what


@pytest.mark.parametrize("name", sorted(chain.chained()))
def test_a_chain_that_was_computed_anew_is_found_by_the_anchor(
    record_url: str, name: str, anchored: list[Head]
) -> None:
    known = chain.chained()[name]
    column = next(each for each in reversed(known.columns) if not each.primary_key)
    with tampering.as_owner(record_url) as connection:
        row = tampering.first_row(connection, TABLES[name])
        tampering.forge(connection, row[known.site.key], TABLES[name], column)
        assert faults(connection) == []
        (found,) = faults(connection, anchored)
    assert "history was rewritten" in found.what


def test_a_site_that_vanished_is_found(record_url: str, anchored: list[Head]) -> None:
    """The first by what the journal of the next one names; the last, which no other names, by the anchor."""
    by_code = {head.site_code: head.site_id for head in anchored}
    with tampering.as_owner(record_url) as connection:
        with connection.begin_nested() as savepoint:
            tampering.wipe(connection, by_code["north"])
            assert [(each.table, each.key) for each in faults(connection)] == [("sites", by_code["north"])]
            savepoint.rollback()
        tampering.wipe(connection, by_code["south"])
        assert faults(connection) == []
        assert [(each.site_code, each.key) for each in faults(connection, anchored)] == [("south", by_code["south"])]


def test_rows_that_a_vanished_site_left_behind_are_found(record_url: str) -> None:
    with tampering.as_owner(record_url) as connection:
        connection.execute(sa.delete(models.Site).where(models.Site.code == "south"))
        told = {each.table for each in faults(connection)}
    assert {"journal", "journal_rows", "site_heads"} <= told


def test_an_anchor_that_was_touched_is_refused(anchored: list[Head], tmp_path: Path) -> None:
    from service.use_cases.checks.anchors import AnchorRefused, read_anchors

    line = anchored[0].line()
    public = anchored[0].public_key
    file = tmp_path / "anchor.jsonl"
    file.write_text(line + "\n")
    assert read_anchors([file], public) == [anchored[0]]
    other = tmp_path / "other-key"
    refused = [line.replace(f'"seq": {anchored[0].seq}', f'"seq": {anchored[0].seq - 1}'), line[:-10], "{}", ""]
    refused.append(line.replace(anchored[0].hash, "0" * 64))
    for text in refused:
        assert text != line
        file.write_text(text)
        with pytest.raises(AnchorRefused):
            read_anchors([file], public)
    file.write_text(line)
    with pytest.raises(AnchorRefused, match="another key"):
        read_anchors([file], make_key(other))
