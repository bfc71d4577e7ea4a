"""Work orders are known by the maintenance system's number; revisions are numbered, hashed and immutable."""

from datetime import UTC, datetime, timedelta
from hashlib import sha256

import pytest
import sqlalchemy as sa

from service import errors, record, units
from service.store import models
from service.store.database import Database
from service.store.queries import assets, work_orders
from service.store.transaction import Tx
from tests.store import plant

RECORD = {"targets": [{"aim": units.clearance(63500)}], "text": ("not below ", units.clearance(40000))}


def revision(tx: Tx, order_id: str, number: int, supersedes: int | None = None) -> work_orders.RevisionRow:
    return work_orders.insert_revision(
        tx,
        work_order_id=order_id,
        number=number,
        supersedes=supersedes,
        data_version="2026.1",
        engine_version="0.1.0",
        inputs={"measured": units.clearance(101600)},
        record=RECORD,
    )


def test_an_order_comes_back_as_it_was_stored(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    bearing = {"designation": "22216 K/C4"}
    ids = [p["id"] for p in machine.shafts[0]["positions"]]
    positions = [
        {"position_id": ids[1], "name": "drive", "bearing": bearing},
        {"position_id": ids[0], "name": "tail", "bearing": None},
    ]
    stored = plant.written(database, site_id, lambda tx: plant.order(tx, machine, positions=positions))
    with database.read(site_id) as tx:
        assert work_orders.work_order_by_id(tx, stored.id) == stored
        assert work_orders.work_order_by_external(tx, "plant-a", "WO-1") == stored
        assert work_orders.work_order_by_external(tx, "plant-b", "WO-1") is None
    assert stored.positions == positions
    assert (stored.status, stored.revision, stored.opened_at) == ("open", 0, plant.OPENED_AT)


def test_a_number_of_a_system_is_taken_once(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    plant.written(database, site_id, lambda tx: plant.order(tx, machine))
    with pytest.raises(errors.Conflict) as refusal:
        plant.written(database, site_id, lambda tx: plant.order(tx, machine))
    assert refusal.value.code == "work_order_exists"
    plant.written(database, site_id, lambda tx: plant.order(tx, machine, external_system="plant-b"))


def test_another_sites_order_is_not_found(database: Database) -> None:
    north, south = plant.site(database, "north"), plant.site(database, "south")
    machine = plant.stored(database, north)
    order = plant.written(database, north, lambda tx: plant.order(tx, machine))
    plant.written(database, north, lambda tx: revision(tx, order.id, 1))
    with database.read(south) as tx:
        assert work_orders.work_order_by_id(tx, order.id) is None
        assert work_orders.work_order_by_external(tx, "plant-a", "WO-1") is None
        assert work_orders.revision(tx, order.id) is None
        assert work_orders.page_of_work_orders(tx, limit=10) == []
    with pytest.raises(errors.NotFound):
        plant.written(database, south, lambda tx: work_orders.cancel_work_order(tx, order.id, "typed wrong"))
    with pytest.raises(errors.Conflict):  # the foreign key holds the site, too
        plant.written(database, south, lambda tx: plant.order(tx, machine))


def test_the_list_answers_each_of_its_filters(database: Database) -> None:
    site_id = plant.site(database)
    one, two = (plant.stored(database, site_id, plant.asset(tag)) for tag in ("A", "B"))
    later = plant.OPENED_AT + timedelta(days=1)

    def work(tx: Tx) -> list[str]:
        first = plant.order(tx, one, "1")
        second = plant.order(tx, one, "2", ("tail", "drive"), opened_at=later)
        third = plant.order(tx, two, "3", ("drive",), external_system="plant-b")
        work_orders.cancel_work_order(tx, third.id, "double")
        return [first.id, second.id, third.id]

    ids = plant.written(database, site_id, work)
    with database.read(site_id) as tx:

        def numbers(**filters: object) -> str:
            rows = work_orders.page_of_work_orders(tx, limit=10, **filters)  # type: ignore[arg-type]
            return "".join(row.external_number for row in rows)

        assert numbers() == "123"
        assert numbers(system="plant-b") == "3"
        assert numbers(number="2") == "2"
        assert numbers(asset="A") == "12"
        assert numbers(position="drive") == "23"
        assert numbers(position="nowhere") == ""
        assert numbers(status="cancelled") == "3"
        assert numbers(opened_from=later) == "2"
        assert numbers(opened_to=later) == "13"
        assert numbers(after=ids[0]) == "23"
        assert [len(row.positions) for row in work_orders.page_of_work_orders(tx, limit=2)] == [1, 2]
        with pytest.raises(errors.CannotEvaluate):
            numbers(after="x")


def test_a_position_is_found_by_its_name_then_and_now(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    plant.written(database, site_id, lambda tx: plant.order(tx, machine))
    renamed = plant.asset("FAN-1", machine.shafts[0]["positions"][0] | {"name": "end"})
    plant.written(database, site_id, lambda tx: assets.replace_asset(tx, machine.id, 1, renamed))
    with database.read(site_id) as tx:
        for name, count in (("tail", 1), ("end", 1), ("drive", 0)):
            assert len(work_orders.page_of_work_orders(tx, position=name, limit=9)) == count


def test_only_an_open_order_is_cancelled(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    order = plant.written(database, site_id, lambda tx: plant.order(tx, machine))
    cancelled = plant.written(database, site_id, lambda tx: work_orders.cancel_work_order(tx, order.id, "double"))
    assert (cancelled.status, cancelled.cancel_reason) == ("cancelled", "double")
    assert cancelled.closed_at is not None
    with pytest.raises(errors.Conflict) as refusal:
        plant.written(database, site_id, lambda tx: work_orders.cancel_work_order(tx, order.id, "again"))
    assert refusal.value.code == "work_order_not_open"


def test_a_revision_keeps_its_record_and_is_named_by_its_hash(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    order = plant.written(database, site_id, lambda tx: plant.order(tx, machine))
    first = plant.written(database, site_id, lambda tx: revision(tx, order.id, 1))
    second = plant.written(database, site_id, lambda tx: revision(tx, order.id, 2, 1))
    with database.read(site_id) as tx:
        assert work_orders.revision(tx, order.id) == second
        assert work_orders.revision(tx, order.id, 1) == first
        assert work_orders.revision(tx, order.id, 3) is None
        found = work_orders.work_order_by_id(tx, order.id)
    assert found is not None and found.revision == 2
    assert first.record == RECORD
    assert first.sha256 == sha256(record.encoded(RECORD).encode()).hexdigest() == record.sha256(RECORD)


def test_a_revision_is_numbered_once_and_supersedes_an_earlier_one(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    order = plant.written(database, site_id, lambda tx: plant.order(tx, machine))
    plant.written(database, site_id, lambda tx: revision(tx, order.id, 1))
    with pytest.raises(errors.Conflict) as refusal:
        plant.written(database, site_id, lambda tx: revision(tx, order.id, 1))
    assert refusal.value.code == "revision_exists"
    with pytest.raises(sa.exc.IntegrityError):
        plant.written(database, site_id, lambda tx: revision(tx, order.id, 2, 2))
    with pytest.raises(errors.Conflict):
        plant.written(database, site_id, lambda tx: revision(tx, order.id, 4, 3))


@pytest.mark.parametrize("statement", [sa.update(models.Revision).values(record="{}"), sa.delete(models.Revision)])
def test_a_revision_cannot_be_changed(database: Database, statement: sa.Executable) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    order = plant.written(database, site_id, lambda tx: plant.order(tx, machine))
    issued = plant.written(database, site_id, lambda tx: revision(tx, order.id, 1))
    with pytest.raises(sa.exc.IntegrityError, match="append-only"):
        plant.written(database, site_id, lambda tx: tx.connection.execute(statement))
    with database.read(site_id) as tx:
        assert work_orders.revision(tx, order.id) == issued


def test_times_come_back_in_utc_whatever_the_offset(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    local = datetime.fromisoformat("2026-01-07T11:30:00.123456+05:00")
    plant.written(database, site_id, lambda tx: plant.order(tx, machine, opened_at=local))
    with database.read(site_id) as tx:
        found = work_orders.work_order_by_external(tx, "plant-a", "WO-1")
    assert found is not None
    assert found.opened_at == datetime(2026, 1, 7, 6, 30, 0, 123456, tzinfo=UTC)
    assert found.opened_at.tzinfo is UTC


def test_a_time_without_offset_is_refused(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    naive = datetime(2026, 1, 7, 6, 30)  # noqa: DTZ001
    with pytest.raises(sa.exc.StatementError, match="offset"):
        plant.written(database, site_id, lambda tx: plant.order(tx, machine, opened_at=naive))
