"""capsaddle deliver: reads the journal for every subscription and sends its events, at least once.

Several may run at once: a subscription is leased by one UPDATE, for no longer than a few attempts take. No transaction
is open while a receiver is waited for. A process that dies between an answer and its record sends that event again,
under the same id. Subscriptions are served by several threads, a few seconds each and sites in turn, so that a slow
receiver keeps nobody else waiting.
"""

import logging
import random
import threading
import time
from collections.abc import Callable
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from service.exchange.cloud_events import cloud_event, ping_event
from service.exchange.sending import Outcome, posted
from service.exchange.signing import signature_headers
from service.exchange.strict_json import written
from service.exchange.targets import AllowList
from service.secret import SecretChanged
from service.settings import Settings
from service.store.database import Database
from service.store.identity import new_id
from service.store.queries import deliveries, events, sites, subscriptions
from service.store.queries.deliveries import AttemptRow, DeliveryRow
from service.store.queries.subscriptions import SubscriptionRow
from service.store.unit_of_work import Event, Tx, Written
from service.webhooks.turns import Turns

LOOKS_EVERY_S: Final = 1.0
ROWS_AT_ONCE: Final = 200
AT_ONCE: Final = 8
TURN_S: Final = 2.0
"""After so long no further attempt begins in a turn; the one that is under way takes up to 20 s."""
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
        self._turns = Turns(max(1, min(AT_ONCE, settings.pool_size)))
        self._under_way: dict[Future[tuple[int, bool]], str] = {}

    def run(self) -> None:
        """Deliver until ``stopping`` is set; the attempts that are under way are finished first."""
        with ThreadPoolExecutor(self._turns.at_once, "relay") as pool:
            while not self.stopping.is_set():
                until = time.monotonic() + LOOKS_EVERY_S
                try:
                    self._look()
                except Exception:
                    LOG.exception("the relay goes on after an error")
                while not self.stopping.is_set() and (left_s := until - time.monotonic()) > 0:
                    self._begin_turns(pool)
                    if self._under_way:
                        self._end_turns(left_s)
                    else:
                        self.stopping.wait(left_s)

    def run_once(self) -> int:
        """Deliver what is due now, and return the number of attempts and of rows that were handed over."""
        total = 0
        with ThreadPoolExecutor(self._turns.at_once, "relay") as pool:
            while not self.stopping.is_set():
                self._look()
                served = 0
                while not self._turns.idle:
                    self._begin_turns(pool)
                    served += self._end_turns(None)
                if served == 0:
                    break
                total += served
        return total

    def _look(self) -> None:
        """Let every subscription that is due wait for its turn."""
        for site_id in sites.site_ids(self.database):
            if self.stopping.is_set():
                return
            with self.database.read(site_id) as tx:
                due = subscriptions.due_subscriptions(tx)
            for subscription_id in due:
                self._turns.wait(site_id, subscription_id)

    def _begin_turns(self, pool: ThreadPoolExecutor) -> None:
        while (turn := self._turns.begin()) is not None:
            self._under_way[pool.submit(self._served, *turn)] = turn[1]

    def _end_turns(self, within_s: float | None) -> int:
        """Wait for turns to end, and return the number of attempts and rows in those that did."""
        served = 0
        for future in wait(self._under_way, within_s, FIRST_COMPLETED).done:
            subscription_id = self._under_way.pop(future)
            error = future.exception()
            if error is not None:
                LOG.error("the relay goes on after an error", exc_info=error)
            found, more = (0, False) if error is not None else future.result()
            self._turns.end(subscription_id, more=more)
            served += found
        return served

    def _served(self, site_id: str, subscription_id: str) -> tuple[int, bool]:
        """Serve one subscription for a turn, if no other process has it.

        Returns the number of attempts and of rows that were handed over, and whether more is due at once.
        """
        if not self._write(site_id, lambda tx: subscriptions.lease(tx, subscription_id, self.owner, self.lease_s)):
            return 0, False
        until = time.monotonic() + TURN_S
        try:
            served = handed_over = self._write(site_id, lambda tx: self._handed_over(tx, subscription_id))
            while time.monotonic() < until:
                if self.stopping.is_set() or not self._one(site_id, subscription_id):
                    return served, handed_over >= ROWS_AT_ONCE
                served += 1
            return served, True
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
        try:
            secrets = subscriptions.opened_secrets(subscription, self.database.secret, at)
        except SecretChanged:
            return bool(self._write(site_id, lambda tx: self._unreadable(tx, subscription)))
        body = written(event).encode()
        headers = {"Content-Type": "application/cloudevents+json; charset=utf-8"}
        headers |= signature_headers(
            secrets,
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

    def _unreadable(self, tx: Tx, subscription: SubscriptionRow) -> tuple[bool, tuple[Event, ...]]:
        return False, self._given_up(tx, subscription, subscriptions.UNREADABLE)

    def _disabled(self, tx: Tx, subscription: SubscriptionRow, outcome: Outcome) -> tuple[Event, ...]:
        why = "the receiver answered 410: gone" if outcome.gone else "no attempt reached the receiver for too long"
        return self._given_up(tx, subscription, why)

    def _given_up(self, tx: Tx, subscription: SubscriptionRow, why: str) -> tuple[Event, ...]:
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
