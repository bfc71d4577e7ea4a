"""What is kept for a time only: answers to repeated requests, and deliveries that have ended.

Work orders, instructions, readings, stays and the journal are kept for ever; so are inbound messages, which orders were
made of.
"""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final

import sqlalchemy as sa

from service.store.database import Database
from service.store.identity import new_id
from service.store.models import Delivery, DeliveryAttempt, IdempotencyKey, Site
from service.store.queries.sites import COMMAND_LINE
from service.store.repeats import KEPT_FOR
from service.store.unit_of_work import Tx, Written

DELIVERIES_KEPT_FOR: Final = timedelta(days=90)
BATCH: Final = 1_000


@dataclass(frozen=True, slots=True)
class Tidied:
    """What was deleted, [-]."""

    answers: int
    deliveries: int


def tidied(database: Database) -> Tidied:
    """Delete what is past its time, in short transactions, and return how much it was."""
    with database.reading() as connection:
        sites = connection.execute(sa.select(Site.id)).scalars().all()
    answers = sum(_all(database, site_id, _old_answers) for site_id in sites)
    return Tidied(answers, sum(_all(database, site_id, _old_deliveries) for site_id in sites))


def _all(database: Database, site_id: str, step: Any) -> int:
    """Repeat a step, each time in a transaction of its own, until it deletes less than a batch."""
    total = 0
    while True:
        deleted: list[int] = []

        def work(tx: Tx, deleted: list[int] = deleted) -> Written:
            deleted[:] = [step(tx)]
            return Written(200, "")

        database.write(site_id=site_id, actor=COMMAND_LINE, request_id=new_id(), work=work)
        total += deleted[0]
        if deleted[0] < BATCH:
            return total


def _old_answers(tx: Tx) -> int:
    key = IdempotencyKey
    columns = (key.site_id, key.actor, key.method, key.route, key.key)
    old = sa.select(*columns).where(key.site_id == tx.site_id, key.created_at <= tx.now - KEPT_FOR).limit(BATCH)
    return tx.connection.execute(sa.delete(key).where(sa.tuple_(*columns).in_(old))).rowcount


def _old_deliveries(tx: Tx) -> int:
    mine = Delivery.site_id == tx.site_id
    old = sa.select(Delivery.id).where(mine, Delivery.ended_at <= tx.now - DELIVERIES_KEPT_FOR).limit(BATCH)
    ids = tx.connection.execute(old).scalars().all()
    attempt = DeliveryAttempt
    tx.connection.execute(sa.delete(attempt).where(attempt.site_id == tx.site_id, attempt.delivery_id.in_(ids)))
    return tx.connection.execute(sa.delete(Delivery).where(mine, Delivery.id.in_(ids))).rowcount
