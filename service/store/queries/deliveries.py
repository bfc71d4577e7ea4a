"""Queries of deliveries: one event for one subscription, and every attempt at it."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.orm import aliased

from service.store import chain, models
from service.store.identity import canonical_id, new_id
from service.store.queries.events import EventRow, stretch
from service.store.queries.subscriptions import SubscriptionRow, move
from service.store.transaction import Tx

KEPT_FOR: Final = timedelta(days=30)
"""How long ended deliveries are kept, by the relay and by ``capsaddle tidy``."""
FORGOTTEN_AT_ONCE: Final = 1_000
PING: Final = "subscription.ping"
_OWN: Final = models.Delivery


@dataclass(frozen=True, slots=True)
class DeliveryRow:
    """A delivery as stored; ``seq`` is the row of the journal, None for a test ping."""

    id: str
    subscription_id: str
    seq: int | None
    event_type: str
    subject: str
    status: str
    attempts: int
    next_attempt_at: datetime
    created_at: datetime
    ended_at: datetime | None


@dataclass(frozen=True, slots=True)
class AttemptRow:
    """One attempt: the status of the answer, None when there was none."""

    number: int
    at: datetime
    status: int | None
    outcome: str
    duration_ms: int


def insert_delivery(tx: Tx, subscription_id: str, *, seq: int | None, event_type: str, subject: str) -> DeliveryRow:
    """Return a new delivery, due at once."""
    row = DeliveryRow(new_id(), subscription_id, seq, event_type, subject, "pending", 0, tx.now, tx.now, None)
    tx.connection.execute(sa.insert(_OWN).values(_values(row) | {"site_id": tx.site_id}))
    return row


def queue_again(tx: Tx, row: DeliveryRow) -> DeliveryRow:
    """Return a new delivery of the same event, or the one of it that is waiting already."""
    same = _OWN.seq == row.seq if row.seq is not None else sa.false()
    waiting = _selected(tx).where(_OWN.subscription_id == row.subscription_id, _OWN.status == "pending", same)
    found = _one(tx, waiting.limit(1))
    if found is not None:
        return found
    return insert_delivery(tx, row.subscription_id, seq=row.seq, event_type=row.event_type, subject=row.subject)


def hand_over(tx: Tx, subscription: SubscriptionRow, *, limit: int) -> int:
    """Make deliveries of the next rows of the journal; return the number of rows that were looked at."""
    found = stretch(tx, after=subscription.position, limit=limit)
    queue(tx, subscription, found.events)
    if found.read_to > subscription.position:
        move(tx, subscription.id, position=found.read_to)
    return found.read_to - subscription.position


def queue(tx: Tx, subscription: SubscriptionRow, events: tuple[EventRow, ...]) -> int:
    """Make deliveries of the events that the subscription wants and that are not waiting; return how many."""
    wanted = [event for event in events if subscription.wants(event.event_type)]
    numbers = [event.seq for event in wanted]
    waiting = sa.select(_OWN.seq).where(
        _OWN.site_id == tx.site_id,
        _OWN.subscription_id == subscription.id,
        _OWN.status == "pending",
        _OWN.seq.in_(numbers),
    )
    before = set(tx.connection.execute(waiting).scalars()) if numbers else set()
    new = [event for event in wanted if event.seq not in before]
    for event in new:
        subject = f"{event.subject_kind}/{event.subject_id}"
        insert_delivery(tx, subscription.id, seq=event.seq, event_type=event.event_type, subject=subject)
    return len(new)


def next_due(tx: Tx, subscription_id: str) -> DeliveryRow | None:
    """Return the oldest delivery that is due; none overtakes an earlier one of the same subject."""
    earlier = aliased(_OWN)
    held_back = sa.exists().where(
        earlier.site_id == _OWN.site_id,
        earlier.subscription_id == _OWN.subscription_id,
        earlier.subject == _OWN.subject,
        earlier.status == "pending",
        earlier.id < _OWN.id,
    )
    due = _selected(tx).where(
        _OWN.subscription_id == subscription_id,
        _OWN.status == "pending",
        _OWN.next_attempt_at <= tx.now,
        sa.not_(held_back),
    )
    return _one(tx, due.order_by(_OWN.id).limit(1))


def record_attempt(tx: Tx, row: DeliveryRow, attempt: AttemptRow, *, status: str, next_attempt_at: datetime) -> None:
    """Keep an attempt and what it makes of its delivery."""
    by = {"site_id": tx.site_id, "delivery_id": row.id, "number": attempt.number, "at": attempt.at}
    told = {"status": attempt.status, "outcome": attempt.outcome, "duration_ms": attempt.duration_ms}
    tx.connection.execute(sa.insert(models.DeliveryAttempt).values(by | told))
    values = {"attempts": attempt.number, "status": status, "next_attempt_at": next_attempt_at}
    ended = {"ended_at": None if status == "pending" else tx.now}
    mine = (_OWN.site_id == tx.site_id, _OWN.id == row.id)
    tx.connection.execute(sa.update(_OWN).where(*mine).values(values | ended))


def delivered_since(tx: Tx, subscription_id: str, time: datetime) -> bool:
    """Return whether anything reached the receiver since a time."""
    found = sa.select(_OWN.id).where(
        _OWN.site_id == tx.site_id,
        _OWN.subscription_id == subscription_id,
        _OWN.status == "delivered",
        _OWN.ended_at >= time,
    )
    return tx.connection.execute(found.limit(1)).one_or_none() is not None


def delivery_by_id(tx: Tx, subscription_id: str, delivery_id: str) -> DeliveryRow | None:
    """Return a delivery of the subscription, None when there is none of this id."""
    known = canonical_id(delivery_id)
    if known is None:
        return None
    return _one(tx, _selected(tx).where(_OWN.subscription_id == subscription_id, _OWN.id == known))


def page_of_deliveries(
    tx: Tx, subscription_id: str, *, status: str | None, after: str | None, limit: int
) -> list[DeliveryRow]:
    """Return up to ``limit`` deliveries in the order of their ids, those after the id ``after``."""
    chosen = _selected(tx).where(_OWN.subscription_id == subscription_id)
    if status is not None:
        chosen = chosen.where(_OWN.status == status)
    if after is not None:
        chosen = chosen.where(_OWN.id > after)
    return [_row(row) for row in tx.connection.execute(chosen.order_by(_OWN.id).limit(limit))]


def attempts_of(tx: Tx, delivery_id: str) -> list[AttemptRow]:
    """Return the attempts at a delivery, the first one first."""
    attempt = models.DeliveryAttempt
    columns = (attempt.number, attempt.at, attempt.status, attempt.outcome, attempt.duration_ms)
    mine = sa.select(*columns).where(attempt.site_id == tx.site_id, attempt.delivery_id == delivery_id)
    return [AttemptRow(**row._mapping) for row in tx.connection.execute(mine.order_by(attempt.number))]


def forget_old(tx: Tx, *, most: int = FORGOTTEN_AT_ONCE) -> int:
    """Delete deliveries that ended ``KEPT_FOR`` ago or before, ``most`` of them at once; return how many."""
    old = sa.select(_OWN.id).where(_OWN.site_id == tx.site_id, _OWN.ended_at <= tx.now - KEPT_FOR)
    ids = tx.connection.execute(old.limit(most)).scalars().all()
    attempt = models.DeliveryAttempt
    tx.connection.execute(sa.delete(attempt).where(attempt.site_id == tx.site_id, attempt.delivery_id.in_(ids)))
    count = tx.connection.execute(sa.delete(_OWN).where(_OWN.site_id == tx.site_id, _OWN.id.in_(ids))).rowcount
    chain.note_gone(tx.connection, _OWN.__tablename__, count, tx.now - KEPT_FOR)
    return count


def _values(row: DeliveryRow) -> dict[str, Any]:
    return {name: getattr(row, name) for name in DeliveryRow.__dataclass_fields__}


def _selected(tx: Tx) -> sa.Select[*tuple[Any, ...]]:
    return sa.select(*(getattr(_OWN, name) for name in DeliveryRow.__dataclass_fields__)).where(
        _OWN.site_id == tx.site_id
    )


def _one(tx: Tx, statement: sa.Select[*tuple[Any, ...]]) -> DeliveryRow | None:
    row = tx.connection.execute(statement).one_or_none()
    return None if row is None else _row(row)


def _row(row: Any) -> DeliveryRow:
    return DeliveryRow(**row._mapping)
