"""/v1/work-orders/{id}/completion and its corrections."""

from typing import Any

from flask import Response
from marshmallow import fields as ma_fields
from marshmallow import validate

from service.api import fields
from service.api.answers import AnswerSchema, nested, quantity, word
from service.api.completing import completed
from service.api.correcting import corrected
from service.api.damage import EXAMPLE as EXAMPLE_DAMAGE
from service.api.damage import DamageField
from service.api.operations import Answer, Blueprint, Call
from service.api.recording import held, order_of
from service.api.schema import StrictSchema, WriteQuery
from service.errors import NotFound
from service.store import completions
from service.store.completions import CompletionRow, CorrectionRow
from service.store.models.stays import END_TYPES
from service.store.unit_of_work import Tx, Written
from service.store.work_orders import WorkOrderRow

blueprint = Blueprint("completion", __name__, url_prefix="/v1/work-orders", description="The end of a work order")

OUTCOMES = ("replaced", "inspected_only", "not_done")
ENDED = tuple(each for each in END_TYPES if each != "running")
COMPONENTS = ("inner_ring", "outer_ring", "rolling_element", "cage", "seal")


class DamageSeen(StrictSchema):
    """A mode of damage seen on the bearing, by ISO 15243."""

    code = DamageField(required=True)
    component = fields.Choice(COMPONENTS)
    primary = fields.Flag()


class Removed(StrictSchema):
    """The bearing that came out; an empty list of damage says that it was looked at and nothing was seen."""

    serial = fields.Text(80)
    end_type = fields.Choice(ENDED)
    inspected = fields.Flag()
    damage = fields.Array(ma_fields.Nested(DamageSeen), validate=validate.Length(max=20))
    cause = fields.Text(500)


class Installed(StrictSchema):
    """The bearing that went in; the one of the instructions when the designation is left out."""

    serial = fields.Text(80)
    designation = fields.Text(60)
    manufacturer = fields.Text(80)


class PositionDone(StrictSchema):
    """What was done at one position."""

    position = fields.Text(80, required=True)
    outcome = fields.Choice(OUTCOMES, required=True)
    removed = ma_fields.Nested(Removed)
    installed = ma_fields.Nested(Installed)


class CompletionRequest(StrictSchema):
    """What was done at each position of the order."""

    completed_at = fields.PastTime(required=True)
    completed_by = fields.Text(80, required=True)
    meter_reading = fields.QuantityField("time", least=0, most=1e8, keep=True)
    positions = fields.Array(ma_fields.Nested(PositionDone), required=True, validate=validate.Length(1, 12))


class PositionCorrected(StrictSchema):
    """What is put right at one position; members that are left out stay as they are."""

    position = fields.Text(80, required=True)
    removed = ma_fields.Nested(Removed)
    installed = ma_fields.Nested(Installed)


class CorrectionRequest(StrictSchema):
    """What is put right, and why."""

    corrects = fields.Identifier(required=True, metadata={"description": "The completion, or its last correction"})
    reason = fields.Text(2000, required=True)
    corrected_by = fields.Text(80, required=True)
    completed_at = fields.PastTime()
    positions = fields.Array(ma_fields.Nested(PositionCorrected), validate=validate.Length(1, 12))


class DamageRead(AnswerSchema):
    """A mode of damage seen on the bearing, by ISO 15243."""

    code = word()
    component = word(required=False)
    primary = ma_fields.Boolean(required=False)


class RemovedRead(AnswerSchema):
    """The bearing that came out."""

    serial = word(required=False)
    end_type = word(required=False)
    inspected = ma_fields.Boolean(required=False)
    damage = nested(DamageRead, many=True, required=False)
    cause = word(required=False)


class InstalledRead(AnswerSchema):
    """The bearing that went in."""

    serial = word(required=False)
    designation = word(required=False)
    manufacturer = word(required=False)


class PositionDoneRead(AnswerSchema):
    """What was done at one position, with the stays it ended and began."""

    position = word()
    outcome = word()
    removed = nested(RemovedRead, required=False)
    installed = nested(InstalledRead, required=False)
    ended_stay = word(null=True)
    begun_stay = word(null=True)


class ChangeRead(AnswerSchema):
    """One member of a stay, before and after."""

    stay = word()
    position = word()
    member = word()
    before = ma_fields.Raw(required=True, allow_none=True)
    after = ma_fields.Raw(required=True, allow_none=True)


class CorrectionRead(AnswerSchema):
    """A correction on record."""

    id = word()
    corrects = word()
    reason = word()
    corrected_by = word()
    created_at = ma_fields.DateTime(required=True)
    changes = nested(ChangeRead, many=True)


class CompletionRead(AnswerSchema):
    """The completion as it was sent, and its corrections."""

    id = word()
    work_order = word()
    status = word()
    revision = ma_fields.Integer(required=True, metadata={"description": "The revision that it was held against"})
    completed_at = ma_fields.DateTime(required=True)
    completed_by = word()
    meter_reading = quantity(required=False)
    positions = nested(PositionDoneRead, many=True)
    created_at = ma_fields.DateTime(required=True)
    corrections = nested(CorrectionRead, many=True)


def _correction(row: CorrectionRow) -> dict[str, Any]:
    return {
        "id": row.id,
        "corrects": row.corrects,
        "reason": row.reason,
        "corrected_by": row.corrected_by,
        "created_at": fields.rfc3339(row.created_at),
        **row.document,
    }


def _completion(row: CompletionRow, corrections: list[CorrectionRow]) -> dict[str, Any]:
    return {
        "id": row.id,
        "work_order": row.work_order_id,
        "status": "completed",
        "revision": row.revision,
        "completed_at": fields.rfc3339(row.completed_at),
        "completed_by": row.completed_by,
        **row.document,
        "created_at": fields.rfc3339(row.created_at),
        "corrections": [_correction(each) for each in corrections],
    }


def _of_order(tx: Tx, order: WorkOrderRow) -> CompletionRow:
    row = completions.completion_of(tx, order.id)
    if row is None:
        raise NotFound(f"the work order is {order.status}; it has no completion")
    return row


@blueprint.operation(
    "POST",
    "/<order_id>/completion",
    scope="write",
    body=CompletionRequest,
    query=WriteQuery,
    answers={201: Answer(CompletionRead, "The order is completed: old stays ended, new ones begun")},
    refuses=("409",),
    example={
        "completed_at": "2026-01-07T15:30:00Z",
        "completed_by": "A. Fitter",
        "meter_reading": {"value": 18250, "unit": "h"},
        "positions": [
            {
                "position": "tail",
                "outcome": "replaced",
                "removed": {"end_type": "failed", "damage": [{"code": EXAMPLE_DAMAGE, "component": "inner_ring"}]},
                "installed": {"serial": "N-4711", "designation": "22216 K/C3"},
            }
        ],
    },
)
def complete_work_order(call: Call, order_id: str) -> Response:
    """Complete a work order; refused while hold points are open"""

    def work(tx: Tx) -> Written:
        row, events = completed(tx, held(tx, order_id), call.body)
        return Written(201, call.json(_completion(row, [])), {}, events)

    return call.written(work)


@blueprint.operation(
    "GET",
    "/<order_id>/completion",
    scope="read",
    answers={200: Answer(CompletionRead, "The completion, with its corrections")},
)
def read_completion(call: Call, order_id: str) -> Response:
    """Read the completion of a work order"""
    with call.reading() as tx:
        row = _of_order(tx, order_of(tx, order_id))
        corrections = completions.corrections_of(tx, row.id)
    return call.answer(_completion(row, corrections))


@blueprint.operation(
    "POST",
    "/<order_id>/corrections",
    scope="write",
    body=CorrectionRequest,
    query=WriteQuery,
    answers={201: Answer(CorrectionRead, "The correction is on record, the stays are put right")},
    refuses=("409",),
    example={
        "corrects": "01900000-0000-7000-8000-000000000000",
        "reason": "The serial number was read from the wrong ring.",
        "corrected_by": "B. Foreman",
        "positions": [{"position": "tail", "installed": {"serial": "N-4712"}}],
    },
)
def correct_completion(call: Call, order_id: str) -> Response:
    """Correct a completion with a new entry that names what it corrects"""

    def work(tx: Tx) -> Written:
        order = held(tx, order_id, status="completed").order
        row, events = corrected(tx, order, _of_order(tx, order), call.body)
        return Written(201, call.json(_correction(row)), {}, events)

    return call.written(work)
