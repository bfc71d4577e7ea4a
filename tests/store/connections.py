"""Rows of the tables that connect other systems, for the store's tests."""

from typing import Any

import sqlalchemy as sa

from service.store import models
from service.store.identity import new_id
from service.store.queries import field_maps, import_profiles
from service.store.unit_of_work import Tx


def connected(tx: Tx, order_id: str) -> None:
    """Store a map with the message of an order, an import profile, a subscription with a delivery and its attempt."""
    import_profiles.insert_import_profile(tx, name="workshop-sheet", document={"decimal_mark": ","})
    row = field_maps.insert_field_map(tx, name="north-mill", document={"inbound": {"targets": {}}})
    by = {"field_map_id": row.id, "field_map": "north-mill/1"}
    field_maps.insert_message(tx, work_order_id=order_id, sha256="0" * 64, body="{}", **by)
    subscription_id, delivery_id = new_id(), new_id()
    times: dict[str, Any] = {"created_at": tx.now}
    subscription = {"id": subscription_id, "version": 1, "url": "https://cmms.example/hook", "types": "[]"}
    subscription |= {"status": "active", "secret": "whsec_x", "position": 0, "not_before": tx.now, "updated_at": tx.now}
    _inserted(tx, models.Subscription, subscription | times)
    delivery = {"id": delivery_id, "subscription_id": subscription_id, "seq": 1, "event_type": "work_order.opened"}
    delivery |= {"subject": "work_order/x", "status": "pending", "attempts": 1, "next_attempt_at": tx.now}
    _inserted(tx, models.Delivery, delivery | times)
    attempt = {"delivery_id": delivery_id, "number": 1, "at": tx.now, "outcome": "timeout", "duration_ms": 15_000}
    _inserted(tx, models.DeliveryAttempt, attempt)


def _inserted(tx: Tx, model: Any, values: dict[str, Any]) -> None:
    tx.connection.execute(sa.insert(model).values(values | {"site_id": tx.site_id}))
