"""Completing an order: hold points cleared, old stays ended, new ones begun, the order closed; one transaction."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from service.errors import CannotEvaluate, Conflict
from service.instructions.plan.inputs import job_of_inputs
from service.instructions.plan.job import required_bearing
from service.instructions.plan.machine import normalised_bearing
from service.instructions.readings.hold_points import DEVIATION, HoldPoint
from service.reference.bearings import Bearing
from service.store.queries import assets, completions, stays
from service.store.queries.completions import CompletionRow
from service.store.queries.stays import StayRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.assets.meters import enter_reading_that_fits
from service.use_cases.assets.register import replace_shafts
from service.use_cases.attributes.name import settle_attributes
from service.use_cases.orders.as_mounted import as_mounted
from service.use_cases.orders.as_told import told_at_removal, told_attributes, told_members
from service.use_cases.orders.held import HeldOrder, books_of_revision

REPLACED = "replaced"


@dataclass(frozen=True, slots=True)
class Done:
    """What was done at one position: the request's members, and the stays it ended and began."""

    given: Mapping[str, Any]
    ended: StayRow | None
    begun: str | None

    def record(self) -> dict[str, Any]:
        """Return what the completion keeps of the position."""
        ended = None if self.ended is None else self.ended.id
        return {**self.given, "ended_stay": ended, "begun_stay": self.begun}


def complete_order(tx: Tx, at: HeldOrder, given: Mapping[str, Any]) -> tuple[CompletionRow, tuple[Event, ...]]:
    """Complete the order.

    Raises
    ------
    CannotEvaluate
        A position of the order is left out, unknown or named twice; members that contradict the outcome.
    Conflict
        ``hold_points_open``, with the list; ``outcome_not_planned``, ``installed_differs``; a constraint of the stays.
    """
    by_name = _by_position(at, [_normalised(each, n) for n, each in enumerate(given["positions"])])
    outcomes = {name: each["outcome"] for name, each in by_name.items()}
    planned = _planned(tx, at)
    _check_planned(at, by_name, planned)
    still_open = at.hold_points(outcomes)
    if still_open:
        raise _not_yet(still_open)
    named = settle_attributes(tx, told_attributes(given["positions"]))
    done = [
        _replace_bearing(tx, at, given, by_name[each["name"]], each["position_id"], planned[each["name"]])
        for each in at.order.positions
    ]
    document: dict[str, Any] = {"positions": [each.record() for each in done]}
    if "meter_reading" in given:
        document["meter_reading"] = given["meter_reading"]
        reading = {"read_at": given["completed_at"], "value_h": given["meter_reading"].value}
        enter_reading_that_fits(tx, asset_id=at.order.asset_id, **reading)
    row = completions.insert_completion(
        tx,
        work_order_id=at.order.id,
        revision=at.revision.number,
        completed_at=given["completed_at"],
        completed_by=given["completed_by"],
        document=document,
    )
    return row, (*named, *_events(at, row, done), *_put_bearings_on_record(tx, at, by_name, planned))


def _put_bearings_on_record(
    tx: Tx, at: HeldOrder, by_name: Mapping[str, Mapping[str, Any]], planned: Mapping[str, Bearing | None]
) -> Iterator[Event]:
    """Let the asset on record carry the bearings that run in it now: the next order's numbers rest on them."""
    fitted = {
        name: each.get("installed", {}).get("designation") or (_designation(planned[name]))
        for name, each in by_name.items()
        if each["outcome"] == REPLACED
    }
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
    if shafts == asset.shafts:
        return
    yield replace_shafts(tx, asset, shafts)[1]


def _with_bearing(position: dict[str, Any], designation: str | None) -> dict[str, Any]:
    known = position.get("bearing", {})
    if designation is None or known.get("designation") == designation:
        return position
    return {**position, "bearing": {"designation": designation}}


def _designation(bearing: Bearing | None) -> str | None:
    """Return the designation of the bearing that the instructions were made for, where it has one."""
    return None if bearing is None else bearing.designation


def _normalised(given: Mapping[str, Any], number: int) -> dict[str, Any]:
    """Return what was done at a position, the designation of the bearing that was installed as we write it."""
    installed = given.get("installed", {})
    if "designation" not in installed:
        return dict(given)
    path = f"positions/{number}/installed"
    return {**given, "installed": {**installed, **normalised_bearing({"designation": installed["designation"]}, path)}}


def _by_position(at: HeldOrder, given: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """Return what was done by position: each position of the order once."""
    names = [each["name"] for each in at.order.positions]
    found: dict[str, dict[str, Any]] = {}
    for number, each in enumerate(given):
        name, path = each["position"], f"positions/{number}"
        if name not in names:
            said = f"{name!r} is not a position of this order; they are {', '.join(names)}"
            raise CannotEvaluate(said, code="unknown_position", field=f"{path}/position")
        if name in found:
            raise CannotEvaluate(f"{name} is named twice", code="position_named_twice", field=f"{path}/position")
        for member in ("removed", "installed"):
            if each["outcome"] != REPLACED and member in each:
                said = f"nothing is {member} where the outcome is {each['outcome']}"
                raise CannotEvaluate(said, code="outcome_contradicts", field=f"{path}/{member}")
        found[name] = each
    left_out = [name for name in names if name not in found]
    if left_out:
        said = f"say what was done at {', '.join(left_out)}: replaced, inspected_only or not_done"
        raise CannotEvaluate(said, code="position_left_out", field="positions")
    return found


def _check_planned(
    at: HeldOrder, by_name: Mapping[str, Mapping[str, Any]], planned: Mapping[str, Bearing | None]
) -> None:
    """Refuse a replacement that the instructions were not made for."""
    for name, each in by_name.items():
        if each["outcome"] != REPLACED:
            continue
        if at.order.kind != "replacement":
            said = f"{name}: this order was opened to inspect; a replacement has its own order, with its instructions"
            raise Conflict(said, code="outcome_not_planned", field="positions")
        _check_bearing(at, name, each.get("installed", {}).get("designation"), planned[name])


def _check_bearing(at: HeldOrder, name: str, designation: str | None, planned: Bearing | None) -> None:
    """Refuse another bearing than the one the numbers were made for, unless a deviation names it."""
    if designation is None:
        if planned is None or planned.designation is None:
            said = f"{name}: say which bearing was installed; the instructions do not know it"
            raise CannotEvaluate(said, code="installed_required", field="positions")
        return
    installed = required_bearing({"designation": designation}, "positions")
    if planned is None or _kind(planned) == _kind(installed):
        return
    approved = any(e.kind == DEVIATION and e.step == "bearing-marks" and e.position == name for e in at.entries)
    if not approved:
        said = (
            f"{name}: {designation} was installed, but the instructions were made for {planned.designation}: "
            "its clearance was judged by other limits; let another person approve a deviation from step bearing-marks"
        )
        raise Conflict(said, code="installed_differs", field="positions")


def _planned(tx: Tx, at: HeldOrder) -> dict[str, Bearing | None]:
    """Return the bearing that the instructions were made for, by position."""
    job = job_of_inputs(at.revision.inputs, books=books_of_revision(tx, at.revision))
    return {position.name: job.bearing_at(position) for position in job.positions}


def _kind(bearing: Bearing) -> tuple[Any, ...]:
    return (bearing.type, bearing.bore_mm, bearing.outside_diameter_mm, bearing.taper, bearing.clearance_class)


def _not_yet(still_open: list[HoldPoint]) -> Conflict:
    shown = ", ".join(f"{each.number} {each.title}" for each in still_open[:5])
    more = f" and {len(still_open) - 5} more" if len(still_open) > 5 else ""
    said = f"{len(still_open)} hold points are open: {shown}{more}"
    return Conflict(said, code="hold_points_open", hold_points_open=[each.record() for each in still_open])


def _replace_bearing(
    tx: Tx,
    at: HeldOrder,
    given: Mapping[str, Any],
    each: Mapping[str, Any],
    position_id: str,
    planned: Bearing | None,
) -> Done:
    """End the stay that ran in a position and begin the one of the bearing that was installed."""
    if each["outcome"] != REPLACED:
        return Done(each, None, None)
    ended = stays.open_stay(tx, position_id)
    if ended is not None:
        _end_stay(tx, ended, given, each.get("removed", {}))
    installed = each.get("installed", {})
    begun = stays.begin_stay(
        tx,
        position_id=position_id,
        work_order_id=at.order.id,
        designation=installed.get("designation") or (planned.designation if planned else None),
        manufacturer=installed.get("manufacturer"),
        serial=installed.get("serial"),
        installed_at=given["completed_at"],
        **told_members(installed),
        **as_mounted(tx, at, each["position"], given),
    )
    return Done(each, ended, begun)


def _end_stay(tx: Tx, stay: StayRow, given: Mapping[str, Any], removed: Mapping[str, Any]) -> None:
    """End a stay: the bearing that ran came out."""
    stays.change_stay(
        tx,
        stay.id,
        removed_at=given["completed_at"],
        serial=stay.serial or removed.get("serial"),
        operating_hours=_hours(stay, given.get("meter_reading")),
        document={**stay.document, "removed": dict(removed)},
        **removal_members(removed),
        **told_at_removal(removed, stay),
    )


def removal_members(removed: Mapping[str, Any]) -> dict[str, Any]:
    """Return the columns of a stay that ends: how, whether it was looked at, damage, cause."""
    damage = removed.get("damage")
    return {
        "end_type": removed.get("end_type", "unknown"),
        "inspected": removed.get("inspected", None if damage is None else True),
        "damage": "|".join(each["code"] for each in damage) if damage else None,
        "cause": removed.get("cause"),
    }


def _hours(ended: StayRow, meter: Any) -> float | None:
    """Return the age at removal by the meter of the machine, when it was read at both ends and not exchanged."""
    at_install = ended.document.get("meter_at_install")
    if meter is None or at_install is None or meter.value < at_install.value:
        return ended.operating_hours
    return float(meter.value - at_install.value)


def _events(at: HeldOrder, row: CompletionRow, done: list[Done]) -> list[Event]:
    outcomes = {each.given["position"]: each.given["outcome"] for each in done}
    events = [Event("work_order.completed", "work_order", at.order.id, None, None, {"outcomes": outcomes})]
    for each in done:
        place = {"position": each.given["position"], "asset": at.order.asset_tag, "work_order": at.order.id}
        if each.ended is not None:
            events.append(Event("stay.ended", "stay", each.ended.id, None, None, place))
        if each.begun is not None:
            events.append(Event("stay.begun", "stay", each.begun, None, None, place))
    return events
