"""What was read, found and set at the positions of an order the last time: facts that its plan is made with."""

from collections.abc import Mapping
from typing import Any, Final

from service.instructions.plan.last_time import as_set
from service.moments import in_document, rfc3339
from service.store.queries import last_time as queries
from service.store.queries.last_time import LastStay
from service.store.unit_of_work import Tx

READ: Final = ("values", "series", "method", "instrument", "taken_by", "taken_at")
"""What is shown of a reading that was kept with a stay."""


def last_time(tx: Tx, places: Mapping[str, str]) -> list[dict[str, Any]]:
    """Return [{position, bearing, order, read, found, set}] for the positions that had a bearing before.

    Parameters
    ----------
    places : mapping of name to id
        The positions of the order; an empty id stands for one that the asset has not
    """
    stays = queries.last_stays(tx, [each for each in places.values() if each])
    if not stays:
        return []
    orders = {stay.work_order_id: stay.document.get("revision") for stay in stays.values() if stay.work_order_id}
    plans = queries.plans_of(tx, {order: number for order, number in orders.items() if number is not None})
    found = queries.as_found_of_orders(tx, list(orders))
    names = queries.names_in(tx, list(orders))
    return [
        _record(tx, name, stays[place], plans, found, names.get((stays[place].work_order_id or "", place), name))
        for name, place in places.items()
        if place in stays
    ]


def _record(
    tx: Tx,
    name: str,
    stay: LastStay,
    plans: Mapping[str, Mapping[str, Any]],
    found: Mapping[tuple[str, str], Mapping[str, Any]],
    then: str,
) -> dict[str, Any]:
    """Return what is on record of the last bearing in a position, which was called ``then`` in its order."""
    order = stay.work_order_id or ""
    plan = plans.get(order)
    return {
        "position": name,
        "bearing": {
            "designation": stay.designation,
            "manufacturer": stay.manufacturer,
            "serial": stay.serial,
            "installed_at": rfc3339(stay.installed_at),
            "removed_at": None if stay.removed_at is None else rfc3339(stay.removed_at),
            "end_type": stay.end_type,
            "damage": [] if stay.damage is None else stay.damage.split("|"),
            "cause": stay.cause,
            "operating_hours": stay.operating_hours,
            "calendar_hours": _calendar_hours(tx, stay),
        },
        "order": {
            "id": stay.work_order_id,
            "number": stay.work_order,
            "completed_by": stay.document.get("completed_by"),
        },
        "replaced": None
        if stay.before is None
        else {
            "end_type": stay.before[0],
            "damage": [] if stay.before[1] is None else stay.before[1].split("|"),
            "cause": stay.before[2],
        },
        "read": [
            {"kind": kind, **{member: read[member] for member in READ if member in read}}
            for kind, read in sorted((stay.document.get("readings") or {}).items())
        ],
        "found": {member: in_document(value) for member, value in found.get((order, then), {}).items()},
        "set": None if plan is None else as_set(plan, then),
    }


def _calendar_hours(tx: Tx, stay: LastStay) -> float:
    """Return how long the bearing has been in its place, until it came out or until now, [h]."""
    until = stay.removed_at or tx.now
    return round((until - stay.installed_at).total_seconds() / 3600, 2)
