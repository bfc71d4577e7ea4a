"""/v1/stays: which bearing ran where, from when to when, and how it was mounted."""

from datetime import datetime
from typing import Any

from flask import Response
from marshmallow import fields as ma_fields

from service.api import fields, lists
from service.api.answers import AnswerSchema, nested, word
from service.api.operations import Answer, Blueprint, Call
from service.api.schema import PageQuery
from service.store import stays
from service.store.models.stays import END_TYPES
from service.store.stays import StayRow
from service.units import NM_PER_MM

blueprint = Blueprint("history", __name__, url_prefix="/v1/stays", description="Stays of bearings in positions")


class StayRead(AnswerSchema):
    """One bearing in one position, from fitting to removal; flat, units in the names."""

    id = word()
    external_id = word(null=True)
    asset = word()
    position = word()
    designation = word()
    manufacturer = word(null=True)
    serial = word(null=True)
    installed_at = ma_fields.DateTime(required=True)
    removed_at = ma_fields.DateTime(required=True, allow_none=True)
    operating_hours = ma_fields.Float(required=True, allow_none=True)
    as_of = ma_fields.DateTime(required=True, allow_none=True)
    age_at_install_h = ma_fields.Float(required=True, allow_none=True)
    observed_from = ma_fields.DateTime(required=True, allow_none=True)
    end_type = ma_fields.String(required=True, metadata={"enum": list(END_TYPES)})
    inspected = ma_fields.Boolean(required=True, allow_none=True)
    damage = word(null=True, description="Codes of ISO 15243, | between them")
    cause = word(null=True)
    initial_clearance_mm = ma_fields.Float(required=True, allow_none=True)
    residual_clearance_mm = ma_fields.Float(required=True, allow_none=True)
    window_min_mm = ma_fields.Float(required=True, allow_none=True)
    window_max_mm = ma_fields.Float(required=True, allow_none=True)
    downtime_h = ma_fields.Float(required=True, allow_none=True)
    work_order = word(null=True)


class StayPage(AnswerSchema):
    """A page of stays."""

    items = nested(StayRead, many=True)
    next = word(null=True)


class StayQuery(PageQuery):
    """Filters of the list of stays."""

    asset = fields.Text(80, metadata={"description": "Tag of the asset"})
    position = fields.Text(80, metadata={"description": "Name of the position"})
    end_type = fields.Choice(END_TYPES)


COPIED = (
    "id", "external_id", "asset", "position", "designation", "manufacturer", "serial", "operating_hours",
    "age_at_install_h", "end_type", "inspected", "damage", "cause", "downtime_h", "work_order",
)  # fmt: skip
TIMES = ("installed_at", "removed_at", "as_of", "observed_from")
IN_NANOMETRES = ("initial_clearance", "residual_clearance", "window_min", "window_max")


def stay_line(row: StayRow) -> dict[str, Any]:
    """Return the flat members of a stay."""
    line = {name: getattr(row, name) for name in COPIED}
    line |= {name: _time(getattr(row, name)) for name in TIMES}
    return line | {f"{name}_mm": _mm(getattr(row, f"{name}_nm")) for name in IN_NANOMETRES}


def _time(time: datetime | None) -> str | None:
    return None if time is None else fields.rfc3339(time)


def _mm(value_nm: int | None) -> float | None:
    return None if value_nm is None else value_nm / NM_PER_MM


@blueprint.operation(
    "GET",
    "",
    scope="read",
    query=StayQuery,
    answers={200: Answer(StayPage, "A page of stays, in the order in which they were entered", headers=("Link",))},
)
def list_stays(call: Call) -> Response:
    """List stays"""
    query = call.query
    with call.reading() as tx:
        rows = stays.page_of_stays(
            tx,
            asset=query.get("asset"),
            position=query.get("position"),
            end_type=query.get("end_type"),
            after=lists.after(query, call.caller.site_id),
            limit=query["limit"] + 1,
        )
    body, headers = lists.page([stay_line(row) for row in rows], query, call.caller.site_id)
    return call.answer(body, headers=headers)
