"""What was found under the cap: the form, kept as it was filled in, and what of it overrides the record (rule A5)."""

from collections.abc import Mapping
from typing import Any, Final

from service.errors import CannotEvaluate
from service.findings import Warned
from service.instructions.plan.inputs import with_as_found
from service.instructions.readings.messages import message
from service.moments import in_document
from service.record import Record
from service.store.queries import entries
from service.store.queries.entries import AsFoundRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.orders.held import HeldOrder
from service.use_cases.orders.revise import issue_revision, renew_revision

RING_MOVES: Final = ("free", "stiff", "stuck")
CREEP: Final = ("ring_seat", "ring_sleeve", "sleeve_shaft")
FORM_LINES: Final = (
    "rings", "gap_in", "gap_out", "ring_moves", "clearance", "load_mark", "creep", "grease", "lubrication",
    "break_away", "locknut_side", "nut", "tab", "seals", "seat_spacing", "sleeve_to_shoulder", "marks", "photos",
)  # fmt: skip
"""The lines of the form: each holds what was seen, or is named as not looked at."""
JAMMED: Final = ("stiff", "stuck")


def enter_as_found(tx: Tx, at: HeldOrder, given: Mapping[str, Any]) -> tuple[HeldOrder, AsFoundRow, tuple[Event, ...]]:
    """Store what was found at a position, and the revision it makes when it overrides the record (rule A5).

    Raises
    ------
    CannotEvaluate
        ``unknown_position``; ``looked_at_and_not``: a line holds something and is named as not looked at.
    Conflict
        ``too_many_entries``, ``too_many_revisions``
    """
    at.check_room(entries.count_as_found(tx, at.order.id))
    at, renewed = renew_revision(tx, at)
    position = given["position"]
    known = [each["position"] for each in at.revision.record["bolting"]]
    if position not in known:
        said = f"{position!r} is not a position of this shaft; known are {', '.join(known)}"
        raise CannotEvaluate(said, code="unknown_position", field="position")
    both = [line for line in given.get("not_looked_at", ()) if line in given]
    if both:
        said = f"{', '.join(both)}: the form says what was seen, and that nobody looked"
        raise CannotEvaluate(said, code="looked_at_and_not", field="not_looked_at")
    nothing: tuple[Event, ...] = ()
    inputs = with_as_found(at.revision.inputs, position, _overriding(given, at.revision.record))
    after, events = (at.revision, nothing) if inputs == at.revision.inputs else issue_revision(tx, at, inputs)
    row = entries.insert_as_found(
        tx,
        work_order_id=at.order.id,
        position=position,
        made_revision=None if after is at.revision else after.number,
        document={name: in_document(value) for name, value in given.items() if name != "position"},
    )
    event = Event("as_found.recorded", "work_order", at.order.id, None, None, {"position": position, "id": row.id})
    return HeldOrder(at.order, after, at.entries), row, (event, *renewed, *events)


def _overriding(given: Mapping[str, Any], plan: Mapping[str, Any]) -> dict[str, Any]:
    """Return what was found as the plan reads it: whether a ring lies there, whether the ring is jammed."""
    found = dict(given)
    if "rings" in given:
        found["ring_present"] = bool(given["rings"])
    if "ring_moves" not in given and _jammed(given, plan):
        found["ring_moves"] = "stuck"  # no gap is left on a side: the same lines are added to its seat
    return found


def found_warnings(plan: Mapping[str, Any], row: AsFoundRow) -> list[Record]:
    """Return what is said at once of what was found."""
    if not _jammed({**row.document, "position": row.position}, plan):
        return []
    jammed = Warned("free_ring_jammed", message("free_ring_jammed", position=row.position))
    return [{**jammed.record(), "position": row.position}]


def _jammed(found: Mapping[str, Any], plan: Mapping[str, Any]) -> bool:
    """Return whether the ring of a bearing that must be able to move does not, or has no room left on a side."""
    supports = (plan["arrangement"] or {}).get("supports", ())
    held = any(each["name"] == found["position"] and each["role"] == "locating" for each in supports)
    closed = any(name in found and found[name].value == 0 for name in ("gap_in", "gap_out"))
    return not held and (found.get("ring_moves") in JAMMED or closed)
