"""/v1/work-orders/batch: the orders of a shutdown in one request, one a line; each is opened, or refused, by itself."""

from collections.abc import Iterator
from typing import Any, Final

from flask import Response, stream_with_context
from marshmallow import ValidationError

from service.api.http import problems
from service.api.http.operations import Answer, Call
from service.api.http.problems import ProblemRaised, document_of, problem_document
from service.api.http.schema import WriteQuery
from service.api.orders.schemas import WorkOrderRequest
from service.api.orders.views import blueprint
from service.errors import ServiceError
from service.exchange import strict_json
from service.exchange.media import NDJSON
from service.store.unit_of_work import Tx, Written
from service.use_cases.orders.open import open_order
from service.use_cases.orders.records import order_record

__all__ = ["blueprint", "open_work_orders"]

MOST_LINES: Final = 1_000
MOST_BYTES: Final = 8 * 1024 * 1024
_REQUEST: Final = WorkOrderRequest()


@blueprint.operation(
    "POST",
    "/batch",
    scope="write",
    query=WriteQuery,
    ndjson_bytes=MOST_BYTES,
    answers={
        200: Answer(
            None,
            "One line for each order sent, in order: {index, status, result} or {index, status, problem}, each written "
            "when its order is committed; the last line is {end: true, count, opened, known, refused}, so that a cut "
            "answer is seen. It takes no Idempotency-Key: send the same lines again, those opened before answer 200",
            media=(NDJSON,),
        )
    },
    example='{"external": {"system": "plant-a", "number": "WO-10231"}, "asset": "DRY-2-FAN", "positions": ["tail"]}\n',
)
def open_work_orders(call: Call) -> Response:
    """Open many work orders, one a line; the order's own number makes each line safe to repeat"""
    lines = call.body.split(b"\n")
    if not lines[-1]:
        lines.pop()
    if len(lines) > MOST_LINES:
        raise ProblemRaised("too_many_lines", f"{len(lines)} lines were sent; at most {MOST_LINES} are taken")
    headers = {"Dry-Run": "true"} if call.dry_run else {}
    return Response(stream_with_context(_answers(lines, call)), content_type=NDJSON, headers=headers)


def _answers(lines: list[bytes], call: Call) -> Iterator[str]:
    """Yield the answer to each line as soon as it is committed, then the end mark."""
    counts = {201: 0, 200: 0}
    for index, line in enumerate(lines):
        status, answer = _answer(line, call)
        if status in counts:
            counts[status] += 1
            yield f'{{"index":{index},"status":{status},"result":{answer}}}\n'
        else:
            yield f'{{"index":{index},"status":{status},"problem":{answer}}}\n'
    new, known = counts[201], counts[200]
    ended = {"end": True, "count": len(lines), "opened": new, "known": known, "refused": len(lines) - new - known}
    yield strict_json.written(ended) + "\n"


def _answer(line: bytes, call: Call) -> tuple[int, str]:
    """Return status and JSON text of the answer to one line, each in a transaction of its own."""
    try:
        given = _REQUEST.load(strict_json.parsed(line))
        written = _open(given, call)
        return written.status, written.text
    except strict_json.NotStrictJSON as error:
        problem = problem_document("bad_json", str(error))
    except (ServiceError, ValidationError) as error:
        problem = document_of(error)
    except Exception:
        problems.LOG.exception("unexpected error in a line of a batch of orders")
        problem = problem_document("internal", "the fault is on our side; quote the request id when you report it")
    return problem["status"], strict_json.written(problem)


def _open(given: dict[str, Any], call: Call) -> Written:
    def work(tx: Tx) -> Written:
        opening = open_order(tx, given, units=call.caller.units, blade_set=call.caller.blade_set)
        body = call.json(order_record(tx, opening.order, opening.revision, fresh=bool(opening.events)))
        return Written(201 if opening.events else 200, body, {}, opening.events)

    return call.unit(work, dry_run=call.dry_run)
