"""What is on record, held against what was acknowledged: nothing lost, nothing twice, nothing half."""

import sqlite3
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from itertools import pairwise, zip_longest
from typing import Any

import sqlalchemy as sa

from service.settings import Settings
from service.store.database import Database
from service.store.models import Completion, JournalEntry, Reading, Stay, WorkOrder, WorkOrderPosition
from service.use_cases.checks import journal as checked
from service.use_cases.checks import verification
from service.use_cases.checks.audit import Fault, audit
from tests.outages.clients import Account


def faults(url: str, account: Account) -> list[str]:
    """Return every way in which the database does not hold what the clients were told, or contradicts itself."""
    database = Database(Settings(database_url=url))
    try:
        with database.reading(snapshot=True) as connection:
            record = Record(connection)
        found = [
            *account.faults,
            *_lost(record, account),
            *_twice(record, account),
            *_half(record),
            *_stays(record),
            *_journal(record),
            *_feed(record, account),
            *(
                f"journal: {c.reason} at {c.broken_seq}"
                for c in checked.verify_journals(database)
                if c.broken_seq is not None
            ),
            *(f"record: {f.table} {f.key}: {f.what}" for f in audit(database) if isinstance(f, Fault)),
            *(f"{v.different}: {v.reason}" for v in verification.verify_revisions(database) if v.different is not None),
        ]
    finally:
        database.dispose()
    return found + _file_faults(url)


class Record:
    """The rows that the accounts are about."""

    def __init__(self, connection: sa.Connection) -> None:
        def rows(*columns: Any) -> list[Any]:
            return list(connection.execute(sa.select(*columns)))

        self.orders = rows(WorkOrder.id, WorkOrder.external_number, WorkOrder.status)
        self.readings = rows(Reading.id, Reading.work_order_id, Reading.entry)
        self.completions = rows(Completion.id, Completion.work_order_id)
        self.stays = rows(Stay.id, Stay.position_id, Stay.work_order_id, Stay.installed_at, Stay.removed_at)
        self.positions = rows(WorkOrderPosition.work_order_id, WorkOrderPosition.position_id)
        self.events = rows(JournalEntry.seq, JournalEntry.event_type, JournalEntry.subject_id)
        self.by_number = {order.external_number: order for order in self.orders}


def _lost(record: Record, account: Account) -> Iterator[str]:
    ids = {order.id for order in record.orders}
    readings = {reading.id for reading in record.readings}
    completions = {each.id for each in record.completions}
    for number, order_id in account.orders.items():
        if order_id not in ids:
            yield f"order {number} was acknowledged and is not there"
    for number, sent in account.readings.items():
        if missing := set(sent) - readings:
            yield f"{len(missing)} acknowledged readings of {number} are not there"
    for number, completion in account.completions.items():
        if completion not in completions:
            yield f"the completion of {number} was acknowledged and is not there"


def _twice(record: Record, account: Account) -> Iterator[str]:
    numbers = Counter(order.external_number for order in record.orders)
    yield from (f"order {number} is there {count} times" for number, count in numbers.items() if count > 1)
    stored = Counter(reading.work_order_id for reading in record.readings)
    for number, order in record.by_number.items():
        sent, acknowledged = account.sent_readings[number], account.readings.get(number, [])
        if len(set(acknowledged)) != len(acknowledged):
            yield f"a reading of {number} was acknowledged under two requests"
        if stored[order.id] > sent:
            yield f"{number}: {sent} readings were sent, {stored[order.id]} are there"
        if number in account.completions and stored[order.id] != sent:
            yield f"{number} is completed with {stored[order.id]} of {sent} readings"
    completed = Counter(each.work_order_id for each in record.completions)
    yield from (f"an order has {count} completions" for count in completed.values() if count > 1)


def _half(record: Record) -> Iterator[str]:
    """Yield orders of which a part of a transaction is there and the rest is not."""
    completed = {each.work_order_id for each in record.completions}
    begun = Counter(stay.work_order_id for stay in record.stays)
    for order in record.orders:
        state = (order.status == "completed", order.id in completed, begun[order.id] == 1)
        if len(set(state)) != 1:
            said = f"status {order.status}, completion {state[1]}, stays {begun[order.id]}"
            yield f"order {order.external_number}: {said}"


def _stays(record: Record) -> Iterator[str]:
    by_position: dict[str, list[Any]] = {}
    for stay in record.stays:
        by_position.setdefault(stay.position_id, []).append(stay)
    for position, stays in by_position.items():
        in_order = sorted(stays, key=lambda stay: stay.installed_at)
        if [stay.removed_at is None for stay in in_order].count(True) != 1 or in_order[-1].removed_at is not None:
            yield f"position {position} has not exactly one open stay, the last"
        if any(before.removed_at != after.installed_at for before, after in pairwise(in_order)):
            yield f"position {position}: a stay does not begin when the one before ends"


def _journal(record: Record) -> Iterator[str]:
    told = Counter((event.event_type, event.subject_id) for event in record.events)
    entered = Counter(reading.work_order_id for reading in record.readings)
    for order in record.orders:
        expected = {
            "work_order.opened": 1,
            "work_order.completed": int(order.status == "completed"),
            "reading.recorded": entered[order.id],
        }
        for event_type, count in expected.items():
            if told[(event_type, order.id)] != count:
                yield f"order {order.external_number}: {told[(event_type, order.id)]} events {event_type}, {count} rows"
    for stay in record.stays:
        told_of = (told[("stay.begun", stay.id)], told[("stay.ended", stay.id)])
        if told_of != (1, int(stay.removed_at is not None)):
            yield f"stay {stay.id}: begun and ended are told {told_of} times"


def _feed(record: Record, account: Account) -> Iterator[str]:
    """Yield where the follower, who asked while all this went on, holds another history than the journal."""
    told = sorted((event.seq, event.event_type, event.subject_id) for event in record.events)
    for followed, there in zip_longest(account.events, told):
        if followed != there:
            yield f"feed: {followed} was followed where the journal has {there}"
            return


def _file_faults(url: str) -> list[str]:
    if not url.startswith("sqlite"):
        return []
    with closing(sqlite3.connect(url.removeprefix("sqlite:///"))) as connection:
        found = [row[0] for row in connection.execute("PRAGMA integrity_check")]
        orphans = connection.execute("PRAGMA foreign_key_check").fetchall()
    return [each for each in found if each != "ok"] + [f"orphan: {each}" for each in orphans]
