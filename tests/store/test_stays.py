"""No two bearings are in one position at the same time: the database itself holds it."""

from datetime import datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from service import errors
from service.store import models
from service.store.database import Database
from service.store.identity import new_id
from service.store.transaction import Tx
from tests.store import plant
from tests.store.test_unit_of_work import together


def day(number: float) -> datetime:
    return plant.OPENED_AT + timedelta(days=number)


def stay(tx: Tx, position_id: str, installed: float, removed: float | None, **members: Any) -> str:
    values = {
        "site_id": tx.site_id,
        "id": new_id(),
        "position_id": position_id,
        "designation": "22216 K/C3",
        "installed_at": day(installed),
        "removed_at": None if removed is None else day(removed),
        "end_type": "running" if removed is None else "failed",
        "document": "{}",
        "created_at": tx.now,
    }
    tx.connection.execute(sa.insert(models.Stay).values(values | members))
    return str(values["id"])


class Plant:
    """A site with the two positions of a fan."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.site_id = plant.site(database)
        self.tail, self.drive = (p["id"] for p in plant.stored(database, self.site_id).shafts[0]["positions"])

    def stay(self, position_id: str, installed: float, removed: float | None, **members: Any) -> str:
        return str(
            plant.written(self.database, self.site_id, lambda tx: stay(tx, position_id, installed, removed, **members))
        )

    def change(self, stay_id: str, **values: Any) -> None:
        statement = sa.update(models.Stay).where(models.Stay.id == stay_id).values(values)
        plant.written(self.database, self.site_id, lambda tx: tx.connection.execute(statement))


@pytest.fixture
def fan(database: Database) -> Plant:
    return Plant(database)


@pytest.mark.parametrize("times", [(0, 5), (15, 25), (12, 14), (5, 25), (10, 20), (15, None), (0, None)])
def test_stays_do_not_overlap(fan: Plant, times: tuple[float, float | None]) -> None:
    fan.stay(fan.tail, 10, 20)
    if times == (0, 5):
        fan.stay(fan.tail, *times)
        return
    with pytest.raises(errors.Conflict) as refusal:
        fan.stay(fan.tail, *times)
    assert refusal.value.code == "stays_overlap"
    fan.stay(fan.drive, *times)


def test_a_stay_begins_when_the_one_before_ends(fan: Plant) -> None:
    fan.stay(fan.tail, 10, 20)
    fan.stay(fan.tail, 20, 30)
    fan.stay(fan.tail, 30, None)


def test_one_stay_of_a_position_is_open(fan: Plant) -> None:
    fan.stay(fan.tail, 10, None)
    with pytest.raises(errors.Conflict) as refusal:
        fan.stay(fan.tail, 20, None)
    assert refusal.value.code == "position_has_open_stay"
    fan.stay(fan.drive, 20, None)


def test_a_stay_cannot_be_changed_into_another(fan: Plant) -> None:
    fan.stay(fan.tail, 10, 20)
    second = fan.stay(fan.tail, 20, 30)
    with pytest.raises(errors.Conflict) as refusal:
        fan.change(second, installed_at=day(15))
    assert refusal.value.code == "stays_overlap"
    other = fan.stay(fan.drive, 15, 25)
    with pytest.raises(errors.Conflict):
        fan.change(other, position_id=fan.tail)


def test_the_removal_comes_after_the_installation(fan: Plant) -> None:
    for removed in (10, 9):
        with pytest.raises(errors.Conflict) as refusal:
            fan.stay(fan.tail, 10, removed)
        assert refusal.value.code == "removed_before_installed"


@pytest.mark.parametrize(("removed", "end_type"), [(None, "failed"), (20, "running")])
def test_a_stay_runs_exactly_as_long_as_it_has_no_removal(fan: Plant, removed: float | None, end_type: str) -> None:
    with pytest.raises(errors.Conflict) as refusal:
        fan.stay(fan.tail, 10, removed, end_type=end_type)
    assert refusal.value.code == "end_type_differs"


@pytest.mark.parametrize(
    "members",
    [
        {"end_type": "exploded"},
        {"operating_hours": -1.0},
        {"operating_hours": float("inf")},
        {"downtime_h": -0.1},
        {"age_at_install_h": 1e12},
    ],
)
def test_other_nonsense_is_refused(fan: Plant, members: dict[str, Any]) -> None:
    with pytest.raises(sa.exc.IntegrityError):
        fan.stay(fan.tail, 10, 20, **members)


def test_a_number_that_is_none_is_never_stored(fan: Plant) -> None:
    """PostgreSQL refuses NaN by the CHECK; SQLite has no NaN and stores NULL, which the edge must refuse before."""
    nan = {"operating_hours": float("nan")}
    if fan.database.settings.on_sqlite:
        fan.stay(fan.tail, 10, 20, **nan)
    else:
        with pytest.raises(sa.exc.IntegrityError):
            fan.stay(fan.tail, 10, 20, **nan)
    with fan.database.reading() as connection:
        assert connection.execute(sa.select(models.Stay.operating_hours)).scalars().all() in ([], [None])


def test_a_position_with_a_stay_cannot_be_deleted(fan: Plant) -> None:
    fan.stay(fan.tail, 10, 20)
    with pytest.raises(errors.Conflict):
        plant.written(fan.database, fan.site_id, lambda tx: tx.connection.execute(sa.delete(models.Position)))


def test_a_stay_belongs_to_a_position_of_its_own_site(fan: Plant) -> None:
    south = plant.site(fan.database, "south")
    with pytest.raises(errors.Conflict):
        plant.written(fan.database, south, lambda tx: stay(tx, fan.tail, 10, 20))


def test_of_many_who_fit_a_bearing_at_once_one_succeeds(fan: Plant) -> None:
    outcomes: list[str] = []

    def fit(number: int) -> None:
        try:
            outcomes.append(fan.stay(fan.tail, number, 50 + number))
        except errors.Conflict as refusal:
            outcomes.append(refusal.code)

    together(*[lambda number=number: fit(number) for number in range(10)])
    assert outcomes.count("stays_overlap") == 9
    with fan.database.reading() as connection:
        assert connection.execute(sa.select(sa.func.count()).select_from(models.Stay)).scalar_one() == 1
