"""Every command, and the import of histories, by the role of production and by an owner who is no superuser.

COPY into a table with row level security is refused to both: PostgreSQL's documentation, COPY, Notes ("If row-level
security is enabled for the table, ... COPY FROM is not supported for tables with row-level security; use equivalent
INSERT statements instead"); FORCE holds the owner too (ALTER TABLE).
"""

import json
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from service.demo.history import history
from service.store import engines, migrate
from tests import databases
from tests.system.servers import run_command
from tests.system.test_command_line import CHART_WORDS

CHART = "bearing_type,bore_over_mm,bore_incl_mm,min_mm,max_mm\nspherical_roller,65,80,0.04,0.05\n"


@pytest.fixture
def plain_owner(postgres_server: databases.PostgresServer) -> Iterator[str]:
    """A migrated database whose tables belong to a role that is no superuser."""
    url = postgres_server.empty()
    name = f"{postgres_server.role}_owner"
    with engines.single(url).begin() as connection:
        connection.exec_driver_sql(f"CREATE ROLE {name} LOGIN PASSWORD 'plain' NOSUPERUSER NOBYPASSRLS")
        connection.exec_driver_sql(f"GRANT ALL ON SCHEMA public TO {name}")
    theirs = postgres_server.as_role(url).replace(postgres_server.role, name)
    migrate.upgrade(theirs)
    yield theirs
    postgres_server.drop(url)
    with engines.single(postgres_server.as_owner(url).rpartition("/")[0] + "/postgres").begin() as connection:
        connection.exec_driver_sql(f"DROP ROLE {name}")


@pytest.fixture(params=["role of production", "owner of the tables"])
def door(request: pytest.FixtureRequest) -> str:
    """The URL of a migrated database for a role that row level security holds."""
    fixture = {"role of production": "postgres_url", "owner of the tables": "plain_owner"}[request.param]
    url = str(request.getfixturevalue(fixture))
    with (
        psycopg.connect(url.replace("+psycopg", "")) as connection,
        pytest.raises(psycopg.errors.FeatureNotSupported, match="row-level security"),
    ):
        connection.execute("COPY stays FROM STDIN")
    return url


def done(url: str, *arguments: str) -> str:
    """What a command says that ends well."""
    told = run_command(url, *arguments)
    assert told.returncode == 0, (arguments, told.stdout, told.stderr)
    return told.stdout


def test_every_command_does_its_work(door: str, tmp_path: Path) -> None:
    stays = history()[:60]
    file, out, chart = tmp_path / "stays.json", tmp_path / "stays.csv", tmp_path / "chart.csv"
    file.write_text(json.dumps({"items": stays}), encoding="utf-8")
    chart.write_text(CHART)
    done(door, "sites", "create", "MILL-A", "--name", "Mill A", "--units", "metric")
    done(door, "sites", "create", "MILL-B", "--name", "Mill B", "--units", "metric")
    done(door, "sites", "blades", "MILL-A", "inch")
    key = done(door, "keys", "create", "--site", "MILL-A", "--scopes", "read,write").split()[-1]
    done(door, "keys", "revoke", "--site", "MILL-A", key.split("_")[1])
    assert "version 1" in done(door, "charts", "import", str(chart), *CHART_WORDS)
    assert "60 of 60 stays would be new" in done(
        door, "import", str(file), "--site", "MILL-A", "--create-assets", "--dry-run"
    )
    assert "60 of 60 stays are new" in done(door, "import", str(file), "--site", "MILL-A", "--create-assets")
    assert done(door, "export", str(out), "--site", "MILL-A").startswith("60 stays")
    assert "0 of 60 stays are new" in done(door, "import", str(out), "--site", "MILL-A")
    assert done(door, "export", str(out), "--site", "MILL-B").startswith("0 stays")
    assert "0 steps" in done(door, "deliver", "--once")
    assert "failed" not in done(door, "check")
    assert "0 kept answers" in done(door, "tidy")
    assert "MILL-A: " in done(door, "audit", "verify")
    assert "MILL-B: 0 computed" in done(door, "verify", "revisions")


def test_who_may_make_no_temporary_table_imports_all_the_same(
    postgres_server: databases.PostgresServer, postgres_url: str, tmp_path: Path
) -> None:
    with engines.single(postgres_server.as_owner(postgres_url)).begin() as owner:
        name = postgres_url.rpartition("/")[2]
        owner.exec_driver_sql(f"REVOKE TEMPORARY ON DATABASE {name} FROM PUBLIC")
    file = tmp_path / "stays.json"
    file.write_text(json.dumps({"items": history()[:60]}), encoding="utf-8")
    done(postgres_url, "sites", "create", "MILL-A", "--name", "Mill A", "--units", "metric")
    assert "60 of 60 stays are new" in done(postgres_url, "import", str(file), "--site", "MILL-A", "--create-assets")
    assert "0 of 60 stays are new" in done(postgres_url, "import", str(file), "--site", "MILL-A")
