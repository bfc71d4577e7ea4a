"""/v1/clearance-targets/batch: many bearings in one request, one a line; one bad line does not fail the rest."""

from collections.abc import Iterator
from typing import Any, Final

from flask import Response, stream_with_context
from marshmallow import ValidationError

from service.api.calculations.clearance.schemas import ClearanceRequest
from service.api.calculations.clearance.views import EXAMPLE, answer_of, blueprint
from service.api.calculations.documents import site_books
from service.api.http import problems
from service.api.http.operations import Answer, Call
from service.api.http.problems import ProblemRaised, document_of, problem_document
from service.errors import ServiceError
from service.exchange import strict_json
from service.exchange.media import NDJSON
from service.mounting.charts import KINDS, Chart
from service.render.present import present

__all__ = ["blueprint", "clearance_targets_batch"]

MOST_LINES: Final = 10_000
MOST_BYTES: Final = 8 * 1024 * 1024
LINES_A_PIECE: Final = 100
_REQUEST: Final = ClearanceRequest()


@blueprint.operation(
    "POST",
    "/clearance-targets/batch",
    scope="read",
    ndjson_bytes=MOST_BYTES,
    answers={
        200: Answer(
            None,
            "One line for each line sent, in order: {index, status, result} or {index, status, problem}; "
            "the last line is {end: true, count}, so that a cut answer is seen",
            media=(NDJSON,),
        )
    },
    example=strict_json.written(EXAMPLE) + "\n",
)
def clearance_targets_batch(call: Call) -> Response:
    """Clearance targets for many bearings"""
    lines = call.body.split(b"\n")
    if not lines[-1]:
        lines.pop()
    if len(lines) > MOST_LINES:
        raise ProblemRaised("too_many_lines", f"{len(lines)} lines were sent; at most {MOST_LINES} are taken")
    charts = site_books(call, KINDS).charts
    return Response(stream_with_context(_answers(lines, call, charts)), content_type=NDJSON)


def _answers(lines: list[bytes], call: Call, charts: tuple[Chart, ...]) -> Iterator[str]:
    """Yield the answers, some lines at a time."""
    for start in range(0, len(lines), LINES_A_PIECE):
        piece = lines[start : start + LINES_A_PIECE]
        yield "".join(
            strict_json.written(_answer(start + n, line, call, charts)) + "\n" for n, line in enumerate(piece)
        )
    yield strict_json.written({"end": True, "count": len(lines)}) + "\n"


def _answer(index: int, line: bytes, call: Call, charts: tuple[Chart, ...]) -> dict[str, Any]:
    """Return the answer to one line."""
    try:
        given = _REQUEST.load(strict_json.parsed(line))
        return {"index": index, "status": 200, "result": present(answer_of(given, call, charts), call.units)}
    except strict_json.NotStrictJSON as error:
        problem = problem_document("bad_json", str(error))
    except (ServiceError, ValidationError) as error:
        problem = document_of(error)
    except Exception:
        problems.LOG.exception("unexpected error in line %d of a batch", index)
        problem = problem_document("internal", "the fault is on our side; quote the request id when you report it")
    return {"index": index, "status": problem["status"], "problem": problem}
