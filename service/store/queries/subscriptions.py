"""Queries of subscriptions: who is told of events, and which process is delivering to them now."""

import json
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

import sqlalchemy as sa

from service.errors import StaleVersion
from service.secret import Sealed, Secret, SecretChanged
from service.store import models
from service.store.identity import canonical_id, new_id
from service.store.transaction import Tx

_OWN: Final = models.Subscription
UNREADABLE: Final = "its secret cannot be read with the secret that is set; give it a new one and take it up again"


@dataclass(frozen=True, slots=True)
class SubscriptionRow:
    """A subscription as stored; no ``types`` means all of them."""

    id: str
    version: int
    url: str
    types: tuple[str, ...]
    status: str
    status_reason: str | None
    secret: Sealed
    previous_secret: Sealed | None
    previous_until: datetime | None
    position: int
    not_before: datetime
    leased_by: str | None
    leased_until: datetime | None
    created_at: datetime
    updated_at: datetime

    def secrets_at(self, now: datetime) -> tuple[Sealed, ...]:
        """Return the sealed secrets that are good at a time, the newest first."""
        old = self.previous_secret
        rotating = old is not None and self.previous_until is not None and now < self.previous_until
        return (self.secret, old) if rotating and old is not None else (self.secret,)

    def wants(self, event_type: str) -> bool:
        """Return whether events of this type are delivered."""
        return not self.types or event_type in self.types


def opened_secrets(row: SubscriptionRow, secret: Secret, now: datetime) -> list[str]:
    """Return the secrets that sign at a time, the newest first; the one before is left out if it cannot be opened.

    Raises
    ------
    SecretChanged
        The newest was sealed with another secret than the one that is set.
    """
    newest, *before = row.secrets_at(now)
    found = [secret.open(newest)]
    for each in before:
        with suppress(SecretChanged):
            found.append(secret.open(each))
    return found


def insert_subscription(tx: Tx, *, url: str, types: tuple[str, ...], secret: Sealed, position: int) -> SubscriptionRow:
    """Return the new subscription, active from the event after ``position``."""
    members: dict[str, Any] = {"id": new_id(), "version": 1, "url": url, "status": "active", "status_reason": None}
    members |= {"secret": secret, "previous_secret": None, "previous_until": None, "position": position}
    members |= {"not_before": tx.now, "leased_by": None, "leased_until": None}
    members |= {"created_at": tx.now, "updated_at": tx.now}
    stored = members | {"site_id": tx.site_id, "types": json.dumps(list(types))}
    tx.connection.execute(sa.insert(_OWN).values(stored))
    return SubscriptionRow(types=types, **members)


def subscription_by_id(tx: Tx, subscription_id: str) -> SubscriptionRow | None:
    """Return the subscription, None when the site has none of this id."""
    known = canonical_id(subscription_id)
    if known is None:
        return None
    row = tx.connection.execute(_selected(tx).where(_OWN.id == known)).one_or_none()
    return None if row is None else _row(row)


def page_of_subscriptions(tx: Tx, *, after: str | None = None, limit: int) -> list[SubscriptionRow]:
    """Return up to ``limit`` subscriptions in the order of their ids, those after the id ``after``."""
    chosen = _selected(tx) if after is None else _selected(tx).where(_OWN.id > after)
    return [_row(row) for row in tx.connection.execute(chosen.order_by(_OWN.id).limit(limit))]


def change_subscription(tx: Tx, row: SubscriptionRow, **members: Any) -> SubscriptionRow:
    """Return the subscription with some members changed, one version later.

    Raises
    ------
    StaleVersion
        It was changed meanwhile.
    """
    values = {**members, "version": row.version + 1, "updated_at": tx.now}
    stored = values | ({"types": json.dumps(list(members["types"]))} if "types" in members else {})
    same = (_OWN.site_id == tx.site_id, _OWN.id == row.id, _OWN.version == row.version)
    if tx.connection.execute(sa.update(_OWN).where(*same).values(stored)).rowcount != 1:
        raise StaleVersion("the subscription was changed meanwhile; read it again")
    changed = subscription_by_id(tx, row.id)
    if changed is None:
        raise AssertionError("the subscription was just updated")
    return changed


def delete_subscription(tx: Tx, subscription_id: str) -> None:
    """Delete a subscription with its deliveries and their attempts."""
    delivery, attempt = models.Delivery, models.DeliveryAttempt
    mine = sa.select(delivery.id).where(delivery.site_id == tx.site_id, delivery.subscription_id == subscription_id)
    tx.connection.execute(sa.delete(attempt).where(attempt.site_id == tx.site_id, attempt.delivery_id.in_(mine)))
    of_it = (delivery.site_id == tx.site_id, delivery.subscription_id == subscription_id)
    tx.connection.execute(sa.delete(delivery).where(*of_it))
    tx.connection.execute(sa.delete(_OWN).where(_OWN.site_id == tx.site_id, _OWN.id == subscription_id))


def due_subscriptions(tx: Tx) -> list[str]:
    """Return the ids of those that have something to deliver now and that nobody is delivering to."""
    delivery, head = models.Delivery, models.SiteHead
    waiting = sa.exists().where(
        delivery.site_id == _OWN.site_id,
        delivery.subscription_id == _OWN.id,
        delivery.status == "pending",
        delivery.next_attempt_at <= tx.now,
    )
    news = sa.exists().where(head.site_id == _OWN.site_id, head.seq > _OWN.position)
    chosen = sa.select(_OWN.id).where(
        _OWN.site_id == tx.site_id,
        _OWN.status == "active",
        _OWN.not_before <= tx.now,
        _free(tx),
        sa.or_(waiting, news),
    )
    return list(tx.connection.execute(chosen.order_by(_OWN.id)).scalars())


def lease(tx: Tx, subscription_id: str, owner: str, for_s: float) -> bool:
    """Take a subscription for some seconds, or keep it for longer; one UPDATE, so that only one process has it."""
    free = sa.or_(_free(tx), _OWN.leased_by == owner)
    wanted = (_OWN.site_id == tx.site_id, _OWN.id == subscription_id, _OWN.status == "active", free)
    values = {"leased_by": owner, "leased_until": tx.now + timedelta(seconds=for_s)}
    return tx.connection.execute(sa.update(_OWN).where(*wanted).values(values)).rowcount == 1


def release(tx: Tx, subscription_id: str, owner: str) -> None:
    """Let go of a subscription, when it is still held."""
    mine = (_OWN.site_id == tx.site_id, _OWN.id == subscription_id, _OWN.leased_by == owner)
    tx.connection.execute(sa.update(_OWN).where(*mine).values(leased_by=None, leased_until=None))


def move(tx: Tx, subscription_id: str, **members: Any) -> None:
    """Note how far the delivery is (``position``) or when it may go on (``not_before``); no new version."""
    mine = (_OWN.site_id == tx.site_id, _OWN.id == subscription_id)
    tx.connection.execute(sa.update(_OWN).where(*mine).values(members))


def _free(tx: Tx) -> sa.ColumnElement[bool]:
    return sa.or_(_OWN.leased_until.is_(None), _OWN.leased_until <= tx.now)


def _selected(tx: Tx) -> sa.Select[*tuple[Any, ...]]:
    return sa.select(_OWN.__table__).where(_OWN.site_id == tx.site_id)


def _row(row: Any) -> SubscriptionRow:
    members = {name: value for name, value in row._mapping.items() if name != "site_id"}
    return SubscriptionRow(**members | {"types": tuple(json.loads(members["types"]))})
