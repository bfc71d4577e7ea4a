"""Correcting a completion: a new entry that names what it corrects; the stays are put right, nothing is lost."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from service.errors import CannotEvaluate, Conflict
from service.history.attributes import attributes_of
from service.instructions.plan.machine import normalised_bearing
from service.moments import in_document, moment, rfc3339
from service.store.queries import completions, stays
from service.store.queries.completions import CompletionRow, CorrectionRow
from service.store.queries.stays import StayRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.attributes.name import settle_attributes
from service.use_cases.orders.as_told import ATTRIBUTES, told_attributes, told_members
from service.use_cases.orders.complete import put_bearings_on_record, refuse_open_holds
from service.use_cases.orders.held import HeldOrder
from service.use_cases.orders.outcomes import (
    do_outcome,
    planned_bearings,
    refuse_outcome,
    removal_members,
    reopen_stay,
    said_by_position,
    stay_events,
)

INSTALLED = ("serial", "designation", "manufacturer")


def correct_completion(
    tx: Tx, at: HeldOrder, completion: CompletionRow, given: Mapping[str, Any]
) -> tuple[CorrectionRow, tuple[Event, ...]]:
    """Store a correction and put the stays right that it names.

    A wrong outcome is corrected by striking out the stay that it made, which is kept and shown, and doing the right
    one in its place, by the same rules as a completion.

    Raises
    ------
    CannotEvaluate
        ``unknown_entry``; ``unknown_position``; ``not_replaced``: the completion began or ended no stay there; as
        ``refuse_outcome``.
    Conflict
        ``already_corrected``: a later correction is on record; ``later_work``: a later order or stay stands on the
        outcome; ``hold_points_open`` where the right outcome asks for more than was read; a constraint of the stays.
    """
    before = completions.corrections_of(tx, completion.id)
    _check_named(completion, before, given["corrects"])
    stands = Standing.of(completion, before)
    changes: list[dict[str, Any]] = []
    named = settle_attributes(tx, told_attributes(given.get("positions", ())))
    outcomes, events = _put_outcomes_right(tx, at, completion, stands, given)
    kept = stands.positions | {each["position"]: each for each in outcomes}
    for number, each in enumerate(given.get("positions", ())):
        if all(each["position"] != done["position"] for done in outcomes):
            changes += _change_position(tx, kept, each, f"positions/{number}")
    if "completed_at" in given:
        changes += _move(tx, kept, given["completed_at"])
    document: dict[str, Any] = {"changes": changes, "outcomes": outcomes}
    document |= {"moved_to": rfc3339(given["completed_at"])} if "completed_at" in given else {}
    row = completions.insert_correction(
        tx,
        completion_id=completion.id,
        corrects=given["corrects"],
        reason=given["reason"],
        corrected_by=given["corrected_by"],
        document=document,
    )
    data: dict[str, Any] = {"correction": row.id, "corrects": row.corrects, "reason": row.reason}
    data |= {"outcomes": {each["position"]: each["outcome"] for each in outcomes}} if outcomes else {}
    return row, (*named, Event("completion.corrected", "work_order", at.order.id, None, None, data), *events)


@dataclass(frozen=True, slots=True)
class Standing:
    """A completion as its corrections left it: what was done by position, and when."""

    positions: dict[str, Mapping[str, Any]]
    completed_at: datetime

    @classmethod
    def of(cls, completion: CompletionRow, corrections: Sequence[CorrectionRow]) -> "Standing":
        """Return how a completion stands after its corrections, oldest first."""
        positions = {each["position"]: each for each in completion.document["positions"]}
        completed_at = completion.completed_at
        for row in corrections:
            positions |= {each["position"]: each for each in row.document.get("outcomes", ())}
            completed_at = moment(row.document["moved_to"]) if "moved_to" in row.document else completed_at
        return cls(positions, completed_at)


def _put_outcomes_right(
    tx: Tx, at: HeldOrder, completion: CompletionRow, stands: Standing, given: Mapping[str, Any]
) -> tuple[list[dict[str, Any]], list[Event]]:
    """Strike out what wrong outcomes made and do the right ones; return what was done, and the events."""
    wrong = [
        each
        for each in given.get("positions", ())
        if "outcome" in each and each["outcome"] != stands.positions.get(each["position"], {}).get("outcome")
    ]
    if not wrong:
        return [], []
    by_name = said_by_position(at, wrong)
    for name in by_name:
        _strike_out(tx, at, completion, stands.positions[name], _position_id(at, name))
    planned = planned_bearings(tx, at)
    for number, each in enumerate(given["positions"]):
        if each["position"] in by_name:
            name, path = each["position"], f"positions/{number}"
            refuse_outcome(tx, at, by_name[name], _position_id(at, name), planned[name], path)
    outcomes = {name: each["outcome"] for name, each in stands.positions.items()}
    refuse_open_holds(at, outcomes | {name: each["outcome"] for name, each in by_name.items()})
    meter = completion.document.get("meter_reading")
    done_then = {"completed_at": given.get("completed_at", stands.completed_at)}
    done_then |= {"completed_by": completion.completed_by} | ({} if meter is None else {"meter_reading": meter})
    done = [
        do_outcome(tx, at, done_then, each, _position_id(at, name), planned[name]) for name, each in by_name.items()
    ]
    struck = [
        {**each.record(), "before": stands.positions[each.position]["outcome"],
         "struck_out": stands.positions[each.position]["begun_stay"], "warnings": each.warnings()}
        for each in done
    ]  # fmt: skip
    return struck, [
        *_struck_events(at, struck),
        *stay_events(at, done),
        *put_bearings_on_record(tx, at, {name: _runs_there(tx, at, name) for name in by_name}),
    ]


def _position_id(at: HeldOrder, name: str) -> str:
    return next(str(each["position_id"]) for each in at.order.positions if each["name"] == name)


def _strike_out(tx: Tx, at: HeldOrder, completion: CompletionRow, done: Mapping[str, Any], position_id: str) -> None:
    """Take back what an outcome did to the stays of a position."""
    begun = None if done["begun_stay"] is None else stays.stay_by_id(tx, done["begun_stay"])
    if stays.later_work(tx, position_id, order_id=at.order.id, after=completion.created_at, stay_id=done["begun_stay"]):
        said = f"{done['position']}: a later order or stay stands on this outcome; correct that one first"
        raise Conflict(said, code="later_work", field="positions")
    if begun is not None:
        stays.strike_stay(tx, begun, work_order_id=at.order.id)
    if done.get("unrecorded_stay") is not None:
        stays.strike_set_aside(tx, done["unrecorded_stay"])
    ended = None if done["ended_stay"] is None else stays.stay_by_id(tx, done["ended_stay"])
    if ended is not None:
        reopen_stay(tx, ended)


def _struck_events(at: HeldOrder, struck: Sequence[Mapping[str, Any]]) -> list[Event]:
    place = {"asset": at.order.asset_tag, "work_order": at.order.id}
    return [
        Event("stay.struck_out", "stay", each["struck_out"], None, None, {"position": each["position"], **place})
        for each in struck
        if each["struck_out"] is not None
    ]


def _runs_there(tx: Tx, at: HeldOrder, name: str) -> Mapping[str, Any] | None:
    """Return the bearing that runs in a position now, as the record of the machine says it."""
    running = stays.open_stay(tx, _position_id(at, name))
    if running is not None:
        return {"designation": running.designation}
    shafts = at.revision.inputs["asset"]["shafts"]
    known = next(each for shaft in shafts for each in shaft["positions"] if each["name"] == name)
    bearing: Mapping[str, Any] | None = known.get("bearing")
    return bearing


def _check_named(completion: CompletionRow, before: Sequence[CorrectionRow], corrects: str) -> None:
    chain = [completion.id, *(row.id for row in before)]
    if corrects not in chain:
        said = "name the completion of this order, or its last correction"
        raise CannotEvaluate(said, code="unknown_entry", field="corrects")
    if corrects != chain[-1]:
        said = f"this entry has been corrected already; a further correction names {chain[-1]}"
        raise Conflict(said, code="already_corrected", field="corrects", existing=chain[-1])


def _change_position(
    tx: Tx, kept: Mapping[str, Mapping[str, Any]], given: Mapping[str, Any], path: str
) -> list[dict[str, Any]]:
    """Put right what was removed and installed at a position; return each member with its value before and after."""
    name = given["position"]
    if name not in kept:
        raise CannotEvaluate(f"{name!r} is not a position of this order", code="unknown_position", field=path)
    changes: list[dict[str, Any]] = []
    for member, stay_of in (("removed", "ended_stay"), ("installed", "begun_stay")):
        if member not in given:
            continue
        stay = None if kept[name][stay_of] is None else stays.stay_by_id(tx, kept[name][stay_of])
        if stay is None:
            said = f"the completion {'ended' if member == 'removed' else 'began'} no stay at {name}"
            raise CannotEvaluate(said, code="not_replaced", field=f"{path}/{member}")
        values = _removal(stay, given[member]) if member == "removed" else _installation(stay, given[member], path)
        changes += _change(tx, stay, name, values)
    return changes


def _removal(stay: StayRow, given: Mapping[str, Any]) -> dict[str, Any]:
    """Return the columns of the stay that ended, what is not named as it was, with what was kept of it in full."""
    removed = {**stay.document.get("removed", {}), **given}
    columns = removal_members(removed)
    serial = {"serial": removed["serial"]} if "serial" in given else {}
    return {**columns, **serial, **told_members(given, stay), "document": {**stay.document, "removed": removed}}


def _installation(stay: StayRow, given: Mapping[str, Any], path: str) -> dict[str, Any]:
    values = {name: given[name] for name in INSTALLED if name in given} | told_members(given, stay)
    if "designation" in values:
        named = normalised_bearing({"designation": values["designation"]}, f"{path}/installed")
        values["designation"] = named["designation"]
    return values


def _change(tx: Tx, stay: StayRow, position: str, values: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Change the members that differ, and return them with their values before and after."""
    different = {name: value for name, value in values.items() if getattr(stay, name) != value}
    stays.change_stay(tx, stay.id, **different)
    return [
        {
            "stay": stay.id,
            "position": position,
            "member": name,
            "before": _shown(name, getattr(stay, name)),
            "after": _shown(name, value),
        }
        for name, value in different.items()
        if name != "document"
    ]


def _shown(name: str, value: Any) -> Any:
    return attributes_of(value) if name == ATTRIBUTES else in_document(value)


def _move(tx: Tx, kept: Mapping[str, Mapping[str, Any]], completed_at: Any) -> list[dict[str, Any]]:
    """Move the end of the old stays and the start of the new ones; the gap opens before it closes."""
    changes: list[dict[str, Any]] = []
    for name, each in kept.items():
        begun = None if each["begun_stay"] is None else stays.stay_by_id(tx, each["begun_stay"])
        ended = None if each["ended_stay"] is None else stays.stay_by_id(tx, each["ended_stay"])
        if begun is None:
            continue
        moves = [(begun, {"installed_at": completed_at})]
        if ended is not None:
            moves.append((ended, {"removed_at": completed_at}))
        if completed_at < begun.installed_at:
            moves.reverse()
        for stay, values in moves:
            changes += _change(tx, stay, name, values)
    return changes
