"""Cancelling an order that is open."""

from service.store.queries import work_orders
from service.store.queries.work_orders import WorkOrderRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.orders.held import order_of


def cancel_order(tx: Tx, order_id: str, reason: str) -> tuple[WorkOrderRow, Event]:
    """Cancel the order, and return it with its event.

    Raises
    ------
    NotFound
        The site has no such order.
    Conflict
        ``work_order_not_open``
    """
    order = work_orders.cancel_work_order(tx, order_of(tx, order_id).id, reason)
    return order, Event("work_order.cancelled", "work_order", order.id, None, None, {"reason": reason})
