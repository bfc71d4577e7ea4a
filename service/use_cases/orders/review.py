"""The lead's sheet of an order: what was signed by whom, what to look at, what is still open; nothing is stored."""

from service.instructions.readings.review import Received, review_record
from service.record import Record
from service.store.queries import entries
from service.store.unit_of_work import Tx
from service.use_cases.orders.held import held_order, order_of
from service.use_cases.orders.readiness import unreleased_flags
from service.use_cases.orders.records import order_line


def review_of(tx: Tx, order_id: str) -> Record:
    """Return the review of an order, of its revision in force.

    Raises
    ------
    NotFound
        The site has no such order.
    """
    at = held_order(tx, order_of(tx, order_id))
    readings, deviations = entries.readings_of(tx, at.order.id), entries.deviations_of(tx, at.order.id)
    came = {row.id: row.created_at for row in readings} | {row.id: row.created_at for row in deviations}
    counting = at.counting
    received = [Received(each, came[each.id]) for each in counting]
    kept = {each.id for each in counting}
    replaced = {row.replaces: row for row in readings if row.replaces is not None}
    taken_back = [
        {
            "kind": row.kind,
            "position": row.position,
            "person": row.taken_by,
            "replaced_by": replaced[row.id].taken_by,
            "reason": replaced[row.id].document.get("reason"),
        }
        for row in readings
        if row.id in replaced and row.id not in kept
    ]
    let_pass = [
        {"step": row.step, "position": row.position, "reason": row.reason, "approved_by": row.approved_by,
         "taken_by": row.taken_by} for row in deviations
    ]  # fmt: skip
    line = order_line(at.order)
    return {
        **{name: line[name] for name in ("id", "external", "asset", "status", "revision")},
        **review_record(at.revision.record, received, at.hold_points() if at.order.status == "open" else []),
        "begun_unreleased": bool(unreleased_flags(tx, at)),
        "deviations": let_pass,
        "taken_back": taken_back,
    }
