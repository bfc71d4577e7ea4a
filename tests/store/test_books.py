"""Charts and housings are added in versions, belong to a site, and are never changed or taken away."""

from typing import Any

import pytest
import sqlalchemy as sa

from service import units
from service.errors import Conflict
from service.store import models
from service.store.database import Database
from service.store.queries import books
from service.store.unit_of_work import Tx
from tests.store import plant

PROVENANCE = {"title": "Book", "edition": "1", "page": "2", "entered_by": "R. Example", "checked_by": "S. Example"}


def chart(least_nm: int = 40_000) -> dict[str, Any]:
    row = {
        "bore_over": units.dimension(65.0),
        "bore_incl": units.dimension(80.0),
        "min": units.clearance(least_nm),
        "max": units.clearance(50_000),
    }
    return {"provenance": PROVENANCE, "bearing_type": "spherical_roller", "bore_form": "tapered", "rows": [row]}


def block(width_mm: float = 60.0) -> dict[str, Any]:
    return {
        "provenance": PROVENANCE,
        "seat_width": units.dimension(width_mm),
        "seat_bore": units.dimension(140.0),
    }


def add_chart(tx: Tx, name: str = "book", least_nm: int = 40_000) -> books.BookRow:
    return books.insert_version(tx, "chart", kind="reduction", name=name, document=chart(least_nm))


def add_housing(tx: Tx, name: str = "block 7", width_mm: float = 60.0) -> books.BookRow:
    return books.insert_version(tx, "housing", kind="housing", name=name, document=block(width_mm))


def test_a_version_comes_back_as_it_was_stored(database: Database) -> None:
    site_id = plant.site(database)
    stored = plant.written(database, site_id, add_chart)
    with database.read(site_id) as tx:
        assert books.book_by_id(tx, "chart", stored.id) == stored
        assert books.book_by_id(tx, "housing", stored.id) is None
    assert stored.document == chart()


def test_the_latest_version_of_each_name_is_in_force_in_one_statement(database: Database) -> None:
    site_id = plant.site(database)
    plant.written(database, site_id, lambda tx: [add_chart(tx), add_chart(tx, "other"), add_housing(tx)])
    newest = plant.written(database, site_id, lambda tx: [add_chart(tx, least_nm=41_000), add_housing(tx, width_mm=62)])
    statements: list[str] = []
    sa.event.listen(database.engine, "before_cursor_execute", lambda *of: statements.append(of[2]))
    with database.read(site_id) as tx:
        statements.clear()
        found = books.books_in_force(tx)
    assert len([statement for statement in statements if "SELECT" in statement]) == 1
    assert sorted((book.table, book.name, book.version) for book in found.books) == [
        ("chart", "book", 2),
        ("chart", "other", 1),
        ("housing", "block 7", 2),
    ]
    assert [chart.rows[0].min_value for chart in found.charts] == [41_000, 40_000], "the one entered last goes first"
    assert found.housings["block 7"].seat_width_mm == 62
    assert {book.id for book in found.books} >= {row.id for row in newest}


def test_only_the_kinds_asked_for_are_read(database: Database) -> None:
    site_id = plant.site(database)
    plant.written(database, site_id, lambda tx: [add_chart(tx), add_housing(tx)])
    with database.read(site_id) as tx:
        assert [book.kind for book in books.books_in_force(tx, ["reduction"]).books] == ["reduction"]
        assert books.books_in_force(tx, ["nut_turn"]).books == ()


def test_the_versions_that_were_used_are_found_again(database: Database) -> None:
    site_id = plant.site(database)
    plant.written(database, site_id, lambda tx: [add_chart(tx), add_housing(tx)])
    with database.read(site_id) as tx:
        used = books.books_in_force(tx)
    plant.written(database, site_id, lambda tx: [add_chart(tx, least_nm=41_000), add_housing(tx, width_mm=62)])
    with database.read(site_id) as tx:
        assert books.books_of(tx, used.references()) == used
        assert books.books_of(tx, []).books == ()
        assert books.books_in_force(tx) != used


def test_another_site_s_books_are_not_there(database: Database) -> None:
    north, south = plant.site(database, "north"), plant.site(database, "south")
    stored = plant.written(database, north, add_chart)
    assert plant.written(database, south, lambda tx: add_chart(tx, least_nm=42_000)).version == 1
    with database.read(south) as tx:
        assert books.book_by_id(tx, "chart", stored.id) is None
        assert [chart.rows[0].min_value for chart in books.books_in_force(tx).charts] == [42_000]
        assert books.books_of(tx, [{"id": stored.id}]).books == ()
        assert [row.version for row in books.page_of_books(tx, "chart", limit=10)] == [1]


@pytest.mark.parametrize("model", [models.Chart, models.Housing])
@pytest.mark.parametrize("change", ["update", "delete"])
def test_a_version_is_neither_changed_nor_taken_away(database: Database, model: Any, change: str) -> None:
    site_id = plant.site(database)
    plant.written(database, site_id, lambda tx: [add_chart(tx), add_housing(tx)])
    statement = sa.delete(model) if change == "delete" else sa.update(model).values(name="another")
    with pytest.raises(sa.exc.IntegrityError, match="append-only"):
        plant.written(database, site_id, lambda tx: tx.connection.execute(statement))


def test_a_version_exists_once(database: Database) -> None:
    site_id = plant.site(database)
    stored = plant.written(database, site_id, add_chart)

    def again(tx: Tx) -> None:
        columns = sa.select(models.Chart.__table__).where(models.Chart.id == stored.id)
        row = dict(tx.connection.execute(columns).mappings().one())
        tx.connection.execute(sa.insert(models.Chart), row | {"id": "01900000-0000-7000-8000-000000000001"})

    with pytest.raises(Conflict) as refusal:
        plant.written(database, site_id, again)
    assert refusal.value.code == "version_exists"


def test_books_are_read_again_when_one_was_entered_and_not_before(database: Database) -> None:
    site_id = plant.site(database)
    shelf = books.Shelf(database)

    def version() -> int:
        with database.read(site_id) as tx:
            chosen = sa.select(models.Site.books_version).where(models.Site.id == site_id)
            return int(tx.connection.execute(chosen).scalar_one())

    assert shelf.books(site_id, version(), ("reduction",)).books == ()
    plant.written(database, site_id, add_chart)
    first = shelf.books(site_id, version(), ("reduction",))
    assert [book.version for book in first.books] == [1]
    statements: list[str] = []
    sa.event.listen(database.engine, "before_cursor_execute", lambda *of: statements.append(of[2]))
    assert shelf.books(site_id, 1, ("reduction",)) is first
    assert shelf.books(site_id, 0, ("reduction",)) is first  # a key looked up before: newer books, never older ones
    assert statements == []
    plant.written(database, site_id, lambda tx: [add_chart(tx), add_housing(tx)])
    assert version() == 3
    assert [book.version for book in shelf.books(site_id, 3, ("reduction",)).books] == [2]
    assert [book.version for book in shelf.books(site_id, 3, ("housing",)).books] == [1]


def test_a_book_that_was_not_committed_raises_nothing(database: Database) -> None:
    site_id = plant.site(database)

    def fails(tx: Tx) -> Any:
        add_chart(tx)
        raise Conflict("no", code="asset_differs")

    with pytest.raises(Conflict):
        plant.written(database, site_id, fails)
    with database.read(site_id) as tx:
        assert tx.connection.execute(sa.select(models.Site.books_version)).scalar_one() == 0
