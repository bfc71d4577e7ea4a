"""/v1/capabilities: what this service can take and how long it keeps things, for programs that adapt to it."""

from typing import Any, Final

from flask import Response, current_app

from service import ENGINE_VERSION, __version__
from service.api.about.schemas import (
    CapabilitiesRead,
)
from service.api.calculations.clearance import batch as clearance_batch
from service.api.http.operations import Answer, Blueprint, Call
from service.api.maps.schemas import MOST_BYTES, MOST_TARGETS
from service.api.orders.batch import views as opening_batch
from service.api.stays.imports import views as stay_import
from service.exchange.cloud_events import PREFIX, TYPES
from service.exchange.expressions import LONGEST_S, MOST_EXPRESSION_BYTES
from service.exchange.functions import MapFunctions
from service.exchange.signing import TOLERANCE_S
from service.exchange.strict_json import MAX_DEPTH, MOST_VALUES
from service.reference.tables import DATA_VERSION
from service.store import repeats
from service.store.queries import deliveries
from service.use_cases.maps.map_message import BUILT_IN
from service.use_cases.orders.held import MOST_ENTRIES
from service.use_cases.orders.revise import MOST_REVISIONS
from service.use_cases.stays.sources import MOST_ROWS

blueprint = Blueprint("capabilities", __name__, url_prefix="/v1/capabilities", description="Limits and versions")

OWN_FUNCTIONS: Final = ("date", "lookup", "quantity")


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
        "stay_import_rows": MOST_ROWS,
        "entries_of_an_order": MOST_ENTRIES,
        "revisions_of_an_order": MOST_REVISIONS,
        "requests_per_minute": current_app.extensions["capsaddle"].settings.rate_limit or None,
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
            "person": call.caller.person,
            "approval": settings.approval,
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
