"""/v1/stays/attributes: the names that attributes of the site's stays have, and their types."""

from typing import Any

from flask import Response

from service.api.http.operations import Answer, Call
from service.api.stays.attributes.schemas import AttributeList, AttributeRead, AttributeWrite
from service.api.stays.imports.views import blueprint
from service.errors import CannotEvaluate
from service.history.attributes import MOST, is_name
from service.moments import rfc3339
from service.store.queries.attributes import AttributeRow, attribute_rows
from service.store.unit_of_work import Tx, Written
from service.use_cases.attributes.name import declare_attribute, forget_attribute

__all__ = ["blueprint"]


def _record(row: AttributeRow) -> dict[str, Any]:
    return {"name": row.name, "type": row.type, "description": row.description, "created_at": rfc3339(row.created_at)}


@blueprint.operation(
    "GET",
    "/stays/attributes",
    scope="read",
    answers={200: Answer(AttributeList, f"All names, at most {MOST}: declared here, or by their first use")},
)
def list_attributes(call: Call) -> Response:
    """List the attributes of stays"""
    with call.reading() as tx:
        rows = attribute_rows(tx)
    return call.answer({"items": [_record(row) for row in rows]})


@blueprint.operation(
    "PUT",
    "/stays/attributes/<name>",
    scope="write",
    body=AttributeWrite,
    answers={200: Answer(AttributeRead, "The name takes this type; once a stay uses it, its type stays")},
    refuses=("409",),
    example={"type": "number", "description": "People who fitted the bearing"},
)
def declare_stay_attribute(call: Call, name: str) -> Response:
    """Name an attribute of stays, or describe it"""
    if not is_name(name):
        said = "a name has small letters, digits and _, a letter first, up to 40"
        raise CannotEvaluate(said, code="invalid", field="name")

    def work(tx: Tx) -> Written:
        row, event = declare_attribute(tx, name, kind=call.body["type"], description=call.body.get("description"))
        return Written(200, call.json(_record(row)), {}, () if event is None else (event,))

    return call.write(work)


@blueprint.operation(
    "DELETE",
    "/stays/attributes/<name>",
    scope="write",
    answers={204: Answer(None, "The name is free again")},
    refuses=("409",),
)
def delete_stay_attribute(call: Call, name: str) -> Response:
    """Delete a name of attributes that no stay uses"""

    def work(tx: Tx) -> Written:
        return Written(204, "", {}, (forget_attribute(tx, name),))

    return call.write(work)
