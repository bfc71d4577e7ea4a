"""What was done at one position of an order: what may be said of it, and the stays that it ends and begins (H1)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from service.errors import CannotEvaluate, Conflict
from service.findings import Warned
from service.history.ages import age
from service.history.stays import Stay
from service.instructions.plan.inputs import job_of_inputs
from service.instructions.plan.job import required_bearing
from service.instructions.plan.machine import normalised_bearing
from service.instructions.readings.entries import DEVIATION
from service.moments import in_document
from service.record import Record
from service.reference.bearings import Bearing
from service.store.models.stays import BEGINNING_UNKNOWN
from service.store.queries import assets, meters, stays
from service.store.queries.stays import StayRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.assets.meters import meter_of
from service.use_cases.orders.as_mounted import as_mounted
from service.use_cases.orders.as_told import told_at_removal, told_members
from service.use_cases.orders.held import HeldOrder, books_of_revision

REPLACED: Final = "replaced"
REFITTED: Final = "refitted"
OUTCOMES: Final = (REPLACED, REFITTED, "inspected_only", "not_done")
SAYS: Final[Mapping[str, tuple[str, ...]]] = {REPLACED: ("removed", "installed"), REFITTED: ("removed", "new_washer")}
"""What may be said of an outcome besides its position."""


@dataclass(frozen=True, slots=True)
class Done:
    """What was done at one position: the request's members, the stays it ended and began, what is told of it."""

    given: Mapping[str, Any]
    ended: StayRow | None = None
    begun: str | None = None
    unrecorded: str | None = None
    told: tuple[Warned, ...] = ()

    @property
    def position(self) -> str:
        """Return the name of the position."""
        return str(self.given["position"])

    def record(self) -> Record:
        """Return what the completion keeps of the position."""
        ended = None if self.ended is None else self.ended.id
        return {**self.given, "ended_stay": ended, "begun_stay": self.begun, "unrecorded_stay": self.unrecorded}

    def warnings(self) -> list[Record]:
        """Return what is told of the position."""
        return [{**each.record(), "position": self.position} for each in self.told]


def said_by_position(at: HeldOrder, given: Sequence[Mapping[str, Any]]) -> dict[str, dict[str, Any]]:
    """Return what was done by position, designations as we write them.

    Raises
    ------
    CannotEvaluate
        ``unknown_position``, ``position_named_twice``, ``outcome_contradicts``; a designation that cannot be read.
    """
    names = [each["name"] for each in at.order.positions]
    found: dict[str, dict[str, Any]] = {}
    for number, one in enumerate(given):
        each = _normalised(one, number)
        name, path = each["position"], f"positions/{number}"
        if name not in names:
            said = f"{name!r} is not a position of this order; they are {', '.join(names)}"
            raise CannotEvaluate(said, code="unknown_position", field=f"{path}/position")
        if name in found:
            raise CannotEvaluate(f"{name} is named twice", code="position_named_twice", field=f"{path}/position")
        for member in ("removed", "installed", "new_washer"):
            if member in each and member not in SAYS.get(each["outcome"], ()):
                said = f"{member.replace('_', ' ')} is not said where the outcome is {each['outcome']}"
                raise CannotEvaluate(said, code="outcome_contradicts", field=f"{path}/{member}")
        found[name] = each
    return found


def _normalised(given: Mapping[str, Any], number: int) -> dict[str, Any]:
    """Return what was done at a position, the designation of the bearing that was installed as we write it."""
    installed = given.get("installed", {})
    if "designation" not in installed:
        return dict(given)
    path = f"positions/{number}/installed"
    return {**given, "installed": {**installed, **normalised_bearing({"designation": installed["designation"]}, path)}}


def planned_bearings(tx: Tx, at: HeldOrder) -> dict[str, Bearing | None]:
    """Return the bearing that the instructions were made for, by position."""
    job = job_of_inputs(at.revision.inputs, books=books_of_revision(tx, at.revision))
    return {position.name: job.bearing_at(position) for position in job.positions}


def refuse_outcome(
    tx: Tx, at: HeldOrder, each: Mapping[str, Any], position_id: str, planned: Bearing | None, path: str
) -> None:
    """Refuse what was not planned, the same bearing sent as a new one, and a bearing that may not go back in.

    Raises
    ------
    CannotEvaluate
        ``installed_required``, ``same_bearing``, ``damage_not_excluded``, ``new_washer_needed``, ``serial_differs``
    Conflict
        ``outcome_not_planned``, ``installed_differs``, ``not_measured_anew``, ``measured_as_refitted``
    """
    if each["outcome"] not in SAYS:
        return
    name, running = each["position"], stays.open_stay(tx, position_id)
    if at.order.kind != "replacement":
        said = f"{name}: this order was opened to inspect; a replacement has its own order, with its instructions"
        raise Conflict(said, code="outcome_not_planned", field="positions")
    if each["outcome"] == REPLACED:
        _refuse_same(each, running, path)
        _refuse_measured(at, name, refitted=False)
        _refuse_bearing(at, name, each.get("installed", {}).get("designation"), planned)
        return
    _refuse_refit(each, running, path)
    _refuse_measured(at, name, refitted=True)


def _refuse_same(each: Mapping[str, Any], running: StayRow | None, path: str) -> None:
    fitted = each.get("installed", {}).get("serial")
    known = [each.get("removed", {}).get("serial"), None if running is None else running.serial]
    if fitted is not None and any(other is not None and _plain(fitted) == _plain(other) for other in known):
        said = (
            f"{each['position']}: {fitted} is the serial of the bearing that came out; was it fitted again? Then send "
            "the outcome refitted, else the serial of the new bearing"
        )
        raise CannotEvaluate(said, code="same_bearing", field=f"{path}/installed/serial")


def _plain(serial: str) -> str:
    return "".join(serial.split()).casefold()


def _refuse_refit(each: Mapping[str, Any], running: StayRow | None, path: str) -> None:
    """Refuse to fit a bearing again that was not looked at and found undamaged, or is another one (order of work)."""
    name, removed = each["position"], each.get("removed", {})
    if removed.get("damage") != []:
        said = f"{name}: a bearing goes back in only when it was looked at and has no damage: send removed.damage as []"
        raise CannotEvaluate(said, code="damage_not_excluded", field=f"{path}/removed/damage")
    if removed.get("end_type", "removed_other") != "removed_other":
        said = f"{name}: the old stay of a bearing that goes back in ends as removed_other"
        raise CannotEvaluate(said, code="outcome_contradicts", field=f"{path}/removed/end_type")
    if each.get("new_washer") is not True:
        said = f"{name}: a tab that was bent breaks; with a bearing that goes back in comes a new washer or clip"
        raise CannotEvaluate(said, code="new_washer_needed", field=f"{path}/new_washer")
    serial = removed.get("serial")
    if running is not None and running.serial and serial and _plain(serial) != _plain(running.serial):
        said = f"{name}: {running.serial} ran here, {serial} is another bearing"
        raise CannotEvaluate(said, code="serial_differs", field=f"{path}/removed/serial")


def _refuse_measured(at: HeldOrder, name: str, *, refitted: bool) -> None:
    """Refuse an outcome whose bearing was measured as the other kind: one blade step is allowed to a used one only."""
    asked = any(
        step["hold"] == 3 and (step["record"] or {}).get("kind") == "initial_clearance" and name in step["positions"]
        for step in at.revision.record["steps"]
    )
    measured = name in (at.revision.inputs.get("refitted") or ())
    if refitted and asked and not measured:
        said = (
            f"{name}: the initial clearance was judged as that of a new bearing; send it anew with refitted: true "
            "for the bearing that goes back in"
        )
        raise Conflict(said, code="not_measured_anew", field="positions")
    if measured and not refitted:
        said = f"{name}: the initial clearance was judged as that of the old bearing; measure the new one"
        raise Conflict(said, code="measured_as_refitted", field="positions")


def _refuse_bearing(at: HeldOrder, name: str, designation: str | None, planned: Bearing | None) -> None:
    """Refuse another bearing than the one the numbers were made for, unless a deviation names it."""
    if designation is None:
        if planned is None or planned.designation is None:
            said = f"{name}: say which bearing was installed; the instructions do not know it"
            raise CannotEvaluate(said, code="installed_required", field="positions")
        return
    installed = required_bearing({"designation": designation}, "positions")
    if planned is None or _kind(planned) == _kind(installed):
        return
    approved = any(e.kind == DEVIATION and e.step == MARKS and e.position == name for e in at.entries)
    if not approved:
        said = (
            f"{name}: {designation} was installed, but the instructions were made for {planned.designation}: "
            f"its clearance was judged by other limits; let another person approve a deviation from step {MARKS}"
        )
        raise Conflict(said, code="installed_differs", field="positions")


MARKS: Final = "check-parts"
"""The step at which the marks of the new bearing are read."""


def _kind(bearing: Bearing) -> tuple[Any, ...]:
    return (bearing.type, bearing.bore_mm, bearing.outside_diameter_mm, bearing.taper, bearing.clearance_class)


def do_outcome(
    tx: Tx,
    at: HeldOrder,
    given: Mapping[str, Any],
    each: Mapping[str, Any],
    position_id: str,
    planned: Bearing | None,
) -> Done:
    """End the stay that ran in a position and begin the one of the bearing that runs there now.

    Parameters
    ----------
    given : dict
        {completed_at, completed_by, meter_reading?}
    each : dict
        What was done at the position, checked
    """
    if each["outcome"] == REPLACED:
        return _replace_bearing(tx, at, given, each, position_id, planned)
    if each["outcome"] == REFITTED:
        return _refit_bearing(tx, at, given, each, position_id)
    return Done(each)


def _replace_bearing(
    tx: Tx,
    at: HeldOrder,
    given: Mapping[str, Any],
    each: Mapping[str, Any],
    position_id: str,
    planned: Bearing | None,
) -> Done:
    ended, unrecorded = stays.open_stay(tx, position_id), None
    told: tuple[Warned, ...] = ()
    if ended is not None:
        end_stay(tx, ended, given, each.get("removed", {}))
    elif "removed" in each:
        unrecorded, told = _set_aside(tx, at, given, each, position_id), (_NEVER_ON_RECORD,)
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
    return Done(each, ended, begun, unrecorded, told)


_NEVER_ON_RECORD: Final = Warned(
    "removed_never_on_record",
    "The bearing that came out was never on record: when it began to run is not known, so it is kept and counted, but "
    "no life is made of it.",
)
_REFIT_NEVER_ON_RECORD: Final = Warned(
    "refitted_never_on_record",
    "The bearing that went back in was never on record: its age is not known, so no stay begins. Import its stay with "
    "the date on which it was fitted.",
)


def _set_aside(tx: Tx, at: HeldOrder, given: Mapping[str, Any], each: Mapping[str, Any], position_id: str) -> str:
    """Keep a bearing that came out and was never on record, and return the id of its stay."""
    bearing = _position_on_record(at, each["position"]).get("bearing", {})
    removed = each["removed"]
    kept = {
        "position": each["position"],
        "designation": bearing.get("designation"),
        "serial": removed.get("serial"),
        "removed_at": given["completed_at"],
        "removed": dict(removed),
        **removal_members(removed),
    }
    document = {name: in_document(value) for name, value in kept.items()}
    return stays.set_aside_stay(
        tx, position_id=position_id, work_order_id=at.order.id, reason=BEGINNING_UNKNOWN, document=document
    )


def _position_on_record(at: HeldOrder, name: str) -> Mapping[str, Any]:
    """Return a position as the machine was on record when these instructions were made."""
    shafts = at.revision.inputs["asset"]["shafts"]
    return next(each for shaft in shafts for each in shaft["positions"] if each["name"] == name)


def _refit_bearing(tx: Tx, at: HeldOrder, given: Mapping[str, Any], each: Mapping[str, Any], position_id: str) -> Done:
    """End the stay of a bearing that came out undamaged, and begin another with its age: its life goes on."""
    ended = stays.open_stay(tx, position_id)
    if ended is None:
        return Done(each, told=(_REFIT_NEVER_ON_RECORD,))
    removed = {**each["removed"], "end_type": "removed_other"}
    age_h = _age_h(tx, at, ended, given)
    end_stay(tx, ended, given, removed)
    begun = stays.begin_stay(
        tx,
        position_id=position_id,
        work_order_id=at.order.id,
        designation=ended.designation,
        manufacturer=ended.manufacturer,
        serial=ended.serial or removed.get("serial"),
        batch=ended.batch or removed.get("batch"),
        installed_at=given["completed_at"],
        age_at_install_h=age_h,
        **as_mounted(tx, at, each["position"], given),
    )
    return Done(each, ended, begun)


def _age_h(tx: Tx, at: HeldOrder, stay: StayRow, given: Mapping[str, Any]) -> float:
    """Return how old a bearing is that comes out now, by its hours, the meter of the machine or the calendar, [h]."""
    row = assets.asset_by_id(tx, at.order.asset_id)
    if row is None:
        raise AssertionError("an order hangs on its asset")
    places = [each for shaft in row.shafts for each in shaft["positions"] if each["id"] == stay.position_id]
    of_asset = meter_of(meters.meter_readings(tx, at.order.asset_id))
    ended = Stay(
        position=stay.position,
        designation=stay.designation,
        installed_at=stay.installed_at,
        removed_at=given["completed_at"],
        end_type="removed_other",
        operating_hours=_hours(stay, given.get("meter_reading")),
        age_at_install_h=stay.age_at_install_h,
    )
    return age(ended, now=given["completed_at"], of_asset=of_asset, duty=places[0].get("duty") or 1.0).age_h


def end_stay(tx: Tx, stay: StayRow, given: Mapping[str, Any], removed: Mapping[str, Any]) -> None:
    """End a stay: the bearing that ran came out. What it was before is kept, for a correction."""
    told = told_at_removal(removed, stay)
    was = {name: getattr(stay, name) for name in ("serial", "operating_hours", *told)}
    stays.change_stay(
        tx,
        stay.id,
        removed_at=given["completed_at"],
        serial=stay.serial or removed.get("serial"),
        operating_hours=_hours(stay, given.get("meter_reading")),
        document={**stay.document, "removed": dict(removed), "before_removal": was},
        **removal_members(removed),
        **told,
    )


def reopen_stay(tx: Tx, stay: StayRow) -> None:
    """Let a stay run on that a wrong outcome ended."""
    document = {name: value for name, value in stay.document.items() if name not in ("removed", "before_removal")}
    running = {"removed_at": None, "end_type": "running", "inspected": None, "damage": None, "cause": None}
    stays.change_stay(tx, stay.id, document=document, **running, **stay.document.get("before_removal", {}))


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
    return float(meter.value - at_install.value) + (ended.age_at_install_h or 0.0)


def stay_events(at: HeldOrder, done: Sequence[Done]) -> list[Event]:
    """Return the events of the stays that ended and began."""
    events = []
    for each in done:
        place = {"position": each.position, "asset": at.order.asset_tag, "work_order": at.order.id}
        if each.ended is not None:
            events.append(Event("stay.ended", "stay", each.ended.id, None, None, place))
        if each.begun is not None:
            events.append(Event("stay.begun", "stay", each.begun, None, None, place))
    return events
