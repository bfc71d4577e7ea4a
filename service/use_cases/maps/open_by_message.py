"""Opening an order from a message: the message is kept with the order it was made into."""

from dataclasses import replace
from hashlib import sha256
from typing import Any

from service.store.queries import field_maps
from service.store.unit_of_work import Event, Tx
from service.use_cases.maps.map_message import KnownMap
from service.use_cases.orders.open import Opening, open_order


def open_by_message(
    tx: Tx, known: KnownMap, given: dict[str, Any], data: bytes, *, units: str, blade_set: Any
) -> Opening:
    """Open the order of a request that a map made, and keep the message; one opened before is left as it is.

    Parameters
    ----------
    given
        What the map made of the message, loaded.
    data
        The message as it came, in UTF-8.

    Raises
    ------
    CannotEvaluate, Conflict
        As ``open_order``.
    """
    opening = open_order(tx, given, units=units, blade_set=blade_set)
    return replace(opening, events=_keep(tx, opening, known, data)) if opening.events else opening


def _keep(tx: Tx, opening: Opening, known: KnownMap, data: bytes) -> tuple[Event, ...]:
    """Keep the message that the order was made of, and name it in the order's event."""
    named, digest = f"{known.name}/{known.version}", sha256(data).hexdigest()
    field_maps.insert_message(
        tx,
        work_order_id=opening.order.id,
        field_map_id=known.id,
        field_map=named,
        sha256=digest,
        body=data.decode("utf-8"),
    )
    *before, event = opening.events
    return (*before, replace(event, data={**event.data, "field_map": named, "message_sha256": digest}))
