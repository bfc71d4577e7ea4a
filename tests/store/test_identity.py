"""Identifiers sort in the order in which they were made, whatever the clock does: lists are in their order."""

import time
from uuid import UUID

import pytest

from service.store import identity, unit_of_work
from service.store.database import Database
from service.store.identity import new_id
from tests.store import plant


def test_an_identifier_is_a_uuid_of_version_7_and_says_when_it_was_made() -> None:
    """RFC 9562, 5.7: 48 bits of milliseconds since 1970, version 7, variant 10."""
    made, before_ms = new_id(), time.time() * 1000
    read = UUID(made)
    assert str(read) == made
    assert (read.version, read.int >> 62 & 0b11) == (7, 0b10)
    assert abs((read.int >> 80) - before_ms) < 60_000


def test_each_sorts_after_those_before_it_though_the_clock_is_set_back(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(identity, "_last", 0)
    made = [new_id() for _ in range(5_000)]
    monkeypatch.setattr(identity.time, "time_ns", lambda: (1_700_000_000 - 3600) * 10**9)
    made += [new_id() for _ in range(5_000)]
    assert made == sorted(set(made))


def test_a_process_that_starts_after_the_clock_was_set_back_goes_on_in_order(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    site_id = plant.site(database)
    before = [plant.stored(database, site_id, plant.asset(f"FAN-{number}")).id for number in range(3)]
    real = time.time_ns
    monkeypatch.setattr(identity.time, "time_ns", lambda: real() - 3600 * 10**9)
    monkeypatch.setattr(identity, "_last", 0)  # as in a process that has just started
    monkeypatch.setattr(unit_of_work, "_looked_at", set())
    after = [plant.stored(database, site_id, plant.asset(f"PUMP-{number}")).id for number in range(3)]
    assert before + after == sorted(before + after)
