"""/v1/capabilities: what this service can take and how long it keeps things, for programs that adapt to it."""

from typing import Any, Final

from flask import Response, current_app
from marshmallow import fields as ma_fields

from service import ENGINE_VERSION, __version__
from service.api import clearance_batch, opening_batch, stay_import
from service.api.answers import AnswerSchema, nested, word, words
from service.api.cloud_events import PREFIX, TYPES
from service.api.map_shapes import MOST_BYTES, MOST_TARGETS
from service.api.mapping import BUILT_IN
from service.api.operations import Answer, Blueprint, Call
from service.api.strict_json import MAX_DEPTH, MOST_VALUES
from service.exchange.expressions import LONGEST_S, MOST_EXPRESSION_BYTES
from service.exchange.functions import MapFunctions
from service.exchange.signing import TOLERANCE_S
from service.reference.tables import DATA_VERSION
from service.store import deliveries, repeats

blueprint = Blueprint("capabilities", __name__, url_prefix="/v1/capabilities", description="Limits and versions")

OWN_FUNCTIONS: Final = ("date", "lookup", "quantity")


class ServiceVersions(AnswerSchema):
    """What answers: another engine or data version may answer another number."""

    api = word()
    service = word()
    engine = word()
    data = word()


class ServiceLimits(AnswerSchema):
    """The most that is taken."""

    body_bytes = ma_fields.Integer(required=True)
    json_depth = ma_fields.Integer(required=True)
    json_values = ma_fields.Integer(required=True)
    page_items = ma_fields.Integer(required=True)
    clearance_batch_lines = ma_fields.Integer(required=True)
    clearance_batch_bytes = ma_fields.Integer(required=True)
    work_order_batch_lines = ma_fields.Integer(required=True)
    work_order_batch_bytes = ma_fields.Integer(required=True)
    stay_import_bytes = ma_fields.Integer(required=True)
    field_map_bytes = ma_fields.Integer(required=True)
    field_map_targets = ma_fields.Integer(required=True)
    expression_bytes = ma_fields.Integer(required=True)
    mapping_s = ma_fields.Float(required=True)
    events_wait_s = ma_fields.Integer(required=True)


class ServiceRetention(AnswerSchema):
    """How long things are kept; null: for ever."""

    idempotency_keys_days = ma_fields.Integer(required=True)
    ended_deliveries_days = ma_fields.Integer(required=True)
    events_days = ma_fields.Integer(required=True, allow_none=True)
    revisions_days = ma_fields.Integer(required=True, allow_none=True)
    stays_days = ma_fields.Integer(required=True, allow_none=True)


class ServiceWebhooks(AnswerSchema):
    """How events are sent."""

    allowed = ma_fields.Boolean(required=True, metadata={"description": "The operator lists places to send to"})
    delays_s = ma_fields.List(ma_fields.Float(), required=True)
    tolerance_s = ma_fields.Integer(required=True)


class CapabilitiesRead(AnswerSchema):
    """What this service can take and how long it keeps things."""

    site = word()
    units = word()
    scopes = words()
    versions = nested(ServiceVersions)
    limits = nested(ServiceLimits)
    retention = nested(ServiceRetention)
    webhooks = nested(ServiceWebhooks)
    event_types = words()
    field_map_functions = words()
    field_maps_built_in = words()


def _limits() -> dict[str, Any]:
    return {
        "body_bytes": current_app.config["MAX_CONTENT_LENGTH"],
        "json_depth": MAX_DEPTH,
        "json_values": MOST_VALUES,
        "page_items": 500,
        "clearance_batch_lines": clearance_batch.MOST_LINES,
        "clearance_batch_bytes": clearance_batch.MOST_BYTES,
        "work_order_batch_lines": opening_batch.MOST_LINES,
        "work_order_batch_bytes": opening_batch.MOST_BYTES,
        "stay_import_bytes": stay_import.MOST_BYTES,
        "field_map_bytes": MOST_BYTES,
        "field_map_targets": MOST_TARGETS,
        "expression_bytes": MOST_EXPRESSION_BYTES,
        "mapping_s": LONGEST_S,
        "events_wait_s": 30,
    }


@blueprint.operation(
    "GET",
    "",
    scope="read",
    answers={200: Answer(CapabilitiesRead, "Versions, limits, retention, and what the key may")},
)
def read_capabilities(call: Call) -> Response:
    """Read what this service can take"""
    settings = current_app.extensions["capsaddle"].settings
    for_ever = dict.fromkeys(("events_days", "revisions_days", "stays_days"))
    return call.answer(
        {
            "site": call.caller.site_code,
            "units": call.caller.units,
            "scopes": sorted(call.caller.scopes),
            "versions": {"api": "v1", "service": __version__, "engine": ENGINE_VERSION, "data": DATA_VERSION},
            "limits": _limits(),
            "retention": {
                "idempotency_keys_days": repeats.KEPT_FOR.days,
                "ended_deliveries_days": deliveries.KEPT_FOR.days,
                **for_ever,
            },
            "webhooks": {
                "allowed": bool(settings.webhook_targets),
                "delays_s": list(settings.webhook_delays_s),
                "tolerance_s": TOLERANCE_S,
            },
            "event_types": [PREFIX + name for name in TYPES],
            "field_map_functions": [name for name in OWN_FUNCTIONS if name in MapFunctions.FUNCTION_TABLE],
            "field_maps_built_in": list(BUILT_IN),
        }
    )
