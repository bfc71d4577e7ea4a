"""Fixtures that all tests share: a fresh, migrated database of each engine."""

import os
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from hypothesis import settings as hypothesis_settings

from service.settings import Settings
from service.store.database import Database
from tests import databases

ENGINES = ("sqlite", "postgresql")

hypothesis_settings.register_profile("fixed", derandomize=True, deadline=None)
hypothesis_settings.register_profile("explore", derandomize=False, deadline=None, max_examples=1000)
hypothesis_settings.load_profile("explore" if os.environ.get("CAPSADDLE_TEST_EXPLORE") else "fixed")


@pytest.fixture(scope="session", autouse=True)
def secret_of_the_operator() -> Iterator[None]:
    """On PostgreSQL settings that name no secret have that of the run; beside an SQLite file one is made."""
    beside = Settings._beside

    def of_the_run(self: Settings, suffix: str) -> Path | None:
        return databases.secret_file() if suffix == ".secret" and not self.on_sqlite else beside(self, suffix)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Settings, "_beside", of_the_run)
        yield


@pytest.fixture(scope="session")
def sqlite_files(tmp_path_factory: pytest.TempPathFactory) -> databases.SqliteFiles:
    """The migrated SQLite file that every test copies."""
    return databases.SqliteFiles(tmp_path_factory.mktemp("sqlite"))


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[databases.PostgresServer]:
    """The PostgreSQL server of this run; without one the test is skipped, or fails where one is required."""
    with ExitStack() as stack:
        try:
            server = databases.postgres_server(stack)
        except databases.NoServer as reason:
            if os.environ.get(databases.REQUIRE_NAME):
                pytest.fail(f"{reason}; {databases.REQUIRE_NAME} is set")
            pytest.skip(str(reason))
        yield server


@pytest.fixture
def sqlite_url(sqlite_files: databases.SqliteFiles, tmp_path: Path) -> str:
    """A fresh migrated SQLite database."""
    return sqlite_files.clone(tmp_path)


@pytest.fixture
def postgres_url(postgres_server: databases.PostgresServer) -> Iterator[str]:
    """A fresh migrated PostgreSQL database, for the role of production."""
    url = postgres_server.clone()
    yield url
    postgres_server.drop(url)


@pytest.fixture(params=ENGINES)
def database_url(request: pytest.FixtureRequest) -> str:
    """A fresh migrated database, of each engine in turn."""
    fixture = {"sqlite": "sqlite_url", "postgresql": "postgres_url"}[request.param]
    return str(request.getfixturevalue(fixture))


@pytest.fixture
def owner_url(request: pytest.FixtureRequest, database_url: str) -> str:
    """The database of ``database_url`` for its owner, who migrates it; on SQLite there is one door."""
    if database_url.startswith("sqlite"):
        return database_url
    server: databases.PostgresServer = request.getfixturevalue("postgres_server")
    return server.as_owner(database_url)


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    """The store on a fresh migrated database, of each engine in turn."""
    database = Database(Settings(database_url=database_url, pool_size=30))
    yield database
    database.dispose()


@pytest.fixture
def of_owner(owner_url: str) -> Iterator[Database]:
    """The same database as ``database``, as its owner."""
    database = Database(Settings(database_url=owner_url))
    yield database
    database.dispose()
