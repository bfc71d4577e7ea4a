"""Job packs: open orders of a site planned together; nothing is stored."""

from collections.abc import Sequence

from service.errors import CannotEvaluate, Conflict
from service.instructions.planning.pack import Packed, job_pack
from service.record import Record
from service.store.queries import work_orders
from service.store.queries.work_orders import NOT_OPEN, RevisionRow, WorkOrderRow
from service.store.unit_of_work import Tx
from service.use_cases.orders.held import order_of, revision_in_force
from service.use_cases.orders.readiness import is_released


def pack_of(tx: Tx, order_ids: Sequence[str]) -> Record:
    """Return the pack of these orders.

    Raises
    ------
    CannotEvaluate
        ``unknown_work_order``, also for another site's; ``order_named_twice``; ``made_by_older_engine``: its plan has
        no planning, a new revision has.
    Conflict
        ``work_order_not_open``
    """
    packed = []
    for number, order_id in enumerate(order_ids):
        path = f"orders/{number}"
        if order_id in order_ids[:number]:
            raise CannotEvaluate(f"{order_id} is named twice", code="order_named_twice", field=path)
        order = work_orders.work_order_by_id(tx, order_id)
        if order is None:
            raise CannotEvaluate(f"there is no work order {order_id}", code="unknown_work_order", field=path)
        if order.status != "open":
            raise Conflict(f"{order.external_number} is {order.status}; a pack is of open orders", code=NOT_OPEN)
        plan = revision_in_force(tx, order).record
        if "planning" not in plan:
            said = f"the plan of {order.external_number} was made by engine {plan['engine_version']}, without planning"
            raise CannotEvaluate(said, code="made_by_older_engine", field=path)
        packed.append(
            Packed(order.id, order.external_system, order.external_number, is_released(tx, order.id, plan), plan)
        )
    return job_pack(packed)


def orders_in_turn(tx: Tx, pack: Record) -> list[tuple[WorkOrderRow, RevisionRow]]:
    """Return the orders of a pack with their instructions, in the order of work."""
    turns = {(line["asset"], line["shaft"]): line for line in pack["sequence"]}

    def turn(packed: Record) -> tuple[int, int]:
        line = turns[packed["asset"], packed["shaft"]]
        return line["place"], line["orders"].index(packed["external"]["number"])

    orders = [order_of(tx, each["id"]) for each in sorted(pack["orders"], key=turn)]
    return [(order, revision_in_force(tx, order)) for order in orders]
