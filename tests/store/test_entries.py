"""What is entered in an order stays as it was entered: the database itself holds it."""

from dataclasses import fields
from datetime import timedelta

import pytest
import sqlalchemy as sa
from sqlalchemy import exc

from service import errors
from service.store import fence, models
from service.store.database import Database
from service.store.identity import new_id
from service.store.queries import completions, entries
from tests.store import plant
from tests.store.test_work_orders import revision

RECORDS = (models.Reading, models.Deviation, models.AsFound, models.Completion, models.Correction)


def lived(database: Database) -> tuple[str, str]:
    """The site and an order with a row in every table of its life."""
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    order = plant.written(database, site_id, lambda tx: plant.order(tx, machine))
    plant.written(database, site_id, lambda tx: [revision(tx, order.id, 1), revision(tx, order.id, 2, 1)])
    plant.written(database, site_id, lambda tx: plant.life_of(tx, order.id))
    return site_id, order.id


@pytest.mark.parametrize("table", RECORDS, ids=lambda table: table.__tablename__)
def test_rows_are_neither_changed_nor_deleted(database: Database, table: type[models.Base]) -> None:
    site_id, _ = lived(database)
    for statement in (sa.update(table).values(document="{}") if hasattr(table, "document") else None, sa.delete(table)):
        if statement is None:
            statement = sa.update(table).values(reason="another")
        with pytest.raises(exc.IntegrityError, match="append-only"), database.engine.begin() as connection:
            fence.let_through(connection, site_id)
            connection.execute(statement)
    with database.reading() as connection:
        assert connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one() == 1


def test_what_was_entered_comes_back_as_it_was(database: Database) -> None:
    site_id, order_id = lived(database)
    with database.read(site_id) as tx:
        (reading,) = entries.readings_of(tx, order_id)
        (deviation,) = entries.deviations_of(tx, order_id)
        (found,) = entries.as_found_of(tx, order_id)
        completion = completions.completion_of(tx, order_id)
        assert completion is not None
        (correction,) = completions.corrections_of(tx, completion.id)
    assert (reading.entry, deviation.entry) == (1, 2), "one numbering for all that counts"
    assert reading.taken_at == plant.OPENED_AT
    assert (found.position, correction.corrects) == ("tail", completion.id)
    assert {field.name for field in fields(reading)} == set(models.Reading.__table__.columns.keys()) - {"site_id"}


def test_another_site_sees_none_of_it(database: Database) -> None:
    _, order_id = lived(database)
    other = plant.site(database, "south")
    with database.read(other) as tx:
        assert entries.readings_of(tx, order_id) == entries.deviations_of(tx, order_id) == []
        assert completions.completion_of(tx, order_id) is None


def test_an_order_is_completed_once_and_an_entry_corrected_once(database: Database) -> None:
    site_id, order_id = lived(database)
    later = plant.OPENED_AT + timedelta(days=1)
    again = {"revision": 2, "completed_at": later, "completed_by": "A. Fitter", "document": {}}
    with pytest.raises(errors.Conflict) as refusal:
        plant.written(database, site_id, lambda tx: completions.insert_completion(tx, work_order_id=order_id, **again))
    assert refusal.value.code == "work_order_not_open"
    with database.read(site_id) as tx:
        completion = completions.completion_of(tx, order_id)
        assert completion is not None
    twice = {"corrects": completion.id, "reason": "again", "corrected_by": "B. Foreman", "document": {}}
    with pytest.raises(errors.Conflict) as refusal:
        plant.written(
            database, site_id, lambda tx: completions.insert_correction(tx, completion_id=completion.id, **twice)
        )
    assert refusal.value.code == "already_corrected"


@pytest.mark.parametrize(
    "members",
    [
        {"kind": "guess"},
        {"verdict": "perhaps"},
        {"revision": 7},
        {"made_revision": 1},
        {"taken_by": ""},
        {"entry": 1},
        {"entry": 0},
    ],
)
def test_a_reading_that_cannot_be_is_not_stored(database: Database, members: dict[str, object]) -> None:
    site_id, order_id = lived(database)
    with pytest.raises((exc.IntegrityError, errors.Conflict)):
        plant.written(database, site_id, lambda tx: plant.reading(tx, order_id, **{"entry": 3, **members}))
    with pytest.raises(errors.Conflict):
        plant.written(database, site_id, lambda tx: plant.reading(tx, new_id()))
