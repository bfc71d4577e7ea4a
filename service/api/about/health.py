"""Liveness, readiness and the OpenAPI document: open to all, without a key."""

from flask import Blueprint, Response, current_app

from service.api.http.operations import DECLARED
from service.exchange.strict_json import written

blueprint = Blueprint("health", __name__)

_NO_STORE = {"Cache-Control": "no-store"}
DECLARED.open_endpoints |= {"health.live", "health.ready", "health.openapi_document"}


@blueprint.get("/health/live", provide_automatic_options=False)
def live() -> Response:
    """The process answers; the database is not asked."""
    return Response('{"status":"live"}', content_type="application/json", headers=_NO_STORE)


@blueprint.get("/health/ready", provide_automatic_options=False)
def ready() -> Response:
    """The database answers and has the schema of this version, and the server was not told to stop.

    ``read_only`` is ready too: questions are answered, changes are refused with 503.
    """
    services = current_app.extensions["capsaddle"]
    if services.shared.stopping:
        return Response('{"status":"stopping"}', 503, content_type="application/json", headers=_NO_STORE)
    state = services.database.ready()
    status = 200 if state["ready"] else 503
    word = "not_ready" if not state["ready"] else "ready" if state["writable"] else "read_only"
    body = {"status": word, "database": state["database"]}
    return Response(written(body), status=status, content_type="application/json", headers=_NO_STORE)


@blueprint.get("/openapi.json", provide_automatic_options=False)
def openapi_document() -> Response:
    """The OpenAPI document of this service."""
    return Response(current_app.extensions["capsaddle"].openapi, content_type="application/json")
