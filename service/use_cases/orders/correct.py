"""Correcting a completion: a new entry that names what it corrects; the stays are put right, nothing is lost."""

from collections.abc import Mapping
from typing import Any

from service.errors import CannotEvaluate, Conflict
from service.history.attributes import attributes_of
from service.instructions.plan.machine import normalised_bearing
from service.moments import in_document
from service.store.queries import completions, stays
from service.store.queries.completions import CompletionRow, CorrectionRow
from service.store.queries.stays import StayRow
from service.store.queries.work_orders import WorkOrderRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.attributes.name import settle_attributes
from service.use_cases.orders.as_told import ATTRIBUTES, told_attributes, told_members
from service.use_cases.orders.complete import removal_members

INSTALLED = ("serial", "designation", "manufacturer")


def correct_completion(
    tx: Tx, order: WorkOrderRow, completion: CompletionRow, given: Mapping[str, Any]
) -> tuple[CorrectionRow, tuple[Event, ...]]:
    """Store a correction and put the stays right that it names.

    Raises
    ------
    CannotEvaluate
        ``unknown_entry``; ``unknown_position``; ``not_replaced``: the completion began or ended no stay there.
    Conflict
        ``already_corrected``: a later correction is on record; a constraint of the stays.
    """
    _check_named(tx, completion, given["corrects"])
    changes: list[dict[str, Any]] = []
    kept = {each["position"]: each for each in completion.document["positions"]}
    named = settle_attributes(tx, told_attributes(given.get("positions", ())))
    for number, each in enumerate(given.get("positions", ())):
        changes += _change_position(tx, kept, each, f"positions/{number}")
    if "completed_at" in given:
        changes += _move(tx, kept, given["completed_at"])
    row = completions.insert_correction(
        tx,
        completion_id=completion.id,
        corrects=given["corrects"],
        reason=given["reason"],
        corrected_by=given["corrected_by"],
        document={"changes": changes},
    )
    data = {"correction": row.id, "corrects": row.corrects, "reason": row.reason}
    return row, (*named, Event("completion.corrected", "work_order", order.id, None, None, data))


def _check_named(tx: Tx, completion: CompletionRow, corrects: str) -> None:
    chain = [completion.id, *(row.id for row in completions.corrections_of(tx, completion.id))]
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
