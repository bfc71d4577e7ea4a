"""The unit of work: all or nothing, once, retried where that is safe, and never in silence."""

import threading
import time
from collections.abc import Callable, Iterator
from threading import Barrier, Thread
from typing import Any

import pytest
import sqlalchemy as sa
from psycopg import errors as pg

from service import errors
from service.settings import Settings
from service.store import models, repeats, unit_of_work
from service.store.database import Database
from service.store.queries import assets
from service.store.unit_of_work import Event, Idempotency, Tx, Written
from tests.store import plant

KEY = Idempotency("k-1", "POST", "/v1/assets", "fingerprint")


def opened(tag: str = "FAN-1", status: int = 201) -> Callable[[Tx], Written]:
    """Work that stores an asset and answers its id."""

    def work(tx: Tx) -> Written:
        row = assets.insert_asset(tx, plant.asset(tag))
        event = Event("asset.created", "asset", row.id)
        return Written(status, row.id, {"Location": f"/v1/assets/{row.id}"}, (event,))

    return work


def write(database: Database, site_id: str, work: Callable[[Tx], Written], **members: Any) -> Written:
    return database.write(site_id=site_id, actor="key-1", request_id="r-1", work=work, **members)


def count(database: Database, table: type[models.Base]) -> int:
    with database.reading() as connection:
        return int(connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one())


def test_work_that_raises_leaves_nothing(database: Database) -> None:
    site_id = plant.site(database)
    journal_rows = count(database, models.JournalEntry)

    def work(tx: Tx) -> Written:
        opened()(tx)
        raise errors.CannotEvaluate("no")

    with pytest.raises(errors.CannotEvaluate):
        write(database, site_id, work, idempotency=KEY)
    assert count(database, models.Asset) == count(database, models.IdempotencyKey) == 0
    assert count(database, models.JournalEntry) == journal_rows
    assert write(database, site_id, opened(), idempotency=KEY).status == 201


def test_who_asked_is_told_of_each_commit_and_of_nothing_else(database: Database) -> None:
    """Every way of writing goes through this door, so that what is told here is told of all of them."""
    site_id = plant.site(database)
    told: list[tuple[str, str, int]] = []

    def follow(of_site: str, events: tuple[Event, ...]) -> None:
        told.extend((of_site, event.type, count(database, models.Asset)) for event in events)  # committed by now

    def fail(of_site: str, events: tuple[Event, ...]) -> None:
        raise RuntimeError("what follows a commit must not undo it")

    database.tell_of_commits(fail)
    database.tell_of_commits(follow)
    write(database, site_id, opened(), dry_run=True)
    with pytest.raises(errors.NotFound):
        write(database, site_id, lambda tx: refused(opened()(tx)))
    assert told == []
    assert [write(database, site_id, opened(), idempotency=KEY).replayed for _ in range(2)] == [False, True]
    assert told == [(site_id, "asset.created", 1)]
    write(database, site_id, lambda tx: Written(200, ""))  # entered nothing in the journal
    assert len(told) == 1 and count(database, models.Asset) == 1


def refused(written: Written) -> Written:
    raise errors.NotFound(f"after {written.status}")


def test_a_dry_run_answers_and_stores_nothing(database: Database) -> None:
    site_id = plant.site(database)
    journal_rows = count(database, models.JournalEntry)
    answer = write(database, site_id, opened(), idempotency=KEY, dry_run=True)
    assert answer.status == 201 and answer.body
    assert count(database, models.Asset) == count(database, models.IdempotencyKey) == 0
    assert count(database, models.JournalEntry) == journal_rows
    assert not write(database, site_id, opened(), idempotency=KEY).replayed


def test_a_dry_run_finds_what_the_write_would_find(database: Database) -> None:
    site_id = plant.site(database)
    write(database, site_id, opened())
    with pytest.raises(errors.Conflict):
        write(database, site_id, opened(), dry_run=True)


def test_a_repeated_request_gets_the_answer_that_was_kept(database: Database) -> None:
    site_id = plant.site(database)
    first = write(database, site_id, opened(), idempotency=KEY)
    again = write(database, site_id, opened(), idempotency=KEY)
    assert (again.status, again.body, again.headers) == (first.status, first.body, first.headers)
    assert (first.replayed, again.replayed) == (False, True)
    assert count(database, models.Asset) == 1


def test_a_key_with_another_request_is_refused(database: Database) -> None:
    site_id = plant.site(database)
    write(database, site_id, opened(), idempotency=KEY)
    with pytest.raises(errors.IdempotencyKeyReused):
        write(database, site_id, opened("B"), idempotency=Idempotency("k-1", "POST", "/v1/assets", "other"))
    assert count(database, models.Asset) == 1


@pytest.mark.parametrize(
    "other",
    [
        {"idempotency": Idempotency("k-2", "POST", "/v1/assets", "fingerprint")},
        {"idempotency": Idempotency("k-1", "PUT", "/v1/assets", "fingerprint")},
        {"idempotency": Idempotency("k-1", "POST", "/v1/work-orders", "fingerprint")},
        {"actor": "key-2"},
    ],
)
def test_key_method_route_and_caller_tell_requests_apart(database: Database, other: dict[str, Any]) -> None:
    site_id = plant.site(database)
    write(database, site_id, opened("A"), idempotency=KEY)
    given = {"site_id": site_id, "actor": "key-1", "request_id": "r", "idempotency": KEY} | other
    assert not database.write(work=opened("B"), **given).replayed  # type: ignore[arg-type]


def test_the_same_key_of_another_site_is_another_request(database: Database) -> None:
    north, south = plant.site(database, "north"), plant.site(database, "south")
    write(database, north, opened(), idempotency=KEY)
    assert not write(database, south, opened(), idempotency=KEY).replayed


def test_an_answer_that_is_no_success_is_not_kept(database: Database) -> None:
    site_id = plant.site(database)
    write(database, site_id, lambda tx: Written(422, "no"), idempotency=KEY)
    assert count(database, models.IdempotencyKey) == 0
    assert not write(database, site_id, opened(), idempotency=KEY).replayed


def test_a_key_is_free_again_after_seven_days(database: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    site_id = plant.site(database)
    write(database, site_id, opened("A"), idempotency=KEY)
    aged = sa.update(models.IdempotencyKey)

    def age(tx: Tx) -> Written:
        tx.connection.execute(aged.values(created_at=tx.now - repeats.KEPT_FOR))
        return Written(200, "")

    write(database, site_id, age)
    assert not write(database, site_id, opened("B"), idempotency=KEY).replayed
    write(database, site_id, age)
    monkeypatch.setattr(repeats, "_cleaned", {})
    write(database, site_id, opened("C"), idempotency=Idempotency("k-9", "POST", "/v1/assets", "f"))
    assert count(database, models.IdempotencyKey) == 1


def test_twenty_twins_write_once(database: Database) -> None:
    site_id = plant.site(database)
    start, answers = Barrier(20), []

    def send() -> None:
        start.wait()
        answers.append(write(database, site_id, opened(), idempotency=KEY))

    together(*[send] * 20)
    assert len(answers) == 20
    assert len({(answer.status, answer.body) for answer in answers}) == 1
    assert [answer.replayed for answer in answers].count(False) == 1
    assert count(database, models.Asset) == 1


def test_a_twin_that_runs_too_long_is_in_progress_on_postgresql(postgres_url: str) -> None:
    database = Database(Settings(database_url=postgres_url, lock_timeout_ms=100))
    site_id = plant.site(database)
    running, checked = threading.Event(), threading.Event()

    def slow(tx: Tx) -> Written:
        running.set()
        assert checked.wait(10)
        return opened()(tx)

    thread = Thread(target=write, args=(database, site_id, slow), kwargs={"idempotency": KEY})
    thread.start()
    assert running.wait(10)
    try:
        with pytest.raises(errors.Conflict) as refusal:
            write(database, site_id, opened(), idempotency=KEY)
    finally:
        checked.set()
        thread.join()
    assert refusal.value.code == "idempotency_in_progress"
    assert write(database, site_id, opened(), idempotency=KEY).replayed
    database.dispose()


def test_writers_who_race_for_a_name_read_again_and_find_it(database: Database) -> None:
    """Twins without a key: one stores the tag, all others find it, nobody fails."""
    site_id = plant.site(database)
    start, answers = Barrier(12), []

    def work(tx: Tx) -> Written:
        found = assets.asset_by_tag(tx, "FAN-1")
        return opened()(tx) if found is None else Written(200, found.id)

    def send() -> None:
        start.wait()
        answers.append(write(database, site_id, work))

    together(*[send] * 12)
    assert sorted(answer.status for answer in answers) == [200] * 11 + [201]
    assert len({answer.body for answer in answers}) == 1


@pytest.fixture
def lost_races(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[type[pg.Error]]]:
    """Errors that the next commits raise after the rollback, as PostgreSQL does when a transaction loses a race."""
    errors_to_raise: list[type[pg.Error]] = []
    effect = unit_of_work._effect

    def losing(tx: Tx, call: unit_of_work.Call) -> Written:
        written = effect(tx, call)
        if errors_to_raise:
            lost = errors_to_raise.pop()("lost")
            raise sa.exc.OperationalError("COMMIT", {}, lost)
        return written

    monkeypatch.setattr(unit_of_work, "_effect", losing)
    yield errors_to_raise


@pytest.mark.parametrize("error", [pg.SerializationFailure, pg.DeadlockDetected])  # 40001 and 40P01
def test_a_lost_race_is_run_again(database: Database, lost_races: list[type[pg.Error]], error: type[pg.Error]) -> None:
    site_id = plant.site(database)
    lost_races += [error] * (unit_of_work.ATTEMPTS - 1)
    assert write(database, site_id, opened(), idempotency=KEY).status == 201
    assert count(database, models.Asset) == 1
    assert count(database, models.JournalEntry) == 2


def test_too_many_lost_races_are_busy(database: Database, lost_races: list[type[pg.Error]]) -> None:
    site_id = plant.site(database)
    lost_races += [pg.SerializationFailure] * unit_of_work.ATTEMPTS
    with pytest.raises(errors.Busy):
        write(database, site_id, opened(), idempotency=KEY)
    assert count(database, models.Asset) == count(database, models.IdempotencyKey) == 0


def test_a_real_deadlock_is_run_again(postgres_url: str) -> None:
    """Two writers lock two assets crosswise; PostgreSQL ends one, which is run again, and both succeed."""
    database = Database(Settings(database_url=postgres_url, lock_timeout_ms=20_000))
    site_id = plant.site(database)
    machines = [plant.stored(database, site_id, plant.asset(tag)).id for tag in ("A", "B")]
    crossed = Barrier(2)
    runs = []

    def crosswise(first: str, second: str) -> None:
        def work(tx: Tx) -> Written:
            runs.append(first)
            assets.replace_asset(tx, first, None, plant.asset("A" if first == machines[0] else "B"))
            if runs.count(first) == 1:
                crossed.wait(10)
            assets.replace_asset(tx, second, None, plant.asset("A" if second == machines[0] else "B"))
            return Written(200, "")

        write(database, site_id, work)

    together(lambda: crosswise(*machines), lambda: crosswise(*reversed(machines)))
    with database.read(site_id) as tx:
        assert [row.version for row in assets.page_of_assets(tx, limit=2)] == [3, 3]
    assert len(runs) == 3
    database.dispose()


def test_sqlite_locked_by_another_process_is_busy(sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("service.store.engines.PRAGMAS", ("PRAGMA busy_timeout = 50", "PRAGMA journal_mode = WAL"))
    mine, other = (Database(Settings(database_url=sqlite_url)) for _ in range(2))
    site_id = plant.site(mine)

    def work(tx: Tx) -> Written:
        with pytest.raises(errors.Busy):
            write(other, site_id, opened())
        return Written(200, "")

    write(mine, site_id, work)
    assert write(other, site_id, opened()).status == 201
    mine.dispose()
    other.dispose()


def test_a_lost_connection_is_busy_and_the_next_call_works(postgres_url: str) -> None:
    database = Database(Settings(database_url=postgres_url, pool_size=1))
    site_id = plant.site(database)
    admin = sa.create_engine(postgres_url, poolclass=sa.pool.NullPool)
    others = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND pid <> "
    with admin.connect() as connection:
        connection.exec_driver_sql(others + "pg_backend_pid()")
    time.sleep(0.2)
    with pytest.raises(errors.Busy):
        write(database, site_id, opened())
    assert write(database, site_id, opened()).status == 201
    with admin.connect() as connection:
        connection.exec_driver_sql(others + "pg_backend_pid()")
    time.sleep(0.2)
    with pytest.raises(errors.Busy), database.read(site_id) as tx:
        assets.page_of_assets(tx, limit=1)
    with database.read(site_id) as tx:
        assert len(assets.page_of_assets(tx, limit=5)) == 1
    database.dispose()


def test_a_server_that_is_not_there_is_busy() -> None:
    database = Database(Settings(database_url="postgresql+psycopg://nobody@127.0.0.1:1/none"))
    with pytest.raises(errors.Busy):
        write(database, "01a211e1-d6ef-7133-945f-8f5177444b66", opened())
    assert database.ready()["ready"] is False


def test_an_empty_pool_is_busy(postgres_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    database = Database(Settings(database_url=postgres_url, pool_size=1))
    site_id = plant.site(database)
    monkeypatch.setattr(database.engine.pool, "_timeout", 0.05)
    with database.read(site_id), pytest.raises(errors.Busy):
        write(database, site_id, opened())
    database.dispose()


def test_a_read_cannot_write_on_postgresql(postgres_url: str) -> None:
    database = Database(Settings(database_url=postgres_url))
    site_id = plant.site(database)
    with pytest.raises(sa.exc.InternalError, match="read-only"), database.read(site_id) as tx:
        opened()(tx)
    assert write(database, site_id, opened()).status == 201  # the connection is itself again
    database.dispose()


def test_a_full_disk_is_busy_and_breaks_nothing(sqlite_url: str) -> None:
    """SQLite's max_page_count stands for the disk: the same error, SQLITE_FULL."""
    database = Database(Settings(database_url=sqlite_url))
    site_id = plant.site(database)

    def work(tx: Tx) -> Written:
        pages = tx.connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        tx.connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")
        for number in range(2000):
            opened(f"FAN-{number}")(tx)
        return Written(200, "")

    with pytest.raises(errors.Busy):
        write(database, site_id, work)
    database.dispose()
    assert count(database, models.Asset) == 0
    with database.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalar_one() == "ok"
    assert write(database, site_id, opened()).status == 201
    database.dispose()


def test_a_text_that_no_database_can_hold_cannot_be_evaluated(database: Database) -> None:
    site_id = plant.site(database)
    with pytest.raises(errors.CannotEvaluate):
        write(database, site_id, opened("\ud800"))


def test_a_zero_character_cannot_be_evaluated_on_postgresql(postgres_url: str) -> None:
    database = Database(Settings(database_url=postgres_url))
    site_id = plant.site(database)
    with pytest.raises(errors.CannotEvaluate):
        write(database, site_id, opened("a\x00b"))
    database.dispose()


def test_a_forked_process_makes_its_own_engine(database: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    site_id = plant.site(database)
    before, pool = database.engine, database.engine.pool
    monkeypatch.setattr("service.store.database.os.getpid", lambda: -1)
    assert database.engine is not before
    assert write(database, site_id, opened()).status == 201
    database.dispose()
    pool.dispose()


def test_sqlite_writes_durably_with_foreign_keys_and_a_log(sqlite_url: str) -> None:
    database = Database(Settings(database_url=sqlite_url))
    # values by the SQLite manual: synchronous 2 is FULL
    expected = {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "trusted_schema": 0}
    with database.reading() as connection:
        found = {name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one() for name in expected}
    assert found == expected
    database.dispose()


def together(*calls: Callable[[], object]) -> None:
    """Run the calls in threads and wait for all; a failure in one fails the test by pytest's thread check."""
    threads = [Thread(target=call) for call in calls]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
        assert not thread.is_alive()
