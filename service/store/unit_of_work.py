"""The one unit of work: begin, the writer's lock, retries around the commit, dry run, repeated requests, the journal.

Every change of the database goes through ``run``. The work may be run more than once, so it does nothing but read and
write through the transaction it is given.
"""

import json
import logging
import random
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Final

import sqlalchemy as sa
from sqlalchemy import exc

from service.errors import Busy, ReadOnly
from service.secret import Secret
from service.store import chain, failures, fence, repeats
from service.store.identity import clock_ms, keep_above
from service.store.journal import Event, append
from service.store.models import JournalEntry
from service.store.repeats import Idempotency
from service.store.transaction import Tx

ATTEMPTS: Final = 5
WRITER_WAIT_S: Final = 10.0
LOOKED_AT: Final = 1000
LONGEST_WRITE_MS: Final = 60_000
"""Identifiers are made after the time that the journal has of their write, within so long."""
LOG: Final = logging.getLogger(__name__)
CHANGED: Final = "record.changed"
"""What the journal says of a write that left rows and told no event"""
SEALED: Final = "capsaddle-sealed"
"""Beside an answer that is kept sealed; never a header of an answer"""
TIDIED: Final = "record.tidied"
_looked_at: set[str] = set()

__all__ = ["Call", "Event", "Idempotency", "Tx", "Written", "run"]


@dataclass(frozen=True, slots=True)
class Written:
    """The answer to a write, as it is kept for a repeated request.

    ``body`` is JSON text, or what makes it of things already read: then it is made after the commit, while the next
    writer has its turn, unless it must be kept.
    """

    status: int
    body: str | Callable[[], str]
    headers: dict[str, str] = field(default_factory=dict)
    events: tuple[Event, ...] = ()
    replayed: bool = False
    confidential: bool = False
    """Whether body and headers show a secret: they are kept sealed, and opened again for the same request."""
    sealed: bool = False

    @property
    def text(self) -> str:
        """Return the JSON text."""
        return self.body if isinstance(self.body, str) else self.body()


@dataclass(frozen=True, slots=True)
class Call:
    """One write: whose, for whom, and what to do."""

    site_id: str
    actor: str
    request_id: str
    work: Callable[[Tx], Written]
    idempotency: Idempotency | None = None
    dry_run: bool = False
    secret: Callable[[], Secret] | None = None


class _RolledBack(Exception):
    """Ends the transaction of a dry run without an effect."""


def run(engine: sa.Engine, writer_lock: "threading.Lock | None", call: Call) -> Written:
    """Return what the work wrote, committed, or the answer that was kept when the same request came before.

    Raises
    ------
    Busy
        The database cannot take the write now, or other writers won ``ATTEMPTS`` times. ``ReadOnly``, ``DiskFull``,
        ``StorageFailed``, ``DatabaseMissing`` say why.
    Conflict
        What is on record forbids it; ``idempotency_in_progress`` when the same request is running still.
    IdempotencyKeyReused
        The Idempotency-Key came before with another request.
    """
    with failures.translated(), _turn(writer_lock):
        for attempt in range(1, ATTEMPTS + 1):
            try:
                return _attempt(engine, call)
            except chain.Raced as error:
                if attempt == ATTEMPTS:
                    raise Busy(failures.BUSY) from error
            except exc.DBAPIError as error:
                if failures.refused_as_read_only(error):
                    raise ReadOnly(failures.READ_ONLY) from error
                if attempt == ATTEMPTS or not _worth_repeating(error, attempt):
                    raise
                if failures.retried(error):
                    time.sleep(random.uniform(0, 0.01 * 2**attempt))
    raise AssertionError("the last attempt returns or raises")


def _worth_repeating(error: exc.DBAPIError, attempt: int) -> bool:
    """Return whether to run the work again.

    After a lost race always; when a name was taken, once: the work may find what the other transaction stored. A
    connection that was lost is never retried here: whether its commit arrived is not known.
    """
    return failures.retried(error) or (failures.taken(error) and attempt == 1)


@contextmanager
def _turn(writer_lock: "threading.Lock | None") -> Iterator[None]:
    """Wait for this thread's turn to write: SQLite takes one writer, and a queue of ours is fair."""
    if writer_lock is None:
        yield
        return
    if not writer_lock.acquire(timeout=WRITER_WAIT_S):
        raise Busy(failures.BUSY)
    try:
        yield
    finally:
        writer_lock.release()


def _attempt(engine: sa.Engine, call: Call) -> Written:
    """Run the work in one transaction, to its commit."""
    outcome: list[Written] = []
    with engine.connect() as connection:
        connection = connection.execution_options(writes=True)
        try:
            with connection.begin():
                fence.let_through(connection, call.site_id)
                connection = chain.noting(connection, chain.Touched(call.site_id))
                tx = Tx(connection, call.site_id, datetime.now(UTC))
                _keep_ids_in_order(tx)
                outcome.append(_effect(tx, call))
                if call.dry_run:
                    raise _RolledBack
        except _RolledBack:
            pass
    return outcome[0]


def _keep_ids_in_order(tx: Tx) -> None:
    """See, once for each site, that identifiers of this process sort after those that are on record.

    Lists are in the order of identifiers, and a process that starts after the clock was set back knows nothing of it.
    """
    if tx.site_id in _looked_at:
        return
    newest = sa.select(JournalEntry.at).where(JournalEntry.site_id == tx.site_id).order_by(JournalEntry.seq.desc())
    latest = newest.limit(LOOKED_AT).subquery()
    at = tx.connection.execute(sa.select(sa.func.max(latest.c.at))).scalar()
    if at is not None and (at_ms := round(at.timestamp() * 1000)) > clock_ms():
        LOG.warning("the clock is behind the journal of site %s: identifiers go on from %s", tx.site_id, at)
        keep_above(at_ms + LONGEST_WRITE_MS)
    _looked_at.add(tx.site_id)


def _effect(tx: Tx, call: Call) -> Written:
    """Return the kept answer, or run the work, keep its answer and enter it in the journal."""
    if call.idempotency is not None:
        kept = repeats.claim(tx, call.actor, call.idempotency)
        if kept is not None:
            sealed = SEALED in kept.headers
            return Written(kept.status, kept.body, kept.headers, replayed=True, sealed=sealed)
    written = call.work(tx)
    if call.idempotency is not None:
        written = replace(written, body=written.text)
        repeats.keep(tx, call.actor, call.idempotency, _kept(written, call))
    if not call.dry_run:
        _enter(tx, call, written.events)
    return written


def _kept(written: Written, call: Call) -> repeats.Kept:
    """Return an answer as it is kept; what shows a secret is sealed with its headers."""
    if not written.confidential:
        return repeats.Kept(written.status, written.text, written.headers)
    if call.secret is None:
        raise AssertionError("an answer with a secret is written without what seals it")
    text = json.dumps({"body": written.text, "headers": written.headers})
    return repeats.Kept(written.status, call.secret().seal(text), {SEALED: "1"})


def opened(written: Written, secret: Secret) -> Written:
    """Return an answer that was kept sealed, as it was.

    Raises
    ------
    SecretMissing
        It was sealed with a secret that is not there any more.
    """
    kept = json.loads(secret.open(written.text))
    return replace(written, body=kept["body"], headers=kept["headers"], sealed=False)


def _enter(tx: Tx, call: Call, events: tuple[Event, ...]) -> None:
    """Enter the events in the journal with the rows that the write leaves; rows are never left without an event."""
    touched = chain.touched_on(tx.connection)
    left = [] if touched is None else touched.entries(tx.connection)
    if touched is not None and touched.gone:
        events = (*events, Event(TIDIED, "site", tx.site_id, data={"gone": touched.gone}))
    if left and not events:
        events = (Event(CHANGED, "site", tx.site_id),)
    if events:
        append(tx, actor=call.actor, request_id=call.request_id, events=events, left=left)
