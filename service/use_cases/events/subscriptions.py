"""Subscriptions: made, changed, deleted, given a new secret; and events sent again."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final

from service.errors import CannotEvaluate, NotFound
from service.exchange.cloud_events import PREFIX
from service.secret import Sealed
from service.store.queries import deliveries, events, subscriptions
from service.store.queries.deliveries import PING, DeliveryRow
from service.store.queries.subscriptions import SubscriptionRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.found import found

MOST_REPLAYED: Final = 1000
USUAL_GRACE_H: Final = 24.0


@dataclass(frozen=True, slots=True)
class Replay:
    """What a replay has done: how many events wait, how far it came, and whether that was all."""

    queued: int
    read_to: int
    complete: bool

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        return {"queued": self.queued, "read_to": self.read_to, "complete": self.complete}


def subscription_of(tx: Tx, subscription_id: str) -> SubscriptionRow:
    """Return the subscription that a path names, or raise NotFound."""
    return found(subscriptions.subscription_by_id(tx, subscription_id), "subscription", subscription_id)


def delivery_of(tx: Tx, subscription_id: str, delivery_id: str) -> DeliveryRow:
    """Return the delivery that a path names, or raise NotFound."""
    row = deliveries.delivery_by_id(tx, subscription_of(tx, subscription_id).id, delivery_id)
    if row is None:
        raise NotFound("the subscription has no delivery of this id")
    return row


def create_subscription(tx: Tx, given: Mapping[str, Any], *, secret: Sealed) -> tuple[SubscriptionRow, Event]:
    """Store a subscription to a URL that the operator's list has, and return it with its event."""
    head = events.last_seq(tx)
    position = min(given.get("after", head), head)
    types = _bare(given["types"])
    row = subscriptions.insert_subscription(tx, url=given["url"], types=types, secret=secret, position=position)
    return row, _event("subscription.created", row)


def change_subscription(tx: Tx, before: SubscriptionRow, given: Mapping[str, Any]) -> tuple[SubscriptionRow, Event]:
    """Change a subscription, pause it or take it up again, and return it with its event.

    Raises
    ------
    StaleVersion
        It was changed meanwhile.
    """
    members = {"url": given["url"], "types": _bare(given["types"]), "status": given["status"]}
    row = subscriptions.change_subscription(tx, before, **members, status_reason=None, not_before=tx.now)
    return row, _event("subscription.changed", row)


def delete_subscription(tx: Tx, before: SubscriptionRow) -> Event:
    """Delete a subscription with its deliveries, and return the event."""
    subscriptions.delete_subscription(tx, before.id)
    return _event("subscription.deleted", before)


def rotate_secret(
    tx: Tx, subscription_id: str, *, secret: Sealed, grace_h: float = USUAL_GRACE_H
) -> tuple[SubscriptionRow, Event]:
    """Give a subscription a new secret, and return it with its event; the one before signs too for a while."""
    before = subscription_of(tx, subscription_id)
    until = tx.now + timedelta(hours=grace_h)
    row = subscriptions.change_subscription(
        tx, before, secret=secret, previous_secret=before.secret, previous_until=until
    )
    return row, _event("subscription.secret_rotated", row)


def replay_events(tx: Tx, subscription_id: str, *, after: int, until: int) -> Replay:
    """Queue events again, under the ids they had, at most ``MOST_REPLAYED`` at once.

    Raises
    ------
    NotFound
        The site has no such subscription.
    """
    row = subscription_of(tx, subscription_id)
    stretch = events.stretch(tx, after=after, limit=min(MOST_REPLAYED, until - after))
    wanted = tuple(event for event in stretch.events if event.seq <= min(until, row.position))
    queued = deliveries.queue(tx, row, wanted)
    last = min(until, row.position, stretch.read_to)
    return Replay(queued, last, last >= min(until, row.position))


def refuse_range(after: int, until: int) -> None:
    """Refuse a range of events that holds none.

    Raises
    ------
    CannotEvaluate
        ``bad_range``
    """
    if until <= after:
        raise CannotEvaluate("until comes after after", code="bad_range", field="until")


def queue_ping(tx: Tx, subscription_id: str) -> DeliveryRow:
    """Queue a test event, which is in no journal, and return its delivery."""
    row = subscription_of(tx, subscription_id)
    return deliveries.insert_delivery(tx, row.id, seq=None, event_type=PING, subject=f"subscription/{row.id}")


def redeliver(tx: Tx, subscription_id: str, delivery_id: str) -> DeliveryRow:
    """Queue an event again, under the id it had; one that is waiting still stays as it is."""
    row = delivery_of(tx, subscription_id, delivery_id)
    return row if row.status == "pending" else deliveries.queue_again(tx, row)


def _bare(types: list[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name.removeprefix(PREFIX) for name in types))


def _event(name: str, row: SubscriptionRow) -> Event:
    data = {"url": row.url, "types": list(row.types), "status": row.status}
    return Event(name, "subscription", row.id, None, None, data)
