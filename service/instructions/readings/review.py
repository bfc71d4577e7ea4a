"""What the lead looks over: who signed what and when, what came late, in bulk or out of order, what is still open."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from service.instructions.readiness import OPEN
from service.instructions.readings.entries import DEVIATION, Entry
from service.instructions.readings.flags import Signed, in_one_go, out_of_order, signed_holds
from service.instructions.readings.hold_points import HoldPoint
from service.moments import rfc3339
from service.record import Record

LATE: Final = timedelta(hours=1)
"""From the reading to its record: beyond this it was typed in, or sent, late; own convention."""


@dataclass(frozen=True, slots=True)
class Received:
    """An entry that counts, and when it came on record."""

    entry: Entry
    at: datetime


def review_record(
    plan: Mapping[str, Any], received: Sequence[Received], still_open: Sequence[HoldPoint]
) -> dict[str, list[Record]]:
    """Return {holds, late, in_bulk, out_of_order, open_holds, open_questions} of an order.

    Parameters
    ----------
    received : sequence of Received, shape (n,)
        What counts, in the order in which it was entered
    """
    signed = signed_holds(plan, [each.entry for each in received])
    return {
        "holds": list(_holds(plan, signed, [each.entry for each in received], still_open)),
        "late": [_late(each) for each in received if _is_late(each)],
        "in_bulk": [
            {"person": together[0].person, "from": rfc3339(together[0].at), "holds": [_place(s) for s in together]}
            for together in in_one_go(signed)
        ],
        "out_of_order": [
            {**_place(each), **_by(each), "after": {**_place(before), **_by(before)}}
            for each, before in out_of_order(signed)
        ],
        "open_holds": [
            {"hold": each.hold, "stop": each.stop, "step": each.id, "position": each.position, "title": each.title}
            for each in still_open
        ],
        "open_questions": [
            {name: each[name] for name in ("id", "position", "question", "colour")}
            for each in plan.get("readiness", ())
            if each["status"] == OPEN
        ],
    }


def _holds(
    plan: Mapping[str, Any], signed: Sequence[Signed], entries: Sequence[Entry], still_open: Sequence[HoldPoint]
) -> Iterator[Record]:
    """Yield each hold of the plan at each of its bearings: signed by whom and when, let pass, or open."""
    left = {(each.number, each.position) for each in still_open}
    by = {(each.number, each.position): each for each in signed}
    let = {(each.step, each.position) for each in entries if each.kind == DEVIATION}
    for step in plan["steps"]:
        if step["hold"] is None:
            continue
        for position in step["positions"] or [None]:
            key = (step["number"], position)
            passed = bool({(step["id"], position), (step["id"], None)} & let)
            state = "open" if key in left else "deviation" if passed else "signed"
            one = by.get(key)
            yield {
                "hold": step["hold"],
                "step": step["id"],
                "position": position,
                "title": step["title"],
                "state": state,
                "person": None if one is None else one.person,
                "taken_at": None if one is None else rfc3339(one.at),
            }


def _is_late(received: Received) -> bool:
    return received.entry.taken_at is not None and received.at - received.entry.taken_at > LATE


def _late(received: Received) -> Record:
    entry = received.entry
    assert entry.taken_at is not None
    return {
        "kind": entry.kind,
        "step": entry.step,
        "position": entry.position,
        "person": entry.person,
        "taken_at": rfc3339(entry.taken_at),
        "received_at": rfc3339(received.at),
        "hours": round((received.at - entry.taken_at) / timedelta(hours=1), 1),
    }


def _place(signed: Signed) -> Record:
    return {"step": signed.step, "position": signed.position}


def _by(signed: Signed) -> Record:
    return {"person": signed.person, "taken_at": rfc3339(signed.at)}
