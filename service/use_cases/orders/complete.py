"""Completing an order: hold points cleared, old stays ended, new ones begun, the order closed; one transaction."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from service.errors import CannotEvaluate, Conflict
from service.instructions.readings.flags import Flag
from service.instructions.readings.hold_points import HoldPoint
from service.instructions.readings.persons import same_person
from service.record import Record
from service.store.queries import assets, completions
from service.store.queries.completions import CompletionRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.assets.meters import enter_reading_that_fits
from service.use_cases.assets.register import replace_shafts
from service.use_cases.attributes.name import settle_attributes
from service.use_cases.orders.as_told import told_attributes
from service.use_cases.orders.held import HeldOrder
from service.use_cases.orders.outcomes import (
    OUTCOMES,
    REPLACED,
    do_outcome,
    planned_bearings,
    refuse_outcome,
    said_by_position,
    stay_events,
)
from service.use_cases.orders.readiness import unreleased_flags
from service.use_cases.orders.revise import renew_revision


def complete_order(tx: Tx, at: HeldOrder, given: Mapping[str, Any]) -> tuple[CompletionRow, tuple[Event, ...]]:
    """Complete the order. What is flagged forbids nothing; it is kept, with who acknowledged it.

    Raises
    ------
    CannotEvaluate
        A position of the order is left out, unknown or named twice; members that contradict the outcome; as
        ``refuse_outcome``, ``acknowledged_flags`` and ``settle_attributes``.
    Conflict
        ``hold_points_open``, with the list; as ``refuse_outcome``; a constraint of the stays.
    """
    at, renewed = renew_revision(tx, at)
    by_name = said_by_position(at, given["positions"])
    _refuse_left_out(at, by_name)
    planned, ids = planned_bearings(tx, at), {each["name"]: each["position_id"] for each in at.order.positions}
    for number, one in enumerate(given["positions"]):
        name = one["position"]
        refuse_outcome(tx, at, by_name[name], ids[name], planned[name], f"positions/{number}")
    outcomes = {name: each["outcome"] for name, each in by_name.items()}
    refuse_open_holds(at, outcomes)
    found = at.flags(completed_at=given["completed_at"], outcomes=outcomes)
    raised = acknowledged_flags([*found, *unreleased_flags(tx, at)], given.get("flags_acknowledged"))
    named = settle_attributes(tx, told_attributes(given["positions"]))
    if "meter_reading" in given:
        reading = {"read_at": given["completed_at"], "value_h": given["meter_reading"].value}
        enter_reading_that_fits(tx, asset_id=at.order.asset_id, **reading)
    done = [do_outcome(tx, at, given, by_name[name], ids[name], planned[name]) for name in ids]
    warnings = [told for each in done for told in each.warnings()]
    document: dict[str, Any] = {"positions": [each.record() for each in done], "flags": raised, "warnings": warnings}
    document |= {"meter_reading": given["meter_reading"]} if "meter_reading" in given else {}
    row = completions.insert_completion(
        tx,
        work_order_id=at.order.id,
        revision=at.revision.number,
        completed_at=given["completed_at"],
        completed_by=given["completed_by"],
        document=document,
    )
    fitted = {
        name: _designated(each.get("installed", {}).get("designation") or (bearing.designation if bearing else None))
        for name, each in by_name.items()
        if each["outcome"] == REPLACED
        for bearing in (planned[name],)
    }
    data = {"outcomes": {name: outcomes[name] for name in ids}, "flags": [each["code"] for each in raised]}
    completed = Event("work_order.completed", "work_order", at.order.id, None, None, data)
    return row, (*renewed, *named, completed, *stay_events(at, done), *put_bearings_on_record(tx, at, fitted))


def _refuse_left_out(at: HeldOrder, by_name: Mapping[str, Any]) -> None:
    left_out = [each["name"] for each in at.order.positions if each["name"] not in by_name]
    if left_out:
        said = f"say what was done at {', '.join(left_out)}: {', '.join(OUTCOMES[:-1])} or {OUTCOMES[-1]}"
        raise CannotEvaluate(said, code="position_left_out", field="positions")


def refuse_open_holds(at: HeldOrder, outcomes: Mapping[str, str]) -> None:
    """Refuse to close an order whose holds are open.

    Raises
    ------
    Conflict
        ``hold_points_open``, with the list
    """
    still_open = at.hold_points(outcomes)
    if still_open:
        raise _not_yet(still_open)


def _not_yet(still_open: list[HoldPoint]) -> Conflict:
    shown = ", ".join(f"{each.number} {each.title}" for each in still_open[:5])
    more = f" and {len(still_open) - 5} more" if len(still_open) > 5 else ""
    said = f"{len(still_open)} hold points are open: {shown}{more}"
    return Conflict(said, code="hold_points_open", hold_points_open=[each.record() for each in still_open])


def acknowledged_flags(raised: Sequence[Flag], given: Mapping[str, Any] | None) -> list[Record]:
    """Return the flags of an order, each with the name of who acknowledged it.

    Parameters
    ----------
    given : dict or None
        {by, flags: codes}; a code stands for all flags of it

    Raises
    ------
    CannotEvaluate
        ``unknown_flag``: a code that was not raised; ``same_person``: somebody acknowledges a flag about themselves.
    """
    codes = [] if given is None else list(given["flags"])
    unknown = [code for code in codes if all(each.code != code for each in raised)]
    if unknown:
        known = ", ".join(dict.fromkeys(each.code for each in raised)) or "none"
        said = f"{', '.join(unknown)} is not flagged here; flagged are: {known}"
        raise CannotEvaluate(said, code="unknown_flag", field="flags_acknowledged/flags")
    by = None if given is None else given["by"]
    found = []
    for each in raised:
        known_by = by if each.code in codes else None
        if known_by is not None and any(same_person(known_by, person) for person in each.persons):
            said = f"{known_by} is named by {each.code}; the lead acknowledges it, as another person"
            raise CannotEvaluate(said, code="same_person", field="flags_acknowledged/by")
        found.append({**each.record(), "acknowledged_by": known_by})
    return found


def put_bearings_on_record(tx: Tx, at: HeldOrder, fitted: Mapping[str, Mapping[str, Any] | None]) -> Iterator[Event]:
    """Let the asset on record carry the bearings that run in it now: the next order's numbers rest on them.

    Parameters
    ----------
    fitted : mapping of position to bearing
        The bearing as the record says it, None where it says nothing
    """
    asset = assets.asset_by_id(tx, at.order.asset_id)
    if asset is None:
        raise AssertionError("an order hangs on its asset")
    shafts = [
        {
            **shaft,
            "positions": [_with_bearing(position, fitted.get(position["name"])) for position in shaft["positions"]],
        }
        for shaft in asset.shafts
    ]
    if shafts != asset.shafts:
        yield replace_shafts(tx, asset, shafts)[1]


def _with_bearing(position: dict[str, Any], bearing: Mapping[str, Any] | None) -> dict[str, Any]:
    known = position.get("bearing", {})
    if bearing is None or known.get("designation", "") == bearing.get("designation"):
        return position
    return {**position, "bearing": dict(bearing)}


def _designated(designation: str | None) -> Mapping[str, Any] | None:
    return None if designation is None else {"designation": designation}
