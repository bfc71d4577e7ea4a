"""capsaddle deliver: reads the journal for every subscription and sends its events, at least once.

Several may run at once: a subscription is leased by one UPDATE, for no longer than a few attempts take. No transaction
is open while a receiver is waited for. A process that dies between an answer and its record sends that event again,
under the same id.
"""

import logging
import random
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from service.exchange.cloud_events import cloud_event, ping_event
from service.exchange.sending import Outcome, posted
from service.exchange.signing import signature_headers
from service.exchange.strict_json import written
from service.exchange.targets import AllowList
from service.settings import Settings
from service.store.database import Database
from service.store.identity import new_id
from service.store.queries import deliveries, events, sites, subscriptions
from service.store.queries.deliveries import AttemptRow, DeliveryRow
from service.store.queries.subscriptions import SubscriptionRow
from service.store.unit_of_work import Event, Tx, Written

LOOKS_EVERY_S: Final = 1.0
ROWS_AT_ONCE: Final = 200
DELIVERIES_A_TURN: Final = 50
LONGEST_PAUSE_S: Final = 300.0
ACTOR: Final = "relay"
LOG = logging.getLogger(__name__)

Sender = Callable[[str, bytes, dict[str, str], AllowList], Outcome]


class Relay:
    """Delivers events until it is told to stop.

    Parameters
    ----------
    database, settings
        Where the journal is; where events may be sent, and the waits between attempts.
    send : callable
        What makes one attempt; the tests use their own.
    """

    def __init__(self, database: Database, settings: Settings, send: Sender = posted) -> None:
        self.database, self.send = database, send
        self.allowed = AllowList(settings.webhook_targets, settings.webhook_loopback)
        self.delays_s, self.lease_s = settings.webhook_delays_s, settings.webhook_lease_s
        self.public_url = settings.public_url or ""
        self.owner = new_id()
        self.stopping = threading.Event()

    def run(self) -> None:
        """Deliver until ``stopping`` is set; the attempt that is under way is finished first."""
        while not self.stopping.is_set():
            try:
                served = self.turn()
            except Exception:
                LOG.exception("the relay goes on after an error")
                served = 0
            if served == 0:
                self.stopping.wait(LOOKS_EVERY_S)

    def run_once(self) -> int:
        """Deliver what is due now, and return the number of attempts."""
        total = 0
        while served := self.turn():
            total += served
        return total

    def turn(self) -> int:
        """Serve every subscription that is due once, and return the number of attempts and rows handed over."""
        served = 0
        for site_id in sites.site_ids(self.database):
            with self.database.read(site_id) as tx:
                due = subscriptions.due_subscriptions(tx)
            for subscription_id in due:
                if self.stopping.is_set():
                    return served
                served += self._served(site_id, subscription_id)
        return served

    def _served(self, site_id: str, subscription_id: str) -> int:
        """Serve one subscription for a turn, if no other process has it."""
        if not self._write(site_id, lambda tx: subscriptions.lease(tx, subscription_id, self.owner, self.lease_s)):
            return 0
        served = 0
        try:
            served = self._write(site_id, lambda tx: self._handed_over(tx, subscription_id))
            for _ in range(DELIVERIES_A_TURN):
                if self.stopping.is_set() or not self._one(site_id, subscription_id):
                    break
                served += 1
            return served
        finally:
            self._write(site_id, lambda tx: subscriptions.release(tx, subscription_id, self.owner))

    def _handed_over(self, tx: Tx, subscription_id: str) -> int:
        row = subscriptions.subscription_by_id(tx, subscription_id)
        deliveries.forget_old(tx)
        return 0 if row is None else deliveries.hand_over(tx, row, limit=ROWS_AT_ONCE)

    def _one(self, site_id: str, subscription_id: str) -> bool:
        """Make one attempt; False when nothing more is to be done now."""
        with self.database.read(site_id) as tx:
            subscription = subscriptions.subscription_by_id(tx, subscription_id)
            if subscription is None or subscription.status != "active" or subscription.not_before > tx.now:
                return False
            delivery = deliveries.next_due(tx, subscription_id)
            if delivery is None:
                return False
            event = self._event(tx, delivery)
        at = datetime.now(UTC)
        body = written(event).encode()
        headers = {"Content-Type": "application/cloudevents+json; charset=utf-8"}
        headers |= signature_headers(
            subscription.secrets_at(at),
            message_id=message_id(site_id, delivery),
            timestamp_s=int(at.timestamp()),
            body=body,
        )
        outcome = self.send(subscription.url, body, headers, self.allowed)
        return bool(self._write(site_id, lambda tx: self._recorded(tx, subscription, delivery, at, outcome)))

    def _event(self, tx: Tx, delivery: DeliveryRow) -> dict[str, Any]:
        if delivery.seq is None:
            return ping_event(delivery.id, tx.site_id, delivery.subject, delivery.created_at)
        (row,) = events.stretch(tx, after=delivery.seq - 1, limit=1).events
        return cloud_event(row, tx.site_id, public_url=self.public_url)

    def _recorded(
        self, tx: Tx, subscription: SubscriptionRow, delivery: DeliveryRow, at: datetime, outcome: Outcome
    ) -> tuple[bool, tuple[Event, ...]]:
        """Keep the attempt; return whether to go on with this subscription, and what is to be told of it."""
        number = delivery.attempts + 1
        held = subscriptions.lease(tx, subscription.id, self.owner, self.lease_s)
        known = deliveries.delivery_by_id(tx, subscription.id, delivery.id)
        if known is None or known.attempts != delivery.attempts:
            return False, ()  # deleted, or another process took over meanwhile and made its own attempt
        pause_s = self._pause_s(number, outcome)
        status = "delivered" if outcome.delivered else "dead" if pause_s is None or outcome.gone else "pending"
        again_at = tx.now + timedelta(seconds=pause_s or 0.0)
        attempt = AttemptRow(number, at, outcome.status, outcome.word, outcome.duration_ms)
        deliveries.record_attempt(tx, delivery, attempt, status=status, next_attempt_at=again_at)
        if outcome.gone or (
            status == "dead" and not deliveries.delivered_since(tx, subscription.id, delivery.created_at)
        ):
            return False, self._disabled(tx, subscription, outcome)
        if outcome.nobody_answers and pause_s:
            wait_s = max(min(pause_s, LONGEST_PAUSE_S), outcome.retry_after_s or 0.0)
            subscriptions.move(tx, subscription.id, not_before=tx.now + timedelta(seconds=wait_s))
            return False, ()
        return held, ()

    def _pause_s(self, number: int, outcome: Outcome) -> float | None:
        """Return the wait after attempt ``number``, [s], spread by a tenth; None when it was the last."""
        if number >= len(self.delays_s):
            return None
        return max(self.delays_s[number] * random.uniform(0.9, 1.1), outcome.retry_after_s or 0.0)

    def _disabled(self, tx: Tx, subscription: SubscriptionRow, outcome: Outcome) -> tuple[Event, ...]:
        why = "the receiver answered 410: gone" if outcome.gone else "no attempt reached the receiver for too long"
        row = subscriptions.subscription_by_id(tx, subscription.id)
        if row is None or row.status != "active":
            return ()
        subscriptions.change_subscription(tx, row, status="disabled", status_reason=why)
        return (Event("subscription.disabled", "subscription", row.id, None, None, {"reason": why}),)

    def _write(self, site_id: str, work: Callable[[Tx], Any]) -> Any:
        """Run ``work`` in the unit of work; it returns a value, or a value and the events to enter."""
        results: list[Any] = []

        def run(tx: Tx) -> Written:
            outcome = work(tx)
            value, told = outcome if isinstance(outcome, tuple) else (outcome, ())
            results.append(value)
            return Written(200, "", events=told)

        self.database.write(site_id=site_id, actor=ACTOR, request_id=new_id(), work=run)
        return results[-1]


def message_id(site_id: str, delivery: DeliveryRow) -> str:
    """Return what names an event to a receiver, the same in every attempt and every redelivery."""
    return delivery.id if delivery.seq is None else f"{site_id}-{delivery.seq}"
