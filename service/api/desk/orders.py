"""/desk/orders: the orders, and of each its sheets, what it waits for, and what was entered, as it was done."""

from typing import Any, Final

from flask import Response, current_app, request

from service.api.desk.door import HOME, Desk, page, shown, to
from service.api.desk.same import PAGE, Same, address, asked_for, first_page, links
from service.api.desk.today import after_of_page
from service.api.http.problems import ProblemRaised
from service.api.orders.instructions import views as cards
from service.api.orders.photos.views import photo_answer
from service.api.orders.review.views import printed_review
from service.render.present import present
from service.store.queries.photos import photos_of
from service.store.queries.work_orders import page_of_work_orders
from service.use_cases.desk.course import course_of
from service.use_cases.desk.today import order_state
from service.use_cases.orders.held import held_order, order_of
from service.use_cases.orders.photos import photo_data
from service.use_cases.orders.readiness import unreleased_flags, whole
from service.use_cases.orders.records import order_line, order_record, revision_of
from service.use_cases.orders.review import review_of
from service.words import ORDER_STATUSES

ORDERS: Final = f"{HOME}/orders"
FILTERS: Final = ("status", "number", "asset")


@page("/orders")
def orders(desk: Desk) -> Response:
    """Show the orders by status, number and machine."""
    asked = {name: request.args.get(name, "").strip()[:200] for name in FILTERS}
    if asked["status"] and asked["status"] not in ORDER_STATUSES:
        raise ProblemRaised("bad_parameter", f"status: one of {', '.join(ORDER_STATUSES)}")
    after = after_of_page()
    given: dict[str, Any] = {name: value or None for name, value in asked.items()}
    where = address("/v1/work-orders", asked)
    with desk.reading() as tx:
        rows = page_of_work_orders(tx, **given, after=after, limit=PAGE + 1)
        begun = rows if after is None else page_of_work_orders(tx, **given, limit=PAGE + 1)
    lines = [order_line(row) for row in rows]
    answers = [Same(where, first_page(desk, where, [order_line(row) for row in begun]))]
    given_as = asked_for(desk, answers)
    if given_as is not None:
        return given_as
    if asked["number"] and len(rows) == 1 and after is None:
        return to(f"{ORDERS}/{rows[0].id}")
    return shown(
        desk,
        "orders",
        here="orders",
        title="Orders",
        orders=lines[:PAGE],
        asked=asked,
        statuses=ORDER_STATUSES,
        next=address(ORDERS, {**asked, "after": lines[PAGE - 1]["id"]}) if len(lines) > PAGE else None,
        links=links(answers),
    )


@page("/orders/<order_id>")
def order(desk: Desk, order_id: str) -> Response:
    """Show one order."""
    with desk.reading() as tx:
        row = order_of(tx, order_id)
        at = held_order(tx, row)
        flags = [each.record() for each in (*at.flags(), *unreleased_flags(tx, at))]
        answers = [
            Same(f"/v1/work-orders/{row.id}", {**order_record(tx, row, at.revision), "flags": flags}),
            Same(f"/v1/work-orders/{row.id}/readiness", whole(tx, row, at.revision)),
        ]
        given = asked_for(desk, answers)
        if given is not None:
            return given
        state = present(order_state(tx, row), desk.units)
        course = course_of(tx, row, at.revision)
        taken = photos_of(tx, row.id)
        plan = at.revision.record
    return shown(
        desk,
        "order",
        here="orders",
        title=f"{row.external_number}: {row.asset_tag}, {', '.join(each['name'] for each in row.positions)}",
        order=state,
        readiness=present(answers[1].record, desk.units),
        course=course,
        photos=taken,
        targets=plan["targets"],
        missing=present(plan["missing"], desk.units),
        path=f"{ORDERS}/{row.id}",
        links=links(answers),
    )


@page("/orders/<order_id>/sheets.pdf")
def sheets(desk: Desk, order_id: str) -> Response:
    """Give the sheets of an order for paper."""
    return _card(desk, order_id, cards.PDF, {"paper": "letter" if desk.units == "inch" else "a4"})


@page("/orders/<order_id>/lead.pdf")
def lead_sheet(desk: Desk, order_id: str) -> Response:
    """Give what the lead looks over, for paper."""
    with desk.reading() as tx:
        review = review_of(tx, order_id)
    return printed_review(review, desk.units)


@page("/orders/<order_id>/photos/<photo_id>")
def photo(desk: Desk, order_id: str, photo_id: str) -> Response:
    """Give a photo of an order."""
    folder = current_app.extensions["capsaddle"].settings.photo_folder
    with desk.reading() as tx:
        row, data = photo_data(tx, order_id, photo_id, folder=folder)
    return photo_answer(row, data)


@page("/orders/<order_id>/card")
def card(desk: Desk, order_id: str) -> Response:
    """Give the card of an order to read, with every step."""
    return _card(desk, order_id, cards.HTML, {"level": "standard"})


def _card(desk: Desk, order_id: str, media: str, query: dict[str, str]) -> Response:
    with desk.reading() as tx:
        row = order_of(tx, order_id)
        revision = revision_of(tx, row)
    where = f"{current_app.config['PUBLIC_URL']}/v1/work-orders/{row.id}/instructions"
    body = cards.card_body(media, row, revision, units=desk.units, address=where, query=query)
    return cards.card_answer(media, body, row, {"Cache-Control": "no-store"})
