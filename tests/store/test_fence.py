"""The second fence (PostgreSQL): row level security holds where a query forgets its site. And the replica.

The role is the one that docker/roles.sh makes, as in all tests on PostgreSQL: no superuser, no owner of tables. What
row level security does to such a role, and that FORCE holds the owner too: PostgreSQL's documentation, 5.9 Row
Security Policies.
"""

import hashlib
from collections.abc import Iterator

import pytest
import sqlalchemy as sa

from service.app import create_app
from service.settings import Settings
from service.store import engines, journal, migrate, models
from service.store.database import Database
from service.store.queries import sites
from service.store.queries.keys import Keyring, create_key
from service.store.unit_of_work import Tx, Written
from service.use_cases.checks import journal as checked
from service.use_cases.checks.sealing import waiting
from tests import databases
from tests.api.samples.machines import fan, order
from tests.store import plant

TABLES = {name for name, table in models.Base.metadata.tables.items() if "site_id" in table.c}


@pytest.fixture
def fenced(postgres_url: str) -> Iterator[Database]:
    """The store as the service's own role."""
    database = Database(Settings(database_url=postgres_url))
    yield database
    database.dispose()


def test_the_tests_work_as_the_role_of_production(fenced: Database) -> None:
    """It goes around no fence, may make nothing, owns nothing and is a member of no role that could."""
    with fenced.reading() as connection:
        rights = "SELECT rolsuper, rolbypassrls, rolcreatedb, rolcreaterole FROM pg_roles WHERE rolname = current_user"
        assert tuple(connection.exec_driver_sql(rights).one()) == (False, False, False, False)
        owned = "SELECT count(*) FROM pg_class WHERE pg_has_role(current_user, relowner, 'MEMBER')"
        assert connection.exec_driver_sql(owned).scalar_one() == 0


def with_a_machine(database: Database, code: str) -> str:
    site_id = plant.site(database, code)
    plant.stored(database, site_id)
    return site_id


UNSCOPED = sa.select(models.Asset.site_id)


def test_a_query_that_forgets_its_site_sees_its_own_rows_only(fenced: Database) -> None:
    north, south = with_a_machine(fenced, "north"), with_a_machine(fenced, "south")
    for site_id in (north, south):
        with fenced.read(site_id) as tx:
            assert tx.connection.execute(UNSCOPED).scalars().all() == [site_id]
    with fenced.reading() as connection:  # a command over all sites says so
        assert set(connection.execute(UNSCOPED).scalars()) == {north, south}
    with fenced.reading(before_site=True) as connection:
        assert connection.execute(UNSCOPED).all() == []
    with fenced.engine.connect() as connection:  # nobody has said anything
        assert connection.execute(UNSCOPED).all() == []


def test_a_write_that_forgets_its_site_reaches_no_other(fenced: Database) -> None:
    north, south = with_a_machine(fenced, "north"), with_a_machine(fenced, "south")

    def unscoped(tx: Tx) -> Written:
        assert tx.connection.execute(sa.update(models.Asset).values(name="changed")).rowcount == 1
        return Written(200, "")

    fenced.write(site_id=north, actor="tester", request_id="test", work=unscoped)
    with fenced.read(south) as tx:
        assert tx.connection.execute(sa.select(models.Asset.name)).scalar_one() != "changed"

    def of_another(tx: Tx) -> Written:
        values = {"site_id": south, "id": tx.site_id, "tag": "T", "name": "n", "version": 1, "document": "{}"}
        tx.connection.execute(sa.insert(models.Asset).values(values | {"created_at": tx.now, "updated_at": tx.now}))
        return Written(200, "")

    with pytest.raises(sa.exc.ProgrammingError, match="violates row-level security policy"):
        fenced.write(site_id=north, actor="tester", request_id="test", work=of_another)


def test_what_one_transaction_said_does_not_hold_in_the_next(fenced: Database) -> None:
    site_id = with_a_machine(fenced, "north")
    with fenced.read(site_id):
        pass
    for _ in range(3):  # the same pooled connection
        with fenced.engine.connect() as connection:
            assert connection.execute(UNSCOPED).all() == []


def test_the_service_works_as_this_role(fenced: Database) -> None:
    """An order from its opening over its cancelling to the feed; two sites, each with its own."""
    app = create_app(fenced.settings)
    client = app.test_client()
    for code in ("north", "south"):
        sites.create_site(fenced, code, code, "inch")
        headers = {"Authorization": f"Bearer {create_key(fenced, code, ['read', 'write'])}"}
        made = client.post("/v1/work-orders", json=order("WO-1", asset=fan()), headers=headers)
        assert made.status_code == 201, made.text
        again = {**headers, "Idempotency-Key": "again"}
        ended = [client.post(f"/v1/work-orders/{made.json['id']}/cancellation", json={"reason": "no"}, headers=again)]
        ended.append(client.post(ended[0].request.path, json={"reason": "no"}, headers=again))
        assert ended[0].status_code == ended[1].status_code, ended[0].text
        events = client.get("/v1/events", headers=headers)
        assert "work_order.opened" in events.text
        assert len(client.get("/v1/work-orders", headers=headers).json["items"]) == 1
    assert [chain.broken_seq for chain in checked.verify_journals(fenced)] == [None, None]
    app.extensions["capsaddle"].database.dispose()


def test_every_table_of_a_site_has_the_fence_and_its_owner_is_held_too(postgres_url: str) -> None:
    with engines.single(postgres_url).connect() as connection:
        held = connection.exec_driver_sql(
            "SELECT relname FROM pg_class WHERE relkind = 'r' AND relrowsecurity AND relforcerowsecurity"
        )
        assert set(held.scalars()) == TABLES
        policies = connection.exec_driver_sql("SELECT tablename FROM pg_policies WHERE policyname = 'of_site'")
        assert set(policies.scalars()) == TABLES
        others = "SELECT tablename, cmd, roles FROM pg_policies WHERE policyname <> 'of_site'"
        (policy,) = connection.exec_driver_sql(others).all()
        owner = "SELECT tableowner FROM pg_tables WHERE tablename = 'api_keys'"
        assert tuple(policy) == ("api_keys", "SELECT", [connection.exec_driver_sql(owner).scalar_one()])


def test_before_the_site_is_known_one_key_is_found_and_none_are_seen(fenced: Database) -> None:
    """The function takes the hash of a key's secret; without it (a link) it gives the key's row without a hash."""
    plant.site(fenced, "north")
    token = create_key(fenced, "north", ["read"])
    create_key(fenced, "north", ["read"])
    key_id, secret = token.split("_")[1:3]
    digest = hashlib.sha256(secret.encode()).hexdigest()
    asked = "SELECT secret_sha256, code FROM find_key(%(id)s::uuid, %(digest)s)"
    with fenced.reading(before_site=True) as connection:
        assert connection.execute(sa.select(models.ApiKey.__table__)).all() == []
        for given, expected in ((digest, [(digest, "north")]), (None, [(None, "north")]), ("0" * 64, [])):
            found = connection.exec_driver_sql(asked, {"id": key_id, "digest": given}).all()
            assert [tuple(row) for row in found] == expected
        assert connection.execute(sa.select(models.ApiKey.__table__)).all() == []  # the function's right ended with it


def test_no_temporary_table_stands_in_for_the_keys(fenced: Database) -> None:
    """What runs as the owner of the tables must not be led to a table of the caller (CREATE FUNCTION, Notes)."""
    plant.site(fenced, "north")
    key_id = create_key(fenced, "north", ["read"]).split("_")[1]
    asked = "SELECT scopes FROM find_key(%(id)s::uuid, NULL)"
    with fenced.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql("CREATE TEMPORARY TABLE api_keys AS SELECT * FROM public.api_keys WITH NO DATA")
        assert connection.exec_driver_sql(asked, {"id": key_id}).scalars().all() == ["read"]


def test_the_version_before_goes_on_reading_keys_until_it_is_said_to_be_gone(
    postgres_server: databases.PostgresServer,
) -> None:
    """A migration runs beside it. A database without a key has no version before: there the door is shut at once."""
    url = postgres_server.clone()
    database = Database(Settings(database_url=url))
    plant.site(database, "north")
    token = create_key(database, "north", ["read"])
    assert waiting(database) == []
    database.dispose()
    migrate.downgrade(postgres_server.as_owner(url), "0013")
    migrate.upgrade(postgres_server.as_owner(url))
    seen = sa.select(models.ApiKey.secret_sha256)
    with database.reading(before_site=True) as connection:
        assert len(connection.execute(seen).all()) == 1, "as version 0.1.0 asks"
    assert waiting(database) == ["hashes of keys can be read before their site is known"]
    for shut in (False, True):
        caller = Keyring(database).caller(token)
        assert caller is not None and caller.site_code == "north"
        if not shut:
            migrate.close_doors(postgres_server.as_owner(url))
    assert waiting(database) == []
    with database.reading(before_site=True) as connection:
        assert connection.execute(seen).all() == []
    database.dispose()
    postgres_server.drop(url)


def names(database: Database, site_id: str, *, past: bool) -> list[str]:
    with database.read(site_id, past=past) as tx:
        mine = sa.select(models.Asset.name).where(models.Asset.site_id == site_id)
        return sorted(tx.connection.execute(mine).scalars())


def test_a_question_about_the_past_goes_to_a_replica_that_has_all_writes_of_the_site(
    postgres_server: databases.PostgresServer,
) -> None:
    """A copy of the database stands for a replica: the same rows up to a moment, then it lags."""
    url = postgres_server.clone()
    primary = Database(Settings(database_url=url))
    busy, calm = plant.site(primary, "busy"), plant.site(primary, "calm")
    for site_id in (busy, calm):
        plant.stored(primary, site_id)
    primary.dispose()
    made = postgres_server.create(str(sa.make_url(url).database))
    copy = postgres_server.as_role(made)
    with engines.single(made).begin() as connection:  # so that it can be told which of the two answered
        connection.execute(sa.update(models.Asset).values(name="of the replica"))
    database = Database(Settings(database_url=url, database_read_url=copy))
    assert names(database, busy, past=True) == ["of the replica"]
    assert names(database, busy, past=False) != ["of the replica"]

    event = journal.Event("site.blade_set_changed", "site", busy)
    other_process = Database(Settings(database_url=url))
    plant.written(other_process, busy, lambda tx: None, event)
    assert names(database, busy, past=True) != ["of the replica"]  # it lacks the write: the primary answers
    assert names(database, calm, past=True) == ["of the replica"]
    for each in (database, other_process):
        each.dispose()
    postgres_server.drop(copy)
    gone = Database(Settings(database_url=url, database_read_url=copy))
    assert names(gone, calm, past=True) != ["of the replica"]
    gone.dispose()
    postgres_server.drop(url)


def test_behind_a_pooler_no_state_of_the_session_is_used(postgres_url: str) -> None:
    """PgBouncer in transaction mode: no startup options, nothing prepared, limits that end with the transaction."""
    database = Database(Settings(database_url=postgres_url, pooler=True, statement_timeout_ms=4321))
    site_id = plant.site(database, "north")
    for _ in range(12):  # psycopg prepares what it has run five times
        with database.read(site_id) as tx:
            assert tx.connection.exec_driver_sql("SHOW statement_timeout").scalar_one() == "4321ms"
            assert tx.connection.exec_driver_sql("SELECT count(*) FROM pg_prepared_statements").scalar_one() == 0
    raw = database.engine.raw_connection()
    try:
        assert raw.cursor().execute("SHOW statement_timeout").fetchone() == ("0",)
    finally:
        raw.close()
    plain = Database(Settings(database_url=postgres_url))
    counts = []
    for _ in range(12):
        with plain.read(site_id) as tx:
            counts.append(tx.connection.exec_driver_sql("SELECT count(*) FROM pg_prepared_statements").scalar_one())
    assert counts[-1] > 0  # without a pooler statements are prepared: the check above can fail
    database.dispose()
    plain.dispose()
