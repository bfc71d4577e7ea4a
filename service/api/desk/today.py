"""/desk: what the office looks at first."""

from typing import Any

from flask import Response, request

from service.api.desk.door import HOME, Desk, page, shown
from service.api.desk.same import PAGE, Same, address, asked_for, first_page, links
from service.api.http.problems import ProblemRaised
from service.moments import rfc3339
from service.render.present import present
from service.store.identity import canonical_id
from service.store.queries.desk import machines_found
from service.store.queries.work_orders import page_of_work_orders
from service.store.transaction import Tx
from service.use_cases.desk import today as use_case
from service.use_cases.orders.records import order_line

ORDERS_ON_A_PAGE = 20


@page("")
def today(desk: Desk) -> Response:
    """Show open orders and what they wait for, recalls, deliveries that fail, standing alarms."""
    after = after_of_page()
    with desk.reading() as tx:
        where = address("/v1/work-orders", {"status": "open"})
        lines = [order_line(row) for row in page_of_work_orders(tx, status="open", limit=PAGE + 1)]
        answers = [Same(where, first_page(desk, where, lines))]
        given = asked_for(desk, answers)
        if given is not None:
            return given
        orders = present(use_case.open_orders(tx, after=after, limit=ORDERS_ON_A_PAGE + 1), desk.units)
        further = len(orders) > ORDERS_ON_A_PAGE
        facts: dict[str, Any] = {
            "recalls": use_case.recalls(tx),
            "troubles": use_case.troubles(tx),
            "flagged": use_case.standing_flags(tx),
        }
        empty = after is None and not orders and not machines_on_record(tx)
        as_of = rfc3339(tx.now)
    orders = orders[:ORDERS_ON_A_PAGE]
    return shown(
        desk,
        "today",
        here="today",
        title="Today",
        as_of=as_of,
        orders=orders,
        next=address(HOME, {"after": orders[-1]["id"]}) if further else None,
        empty=empty,
        links=links(answers),
        **facts,
    )


def machines_on_record(tx: Tx) -> bool:
    """Return whether the site has any machine."""
    return bool(machines_found(tx, None, after=None, limit=1))


def after_of_page() -> str | None:
    """Return the id behind which a page of a list begins.

    Raises
    ------
    ProblemRaised
        It is no id.
    """
    given = request.args.get("after")
    if given is None:
        return None
    known = canonical_id(given)
    if known is None:
        raise ProblemRaised("bad_cursor", "the page begins after something that is no id")
    return known
