"""Pictures of the instructions of a work order: the clearance window of a position, and the shaft line."""

from collections.abc import Callable
from typing import Any

from flask import Response

from service.api.http import fields, versions
from service.api.http.media import SVG, VARY, picture_answer
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.problems import ProblemRaised
from service.api.http.schema import UnitsQuery
from service.errors import NotFound
from service.render.card.shaft_line import shaft_document
from service.render.pictures.shaft import shaft_picture
from service.render.pictures.window import window_picture
from service.store.queries.work_orders import RevisionRow
from service.use_cases.orders.held import order_of
from service.use_cases.orders.records import revision_of

blueprint = Blueprint("pictures", __name__, url_prefix="/v1/work-orders", description="Pictures of the instructions")


class PictureQuery(UnitsQuery):
    """Which revision is drawn."""

    revision = fields.Whole(1, 999_999_999, in_query=True, metadata={"description": "The latest when left out"})


class WindowQuery(PictureQuery):
    """Which position is drawn."""

    position = fields.Text(
        80, metadata={"description": "Name of a position of the order; may be left out where it has one alone"}
    )


def _answers(said: str) -> dict[int, Answer]:
    return {200: Answer(None, said, headers=("ETag",), media=(SVG,)), 304: Answer(None, "The caller holds it")}


@blueprint.operation(
    "GET",
    "/<order_id>/instructions/clearance-window.svg",
    scope="read",
    query=WindowQuery,
    answers=_answers("Initial clearance, reduction, window and blades of one position, to scale"),
    headers=("If-None-Match",),
)
def read_clearance_window(call: Call, order_id: str) -> Response:
    """Read the picture of a position's clearance window"""

    def picture(revision: RevisionRow) -> str:
        return window_picture(_target(revision, call.query.get("position")), units=call.units)

    return _pictured(call, order_id, picture)


def _target(revision: RevisionRow, position: str | None) -> dict[str, Any]:
    """Return the clearance target of a position; of the only one where none is named."""
    targets: dict[str, dict[str, Any]] = {each["position"]: each for each in revision.record["targets"]}
    if position is None and len(targets) == 1:
        return next(iter(targets.values()))
    if position is None:
        detail = f"say which: {', '.join(targets)}"
        fault = {"parameter": "position", "code": "bad_parameter", "detail": detail}
        raise ProblemRaised("bad_parameter", f"position: {detail}", faults=[fault])
    if position not in targets:
        raise NotFound(f"the instructions have no target for a position {position}")
    return targets[position]


@blueprint.operation(
    "GET",
    "/<order_id>/instructions/shaft-line.svg",
    scope="read",
    query=PictureQuery,
    answers=_answers("Supports, drives, rings and movements of the shaft"),
    headers=("If-None-Match",),
)
def read_shaft_line(call: Call, order_id: str) -> Response:
    """Read the picture of the shaft line"""

    def picture(revision: RevisionRow) -> str:
        shaft = shaft_document(revision.inputs)
        return shaft_picture(
            revision.record["arrangement"],
            supports=shaft["positions"],
            drives=shaft.get("drives") or (),
            wheels=shaft.get("wheels") or (),
            units=call.units,
            shaft=f"{revision.record['asset']}, {shaft['name']}",
        )

    return _pictured(call, order_id, picture)


def _pictured(call: Call, order_id: str, picture: Callable[[RevisionRow], str]) -> Response:
    with call.reading() as tx:
        revision = revision_of(tx, order_of(tx, order_id), call.query.get("revision"))
    svg = picture(revision)
    tag = versions.etag(revision.number, call.units, "svg")
    headers = {"ETag": tag, "Cache-Control": "no-cache"}
    if versions.not_modified(tag):
        return Response(status=304, headers={**VARY, **headers})
    return picture_answer(svg, headers)
