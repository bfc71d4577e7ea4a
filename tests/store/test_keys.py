"""Keys open one site with their scopes; the secret is shown once and kept nowhere."""

import sqlite3
import time
from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa

from service import errors
from service.settings import Settings
from service.store import models
from service.store.database import Database
from service.store.identity import new_id
from service.store.queries import keys, sites
from service.use_cases.checks import journal as checked
from tests.store import plant


@pytest.fixture
def keyring(database: Database) -> keys.Keyring:
    plant.site(database)
    return keys.Keyring(database, cache_s=0.5)


def test_a_key_tells_its_site_and_scopes(database: Database, keyring: keys.Keyring) -> None:
    token = keys.create_key(database, "north", ["write", "read"], "integration")
    caller = keyring.caller(token)
    site = sites.site_by_code(database, "north")
    assert caller is not None
    assert (caller.site_id, caller.site_code) == (site.id, "north")
    assert (caller.units, caller.blade_set) == ("inch", "inch")
    assert caller.scopes == {"read", "write"}


def test_the_secret_is_not_kept(database: Database, keyring: keys.Keyring) -> None:
    token = keys.create_key(database, "north", ["read"])
    secret = token.split("_")[2]
    with database.reading() as connection:
        rows = connection.execute(sa.select(models.ApiKey.__table__)).all()
        entries = connection.execute(sa.select(models.JournalEntry.__table__)).all()
    assert rows and secret not in str(rows) + str(entries)


def test_only_the_whole_key_opens(database: Database, keyring: keys.Keyring) -> None:
    token = keys.create_key(database, "north", ["read"])
    other = keys.create_key(database, "north", ["read"])
    body, _, checksum = token.rpartition("_")
    prefix, key_id, secret = body.split("_")
    swapped = f"{prefix}_{key_id}_{other.split('_')[2]}"
    unknown = f"{prefix}_{new_id().replace('-', '')}_{secret}"
    assert keyring.caller(f"{swapped}_{keys._checksum(swapped)}") is None
    assert keyring.caller(f"{unknown}_{keys._checksum(unknown)}") is None
    for wrong in ("", token[:-1], token + "0", body, f"other_{key_id}_{secret}_{checksum}", "é" + token, token.upper()):
        assert keyring.caller(wrong) is None
    assert keyring.caller(token) is not None


def test_every_letter_of_a_key_counts(database: Database, keyring: keys.Keyring) -> None:
    token = keys.create_key(database, "north", ["read"])
    for place, letter in enumerate(token):
        changed = token[:place] + ("b" if letter == "a" else "a") + token[place + 1 :]
        assert keyring.caller(changed) is None, place


def test_a_key_past_its_time_is_refused(database: Database, keyring: keys.Keyring) -> None:
    past = keys.create_key(database, "north", ["read"], expires_at=datetime.now(UTC) - timedelta(seconds=1))
    soon = keys.create_key(database, "north", ["read"], expires_at=datetime.now(UTC) + timedelta(seconds=0.3))
    assert keyring.caller(past) is None
    assert keyring.caller(soon) is not None
    time.sleep(0.35)
    assert keyring.caller(soon) is None


def test_a_revoked_key_is_refused_at_once_or_after_the_time_stated(database: Database, keyring: keys.Keyring) -> None:
    token = keys.create_key(database, "north", ["read"])
    caller = keyring.caller(token)
    assert caller is not None
    keys.revoke_key(database, "north", caller.key_id)
    if database.settings.on_sqlite:
        assert keyring.caller(token) is None
    time.sleep(0.55)
    assert keyring.caller(token) is None
    keys.revoke_key(database, "north", caller.key_id)
    assert checked.verify_journals(database) == [checked.Chain("north", 3)]  # the second time changed nothing


def test_a_key_is_cached_for_two_seconds_at_most(postgres_url: str) -> None:
    database = Database(Settings(database_url=postgres_url))
    plant.site(database)
    keyring = keys.Keyring(database, cache_s=60)
    token = keys.create_key(database, "north", ["read"])
    caller = keyring.caller(token)
    assert caller is not None
    keys.revoke_key(database, "north", caller.key_id)
    until = time.monotonic() + 2.1
    while keyring.caller(token) is not None:
        assert time.monotonic() < until
        time.sleep(0.05)
    database.dispose()


def test_another_sites_key_cannot_be_revoked(database: Database, keyring: keys.Keyring) -> None:
    plant.site(database, "south")
    caller = keyring.caller(keys.create_key(database, "north", ["read"]))
    assert caller is not None
    for key_id in (caller.key_id, "nonsense"):
        with pytest.raises(errors.NotFound):
            keys.revoke_key(database, "south", key_id)


@pytest.mark.parametrize("scopes", [[], ["root"], ["read", "all"]])
def test_unknown_scopes_are_refused(database: Database, keyring: keys.Keyring, scopes: list[str]) -> None:
    with pytest.raises(errors.CannotEvaluate) as refusal:
        keys.create_key(database, "north", scopes)
    assert refusal.value.code == "unknown_scope"


def test_a_site_is_made_once_and_found_by_its_code(database: Database) -> None:
    made = sites.create_site(database, "north", "North works", "metric")
    assert sites.site_by_code(database, "north") == made
    assert made.blade_set == "metric"
    with pytest.raises(errors.Conflict) as refusal:
        sites.create_site(database, "north", "Another", "inch")
    assert refusal.value.code == "site_code_taken"
    with pytest.raises(errors.NotFound):
        sites.site_by_code(database, "south")
    for code, system in (("x", "imperial"), ("", "inch"), ("a b", "inch"), ("c" * 65, "inch")):
        with pytest.raises(errors.CannotEvaluate):
            sites.create_site(database, code, "name", system)


def test_identifiers_are_version_7_and_in_order() -> None:
    """RFC 9562, 5.7: version 7 in bits 48-51, variant 10 in bits 64-65."""
    ids = [new_id() for _ in range(5000)]
    assert ids == sorted(set(ids))
    assert {identifier[14] for identifier in ids} == {"7"}
    assert {identifier[19] for identifier in ids} <= set("89ab")


def test_on_sqlite_a_key_is_looked_at_again_only_after_a_commit(sqlite_url: str) -> None:
    """SQLite's data_version of one connection changes when another one, of any process, commits."""
    database = Database(Settings(database_url=sqlite_url))
    plant.site(database)
    keyring = keys.Keyring(database, cache_s=2.0)
    token = keys.create_key(database, "north", ["read"])
    assert keyring.caller(token) is not None
    asked: list[str] = []
    sa.event.listen(database.engine, "before_cursor_execute", lambda *of: asked.append(of[2]))
    for _ in range(3):
        assert keyring.caller(token) is not None
    assert asked == []
    other = sqlite3.connect(sqlite_url.removeprefix("sqlite:///"))
    other.execute("UPDATE api_keys SET revoked_at = created_at")
    other.commit()
    other.close()
    assert keyring.caller(token) is None
    database.dispose()


def test_on_sqlite_a_commit_that_leaves_the_key_as_it_is_costs_no_lookup(sqlite_url: str) -> None:
    """A server that writes all the time; what comes with the key (the site's blades) is still read when it changes."""
    database = Database(Settings(database_url=sqlite_url))
    plant.site(database)
    keyring = keys.Keyring(database, cache_s=2)
    token = keys.create_key(database, "north", ["read"])
    assert keyring.caller(token) is not None
    looked_up: list[str] = []
    sa.event.listen(database.engine, "before_cursor_execute", lambda *given: looked_up.append(given[2]))
    for _ in range(3):
        keys.create_key(database, "north", ["read"])
        looked_up.clear()
        assert keyring.caller(token) is not None
        assert looked_up == []
    before = keyring.caller(token)
    sites.set_blade_set(database, "north", "metric")
    after = keyring.caller(token)
    assert before is not None and after is not None
    assert (before.blade_set, after.blade_set) == ("inch", "metric")
    database.dispose()
