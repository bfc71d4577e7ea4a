"""The short form of the crash test; the long form is ``python -m tests.outages.crash`` (DEVELOPERS.md)."""

import sqlite3
from contextlib import closing
from dataclasses import replace

from tests.outages.accounts import faults
from tests.outages.crash import Outcome, crash


def tampered(url: str, outcome: Outcome, *statements: str) -> list[str]:
    """What the accounts find after rows were changed behind the service's back."""
    with closing(sqlite3.connect(url.removeprefix("sqlite:///"))) as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            assert connection.execute(statement).rowcount
        connection.commit()
    return faults(url, outcome.account)


def test_what_was_acknowledged_is_there_after_kills(database_url: str) -> None:
    """Clients open, measure and complete while the server is killed; on SQLite, the accounts are then tried out."""
    outcome = crash(database_url, kills=2, clients=4, seed=7)
    assert outcome.faults == []
    assert len(outcome.account.completions) >= 4, outcome.report()
    if not database_url.startswith("sqlite"):
        return
    some = "(SELECT id FROM {} LIMIT 1)"
    reading, done, stay = (
        some.format(table) for table in ("readings", "completions", "stays WHERE removed_at IS NULL")
    )
    account, unknown = outcome.account, "01900000-0000-7000-8000-000000000000"
    found = faults(database_url, replace(account, orders={**account.orders, "WO-never": unknown}))
    assert found == ["order WO-never was acknowledged and is not there"]
    found = faults(database_url, replace(account, events=account.events[:3] + account.events[4:]))
    assert len(found) == 1 and found[0].startswith("feed: (5, ")
    found = tampered(database_url, outcome, f"DELETE FROM readings WHERE id = {reading}")
    assert any("acknowledged readings" in each for each in found)
    found = tampered(database_url, outcome, f"DELETE FROM completions WHERE id = {done}")
    assert any("completion of" in each for each in found) and any("completion False" in each for each in found)
    found = tampered(database_url, outcome, f"DELETE FROM stays WHERE id = {stay}")
    assert any("not exactly one open stay" in each for each in found)
    found = tampered(database_url, outcome, "UPDATE journal SET actor = 'nobody' WHERE seq = 5")
    assert any(each.startswith("journal: ") and each.endswith("at 5") for each in found)
