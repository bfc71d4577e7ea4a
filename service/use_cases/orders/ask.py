"""A question from the job: something is not possible as the card says, or not known."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from service.errors import CannotEvaluate
from service.moments import rfc3339
from service.store.unit_of_work import Event, Tx
from service.use_cases.orders.held import hold_order


def ask(tx: Tx, order_id: str, given: Mapping[str, Any], *, asked_at: datetime) -> Event:
    """Return the event of a question about a step of an open order; the journal keeps it, subscriptions carry it.

    Parameters
    ----------
    given : mapping
        step (its id), position or None, note, taken_by

    Raises
    ------
    NotFound
        The site has no such order.
    Conflict
        ``work_order_not_open``
    CannotEvaluate
        ``unknown_step``
    """
    at = hold_order(tx, order_id)
    known = [step for step in at.revision.record["steps"] if step["id"] == given["step"]]
    if not known or given.get("position") not in (None, *known[0]["positions"]):
        raise CannotEvaluate("the instructions have no such step", code="unknown_step", field="step")
    data = {
        "step": known[0]["id"],
        "number": known[0]["number"],
        "position": given.get("position"),
        "note": given["note"],
        "asked_by": given["taken_by"],
        "asked_at": rfc3339(asked_at),
    }
    return Event("work_order.question_asked", "work_order", at.order.id, None, None, data)
