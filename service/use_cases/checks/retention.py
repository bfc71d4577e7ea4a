"""What is kept for a time only: answers to repeated requests, deliveries that have ended, sessions of the desk.

Work orders, instructions, readings, stays and the journal are kept for ever; so are inbound messages, which orders were
made of.
"""

from dataclasses import dataclass
from typing import Final, Protocol

import sqlalchemy as sa

from service.store import repeats
from service.store.database import Database
from service.store.identity import new_id
from service.store.models import Site
from service.store.queries import deliveries, desk_sessions
from service.store.queries.sites import COMMAND_LINE
from service.store.unit_of_work import Tx, Written

BATCH: Final = 1_000


@dataclass(frozen=True, slots=True)
class Tidied:
    """What was deleted, [-]."""

    answers: int
    deliveries: int
    sessions: int = 0


class Forget(Protocol):
    """Deletes what is past its time, at most so much at once, and returns how much it was."""

    def __call__(self, tx: Tx, *, most: int) -> int: ...


def tidy(database: Database) -> Tidied:
    """Delete what is past its time, in short transactions, and return how much it was."""
    with database.reading() as connection:
        sites = connection.execute(sa.select(Site.id)).scalars().all()
    answers = sum(_repeat(database, site_id, repeats.forget_old) for site_id in sites)
    ended = sum(_repeat(database, site_id, deliveries.forget_old) for site_id in sites)
    return Tidied(answers, ended, sum(_repeat(database, site_id, desk_sessions.forget_old) for site_id in sites))


def _repeat(database: Database, site_id: str, forget: Forget) -> int:
    """Repeat a step, each time in a transaction of its own, until it deletes less than a batch."""
    total = 0
    while True:
        deleted: list[int] = []

        def work(tx: Tx, deleted: list[int] = deleted) -> Written:
            deleted[:] = [forget(tx, most=BATCH)]
            return Written(200, "")

        database.write(site_id=site_id, actor=COMMAND_LINE, request_id=new_id(), work=work)
        total += deleted[0]
        if deleted[0] < BATCH:
            return total
