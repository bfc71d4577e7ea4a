"""The application on a fresh database, and clients with keys of two sites."""

import json
from collections.abc import Callable, Iterator

import pytest
from flask import Flask

from service.app import create_app
from service.settings import AllowedTarget, Settings
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests.api.samples.checked import Client, Contract

ALL_SCOPES = ("read", "write", "approve", "admin")


def application(url: str) -> Flask:
    """Return the application on a database with two sites: ALDER (inch) and BIRCH (metric)."""
    receivers = (AllowedTarget("https", 443, host="cmms.example"),)
    app = create_app(Settings(database_url=url, webhook_targets=receivers))
    database = app.extensions["capsaddle"].database
    create_site(database, "ALDER", "Alder Hollow board mill", "inch")
    create_site(database, "BIRCH", "Birch Landing pulp works", "metric")
    return app


@pytest.fixture
def app(sqlite_url: str) -> Iterator[Flask]:
    """The application on SQLite."""
    app = application(sqlite_url)
    yield app
    app.extensions["capsaddle"].database.dispose()


@pytest.fixture
def app_on_each(database_url: str) -> Iterator[Flask]:
    """The application on each engine in turn."""
    app = application(database_url)
    yield app
    app.extensions["capsaddle"].database.dispose()


@pytest.fixture(scope="session")
def contracts() -> dict[str, Contract]:
    """The contract, read once."""
    return {}


ClientMaker = Callable[..., Client]


@pytest.fixture
def client_of(contracts: dict[str, Contract]) -> ClientMaker:
    """Make a client: ``client_of(app, site="ALDER", scopes=ALL_SCOPES)``."""

    def made(app: Flask, site: str | None = "ALDER", scopes: tuple[str, ...] = ALL_SCOPES) -> Client:
        services = app.extensions["capsaddle"]
        contract = contracts.setdefault("contract", Contract(json.loads(services.openapi)))
        key = None if site is None else create_key(services.database, site, scopes)
        return Client(app, contract, key)

    return made


@pytest.fixture
def client(app: Flask, client_of: ClientMaker) -> Client:
    """A client of ALDER (inch) with all scopes, on SQLite."""
    return client_of(app)


@pytest.fixture
def metric_client(app: Flask, client_of: ClientMaker) -> Client:
    """A client of BIRCH (metric) with all scopes, on SQLite."""
    return client_of(app, "BIRCH")


@pytest.fixture
def client_on_each(app_on_each: Flask, client_of: ClientMaker) -> Client:
    """A client of ALDER (inch) with all scopes, on each engine in turn."""
    return client_of(app_on_each)
