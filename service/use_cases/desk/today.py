"""What the office looks at first: open orders and what they wait for, recalls, receivers that fail, standing alarms."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from service.instructions.readiness import AMBER, OPEN, RED
from service.moments import rfc3339
from service.store.queries import desk
from service.store.queries.stay_lists import Chosen, stay_rows
from service.store.queries.work_orders import WorkOrderRow, page_of_work_orders
from service.store.transaction import Tx
from service.use_cases.orders.held import held_order
from service.use_cases.orders.readiness import summary, unreleased_flags
from service.use_cases.orders.records import order_line

MOST_RECALLS: Final = 10
MOST_FLAGS: Final = 50
MOST_ENDED: Final = 1_000


def open_orders(tx: Tx, *, after: str | None, limit: int, asset: str | None = None) -> list[dict[str, Any]]:
    """Return open orders, the oldest first, each with what it waits for; quantities still unit-neutral."""
    rows = page_of_work_orders(tx, status="open", asset=asset, after=after, limit=limit)
    return [order_state(tx, row) for row in rows]


def order_state(tx: Tx, row: WorkOrderRow) -> dict[str, Any]:
    """Return an order with its readiness, its open holds, its flags, and what is blocked in it."""
    at = held_order(tx, row)
    plan = at.revision.record
    asked = plan.get("readiness", [])
    flags = [*at.flags(), *unreleased_flags(tx, at)]
    return {
        **order_line(row),
        "readiness": summary(tx, row, at.revision),
        "questions_open": {colour: _open_questions(asked, colour) for colour in (RED, AMBER)},
        "hold_points_open": [each.record() for each in at.hold_points()] if row.status == "open" else [],
        "flags": [each.record() for each in flags],
        "blocked": plan.get("blocked", []),
        "entries": len(at.entries),
    }


def recalls(tx: Tx) -> list[dict[str, Any]]:
    """Return the latest recalls, each with those of its bearings outside that run now."""
    return [
        {
            "at": rfc3339(row.at),
            "kind": row.kind,
            "book_id": row.book_id,
            "reason": row.data.get("reason"),
            "counts": row.data.get("counts", {}),
            "open_work_orders": row.data.get("open_work_orders", []),
            "running_outside": [
                {"asset_id": asset_id, "asset": tag, "position": name}
                for asset_id, tag, name in desk.still_running(tx, row.data.get("outside", []))
            ],
        }
        for row in desk.latest_recalls(tx, limit=MOST_RECALLS)
    ]


def troubles(tx: Tx) -> list[dict[str, Any]]:
    """Return the receivers of events that do not take them."""
    return [
        {
            "id": row.id,
            "url": row.url,
            "status": row.status,
            "reason": row.reason,
            "given_up": row.dead,
            "tried_and_waiting": row.waiting,
            "since": None if row.since is None else rfc3339(row.since),
        }
        for row in desk.troubled_receivers(tx)
    ]


def standing_flags(tx: Tx) -> list[dict[str, Any]]:
    """Return the positions that the daily look has flagged and still flags, each with what came out of it."""
    return [
        {
            **{"asset_id": asset_id, "asset": tag, "position": name, "raised_at": rfc3339(at)},
            **ended_at(stay_rows(tx, Chosen(asset=tag, position=name), after=None, limit=MOST_ENDED)),
        }
        for asset_id, tag, name, at in desk.flagged_places(tx)[:MOST_FLAGS]
    ]


def ended_at(stays: Sequence[Any]) -> dict[str, Any]:
    """Return how many stays of a position ended, how many of them by failure, the first fitting, the last removal."""
    own = [one for one in stays if one.removed_at is not None]
    return {
        "ended": len(own),
        "failed": sum(one.end_type == "failed" for one in own),
        "first": min((one.installed_at for one in own), default=None),
        "last": max((one.removed_at for one in own), default=None),
    }


def _open_questions(asked: Sequence[Mapping[str, Any]], colour: str) -> list[dict[str, Any]]:
    """Return [{id, positions, question, who}] of what is open, each question once."""
    found: dict[str, dict[str, Any]] = {}
    for each in asked:
        if each["colour"] == colour and each["status"] == OPEN:
            said = {name: each[name] for name in ("id", "question", "who")}
            one = found.setdefault(each["id"], {**said, "positions": []})
            one["positions"] += [] if each["position"] is None else [each["position"]]
    return list(found.values())
