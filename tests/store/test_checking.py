"""What an operator is told of a database before the service runs on it, and what is deleted with time."""

from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from service.reference.tables import DATA_VERSION
from service.settings import Settings
from service.store import models
from service.store.database import Database
from service.store.queries import work_orders
from service.store.unit_of_work import Tx
from service.use_cases.checks import checking, retention
from service.use_cases.checks.checking import checks
from service.use_cases.checks.retention import tidy
from tests.store import plant
from tests.store.connections import connected
from tests.store.test_books import add_chart
from tests.store.test_work_orders import revision


def states(database: Database) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for each in checks(database):
        found.setdefault(f"{each.subject} {each.state}", []).append(each.said)
    return found


def test_a_database_without_schema_or_answer_fails(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'empty.db'}"
    nowhere = Database(Settings(database_url=url))
    assert "run capsaddle migrate" in states(nowhere)["database failed"][0]
    assert list(tmp_path.iterdir()) == [], "nothing is made by looking"
    (tmp_path / "empty.db").touch()
    empty = Database(Settings(database_url=url))
    assert set(states(empty)) == {"tables ok", "schema failed"}
    empty.dispose()
    away = Database(Settings(database_url="postgresql+psycopg://nobody@127.0.0.1:1/none"))
    assert set(states(away)) == {"tables ok", "database failed"}


def test_a_clock_behind_the_journal_fails(database: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    plant.site(database)
    assert set(states(database)) == {"tables ok", "schema ok", "secret ok", "clock ok", "orders ok"}
    monkeypatch.setattr(checking, "CLOCK_TOLERANCE", timedelta(days=-1))
    assert "clock failed" in states(database)


def test_an_open_order_that_rests_on_what_has_a_newer_version_is_named(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    chart = plant.written(database, site_id, add_chart)
    order = plant.written(database, site_id, lambda tx: plant.order(tx, machine))
    plant.written(database, site_id, lambda tx: revision(tx, order.id, 1))
    before = states(database)["order look"]
    assert len(before) == 1 and DATA_VERSION in before[0]  # the helper's revision is of another version
    book = {"table": "chart", "id": chart.id, "kind": "reduction", "name": "book", "version": 1, "used": True}

    def with_book(tx: Tx) -> work_orders.RevisionRow:
        inputs = {"books": [book, {**book, "name": "other", "used": False}]}
        members = {"data_version": "2026.1", "engine_version": "0.1.0", "inputs": inputs, "record": {}}
        return work_orders.insert_revision(tx, work_order_id=order.id, number=2, supersedes=1, **members)

    plant.written(database, site_id, with_book)
    assert "reduction book" not in states(database)["order look"][0]
    plant.written(database, site_id, add_chart)
    assert "reduction book version 1" in states(database)["order look"][0]
    assert "other" not in states(database)["order look"][0]


def test_what_is_past_its_time_is_deleted_and_nothing_else(database: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    order = plant.written(database, site_id, lambda tx: plant.order(tx, machine))
    plant.written(database, site_id, lambda tx: connected(tx, order.id))

    def aged(tx: Tx, number: int, days: float) -> None:
        values = {"site_id": site_id, "actor": "a", "method": "POST", "route": "/", "key": str(number)}
        values |= {"fingerprint": "f", "status": 200, "headers": "{}", "body": ""}
        tx.connection.execute(sa.insert(models.IdempotencyKey), values | {"created_at": tx.now - timedelta(days=days)})

    monkeypatch.setattr(retention, "BATCH", 2)
    plant.written(database, site_id, lambda tx: [aged(tx, n, days) for n, days in enumerate((6.9, 7.1, 8, 9, 30, 400))])
    kept = counted(database)
    assert tidy(database) == retention.Tidied(5, 0)
    told = kept | {"journal": kept["journal"] + 3}  # by each of three batches: record.tidied
    assert counted(database) == told | {"idempotency_keys": 1}

    def ended(tx: Tx, days: int) -> None:
        over = sa.update(models.Delivery).values(status="dead", ended_at=tx.now - timedelta(days=days))
        tx.connection.execute(over)

    plant.written(database, site_id, lambda tx: ended(tx, 29))  # /v1/capabilities says 30 days
    assert tidy(database).deliveries == 0
    plant.written(database, site_id, lambda tx: ended(tx, 31))
    assert tidy(database).deliveries == kept["deliveries"] > 0
    told["journal"] += 1
    assert counted(database) == told | {"idempotency_keys": 1, "deliveries": 0, "delivery_attempts": 0}


def counted(database: Database) -> dict[str, int]:
    with database.reading() as connection:
        return {
            name: connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
            for name, table in models.Base.metadata.tables.items()
        }
